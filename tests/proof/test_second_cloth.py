"""A second cloth laid over the first: how it has to lie, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from nesting.cloth.spreads import make_spread
from nesting.model.lay import Lay, Placement, Section
from nesting.model.order import Order, SpreadName, Together
from nesting.proof import FailureKind, prove

from .build import BAND, BRIEF, LEG, TAB, cut, finished, order_of, put

TO_THE_LEADER: Any = "to the leader"
#: One-sided, of the leg's outline.
LINING = replace(LEG, name="lining", cut=None, mirrored=None)
HALF = replace(BRIEF, name="lining")


def found(lay: Lay, order: Order, first: Lay | None = None) -> set[FailureKind]:
    """The kinds of failure."""
    return {f.kind for f in prove(lay, order, first=first).failures}


def two_cloths(faces: Any, *, pair: bool = False, half: bool = False, count: int = 1, **main: Any) -> Order:
    """A leg, or a half, with its lining from a second cloth."""
    how: dict[str, Any] = {"cut": 2, "mirrored": True} if pair else {"cut": 1, "mirrored": False}
    leader, inner = (BRIEF, HALF) if half else (LEG, LINING)
    order = order_of(cut(leader, **how), cut(inner, cloth="thin", **how), count=count, **main)
    first = order.cloths[0]
    return replace(
        order,
        cloths=(first, replace(first, name="thin", plies=1)),
        together=(Together(leader.name, "lining", faces),),
    )


def over(
    order: Order, kind: SpreadName, placements: list[Placement], *, turned: bool, depths: tuple[float, ...] = ()
) -> Lay:
    """The thin cloth over the main one."""
    main = order.cloths[0]
    cloth = replace(order.cloths[1], plies=main.plies)
    far = max(x for p in placements for x, _ in p.outline)
    section = Section(make_spread(kind, cloth, far, depths, turned=turned), far, tuple(placements))
    lay = finished(replace(order, cloths=(main, cloth)), (section,), cloth="thin")
    return replace(lay, over="main")


#: (case, order, spread, depths, pieces, whether the second cloth lies turned over); the hand is worked out beside each
GOOD: list[tuple[str, Order, SpreadName, tuple[float, ...], list[Placement], bool]] = [
    # face up, unflipped: right, as the leg is
    ("open, the same way", two_cloths("same"), "open", (), [put(LINING, 150, 100)], False),
    # face down, unflipped: left
    ("open, to the leader", two_cloths(TO_THE_LEADER), "open", (), [put(LINING, 150, 100)], True),
    # over a leg that lies flipped on the top ply, face down: flipped on a ply that lies face down: right
    (
        "fold, the same way, on the top ply",
        two_cloths("same"),
        "lengthwise fold",
        (),
        [put(LINING, 150, 100, plies=(1,), flipped=True)],
        False,
    ),
    # wrong sides together the lowest ply lies face down and the top one up: flipped there, left
    (
        "fold, to the leader, on the top ply",
        two_cloths(TO_THE_LEADER),
        "lengthwise fold",
        (),
        [put(LINING, 150, 100, plies=(1,), flipped=True)],
        True,
    ),
    (
        "fold, to the leader, on the bottom ply",
        two_cloths(TO_THE_LEADER),
        "partial fold",
        (250.0,),
        [put(LINING, 150, 100)],
        True,
    ),
    # one of each hand, whichever way it lies
    (
        "fold, a pair through both plies, to the leader",
        two_cloths(TO_THE_LEADER, pair=True),
        "double fold",
        (250.0, 200.0),
        [put(LINING, 150, 100, plies=(0, 1))],
        True,
    ),
    (
        "crosswise fold, to the leader, on the top ply",
        two_cloths(TO_THE_LEADER),
        "crosswise fold",
        (),
        [put(LINING, 150, 100, plies=(1,), flipped=True)],
        True,
    ),
    # three plies, all face down: three left ones
    (
        "a stack face up, to the leader",
        two_cloths(TO_THE_LEADER, count=3, plies=3),
        "stacked face up",
        (),
        [put(LINING, 150, 100, plies=(0, 1, 2), copies=(1, 2, 3))],
        True,
    ),
    (
        "a stack face to face, to the leader",
        two_cloths(TO_THE_LEADER, pair=True, plies=2),
        "stacked face to face",
        (),
        [put(LINING, 150, 100, plies=(0, 1))],
        True,
    ),
    # a half has no hand; it lies on the fold of a cloth folded either way
    (
        "a half on the fold, to the leader",
        two_cloths(TO_THE_LEADER, half=True),
        "lengthwise fold",
        (),
        [put(HALF, 100, 30, plies=(0, 1), on_fold=True)],
        True,
    ),
]


@pytest.fixture(params=GOOD, ids=lambda case: case[0])
def case(request: pytest.FixtureRequest) -> tuple[Order, Lay]:
    """One of the sound lays."""
    _, order, kind, depths, placements, turned = request.param
    return order, over(order, kind, placements, turned=turned, depths=depths)


def test_good(case: tuple[Order, Lay]) -> None:
    """Worked out by hand, it holds."""
    order, lay = case
    assert [str(f) for f in prove(lay, order).failures] == []


def test_other_face_up(case: tuple[Order, Lay]) -> None:
    """The second cloth said to lie the other way up."""
    order, lay = case
    section = lay.sections[0]
    plies = tuple(replace(p, face="down" if p.face == "up" else "up") for p in section.spread.plies)
    other = replace(lay, sections=(replace(section, spread=replace(section.spread, plies=plies)),))
    assert found(other, order) == {"spread"}


def test_other_hand(case: tuple[Order, Lay]) -> None:
    """Each piece flipped where it lies comes out in the other hand, but for pairs through both plies and for halves."""
    order, lay = case
    section = lay.sections[0]
    if order.pieces[1].mirrored or section.placements[0].on_fold:
        pytest.skip("it has both hands, or none")
    flipped = []
    for p in section.placements:
        again = put(LINING, p.x, p.y, plies=p.plies, flipped=not p.flipped, copies=p.copies)
        flipped.append(again)
    other = replace(lay, sections=(replace(section, placements=tuple(flipped)),))
    assert found(other, order) == {"hand"}


def test_the_order_wants_it_the_other_way(case: tuple[Order, Lay]) -> None:
    """The same lay, judged by an order that wants the followers to face the other way."""
    order, lay = case
    together = order.together[0]
    faces: Any = "same" if together.faces == TO_THE_LEADER else TO_THE_LEADER
    assert "spread" in found(lay, replace(order, together=(replace(together, faces=faces),)))


def test_by_itself_it_lies_right_side_up(case: tuple[Order, Lay]) -> None:
    """Turned over is only a cloth that lies over another; its pieces' hands are the same by itself."""
    order, lay = case
    alone = replace(lay, over=None)
    turned = lay.sections[0].spread.plies[0].face == "down"
    stacked = len(lay.sections[0].spread.plies) > 1 and not lay.sections[0].spread.folds
    assert ("spread" in found(alone, order)) == (turned or stacked)


