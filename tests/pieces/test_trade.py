"""Facts of the trade as checks: common practice, no source."""

from __future__ import annotations

import math

import pytest
from shapely.geometry import Polygon

from nesting.model.piece import Piece, Ring
from nesting.pieces.prepare import prepare
from nesting.pieces.seams import walk_edge, walk_seam
from nesting.pieces.wishes import Alteration, EdgeSpec, Finish, Preparation

INCH = 25.4
RECTANGLE: Ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 200.0), (0.0, 200.0))

#: Half a front panel on the fold (left): crotch end 1-2, leg 2-3, side 3-4, waist 4-5; and the back that goes with it.
FRONT: Ring = ((0.0, 0.0), (40.0, 0.0), (160.0, 180.0), (165.0, 260.0), (0.0, 260.0))
BACK: Ring = ((0.0, 0.0), (40.0, 0.0), (170.0, 180.0), (175.0, 260.0), (0.0, 260.0))
EDGES = (EdgeSpec("crotch", 1, 2), EdgeSpec("leg", 2, 3), EdgeSpec("side", 3, 4), EdgeSpec("waist", 4, 5))


def panel(ring: Ring, *changes: Alteration, name: str = "front") -> Piece:
    """The half panel after the changes."""
    how = Preparation(fold="left", grain=90.0, edges=EDGES, alterations=changes)
    return prepare(Piece(name, ring), how)[0]


def test_lace_and_fold_back_from_the_same_seam_line_are_an_inch_and_a_half_apart() -> None:
    """Lace builds out 3/4 in, so the cloth ends 3/4 in short; a fold-back takes 3/4 in more: 1 1/2 in between them."""
    cuts = []
    for finish in (Finish("lace", -0.75 * INCH), Finish("fold back", 0.75 * INCH)):
        piece, _ = prepare(Piece("p", RECTANGLE), Preparation(grain=90.0, finishes=(("1-2", finish),)))
        cuts.append(min(x for x, _ in piece.outline))
        assert piece.seam is not None
    # the reference point is the same, as the drawing's grainline is
    assert cuts[0] - cuts[1] == pytest.approx(1.5 * INCH)


def test_taking_an_inch_at_a_fold_takes_two_from_the_whole() -> None:
    """The opened waist is 2 in shorter, and the opened piece 2 in narrower."""
    before = panel(FRONT)
    after = panel(FRONT, Alteration("take", INCH, edge="fold"))
    assert walk_edge(before, "waist").whole_length - walk_edge(after, "waist").whole_length == pytest.approx(2 * INCH)
    assert Polygon(before.outline).area - Polygon(after.outline).area == pytest.approx(INCH * 260.0)


def test_two_inches_out_of_the_middle_keep_the_crotch_seam() -> None:
    """The strip lies below the side seam: the crotch end is kept as it was, the leg is trued, the side unchanged."""
    back = panel(BACK, name="back")
    front = panel(FRONT, Alteration("take strip", 2 * INCH, at=60.0, at_is_distance=True))
    crotch = walk_seam([(front, "crotch"), (back, "crotch")], ("front.crotch", "back.crotch"))
    side = walk_seam([(front, "side"), (back, "side")], ("front.side", "back.side"))
    assert crotch.agrees and crotch.lengths == pytest.approx((40.0, 40.0))
    assert side.agrees
    # the trued leg is one straight line between its kept ends
    assert walk_edge(front, "leg").length == pytest.approx(math.hypot(120.0, 180.0 - 2 * INCH))


def test_cutting_the_end_off_instead_does_not_and_is_reported_with_its_figure() -> None:
    """2 in off the lower end: the new end is wider by what the leg has run out there, 120/180 · 2 in."""
    back = panel(BACK, name="back")
    front = panel(FRONT, Alteration("take", 2 * INCH, edge="crotch"))
    walked = walk_seam([(front, "crotch"), (back, "crotch")], ("front.crotch", "back.crotch"))
    assert not walked.agrees
    assert walked.difference == pytest.approx(-2 * INCH * 120.0 / 180.0)
    assert walked.messages() == ("back.crotch is 33.9 mm shorter than front.crotch (40.0 mm against 73.9 mm)",)


def test_both_pieces_of_a_seam_altered_alike_still_agree() -> None:
    """Lengthened by an inch at the same height: the legs grow, the seams agree as before."""
    change = Alteration("lengthen", INCH, at=60.0, at_is_distance=True)
    front, back = panel(FRONT, change), panel(BACK, change, name="back")
    for edge in ("crotch", "side"):
        assert walk_seam([(front, edge), (back, edge)], (f"front.{edge}", f"back.{edge}")).agrees
    alone = walk_seam(
        [(panel(FRONT, Alteration("lengthen", INCH, at=220.0, at_is_distance=True)), "side"), (back, "side")],
        ("front.side", "back.side"),
    )
    assert not alone.agrees
