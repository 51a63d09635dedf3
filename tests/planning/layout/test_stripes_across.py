"""A repeat across the cloth: halves that are opened out, pairs, and motifs in one chain of matching seams."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import CutPiece, Motif, Order, Seam
from nesting.model.piece import Edge, Notch
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.repeats import unmatched_sides
from nesting.planning.layout.solve import lay_cloth
from nesting.proof import prove
from nesting.resolving.resolve import resolve
from tests.planning.builders import half, order_of, rect

REPEAT = 50.0
#: A match point is said to meet within this, mm.
MEETS = 0.05


def half_with_side(name: str, across: float, **how: Any) -> CutPiece:
    """A half whose match point lies ``across`` mm from its fold edge."""
    cut = half(name, 300, across, **how)
    notch = Notch((150.0, across), 225.0, name="s1")
    return replace(
        cut, piece=replace(cut.piece, notches=(notch,), edges=(Edge("side", (150, across), (-150, across / 2)),))
    )


def pair_with_side(name: str, across: float, *, alike: bool = False) -> CutPiece:
    """A pair (or two alike) whose match point lies on the edge at y = -across / 2."""
    cut = rect(name, 300, across, cut=2, mirrored=not alike)
    notches = (Notch((20.0, -across / 2), 90.0, name="s1"), Notch((100.0, across / 2), 270.0, name="one-sided"))
    edges = (Edge("side", (-150, -across / 2), (150, -across / 2)),)
    return replace(cut, piece=replace(cut.piece, notches=notches, edges=edges))


def joined(*cuts: CutPiece, count: int = 2, **cloth: Any) -> Order:
    """Their side seams match across the cloth."""
    order = order_of(*cuts, count=count, repeat_across=REPEAT, **cloth)
    return replace(order, seams=(Seam(tuple(f"{cut.name}.side" for cut in cuts), match=True),))


def laid(order: Order, seed: int = 0, **how: Any) -> Lay:
    """A lay on open cloth, proved."""
    lay = lay_cloth(
        resolve(order), "main", SearchOptions(seconds=None, rounds=4, seed=seed, workers=1), spread="open", **how
    )
    verdict = prove(lay, order)
    assert verdict.ok, [str(f) for f in verdict.failures]
    return lay


def sides(lay: Lay, copy: int) -> dict[str, list[float]]:
    """Where the match points of one garment lie across the cloth, by the side of the garment. Face up, what lies as
    drawn is the right side, and what is mirrored, by a flip or over a fold edge, the left."""
    found: dict[str, list[float]] = {"right": [], "left": []}
    for p in lay.placements:
        if copy not in (p.copies or (p.copy,)):
            continue
        marks = [n.at[1] for n in p.notches if n.name == "s1"]
        here = ["left", "right"] if p.flipped else ["right", "left"]
        for side, y in zip(here, marks, strict=False):
            found[side].append(y)
    return found


def off(ys: list[float]) -> float:
    """How far the farthest is from the first within the repeat, mm."""
    return max(abs((y - ys[0] + REPEAT / 2) % REPEAT - REPEAT / 2) for y in ys)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_half_meets_the_right_piece_on_one_side_and_the_left_on_the_other(seed: int) -> None:
    """Its fold edge lies where the repeat, mirrored, falls on the left piece's: on both sides the stripes meet, and
    nothing is left to tell."""
    order = joined(half_with_side("front", 170), pair_with_side("back", 180))
    lay = laid(order, seed)
    for copy in (1, 2):
        at = sides(lay, copy)
        assert len(at["right"]) == len(at["left"]) == 2
        assert off(at["right"]) <= MEETS and off(at["left"]) <= MEETS
    assert not any("drawn side only" in note for note in lay.notes)


@pytest.mark.parametrize(("front", "back", "misses"), [(170.0, 195.0, 0.0), (170.0, 120.0, 0.0), (170.0, 182.0, 24.0)])
def test_two_halves_meet_on_both_sides_only_by_their_drawings(front: float, back: float, misses: float) -> None:
    """Match points 25 or 50 mm farther from the fold edge, half a repeat or a whole one, meet on both sides; 12 mm
    farther, the other sides are twice 12 mm off. The lay says so, and its drawn sides meet."""
    order = joined(half_with_side("front", front), half_with_side("back", back))
    lay = laid(order)
    for copy in (1, 2):
        at = sides(lay, copy)
        one, other = sorted((off(at["right"]), off(at["left"])))
        assert one <= MEETS
        assert other == pytest.approx(misses, abs=MEETS)
    said = [note for note in lay.notes if "drawn side only" in note]
    assert len(said) == (1 if misses else 0)
    assert all("'front' and 'back' are 24.0 mm off within the repeat of 50 mm" in note for note in said)


def test_folds_across_the_grain_and_pairs_are_silent() -> None:
    """Only halves with their fold along the grain have another side across the cloth."""
    order = joined(pair_with_side("front", 170), pair_with_side("back", 182))
    assert unmatched_sides(resolve(order), order.cloths[0], [None]) == ()
    lay = laid(order)
    for copy in (1, 2):
        at = sides(lay, copy)
        assert off(at["right"]) <= MEETS and off(at["left"]) <= MEETS


def test_a_motif_in_a_chain_of_matching_seams() -> None:
    """The front's motif lies on its place within the repeat, and the back's match point meets the front's."""
    front = replace(half_with_side("front", 170), motif=Motif((10.0, 0.0), (7.0, 3.0)))
    order = joined(front, pair_with_side("back", 180), repeat_along=64.0)
    lay = laid(order)
    for p in lay.placements:
        if p.piece == "front":
            sign = 1.0 if p.turn == 0.0 else -1.0
            assert abs((p.x + sign * 10.0 - 7.0 + 32.0) % 64.0 - 32.0) <= MEETS
            assert abs((p.y - 3.0 + 25.0) % 50.0 - 25.0) <= MEETS


