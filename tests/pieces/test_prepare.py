"""Fold, grain, corners, anchors, edges, and the grain frame."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from nesting.model.errors import OrderError, PatternError
from nesting.model.piece import Edge, Notch, Piece, Ring
from nesting.pieces.contour import Contour, signed_area
from nesting.pieces.edges import anchors_of, notch_names, numbered_corners
from nesting.pieces.prepare import prepare
from nesting.pieces.wishes import EdgeSpec, Preparation
from tests.pieces.outlines import EXAMPLES, circle, ellipse, outlines

RECTANGLE: Ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 200.0), (0.0, 200.0))


def test_corners_are_numbered_from_the_lower_left_anticlockwise() -> None:
    """Wherever the ring begins."""
    for k in range(4):
        ring = RECTANGLE[k:] + RECTANGLE[:k]
        assert numbered_corners(Piece("p", ring)) == RECTANGLE


def test_a_fine_curve_has_no_corners_and_a_rounded_corner_counts_once() -> None:
    """Circles of radius 5 and more; a fillet of radius 0.4."""
    assert Contour(circle(5.0, 120)).corners == ()
    r = 0.4
    arc = tuple((100.0 - r + r * math.sin(a), r - r * math.cos(a)) for a in (math.pi / 2 * k / 6 for k in range(7)))
    ring = ((0.0, 0.0), *arc, (100.0, 200.0), (0.0, 200.0))
    assert len(Contour(ring).corners) == 4


def test_unnamed_notches_are_numbered_and_named_ones_keep_their_names() -> None:
    """Anticlockwise from corner 1."""
    notches = (Notch((100.0, 50.0), 180.0), Notch((30.0, 0.0), 90.0), Notch((0.0, 80.0), 0.0, name="hip"))
    assert notch_names(Piece("p", RECTANGLE, notches=notches)) == ("n2", "n1", "hip")


def test_edges_between_notches_and_corners() -> None:
    """Named by notch name and by corner number; the rest is named by its corners."""
    piece, _ = prepare(
        Piece("p", RECTANGLE, notches=(Notch((100.0, 50.0), 180.0, name="hip"),)),
        Preparation(grain=0.0, edges=(EdgeSpec("lower", 2, "hip"), EdgeSpec("side", 2, 3))),
    )
    edges = {e.name: e for e in piece.edges}
    assert set(edges) == {"lower", "side", "1-2", "3-4", "4-1"}
    assert math.dist(edges["lower"].start, edges["lower"].end) == pytest.approx(50.0)
    assert math.dist(edges["side"].start, edges["side"].end) == pytest.approx(200.0)


def test_edges_of_the_file_give_way_to_those_of_the_order() -> None:
    """Same name, other ends."""
    drawn = Piece(
        "p", RECTANGLE, edges=(Edge("hem", (0.0, 0.0), (100.0, 0.0)), Edge("top", (100.0, 200.0), (0.0, 200.0)))
    )
    piece, _ = prepare(drawn, Preparation(grain=0.0, edges=(EdgeSpec("hem", 2, 3),)))
    lengths = {e.name: round(math.dist(e.start, e.end)) for e in piece.edges}
    assert lengths["hem"] == 200 and lengths["top"] == 100


@pytest.mark.parametrize("anchor", [9, "nowhere"])
def test_an_anchor_that_is_not_there_is_said_with_what_is(anchor: int | str) -> None:
    """Key, what was found, what there is."""
    with pytest.raises(OrderError, match=r"corners 1 to 4") as caught:
        prepare(Piece("p", RECTANGLE), Preparation(grain=0.0, edges=(EdgeSpec("hem", 1, anchor),)))
    assert caught.value.key == "edge 'hem'"


def test_the_fold_side_is_found_and_straightened() -> None:
    """Points up to 0.5 mm off are put on the line, and told."""
    ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 200.0), (0.0, 200.0), (0.3, 100.0))
    piece, findings = prepare(Piece("p", ring), Preparation(grain=90.0, fold="left"))
    assert piece.fold is not None
    assert len(piece.outline) == 4
    assert piece.fold[0][1] == piece.fold[1][1]
    assert [f.kind for f in findings] == ["repaired"]


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_a_round_side_cannot_lie_on_the_fold(side: str) -> None:
    """A circle has no straight side."""
    with pytest.raises(PatternError, match=f"the {side} side of the drawing is not straight"):
        prepare(Piece("p", circle(50.0)), Preparation(grain=90.0, fold=side))  # type: ignore[arg-type]


def test_a_grainline_a_little_off_the_fold_is_turned_to_it() -> None:
    """0.3 degrees are repaired and told, so that the fold edge lies along the cloth; 5 are refused; 45 are bias."""
    with pytest.raises(PatternError, match=r"5\.0° off the grain"):
        prepare(Piece("p", RECTANGLE), Preparation(fold="left", grain=95.0))
    for off, kind in ((0.3, "repaired"), (45.0, "note")):
        a = math.radians(90.0 + off)
        line = ((50.0, 50.0), (50.0 + 100.0 * math.cos(a), 50.0 + 100.0 * math.sin(a)))
        piece, findings = prepare(Piece("p", RECTANGLE, grainline=line), Preparation(fold="left"))
        assert [f.kind for f in findings] == [kind]
        assert piece.fold is not None
        assert (piece.fold[0][1] == piece.fold[1][1]) == (kind == "repaired")


def test_a_grainline_of_our_own_lies_inside_the_piece() -> None:
    """A crescent, whose centroid lies outside."""
    outer = ellipse(100.0, 100.0, 200)[:101]
    inner = ellipse(70.0, 80.0, 200)[:101][::-1]
    piece, _ = prepare(Piece("p", outer + inner), Preparation(grain=90.0))
    assert piece.grainline is not None
    assert Polygon(piece.outline).contains(LineString(piece.grainline))
    assert piece.grainline[0][1] == piece.grainline[1][1] == 0.0
    assert piece.grainline[0][0] == -piece.grainline[1][0]


def test_no_grain_at_all_is_refused() -> None:
    """What to do is said."""
    with pytest.raises(PatternError, match="draw one, or give its angle in the order"):
        prepare(Piece("p", RECTANGLE), Preparation())


@pytest.mark.parametrize(
    ("ring", "words"),
    [
        (((0.0, 0.0), (100.0, 100.0), (100.0, 0.0), (0.0, 100.0)), r"crosses or touches itself at \(50\.0, 50\.0\) mm"),
        (((0.0, 0.0), (50.0, 0.0), (100.0, 0.0)), "encloses no area"),
        (((0.0, 0.0), (math.nan, 0.0), (100.0, 50.0)), "no number"),
    ],
)
def test_unsound_outlines_are_refused(ring: Ring, words: str) -> None:
    """Crossing, empty, not a number."""
    with pytest.raises(PatternError, match=words):
        prepare(Piece("p", ring, file="x.svg"), Preparation(grain=0.0))


def test_what_the_drawing_says_is_not_overruled_but_told() -> None:
    """Grain and fold given twice."""
    piece = Piece("p", RECTANGLE, grainline=((50.0, 20.0), (50.0, 120.0)), fold=((0.0, 200.0), (0.0, 0.0)))
    _, findings = prepare(piece, Preparation(grain=0.0, fold="left"))
    assert [f.kind for f in findings] == ["ignored", "ignored"]


@settings(max_examples=EXAMPLES, deadline=None)
@given(ring=outlines(), turn=st.integers(0, 359), dx=st.integers(-500, 500), clockwise=st.booleans())
def test_turning_the_drawing_with_its_grain_changes_nothing(ring: Ring, turn: int, dx: int, clockwise: bool) -> None:
    """The ready piece is the same to 1e-6 mm, its ring anticlockwise however it was drawn."""
    if not Polygon(ring).is_valid:
        return
    a = math.radians(turn)
    c, s = math.cos(a), math.sin(a)

    def drawn(p: tuple[float, float]) -> tuple[float, float]:
        return (c * p[0] - s * p[1] + dx, s * p[0] + c * p[1])

    line = ((-10.0, 5.0), (30.0, 5.0))
    plain, _ = prepare(Piece("p", ring, grainline=line), Preparation())
    other_ring = tuple(drawn(p) for p in ring)
    other, _ = prepare(
        Piece("p", other_ring[::-1] if clockwise else other_ring, grainline=(drawn(line[0]), drawn(line[1]))),
        Preparation(),
    )
    assert signed_area(other.outline) > 0
    first = {(round(x, 4), round(y, 4)) for x, y in plain.outline}
    assert len(plain.outline) == len(other.outline)
    assert all(min(math.dist(p, q) for q in first) < 1e-3 for p in other.outline)


def test_anchors_of_a_piece_list_both() -> None:
    """Corners and notches, as the labelled picture shows them."""
    anchors = anchors_of(Piece("p", RECTANGLE, notches=(Notch((50.0, 0.0), 90.0),)))
    assert len(anchors.corners) == 4
    assert anchors.notches == (("n1", (50.0, 0.0)),)
