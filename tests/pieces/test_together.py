"""Pieces cut together: where the follower lies, how far they differ, whether it lies inside."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting.model.piece import Edge, Piece, Ring
from nesting.pieces.agreement import agreement, put
from nesting.pieces.prepare import prepare
from nesting.pieces.wishes import EdgeSpec, Preparation
from tests.pieces.outlines import EXAMPLES

FRONT: Ring = ((0.0, 0.0), (60.0, 0.0), (150.0, 120.0), (180.0, 120.0), (180.0, 300.0), (0.0, 300.0))
LINING: Ring = ((0.0, 0.0), (60.0, 0.0), (120.0, 80.0), (0.0, 80.0))


def ready(name: str, ring: Ring, *, fold: bool = True, grain: float = 90.0, **how: object) -> Piece:
    """The piece in its grain frame, on the fold at its left side."""
    settings = Preparation(grain=grain, fold="left" if fold else None, **how)  # type: ignore[arg-type]
    return prepare(Piece(name, ring), settings)[0]


def moved(ring: Ring, dx: float, dy: float) -> Ring:
    """The ring drawn elsewhere."""
    return tuple((x + dx, y + dy) for x, y in ring)


def test_a_lining_that_is_the_end_of_its_front_agrees() -> None:
    """It lies on the front's end, wherever it was drawn, and runs along it for the fold, the end and the leg."""
    found = agreement(ready("front", FRONT), ready("lining", moved(LINING, 500.0, -80.0)))
    assert found.agrees and found.inside and found.largest < 1e-6 and found.messages == ()
    assert sum(s.length for s in found.stretches) == pytest.approx(80.0 + 60.0 + 100.0, abs=3.0)
    placed = put(ready("lining", LINING), found.shift, found.turn, found.flipped)
    front = ready("front", FRONT)
    assert placed.fold is not None and front.fold is not None
    assert placed.fold[0][1] == pytest.approx(front.fold[0][1])
    assert min(x for x, _ in placed.outline) == pytest.approx(min(x for x, _ in front.outline))


@pytest.mark.parametrize("wider", [2.0, 3.0])
def test_a_lining_that_is_too_wide_is_told_by_how_much_and_where(wider: float) -> None:
    """The leg edge moved outward by so much, square to itself: the largest difference is that, on the front's leg."""
    n = (0.8 * wider, -0.6 * wider)  # the leg runs (60, 80)/100
    k = 60.0 + n[0] - n[1] * 0.75
    ring = ((0.0, 0.0), (k, 0.0), (k + 60.0, 80.0), (0.0, 80.0))
    edges = (EdgeSpec("end", 1, 2), EdgeSpec("leg", 2, 3))
    found = agreement(
        ready("front", FRONT, edges=edges), ready("lining", ring, edges=(EdgeSpec("end", 1, 2), EdgeSpec("leg", 2, 3)))
    )
    assert not found.agrees and not found.inside
    # along the fold it may still slide: at best the difference is shared between end and leg
    assert wider / 2 <= found.largest <= 1.4 * wider
    assert "outside 'front'" in found.messages[0]


def test_a_lining_that_is_a_little_too_narrow_does_not_agree_though_it_lies_inside() -> None:
    """The leg 3 mm short of the front's all along, the end as long as it should be nowhere: told with its figure."""
    square: Ring = ((0.0, 0.0), (200.0, 0.0), (200.0, 300.0), (0.0, 300.0))
    narrow: Ring = ((0.0, 0.0), (197.0, 0.0), (197.0, 300.0), (0.0, 300.0))
    found = agreement(ready("front", square), ready("lining", narrow))
    assert found.inside and not found.agrees
    assert found.largest == pytest.approx(3.0)
    assert "differ by up to 3.0 mm (allowed 1.0 mm)" in found.messages[0]
    assert agreement(ready("front", square), ready("lining", narrow), 3.5).agrees


def test_a_lining_drawn_the_other_way_round_is_flipped() -> None:
    """Mirror image of the end of the front, no fold: flipped across its grain it agrees."""
    mirrored = tuple((-x, y) for x, y in reversed(LINING))
    found = agreement(ready("front", FRONT, fold=False), ready("lining", mirrored, fold=False))
    assert found.agrees and found.flipped and found.turn == 0.0


def test_a_lining_upside_down_is_turned() -> None:
    """Drawn with the grain reversed."""
    turned = tuple((-x, -y) for x, y in LINING)
    found = agreement(ready("front", FRONT, fold=False), ready("lining", turned, fold=False, grain=90.0))
    assert found.agrees and found.turn == 180.0 and not found.flipped


def test_a_half_and_a_whole_do_not_go_together() -> None:
    """Said in words; never agreed."""
    found = agreement(ready("front", FRONT), ready("lining", LINING, fold=False))
    assert not found.agrees
    assert "is a half on the fold" in found.messages[0]


def test_a_piece_well_inside_runs_along_nowhere() -> None:
    """A patch in the middle: inside, told that no edge is shared."""
    patch = ((0.0, 0.0), (20.0, 7.0), (28.0, 31.0), (4.0, 26.0))
    found = agreement(ready("front", ((0.0, 0.0), (300.0, 0.0), (300.0, 300.0), (0.0, 300.0)), fold=False),
                      ready("patch", patch, fold=False))  # fmt: skip
    assert found.inside


def test_equal_names_place_a_follower_that_does_not_fit() -> None:
    """The crotch end of the lining belongs to the crotch end of the front, though it fits better at the waist."""
    front = prepare(
        Piece("front", FRONT, edges=(Edge("crotch", (0.0, 0.0), (60.0, 0.0)),)), Preparation(grain=90.0, fold="left")
    )[0]
    wide = ((0.0, 0.0), (75.0, 0.0), (135.0, 80.0), (0.0, 80.0))
    lining = prepare(
        Piece("lining", wide, edges=(Edge("crotch", (0.0, 0.0), (75.0, 0.0)),)), Preparation(grain=90.0, fold="left")
    )[0]
    found = agreement(front, lining)
    placed = put(lining, found.shift, found.turn, found.flipped)
    assert min(x for x, _ in placed.outline) == pytest.approx(min(x for x, _ in front.outline), abs=4.0)
    assert not found.agrees


@settings(max_examples=max(10, EXAMPLES // 4), deadline=None)
@given(st.integers(-900, 900), st.integers(-900, 900), st.sampled_from([0.0, 90.0, 180.0, 270.0]))
def test_where_the_drawing_stands_changes_no_verdict(dx: int, dy: int, turn: float) -> None:
    """The same two pieces drawn elsewhere and turned, grain and all."""
    a = math.radians(turn)
    c, s = round(math.cos(a)), round(math.sin(a))

    def drawn(ring: Ring) -> Ring:
        return tuple((c * x - s * y + dx, s * x + c * y + dy) for x, y in ring)

    found = agreement(
        ready("front", drawn(FRONT), fold=False, grain=90.0 + turn),
        ready("lining", drawn(LINING), fold=False, grain=90.0 + turn),
    )
    assert found.agrees and not found.flipped and found.turn == 0.0