def test_cut_apart_in_the_right_hand() -> None:
    """By itself, face up, a lining that would face its leader lies flipped; unflipped it is a right one."""
    order = two_cloths(TO_THE_LEADER)
    flipped = replace(over(order, "open", [put(LINING, 150, 100, flipped=True)], turned=False), over=None)
    assert found(flipped, order) == set()
    plain = replace(over(order, "open", [put(LINING, 150, 100)], turned=False), over=None)
    failure, *others = prove(plain, order).failures
    assert {f.kind for f in (failure, *others)} == {"hand"}
    assert failure.message == "lining of shorts: 0 right and 1 left asked for, 1 right and 0 left are cut"


def test_over_what_it_cannot_lie() -> None:
    """Over a cloth that is not in the order, over itself, or with a piece that follows nothing there."""
    order = two_cloths("same")
    lay = over(order, "open", [put(LINING, 150, 100)], turned=False)
    assert found(replace(lay, over="felt"), order) == {"order"}
    assert found(replace(lay, over="thin"), order) == {"order"}
    assert found(lay, replace(order, together=())) == {"together"}
    garments = (*order.garments, replace(order.garments[0], name="spare", pieces=("lining",)))
    two = replace(order, garments=garments)
    both = over(two, "open", [put(LINING, 150, 100), put(LINING, 150, 300, garment="spare")], turned=False)
    assert found(both, two) == {"together"}


def test_followers_that_face_different_ways() -> None:
    """One cloth cannot lie both ways."""
    order = two_cloths("same")
    pieces = (*order.pieces, cut(BAND), cut(TAB, cloth="thin"))
    names = ("leg", "lining", "band", "tab")
    mixed = replace(
        order,
        pieces=pieces,
        garments=(replace(order.garments[0], pieces=names),),
        together=(*order.together, Together("band", "tab", TO_THE_LEADER)),
    )
    lay = over(mixed, "open", [put(LINING, 150, 100), put(TAB, 150, 300)], turned=True)
    said = [f.message for f in prove(lay, mixed).failures if f.kind == "together"]
    assert said == ["tab is to face its leader and lining the same way as its own: one cloth cannot lie both ways"]


@pytest.mark.parametrize("dx,dy,ok", [(0.0, 0.0, True), (0.5, 0.0, True), (5.0, 0.0, False), (0.0, 5.0, False)])
def test_at_the_places_of_the_leaders(dx: float, dy: float, ok: bool) -> None:
    """The second cloth may begin anywhere along the first, but then every piece lies on its own leader."""
    order = two_cloths("same", count=2)
    leaders = [put(LEG, 400, 100, copy=1), put(LEG, 720, 300, 180.0, copy=2)]
    main = finished(order, (Section(make_spread("open", order.cloths[0], 870.0), 870.0, tuple(leaders)),))
    assert found(main, order) == set()
    followers = [put(LINING, 150, 100, copy=1), put(LINING, 470 + dx, 300 + dy, 180.0, copy=2)]
    lay = over(order, "open", followers, turned=False)
    assert found(lay, order) == set()
    assert found(lay, order, main) == (set() if ok else {"together"})
    swapped = over(order, "open", [replace(p, copy=3 - p.copy) for p in followers], turned=False)
    assert "together" in found(swapped, order, main)
    elsewhere = over(order, "lengthwise fold", [replace(p, plies=(0,)) for p in followers], turned=False)
    assert found(elsewhere, order, replace(main, sections=())) == {"together"}
