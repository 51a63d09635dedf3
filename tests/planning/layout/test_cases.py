"""Cases small enough to be worked out by hand: what lies on which ply, which way, how many; and what is refused.

The answer stands beside each case. Rules: face up is right side up; on cloth that lies face down an unflipped
placement cuts the mirror image; folded cloth lies right sides together, ply 0 up and ply 1 down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest

from nesting.cloth.orientation import orientation
from nesting.cloth.spreads import make_spread
from nesting.model.errors import CannotLayError, OrderError
from nesting.model.lay import Lay
from nesting.model.order import Order, Together
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.solve import lay_cloth
from nesting.proof import prove
from nesting.resolving.resolve import resolve
from tests.planning.builders import flag, half, order_of, rect

ONE_ROUND = SearchOptions(seconds=None, rounds=1, seed=1, workers=1)


def laid(order: Order, spread: Any) -> Lay:
    """A lay of one round, proved."""
    lay = lay_cloth(resolve(order), "main", ONE_ROUND, spread=spread)
    verdict = prove(lay, order)
    assert verdict.ok, [str(f) for f in verdict.failures]
    return lay


def picture(lay: Lay) -> list[tuple[Any, ...]]:
    """(piece, plies, flipped, on fold, opened, gives), sorted: what the hand-worked answers list."""
    return sorted((p.piece, p.plies, p.flipped, p.on_fold, p.opened, p.gives) for p in lay.placements)


@dataclass(frozen=True)
class Case:
    """One case: an order, a spread, and what must come out."""

    name: str
    order: Order
    spread: str
    #: (piece, plies, flipped, on fold, opened, gives); flipped is None where it makes no difference
    answer: list[tuple[Any, ...]]


UP, DOWN, BOTH = (0,), (1,), (0, 1)

CASES = [
    # -- open cloth, one ply, face up ------------------------------------------------------------------------------
    Case("a single piece lies as drawn", order_of(flag("a", 300, 200)), "open", [("a", UP, False, False, False, 1)]),
    Case(
        "a pair takes two placements, one of them flipped",
        order_of(flag("a", 300, 200, cut=2, mirrored=True)),
        "open",
        [("a", UP, False, False, False, 1), ("a", UP, True, False, False, 1)],
    ),
    Case(
        "two alike both lie as drawn",
        order_of(flag("a", 300, 200, cut=2)),
        "open",
        [("a", UP, False, False, False, 1), ("a", UP, False, False, False, 1)],
    ),
    Case(
        "without a fold a half is opened out",
        order_of(half("h", 300, 200)),
        "open",
        [("h", UP, None, False, True, 1)],
    ),
    # -- lengthwise fold: two plies, face to face ------------------------------------------------------------------
    Case(
        "a pair is one placement through both plies",
        order_of(flag("a", 300, 200, cut=2, mirrored=True)),
        "lengthwise fold",
        [("a", BOTH, None, False, False, 2)],
    ),
    Case(
        "three garments: three placements for three pairs",
        order_of(flag("a", 300, 200, cut=2, mirrored=True), count=3),
        "lengthwise fold",
        [("a", BOTH, None, False, False, 2)] * 3,
    ),
    Case(
        "a half lies with its edge on the fold, through both plies, and gives one piece",
        order_of(half("h", 300, 200)),
        "lengthwise fold",
        [("h", BOTH, None, True, False, 1)],
    ),
    Case(
        "a symmetric band, cut 2: both plies at once",
        order_of(rect("b", 300, 60, cut=2)),
        "lengthwise fold",
        [("b", BOTH, False, False, False, 2)],
    ),
    Case(
        "a symmetric band, cut 1, for three garments: two at once and one on a single ply",
        order_of(rect("b", 300, 60), count=3),
        "lengthwise fold",
        [("b", "one", False, False, False, 1), ("b", BOTH, False, False, False, 2)],
    ),
    Case(
        "cloth without a right side: two alike may be cut as mirror images",
        order_of(flag("a", 300, 200, cut=2), right_side=False),
        "lengthwise fold",
        [("a", BOTH, None, False, False, 2)],
    ),
    Case(
        "a maker who says that the piece has no right side gets the same",
        order_of(flag("a", 300, 200, cut=2, alike_ok=True)),
        "lengthwise fold",
        [("a", BOTH, None, False, False, 2)],
    ),
    # -- flaps -----------------------------------------------------------------------------------------------------
    Case(
        "partial fold: the half on the fold, as deep a flap as it needs",
        order_of(half("h", 300, 200), rect("b", 200, 500)),
        "partial fold",
        [("b", UP, False, False, False, 1), ("h", BOTH, None, True, False, 1)],
    ),
    Case(
        "double fold: two halves, each on one of the folds",
        order_of(half("f", 300, 200), half("h", 300, 200)),
        "double fold",
        [("f", "flap", None, True, False, 1), ("h", "flap", None, True, False, 1)],
    ),
    Case(
        "crosswise fold: a pair through both plies, the upper one reversed end to end",
        order_of(flag("a", 300, 700, cut=2, mirrored=True)),
        "crosswise fold",
        [("a", BOTH, None, False, False, 2)],
    ),
    Case(
        "tube: halves on either fold",
        order_of(half("h", 300, 200), count=2, tubular=True, width=500.0),
        "tubular",
        [("h", BOTH, None, True, False, 1), ("h", BOTH, None, True, False, 1)],
    ),
    # -- stacks ----------------------------------------------------------------------------------------------------
    Case(
        "three plies face up: one placement gives three alike",
        order_of(flag("a", 300, 200), count=3, plies=3),
        "stacked face up",
        [("a", (0, 1, 2), False, False, False, 3)],
    ),
    Case(
        "two plies face up give two equal pieces, so a pair takes two placements",
        order_of(flag("a", 300, 200, cut=2, mirrored=True), count=2, plies=2),
        "stacked face up",
        [("a", BOTH, False, False, False, 2), ("a", BOTH, True, False, False, 2)],
    ),
    Case(
        "five from stacks of two: twice through both plies, once through one; exactly five",
        order_of(flag("a", 300, 200), count=5, plies=2),
        "stacked face up",
        [
            ("a", "one", False, False, False, 1),
            ("a", BOTH, False, False, False, 2),
            ("a", BOTH, False, False, False, 2),
        ],
    ),
    Case(
        "five from stacks of two, surplus welcome: three times through both plies, six in all",
        order_of(flag("a", 300, 200), count=5, plies=2, surplus=True),
        "stacked face up",
        [("a", BOTH, False, False, False, 2)] * 3,
    ),
    Case(
        "three pairs from four plies face to face, surplus welcome: twice through all, four pairs",
        order_of(flag("a", 300, 200, cut=2, mirrored=True), count=3, plies=4, surplus=True),
        "stacked face to face",
        [("a", (0, 1, 2, 3), None, False, False, 4)] * 2,
    ),
    Case(
        "face to face, four plies: one placement gives two pairs",
        order_of(flag("a", 300, 200, cut=2, mirrored=True), count=2, plies=4),
        "stacked face to face",
        [("a", (0, 1, 2, 3), None, False, False, 4)],
    ),
    Case(
        "face to face, an odd number of pairs: all plies once, then two of them",
        order_of(flag("a", 300, 200, cut=2, mirrored=True), count=3, plies=4),
        "stacked face to face",
        [("a", "two", None, False, False, 2), ("a", (0, 1, 2, 3), None, False, False, 4)],
    ),
]


def _matches(found: tuple[Any, ...], wanted: tuple[Any, ...]) -> bool:
    piece, plies, flipped, on_fold, opened, gives = found
    counts = {"one": 1, "two": 2, "flap": 2}
    plies_fit = len(plies) == counts[wanted[1]] if isinstance(wanted[1], str) else plies == wanted[1]
    return (
        piece == wanted[0]
        and plies_fit
        and wanted[2] in (None, flipped)
        and (on_fold, opened, gives) == (wanted[3], wanted[4], wanted[5])
    )


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_answer_worked_out_by_hand(case: Case) -> None:
    """The lay is proved and shows exactly the placements of the answer."""
    found = picture(laid(case.order, case.spread))
    left = list(found)
    for wanted in case.answer:
        fitting = next((f for f in left if _matches(f, wanted)), None)
        assert fitting is not None, f"{wanted} is not in {left}"
        left.remove(fitting)
    assert not left, f"more was cut than asked for: {left}"


def test_single_on_the_lower_ply_is_as_drawn_and_on_the_upper_ply_flipped() -> None:
    """One-sided singles on folded cloth: face up unflipped, face down flipped; the ply below stays free and is used."""
    lay = laid(order_of(flag("a", 300, 480), count=2), "lengthwise fold")
    assert all(p.flipped == (p.plies == DOWN) for p in lay.placements)
    assert sorted(p.plies for p in lay.placements) == [UP, DOWN]  # 480 of 500 mm each: one above the other
    assert lay.lay_length == pytest.approx(300.0, abs=0.01)


REFUSALS = [
    # (case, order, spread, words of the reason)
    (
        "no crosswise fold with nap",
        order_of(flag("a", 300, 200), nap="one way"),
        "crosswise fold",
        "nap of the upper ply",
    ),
    (
        "no crosswise fold with nap by garment either",
        order_of(flag("a", 300, 200), nap="by garment"),
        "crosswise fold",
        "nap of the upper ply",
    ),
    (
        "face to face with nap needs turned plies",
        order_of(flag("a", 300, 200, cut=2, mirrored=True), nap="one way", plies=2),
        "stacked face to face",
        "may_turn_plies",
    ),
    (
        "face to face needs an even number of plies",
        order_of(flag("a", 300, 200, cut=2, mirrored=True), plies=3),
        "stacked face to face",
        "even number of plies, the order has 3",
    ),
    ("a stack needs plies", order_of(flag("a", 300, 200)), "stacked face up", "plies = 2 or more"),
    ("flat cloth is no tube", order_of(flag("a", 300, 200)), "tubular", "not a tube"),
    ("a tube does not lie open", order_of(flag("a", 300, 200), tubular=True), "open", "is a tube"),
    (
        "more plies than the cutter takes",
        order_of(flag("a", 300, 200), plies=6, max_plies=4),
        "stacked face up",
        "6 plies asked for, but max_plies is 4",
    ),
    (
        "a half that may not be opened cannot lie on open cloth",
        order_of(half("h", 300, 200, unfold=False)),
        "open",
        "may not be opened out",
    ),
    (
        "a half that may not be opened cannot lie in a stack",
        order_of(half("h", 300, 200, unfold=False), plies=2),
        "stacked face up",
        "may not be opened out",
    ),
    ("a piece wider than the cloth", order_of(rect("r", 100, 1200)), "open", "'r'"),
    (
        "too little stretch across",
        order_of(rect("r", 300, 200, needs_stretch=0.5), stretch_across=0.3, stretch_along=0.4),
        "open",
        "needs 50 % across its grain, the cloth stretches 30 % crosswise",
    ),
    (
        "a leader and its follower cannot be cut together on one ply",
        order_of(rect("a", 300, 200), rect("l", 300, 200), together=(Together("a", "l"),)),
        "open",
        "cut together",
    ),
    (
        "facing the same way is not what folded plies give",
        order_of(rect("a", 300, 200), rect("l", 300, 200), together=(Together("a", "l"),)),
        "lengthwise fold",
        "folded plies face each other",
    ),
]


@pytest.mark.parametrize(("name", "order", "spread", "words"), REFUSALS, ids=[r[0] for r in REFUSALS])
def test_refused_with_its_reason(name: str, order: Order, spread: Any, words: str) -> None:
    """What the rules forbid is refused, and the refusal says why."""
    with pytest.raises(CannotLayError) as caught:
        lay_cloth(resolve(order), "main", ONE_ROUND, spread=spread)
    assert words in str(caught.value)


def test_an_odd_number_of_a_mirrored_piece_is_an_error() -> None:
    """Left and right come in pairs."""
    with pytest.raises(OrderError, match="cut in pairs"):
        lay_cloth(resolve(order_of(flag("a", 300, 200, cut=3, mirrored=True))), "main", ONE_ROUND, spread="open")


STRETCH = {"stretch_across": 0.6, "stretch_along": 0.6}

TURNS = [
    # (case, piece settings, cloth settings, allowed turns)
    ("plain cloth", {}, {}, {0, 180}),
    ("one-way nap", {}, {"nap": "one way"}, {0}),
    ("nap by garment: both, tied elsewhere", {}, {"nap": "by garment"}, {0, 180}),
    ("equal stretch", {}, STRETCH, {0, 90, 180, 270}),
    ("equal within the tolerance", {}, {"stretch_across": 0.60, "stretch_along": 0.56}, {0, 90, 180, 270}),
    ("unequal by more than the tolerance", {}, {"stretch_across": 0.60, "stretch_along": 0.50}, {0, 180}),
    ("equal stretch but nap runs along", {}, {**STRETCH, "nap": "one way"}, {0}),
    ("the piece is marked one way", {"turn": "one way"}, STRETCH, {0}),
    ("the piece is marked either way", {"turn": "either way"}, STRETCH, {0, 180}),
    ("need met both ways", {"needs_stretch": 0.5}, STRETCH, {0, 90, 180, 270}),
    ("need met crosswise only", {"needs_stretch": 0.5}, {"stretch_across": 0.6, "stretch_along": 0.3}, {0, 180}),
    ("need met lengthwise only", {"needs_stretch": 0.5}, {"stretch_across": 0.3, "stretch_along": 0.6}, {90, 270}),
    ("need met neither way", {"needs_stretch": 0.7}, STRETCH, set()),
    ("quarter turns without measured stretch", {"turn": "quarter turns"}, {}, {0, 180}),
    ("bias", {"turn": "bias"}, {}, {45, 135, 225, 315}),
    ("bias with one-way nap", {"turn": "bias"}, {"nap": "one way"}, {45, 315}),
]


@pytest.mark.parametrize(("name", "piece", "cloth", "turns"), TURNS, ids=[t[0] for t in TURNS])
def test_turns_that_the_cloth_allows(name: str, piece: Any, cloth: Any, turns: set[int]) -> None:
    """Each row of the table of orientations, right and refused; a refused quarter turn has its figure."""
    order = order_of(rect("r", 300, 200, **piece), **cloth)
    allowed = orientation(order.pieces[0], order.cloths[0])
    assert {round(t) for t in allowed.turns} == turns
    refused = {round(t) for t, _ in allowed.refused}
    assert not refused & turns
    for _, why in allowed.refused:
        assert why


def test_any_turn_for_a_piece_without_grain() -> None:
    """"Any" really means more than the four quarter turns."""
    order = order_of(rect("r", 300, 200, turn="any"), nap="one way")
    assert len(orientation(order.pieces[0], order.cloths[0]).turns) > 4


def test_refused_quarter_turn_names_both_figures() -> None:
    """60 % and 50 % differ by more than 5 %."""
    order = order_of(rect("r", 300, 200), stretch_across=0.6, stretch_along=0.5)
    reasons = " ".join(why for _, why in orientation(order.pieces[0], order.cloths[0]).refused)
    assert "60 %" in reasons and "50 %" in reasons and "5 %" in reasons


def test_nap_by_garment_ties_the_pieces_of_one_garment() -> None:
    """All pieces of one garment point the same way, whichever that is."""
    order = order_of(flag("a", 300, 400), flag("b", 280, 420), flag("c", 260, 380), count=4, nap="by garment")
    lay = laid(order, "open")
    ways: dict[int, set[float]] = {}
    for p in lay.placements:
        ways.setdefault(p.copy, set()).add(p.turn)
    assert all(len(w) == 1 for w in ways.values())


def test_leader_and_follower_on_two_plies() -> None:
    """Facing each other on folded cloth: leader on one ply, follower at the same place on the other."""
    order = order_of(
        rect("front", 300, 200), rect("lining", 300, 200), together=(Together("front", "lining", "to the leader"),)
    )
    lay = laid(order, "lengthwise fold")
    leader, follower = sorted(lay.placements, key=lambda p: p.follows or "")
    assert (leader.piece, follower.piece, follower.follows) == ("front", "lining", "front")
    assert set(leader.plies) | set(follower.plies) == {0, 1} and leader.plies != follower.plies
    assert leader.outline == follower.outline


WIDTHS = [
    # (kind, depths, table width, region of each ply in y) on cloth 1000 mm wide after washing, selvage 10 mm
    ("open", (), 1000, [(10, 990)]),
    ("lengthwise fold", (), 500, [(0, 490), (0, 490)]),
    ("partial fold", (300.0,), 700, [(0, 690), (0, 290)]),
    ("double fold", (200.0, 100.0), 700, [(0, 700), (0, 190), (610, 700)]),
    ("double fold", (250.0, 250.0), 500, [(0, 500), (0, 240), (260, 500)]),
    ("crosswise fold", (), 1000, [(10, 990), (10, 990)]),
]


@pytest.mark.parametrize(("kind", "depths", "table", "regions"), WIDTHS)
def test_tables_and_plies_of_each_spread(kind: Any, depths: Any, table: float, regions: Any) -> None:
    """Table width W, W/2, W − f, W − f1 − f2; every selvage on the table costs its margin, a fold costs nothing."""
    spread = make_spread(kind, order_of(rect("r", 1, 1), selvage=10.0).cloths[0], 500.0, depths)
    assert spread.table_width == table
    assert [(min(y for _, y in p.region), max(y for _, y in p.region)) for p in spread.plies] == regions
    assert [p.face for p in spread.plies[1:]] == ["down"] * (len(spread.plies) - 1)


def test_washing_narrows_the_cloth() -> None:
    """A cloth 1000 mm wide that shrinks 4 % across lies 960 mm wide, folded 480."""
    cloth = order_of(rect("r", 1, 1), shrink_across=0.04).cloths[0]
    assert make_spread("lengthwise fold", cloth, 100.0).table_width == pytest.approx(480.0)


def test_a_follower_that_reaches_beyond_its_leader_is_refused() -> None:
    """The follower must lie inside the leader; the refusal names both."""
    order = order_of(
        rect("front", 300, 200), rect("lining", 300, 230), together=(Together("front", "lining", "to the leader"),)
    )
    with pytest.raises(CannotLayError, match="cannot be cut together with 'lining'"):
        lay_cloth(resolve(order), "main", ONE_ROUND, spread="lengthwise fold")