def test_a_motif_off_the_fold_edge_costs_the_other_side() -> None:
    """A motif 12 mm from the fold edge puts the fold edge 12 mm off the line over which pairs are mirrored: the left
    back is 24 mm off, and the lay says so."""
    front = replace(half_with_side("front", 170), motif=Motif((10.0, 12.0), (7.0, 3.0)))
    lay = laid(joined(front, pair_with_side("back", 180)))
    assert any("'front' and 'back' are 24.0 mm off" in note for note in lay.notes)


def test_two_motifs_that_the_seams_between_them_forbid() -> None:
    """Both on the repeat would leave the match points 10 mm apart: refused, with the figure."""
    front = replace(half_with_side("front", 170), motif=Motif((0.0, 0.0), (0.0, 0.0)))
    back = half_with_side("back", 170)
    with pytest.raises(CannotLayError, match=r"piece 'front'.*cannot both lie on the repeat of 50 mm.*10\.0 mm"):
        laid(joined(front, replace(back, motif=Motif((0.0, 0.0), (0.0, 10.0)))))
    laid(joined(front, replace(back, motif=Motif((0.0, 0.0), (0.0, 50.0)))))


def with_two_sides(name: str, second: float) -> CutPiece:
    """A rectangle with a match point at x = 0 of one side, and at x = ``second`` of the other."""
    cut = rect(name, 300, 200)
    notches = (Notch((0.0, -100.0), 90.0, name="a1"), Notch((second, 100.0), 270.0, name="b1"))
    edges = (Edge("a", (-150, -100), (150, -100)), Edge("b", (150, 100), (-150, 100)))
    return replace(cut, piece=replace(cut.piece, notches=notches, edges=edges))


@pytest.mark.parametrize(
    ("second", "differ"), [(60.0, None), (110.0, None), (10.04, None), (60.2, "0.2"), (72.0, "12.0"), (98.0, "12.0")]
)
def test_two_seams_of_the_same_pieces_match_or_cannot(second: float, differ: str | None) -> None:
    """Match points 0 and 60 mm along the front. A whole repeat of 50 more or less on the back is in step, and both
    seams lie in step in the lay; else no lay has both, and it is said how far they are apart within the repeat."""
    order = order_of(with_two_sides("front", 60.0), with_two_sides("back", second), repeat_along=50.0)
    order = replace(order, seams=tuple(Seam((f"front.{e}", f"back.{e}"), match=True) for e in ("a", "b")))
    if differ is not None:
        words = f"match the repeat of 50 mm with both lying one way: two of them differ by {differ} mm"
        with pytest.raises(CannotLayError, match=words):
            laid(order)
        return
    lay = laid(order)
    at = {p.piece: {n.name: n.at[0] for n in p.notches} for p in lay.placements}
    for point in ("a1", "b1"):
        apart = at["front"][point] - at["back"][point]
        assert abs((apart + 25.0) % 50.0 - 25.0) <= MEETS + 0.05
