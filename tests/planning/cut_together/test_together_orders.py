"""Random orders with a second cloth, and leaders that lie where their patches would lie on one another."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nesting.model.lay import Lay, placed
from nesting.model.order import Cloth, CutPiece, Garment, Order, Together
from nesting.model.piece import Piece
from nesting.planning.cut_together.fits_over import why_not_here
from nesting.planning.cut_together.patches import in_patches, patch_conflict
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.second_cloth import at_once, laid_together, way_over, worth
from nesting.proof import prove
from nesting.resolving.resolve import resolve
from tests.planning.builders import flag, order_of, rect
from tests.planning.cut_together.together_orders import together_order

ROUND = SearchOptions(seconds=None, rounds=1)


@pytest.mark.parametrize("number", [2, 4, 6, 14, 19, 24])
def test_random_orders_are_proved_and_never_dearer(number: int) -> None:
    """Six of those of scripts/random_together.py: face, hand, grain and places hold; not dearer than whole lengths."""
    order = together_order(number)
    cut = resolve(order)
    own = tuple(lay_cloth(cut, cloth.name, ROUND, spread="open") for cloth in order.cloths)
    before, found = way_over(cut, own, ROUND), laid_together(cut, own, ROUND)
    for lays in (found, at_once(cut, own)):
        for lay in lays:
            assert not prove(lay, order, first=lays[0] if lay.leaders_on else None).failures
    assert found[1].leaders_on == "main"
    if before[1].leaders_on is not None:
        assert worth(cut, found) <= worth(cut, before) + 1e-9


def hooked(count: int = 2, **thin: object) -> Order:
    """Fronts in the shape of an L, which interlock so that the boxes of their linings overlap; each lining is a little
    larger than its front all round, by less than the tolerance."""
    ring = ((-200.0, -150.0), (200.0, -150.0), (200.0, -90.0), (-140.0, -90.0), (-140.0, 150.0), (-200.0, 150.0))
    more = ((-200.2, -150.2), (200.2, -150.2), (200.2, -89.8), (-139.8, -89.8), (-139.8, 150.2), (-200.2, 150.2))
    front = CutPiece(Piece("front", ring, grainline=((-50.0, 0.0), (50.0, 0.0))), None, alike_ok=True)
    lining = replace(front, piece=replace(front.piece, name="lining", outline=more), cloth="thin")
    cloths = (
        Cloth("main", 520.0, gap=3.0, end_allowance=0.0, increment=1.0, spreads=("open",)),
        Cloth("thin", 800.0, gap=3.0, end_allowance=0.0, increment=1.0, **thin),  # type: ignore[arg-type]
    )
    garments = (Garment("g", None, count, ("front", "lining")),)
    return Order("hooks", "mm", None, "", (front, lining), cloths, garments, together=(Together("front", "lining"),))


def interlocked(order: Order) -> Lay:
    """Two fronts in one another, the gap apart as it is asked for."""
    lay = lay_cloth(resolve(order), "main", ROUND)
    section = lay.sections[0]
    laid = []
    for p, (x, y, turn) in zip(section.placements, ((201.0, 151.0, 0.0), (264.0, 191.0, 180.0)), strict=True):
        shape = placed(order.cut_piece("front", None).piece, x, y, turn, False)
        laid.append(replace(p, x=x, y=y, turn=turn, flipped=False, laid=shape))
    length = max(x for p in laid for x, _ in p.outline)
    return replace(lay, sections=(replace(section, placements=tuple(laid), lay_length=length),), lay_length=length)


def test_leaders_too_near_are_laid_apart() -> None:
    """In one patch the linings would lie 2.6 mm apart, two would lie on one another: the fronts are laid farther apart,
    rather than that the lining is laid by itself."""
    order = hooked()
    first, apart = interlocked(order), lay_cloth(resolve(order), "thin", ROUND)
    conflict = patch_conflict(resolve(order), first, apart)
    assert conflict is not None and conflict.leaders == {(0, 0), (0, 1)}
    assert "would lie 0.26 cm apart" in str(conflict)
    found = laid_together(resolve(order), (first, apart), SearchOptions(seconds=None, rounds=8))
    assert found[1].leaders_on == "main" and found[1].apart is None
    assert all(prove(lay, order, first=found[0] if lay.leaders_on else None).ok for lay in found)
    assert patch_conflict(resolve(order), found[0], apart) is None


def test_neighbours_share_a_patch_only_where_that_takes_no_more_cloth() -> None:
    """Two linings side by side, 4 mm apart, are one rectangle; two that lie corner to corner stay two."""
    order = hooked()
    front, lining = rect("front", 300, 200), rect("lining", 300, 200, cloth="thin")
    order = replace(order, pieces=(front, lining), cloths=(replace(order.cloths[0], width=1000.0), order.cloths[1]))
    lay, apart = lay_cloth(resolve(order), "main", ROUND), lay_cloth(resolve(order), "thin", ROUND)

    def at(x: float, y: float) -> Lay:
        one, other = lay.sections[0].placements
        moved = []
        for p, (px, py) in ((one, (150.0, 100.0)), (other, (x, y))):
            shape = placed(front.piece, px, py, 0.0, False)
            assert shape.grainline is not None
            moved.append(replace(p, x=px, y=py, turn=0.0, flipped=False, laid=shape))
        return replace(lay, sections=(replace(lay.sections[0], placements=tuple(moved), lay_length=900.0),))

    _, beside = in_patches(resolve(order), at(150.0, 304.0), apart, None)
    _, corner = in_patches(resolve(order), at(455.0, 304.0), apart, None)
    assert len(beside.patches) == 1 and len(corner.patches) == 2
    assert beside.patches[0].width == pytest.approx(2 * 200.0 + 4.0 + 2 * 10.0)


def test_figures_that_are_compared_differ_when_printed() -> None:
    """2.6 mm against a gap of 3 mm are not both told as 0.3 cm."""
    order = hooked()
    first = interlocked(order)
    from nesting.planning.cut_together.layered import at_leader, pairs_of

    pairs = pairs_of(resolve(order), first, "thin")
    laid = [at_leader(p, pairs[p.piece, p.garment, p.size]) for p in first.placements]
    why = why_not_here(resolve(order), order.cloths[1], first.sections[0].spread, laid, lambda mm: f"{mm / 10:.1f} cm")
    assert why is not None and "0.26 cm apart" in why.message and "is 0.3" in why.message


def test_a_piece_that_lies_one_way_takes_its_garment_with_it() -> None:
    """Nap by garment: where one piece of a garment is marked one way, the others lie as it does."""
    order = order_of(flag("a", 300, 400, turn="one way"), flag("b", 280, 420), flag("c", 260, 380), count=4,
                     nap="by garment")  # fmt: skip
    lay = lay_cloth(resolve(order), "main", ROUND, spread="open")
    assert {p.turn for p in lay.placements} == {0.0} and prove(lay, order).ok
