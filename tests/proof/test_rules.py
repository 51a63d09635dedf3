"""The rules that decide whether a piece may lie as it does: turns, nap, hands, copies, cut together, stripes."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import pytest

from nesting.cloth.orientation import orientation
from nesting.model.lay import Lay, Placement
from nesting.model.order import Cloth, CutPiece, Garment, Motif, Order, Seam, Together
from nesting.model.piece import Edge, Notch, Piece
from nesting.pieces.agreement import agreement
from nesting.pieces.prepare import prepare
from nesting.pieces.wishes import Preparation
from nesting.proof import FailureKind, prove
from nesting.proof.matching import match_notches
from nesting.proof.turning import allowed_turns, heading, why_not_turned

from .build import BAND, BRIEF, LEG, TAB, cut, finished, lay_of, order_of, put, rectangle, with_placements
from .good import open_lay


def found(lay: Lay, order: Order) -> set[FailureKind]:
    """The kinds of failure."""
    return {f.kind for f in prove(lay, order).failures}


def cloth(**other: Any) -> Cloth:
    """A cloth."""
    return Cloth("main", 1000.0, **other)


KNIT = {"stretch_across": 0.6, "stretch_along": 0.6}


@pytest.mark.parametrize(
    "how,of,turns",
    [
        # plain cloth, same both ways: 0, 180
        ({}, {}, {0, 180}),
        ({"turn": "either way"}, {}, {0, 180}),
        ({"turn": "one way"}, {}, {0}),
        # nap, everything one way: 0 only, whatever the piece would allow
        ({}, {"nap": "one way"}, {0}),
        ({"turn": "either way"}, {"nap": "one way"}, {0}),
        ({"turn": "quarter turns"}, {"nap": "one way", **KNIT}, {0}),
        # nap by garment: 0 or 180 (the same for all pieces of one garment is judged by garment)
        ({}, {"nap": "by garment"}, {0, 180}),
        ({}, {"nap": "by garment", **KNIT}, {0, 180}),
        # a knit that stretches equally both ways, and enough
        ({}, KNIT, {0, 90, 180, 270}),
        ({"turn": "quarter turns"}, KNIT, {0, 90, 180, 270}),
        ({"turn": "either way"}, KNIT, {0, 180}),
        ({"needs_stretch": 0.6}, KNIT, {0, 90, 180, 270}),
        # never measured, or not equal: no quarter turns
        ({"turn": "quarter turns"}, {}, {0, 180}),
        ({"turn": "quarter turns"}, {"stretch_across": 0.6}, {0, 180}),
        ({"turn": "quarter turns"}, {"stretch_across": 0.6, "stretch_along": 0.5}, {0, 180}),
        ({"turn": "quarter turns"}, {"stretch_across": 0.6, "stretch_along": 0.55}, {0, 90, 180, 270}),
        ({}, {"stretch_across": 0.6, "stretch_along": 0.5, "stretch_tolerance": 0.1}, {0, 90, 180, 270}),
        # enough across only; along only (some knits stretch most lengthwise); neither
        ({"needs_stretch": 0.5}, {"stretch_across": 0.6, "stretch_along": 0.3}, {0, 180}),
        ({"needs_stretch": 0.5}, {"stretch_across": 0.3, "stretch_along": 0.6}, {90, 270}),
        ({"needs_stretch": 0.7}, KNIT, set()),
        ({"needs_stretch": 0.5, "turn": "either way"}, {"stretch_across": 0.3, "stretch_along": 0.6}, set()),
        ({"needs_stretch": 0.5}, {"stretch_across": 0.3, "stretch_along": 0.6, "nap": "one way"}, set()),
        # bias: 45 off the grain, and its mirror
        ({"turn": "bias"}, {}, {45, 135, 225, 315}),
        ({"turn": "bias"}, {"nap": "one way"}, {45, 315}),
        ({"turn": "bias"}, KNIT, {45, 135, 225, 315}),
    ],
)
def test_turns(how: dict[str, Any], of: dict[str, Any], turns: set[int]) -> None:
    """Every row of the table of turns, by hand; planning allows the same."""
    piece = cut(TAB, **how)
    assert set(allowed_turns(piece, cloth(**of)) or ()) == turns
    assert set(orientation(piece, cloth(**of)).turns) == turns


def test_any_turn() -> None:
    """A piece with no grain may lie in any turn, even with a nap."""
    piece = cut(TAB, turn="any")
    assert allowed_turns(piece, cloth(nap="one way")) is None
    assert why_not_turned(piece, cloth(nap="one way"), 17.3, on_fold=False) is None


def test_grainline_drawn_on_the_bias() -> None:
    """A bias piece whose grainline is drawn at 45° of the page gets no further 45°."""
    drawn = replace(TAB, grainline=((0, 0), (30, 30)))
    piece = replace(cut(TAB, turn="bias"), drawn=drawn)
    assert allowed_turns(piece, cloth()) == (0.0, 180.0)
    straight = replace(cut(TAB, turn="bias"), drawn=TAB)
    assert set(allowed_turns(straight, cloth()) or ()) == {45.0, 135.0, 225.0, 315.0}


@pytest.mark.parametrize(
    "grain,on_the_bias", [(45.0, True), (-45.0, True), (315.0, True), (90.0, False), (30.0, False)]
)
def test_grain_given_on_the_bias_by_the_order(grain: float, on_the_bias: bool) -> None:
    """A piece without a drawn grainline whose order says grain = 45 is on the bias already, in planning and proof."""
    drawn = replace(TAB, grainline=None)
    ready, _ = prepare(drawn, Preparation(grain=grain), file=None)
    piece = CutPiece(ready, drawn, turn="bias")
    turns = {0.0, 180.0} if on_the_bias else {45.0, 135.0, 225.0, 315.0}
    assert set(allowed_turns(piece, cloth()) or ()) == turns
    assert set(orientation(piece, cloth()).turns) == turns


def test_turns_agree_with_planning_everywhere() -> None:
    """The proof's table and planning's, written apart, allow the same turns for every mix of rules."""
    rules = (None, "one way", "either way", "quarter turns", "bias")
    shares = (None, 0.3, 0.6)
    for rule, need, nap, across, along in itertools.product(
        rules, (None, 0.5), ("none", "one way", "by garment"), shares, shares
    ):
        piece = cut(TAB, turn=rule, needs_stretch=need)
        of = cloth(nap=nap, stretch_across=across, stretch_along=along)
        assert set(allowed_turns(piece, of) or ()) == set(orientation(piece, of).turns), (
            rule,
            need,
            nap,
            across,
            along,
        )


@pytest.mark.parametrize(
    "turn,tilt,on_fold,ok",
    [
        (2.0, 2.0, False, True),
        (-2.0, 2.0, False, True),
        (178.5, 2.0, False, True),
        (2.01, 2.0, False, False),
        (0.1, 0.0, False, False),
        (1.0, 2.0, True, False),
        (180.0, 2.0, True, True),
        (360.0, 0.0, False, True),
    ],
)
def test_tilt(turn: float, tilt: float, on_fold: bool, ok: bool) -> None:
    """Grain tolerance per piece, none on a fold of the cloth."""
    assert (why_not_turned(cut(TAB, tilt=tilt), cloth(), turn, on_fold=on_fold) is None) == ok


def test_refused_turn_tells_the_figure() -> None:
    """What refused the turn stands in the words."""
    of = cloth(stretch_across=0.3, stretch_along=0.6)
    assert "needs 0.5 of stretch, the cloth has 0.3 across, 0.6 along" in str(
        why_not_turned(cut(TAB, needs_stretch=0.5), of, 0.0, on_fold=False)
    )
    assert "nap" in str(why_not_turned(cut(TAB), cloth(nap="one way"), 180.0, on_fold=False))
    assert "the piece lies one way" in str(why_not_turned(cut(TAB, turn="one way"), cloth(), 180.0, on_fold=False))


def test_heading() -> None:
    """Up or down the cloth; a piece without grain neither."""
    assert [heading(cut(TAB), t) for t in (0.0, 180.0, 45.0, 225.0, 315.0)] == ["up", "down", "up", "down", "up"]
    assert heading(cut(TAB, turn="any"), 0.0) is None


def garments_with_nap(turns: tuple[float, float, float, float], nap: str) -> tuple[Order, Lay]:
    """Two garments of a tab and a band each, in these turns: tab 1, band 1, tab 2, band 2."""
    order = order_of(cut(TAB), cut(BAND), count=2, nap=nap)
    a, b, c, d = turns
    return order, lay_of(
        order,
        "open",
        [
            put(TAB, 60, 100, a, copy=1),
            put(BAND, 120, 200, b, copy=1),
            put(TAB, 60, 300, c, copy=2),
            put(BAND, 120, 400, d, copy=2),
        ],
    )


@pytest.mark.parametrize(
    "turns,nap,wrong",
    [
        ((0, 0, 180, 180), "by garment", False),
        ((180, 180, 0, 0), "by garment", False),
        ((0, 180, 0, 180), "by garment", True),
        ((0, 0, 0, 180), "by garment", True),
        ((0, 0, 180, 180), "one way", True),
        ((0, 0, 0, 0), "one way", False),
        ((0, 180, 180, 0), "none", False),
    ],
)
def test_nap(turns: tuple[float, float, float, float], nap: str, wrong: bool) -> None:
    """With a nap by garment all pieces of one garment lie the same way, and only those have to."""
    order, lay = garments_with_nap(turns, nap)
    assert found(lay, order) == ({"turn"} if wrong else set())


def test_nap_of_garments_that_share_a_placement() -> None:
    """A placement through two plies that serves two garments ties both of them."""
    order = order_of(cut(BAND), cut(TAB), count=2, nap="by garment")

    def lay(second: float) -> Lay:
        return lay_of(
            order,
            "lengthwise fold",
            [
                put(BAND, 120, 100, 180.0, plies=(0, 1), copies=(1, 2)),
                put(TAB, 60, 200, 180.0, copy=1),
                put(TAB, 60, 300, second, copy=2),
            ],
        )

    assert found(lay(180.0), order) == set()
    assert found(lay(0.0), order) == {"turn"}


def test_alike_only_where_it_makes_no_difference() -> None:
    """Two alike through face-to-face plies come out left and right: sound only for a piece that is its own mirror
    image, where the maker says so, or where the cloth has no right side."""
    one_sided = order_of(cut(TAB, cut=2))
    through = [put(TAB, 60, 100, plies=(0, 1))]
    assert found(lay_of(one_sided, "lengthwise fold", through), one_sided) == {"hand"}
    for order in (
        order_of(cut(TAB, cut=2, alike_ok=True)),
        order_of(cut(TAB, cut=2), right_side=False),
        order_of(cut(TAB, cut=2, mirrored=True)),
    ):
        assert found(lay_of(order, "lengthwise fold", through), order) == set()
    symmetric = order_of(cut(BAND, cut=2))
    assert found(lay_of(symmetric, "lengthwise fold", [put(BAND, 130, 100, plies=(0, 1))]), symmetric) == set()


def test_symmetry_counts_marks() -> None:
    """A band with one notch on one side is no longer its own mirror image; with one on either side it is."""
    lopsided = replace(BAND, notches=(Notch((0, 20), 270.0),))
    even = replace(BAND, notches=(Notch((0, 20), 270.0), Notch((0, -20), 90.0)))
    for piece, wrong in ((lopsided, {"hand"}), (even, set())):
        order = order_of(cut(piece, cut=2))
        assert found(lay_of(order, "lengthwise fold", [put(piece, 130, 100, plies=(0, 1))]), order) == wrong


def test_pair_from_plies_that_lie_face_up() -> None:
    """Two plies that lie face up give two equal pieces, not a pair."""
    order = order_of(cut(LEG), plies=2)
    lay = lay_of(order, "stacked face up", [put(LEG, 150, 100, plies=(0, 1), copies=(1, 1))])
    assert found(lay, order) == {"hand"}


def test_hands_per_garment() -> None:
    """Two rights for the first garment and two lefts for the second: the number is right, the pairs are not."""
    order = order_of(cut(LEG), count=2)

    def lay(copies: tuple[int, int, int, int]) -> Lay:
        return lay_of(
            order,
            "open",
            [put(LEG, 150, 100 + 180 * i, flipped=i % 2 == 1, copy=copy) for i, copy in enumerate(copies)],
        )

    assert found(lay((1, 1, 2, 2)), order) == set()
    assert found(lay((1, 2, 1, 2)), order) == {"hand"}
    assert found(lay((1, 1, 1, 2)), order) == {"copy"}


def test_surplus() -> None:
    """One too many is a failure, unless the cloth's order allows what a stack gives over."""
    order = order_of(cut(TAB), count=2, plies=3)
    lay = lay_of(order, "stacked face up", [put(TAB, 60, 100, plies=(0, 1, 2), copies=(1, 2, 3))])
    assert found(lay, order) == {"count", "copy"}
    allowed = replace(order, cloths=(replace(order.cloths[0], surplus=True),))
    assert found(lay, allowed) == set()
    missing = lay_of(order, "stacked face up", [put(TAB, 60, 100, plies=(0,), copy=1)])
    assert "count" in found(missing, allowed)


def test_copies_that_do_not_come_out() -> None:
    """Two cloth pieces cannot serve three garments."""
    order = order_of(cut(BAND), count=3)
    lay = lay_of(order, "lengthwise fold", [put(BAND, 120, 100, plies=(0, 1), copies=(1, 2, 3)), put(BAND, 120, 200)])
    said = [f.message for f in prove(lay, order).failures if f.kind == "copy"]
    assert any("gives 2 cloth pieces, which cannot serve copies [1, 2, 3]" in message for message in said)


def test_the_same_garment_listed_twice() -> None:
    """Two entries of one garment are numbered on: one of the first entry, two of the second, copies 1 to 3."""
    order = order_of(cut(TAB))
    shorts = order.garments[0]
    order = replace(order, garments=(shorts, replace(shorts, count=2)))
    placements = [put(TAB, 60, 100 * copy, copy=copy) for copy in (1, 2, 3)]
    assert found(lay_of(order, "open", placements), order) == set()
    assert found(lay_of(order, "open", placements[:2]), order) == {"count", "copy"}
    # the second entry cuts its pieces from another cloth: its copies are 2 and 3, this cloth has number 1 only
    main = order.cloths[0]
    navy = replace(
        order,
        cloths=(main, replace(main, name="navy")),
        garments=(shorts, replace(shorts, count=2, cloth=(("main", "navy"),))),
    )
    assert found(lay_of(navy, "open", placements[:1]), navy) == set()
    assert found(lay_of(navy, "open", placements[1:2]), navy) == {"copy"}
    assert found(lay_of(navy, "open", placements[1:], cloth="navy"), navy) == set()


def test_pieces_of_other_cloths_do_not_count() -> None:
    """A garment may take a piece from another cloth; that piece is then out of place here."""
    order, lay = open_lay()
    main = order.cloths[0]
    pieces = tuple(replace(c, cloth="lining") if c.name == "tab" else c for c in order.pieces)
    two = replace(order, pieces=pieces, cloths=(main, replace(main, name="lining")))
    without = lay_of(two, "open", lay.placements[:3])
    assert found(without, two) == set()
    assert "count" in found(lay, two)
    # one garment says that it cuts the lining pieces from the main cloth
    renamed = replace(two, garments=(replace(two.garments[0], cloth=(("lining", "main"),)),))
    assert found(lay, renamed) == set()


#: Runs along the leg's lower, left and upper edge, and stops 60 mm short of its right one.
LINING = Piece(
    "lining",
    ((-150, -80), (90, -64), (90, 73), (20, 90), (-150, 70)),
    grainline=((-40, 0), (40, 0)),
)


def together_order(faces: str, *, tolerance: float | None = None, **of: Any) -> Order:
    """A leg whose lining is cut through with it."""
    order = order_of(cut(LEG, cut=1, mirrored=False), cut(LINING), **of)
    return replace(order, together=(Together("leg", "lining", faces, tolerance),))  # type: ignore[arg-type]


def layered(order: Order, follower: Placement) -> Lay:
    """The leg on the lower ply of a lengthwise fold, the follower as given."""
    return lay_of(order, "lengthwise fold", [put(LEG, 160, 150), follower])


def test_follower() -> None:
    """At the leader's place on the facing ply; not beside it, not on the leader's own ply, not the wrong way round."""
    order = together_order("to the leader")
    good = put(LINING, 160, 150, plies=(1,), follows="leg")
    assert found(layered(order, good), order) == set()
    assert "together" in found(layered(order, put(LINING, 160, 150, plies=(0,), follows="leg")), order)
    assert found(layered(order, put(LINING, 160, 350, plies=(1,))), order) >= {"together"}
    assert found(layered(order, replace(good, follows="tab")), order) == {"together"}
    assert "together" in found(lay_of(order, "lengthwise fold", [replace(good, follows="leg")]), order)
    # the same layers, but the order wants both to face the same way, and so a right lining
    same = together_order("same")
    assert found(layered(same, good), same) == {"hand", "together"}


def test_follower_on_plies_that_lie_alike() -> None:
    """Stacked face up, leader and follower face the same way."""
    order = together_order("same", plies=2)
    lay = lay_of(order, "stacked face up", [put(LEG, 160, 150), put(LINING, 160, 150, plies=(1,), follows="leg")])
    assert found(lay, order) == set()
    facing = together_order("to the leader", plies=2)
    assert found(lay, facing) == {"hand", "together"}


@pytest.mark.parametrize("dx,dy", [(-1.5, 0.0), (1.5, 0.0), (20.0, 10.0)])
def test_follower_off_its_place(dx: float, dy: float) -> None:
    """Sticking out of its leader, or well inside it but not where their edges run together; how far is the order's to
    say."""
    order = together_order("to the leader")
    lay = layered(order, put(LINING, 160 + dx, 150 + dy, plies=(1,), follows="leg"))
    assert found(lay, order) == {"together"}
    lenient = together_order("to the leader", tolerance=2.0)
    assert found(lay, lenient) == (set() if abs(dx) < 2.0 else {"together"})


def test_hand_of_a_follower() -> None:
    """A symmetric leader may lie flipped, but its one-sided follower then comes out in the wrong hand."""
    leader = rectangle("leg", 300, 170)
    order = order_of(cut(leader), cut(TAB))
    order = replace(order, together=(Together("leg", "tab", "to the leader"),))
    fits = agreement(leader, TAB)
    x, y = fits.shift
    good = [put(leader, 160, 150), put(TAB, 160 + x, 150 + y, plies=(1,), follows="leg")]
    assert found(lay_of(order, "lengthwise fold", good), order) == set()
    wrong = [
        put(leader, 160, 150, flipped=True),
        put(TAB, 160 + x, 150 - y, plies=(1,), follows="leg", flipped=True),
    ]
    assert found(lay_of(order, "lengthwise fold", wrong), order) == {"hand"}


def test_followers_that_cannot_be() -> None:
    """A follower that the order does not know; one that is larger than its leader; one on its leader's own ply."""
    order = together_order("to the leader")
    good = put(LINING, 160, 150, plies=(1,), follows="leg")
    alone = replace(order, together=())
    assert "together" in found(layered(alone, good), alone)
    larger = replace(LINING, outline=((-150, -80), (90, -64), (90, 80), (20, 95), (-150, 70)))
    big = replace(order, pieces=(order.pieces[0], cut(larger)))
    (failure,) = prove(layered(big, put(larger, 160, 150, plies=(1,), follows="leg")), big).failures
    assert failure.kind == "together" and "lie outside" in failure.message
    same = together_order("same", plies=2)
    one_ply = lay_of(same, "stacked face up", [put(LEG, 160, 150), put(LINING, 160, 150, follows="leg")])
    said = [f.message for f in prove(one_ply, same).failures if f.kind == "together"]
    assert said == ["lining 1: is cut through the plies of its leader leg 1"]


def test_follower_drawn_elsewhere_on_the_page() -> None:
    """The follower's own grainline may be drawn elsewhere: its place is where the outlines agree."""
    other = replace(
        LINING,
        outline=tuple((x + 30.0, y - 12.0) for x, y in LINING.outline),
        grainline=((-40, 0), (40, 0)),
    )
    order = order_of(cut(LEG, cut=1, mirrored=False), cut(other))
    order = replace(order, together=(Together("leg", "lining", "to the leader"),))
    assert found(layered(order, put(other, 130, 162, plies=(1,), follows="leg")), order) == set()
    assert found(layered(order, put(other, 130, 160, plies=(1,), follows="leg")), order) == {"together"}


def test_follower_in_a_second_cloth() -> None:
    """A follower cut from a second cloth laid over may be listed with its leader: it takes no ply here and does not
    count, but it has to be that piece, at its place."""
    order = together_order("same")
    main = order.cloths[0]
    pieces = (order.pieces[0], replace(order.pieces[1], cloth="thin"))
    order = replace(order, pieces=pieces, cloths=(main, replace(main, name="thin")))
    over = replace(put(LINING, 160, 150, follows="leg"), second_cloth="thin")
    lay = lay_of(order, "open", [put(LEG, 160, 150), over])
    assert found(lay, order) == set()
    assert prove(lay, order).cloth_pieces == 1
    assert found(with_placements(lay, {1: replace(over, second_cloth=None)}), order) >= {"count", "overlap"}
    beside = replace(put(LINING, 180, 150, follows="leg"), second_cloth="thin")
    assert found(with_placements(lay, {1: beside}), order) == {"together"}
    assert found(
        with_placements(lay, {1: replace(over, laid=replace(over.laid, notches=(Notch((1, 1), 0.0),)))}), order
    ) == {"mark"}


FRONT = Piece(
    "front",
    ((-100, -60), (100, -60), (100, 60), (-100, 60)),
    notches=(Notch((40, -60), 90.0, name="hip"), Notch((-60, -60), 90.0, name="hem")),
    grainline=((-40, 0), (40, 0)),
    edges=(Edge("side", (-100, -60), (100, -60)),),
)
BACK = Piece(
    "back",
    ((-120, -70), (90, -70), (90, 50), (-120, 50)),
    notches=(Notch((-70, 50), 270.0, name="hem"), Notch((25, 50), 270.0, name="hip")),
    grainline=((-40, 0), (40, 0)),
    edges=(Edge("side", (90, 50), (-120, 50)),),
)


def striped(dx: float, dy: float, **of: Any) -> tuple[Order, Lay]:
    """A front and a back; the match point of the front is its notch "hip", as that comes first on the front's side seam
    of those that both have ("hem" lies nearer the seam's start). The back lies so that its own is (dx, dy) off."""
    order = order_of(cut(FRONT), cut(BACK), **of)
    order = replace(order, seams=(Seam(("front.side", "back.side"), match=True),))
    # hem: front at (−60, −60), back at (−70, 50)
    front = put(FRONT, 140, 100)  # hem at (80, 40)
    back = put(BACK, 150 + dx + 80.0, 290 + dy)  # hem at (160 + dx, 340 + dy)
    return order, lay_of(order, "open", [front, back])


@pytest.mark.parametrize(
    "dx,dy,along,across,ok",
    [
        (0.0, 0.0, 80.0, 0.0, True),  # exactly one repeat further along
        (0.0, 13.0, 80.0, 0.0, True),  # across does not matter
        (0.04, 0.0, 80.0, 0.0, True),
        (0.06, 0.0, 80.0, 0.0, False),
        (-40.0, 0.0, 80.0, 0.0, False),
        (-40.0, 0.0, 40.0, 0.0, True),
        (0.0, 0.0, 80.0, 100.0, True),  # 300 mm across
        (0.0, 1.0, 80.0, 100.0, False),
        (7.0, 0.0, 0.0, 100.0, True),
    ],
)
def test_stripes(dx: float, dy: float, along: float, across: float, ok: bool) -> None:
    """Match points agree modulo the repeat to 0.05 mm, along and across."""
    order, lay = striped(dx, dy, repeat_along=along, repeat_across=across)
    assert found(lay, order) == (set() if ok else {"repeat"})


def test_stripes_of_each_garment_by_itself() -> None:
    """Two garments need not be in step with each other."""
    order = order_of(cut(FRONT), cut(BACK), count=2, repeat_along=80.0)
    order = replace(order, seams=(Seam(("front.side", "back.side"), match=True),))
    placements = [
        put(FRONT, 140, 100, copy=1),
        put(BACK, 230, 290, copy=1),
        put(FRONT, 417, 100, copy=2),
        put(BACK, 507, 290, copy=2),
    ]
    assert found(lay_of(order, "open", placements), order) == set()
    swapped = [replace(p, copy=3 - p.copy) if p.piece == "back" else p for p in placements]
    assert found(lay_of(order, "open", swapped), order) == {"repeat"}


def test_stripes_of_garments_without_that_seam() -> None:
    """A garment that lacks a piece of the seam, or has it in no such size, is left alone."""
    order, lay = striped(0.0, 0.0, repeat_along=80.0)
    sized = tuple(replace(c, piece=replace(c.piece, size="M")) for c in order.pieces)
    cap = replace(cut(TAB), piece=replace(TAB, size="S"))
    garment = replace(order.garments[0], size="M")
    order = replace(order, pieces=(*sized, cap), garments=(garment, Garment("cap", "S", 1, ("tab",))))
    both = [replace(p, size="M") for p in lay.placements] + [put(TAB, 60, 500, garment="cap", size="S")]
    assert found(lay_of(order, "open", both), order) == set()


def test_match_notches() -> None:
    """A name that both edges have; without names the notches that meet from the ends that fit."""
    seam = Seam(("front.side", "back.side"), match=True)
    # the front's side runs from x = −100, so "hem" comes first
    assert match_notches(seam, [cut(FRONT), cut(BACK)]) == [(-60.0, -60.0), (-70.0, 50.0)]
    bare = [replace(p, notches=tuple(replace(n, name=None) for n in p.notches)) for p in (FRONT, BACK)]
    # 40 mm from its start on the front; on the back 50 mm from its end, as the edge runs the other way
    assert match_notches(seam, [cut(p) for p in bare]) == [(-60.0, -60.0), (-70.0, 50.0)]
    none = replace(BACK, notches=())
    assert match_notches(seam, [cut(FRONT), cut(none)]) is None
    order, lay = striped(0.0, 0.0, repeat_along=80.0)
    without = replace(order, pieces=(order.pieces[0], replace(order.pieces[1], piece=none)))
    assert "repeat" in found(lay, without)


def test_names_of_notches_decide() -> None:
    """The same name is matched even where another notch would meet by its place."""
    seam = Seam(("front.side", "back.side"), match=True)
    crossed = replace(BACK, notches=tuple(replace(n, name="hem" if n.name == "hip" else "hip") for n in BACK.notches))
    assert match_notches(seam, [cut(FRONT), cut(crossed)]) == [(-60.0, -60.0), (25.0, 50.0)]


def test_seam_without_such_an_edge_or_without_a_repeat() -> None:
    """An edge that the piece does not have cannot be matched; on cloth without a repeat nothing has to be."""
    order, lay = striped(0.0, 0.0, repeat_along=80.0)
    nameless = replace(order, pieces=(order.pieces[0], replace(order.pieces[1], piece=replace(BACK, edges=()))))
    assert found(lay, nameless) == {"repeat"}
    plain = replace(nameless, cloths=(replace(order.cloths[0], repeat_along=0.0),))
    assert found(replace(lay, repeat_along=0.0), plain) == set()


def test_match_notches_lie_on_the_seam_line() -> None:
    """With a seam outline the match point is where the notch meets that, not the cut edge."""
    seamed = replace(
        FRONT,
        seam=((-90, -50), (90, -50), (90, 50), (-90, 50)),
        edges=(Edge("side", (-90, -50), (90, -50)),),
    )
    points = match_notches(Seam(("front.side", "back.side"), match=True), [cut(seamed), cut(BACK)])
    assert points is not None
    assert points[0] == pytest.approx((-60.0, -50.0))


def test_stripes_at_a_piece_drawn_as_a_half() -> None:
    """A back opened out over its fold meets the right front on its drawn half, and the left front on the other, which
    is the mirror image over the fold edge."""
    half = Piece(
        "back",
        ((-100, 0), (100, 0), (100, 90), (-100, 90)),
        notches=(Notch((0, 90), 270.0, name="hip"),),
        grainline=((-40, 0), (40, 0)),
        fold=((-100, 0), (100, 0)),
        edges=(Edge("side", (100, 90), (-100, 90)),),
    )
    front = replace(FRONT, notches=(Notch((0, -60), 90.0, name="hip"), Notch((70, -60), 90.0)), cut=2, mirrored=True)
    order = order_of(cut(front), cut(half), repeat_along=50.0, repeat_across=100.0)
    order = replace(order, seams=(Seam(("front.side", "back.side"), match=True),))

    def lay(right: float, x_right: float, x_left: float, left: float = 650.0) -> Lay:
        # the back's hip lies at y = 290 and, over the fold edge at 200, at 110; the right front's 60 below its
        # grainline, the left one's 60 above it: 710 = 110 + 6 · 100
        return lay_of(
            order,
            "open",
            [
                put(half, 110, 200, opened=True),
                put(front, x_right, right),
                put(front, x_left, left, flipped=True),
            ],
        )

    assert found(lay(450.0, 110, 110), order) == set()  # 390 = 290 + 100
    assert found(lay(450.0, 160, 210), order) == set()
    assert found(lay(451.0, 110, 110), order) == {"repeat"}
    assert found(lay(450.0, 111, 110), order) == {"repeat"}
    assert found(lay(450.0, 110, 111), order) == {"repeat"}
    assert found(lay(450.0, 110, 110, 637.0), order) == {"repeat"}
    # a motif that is not on the fold edge decides where the back lies: then the other side comes as it comes
    motif = replace(order, pieces=(order.pieces[0], replace(order.pieces[1], motif=Motif((10.0, 30.0), (20.0, 30.0)))))
    assert found(lay(450.0, 110, 110, 637.0), motif) == set()
    on_fold = replace(motif, pieces=(order.pieces[0], replace(order.pieces[1], motif=Motif((10.0, 0.0), (20.0, 0.0)))))
    assert found(lay(450.0, 110, 110, 637.0), on_fold) == {"repeat"}


@pytest.mark.parametrize("side", [140.0, 115.0])
def test_stripes_at_two_pieces_drawn_as_halves(side: float) -> None:
    """Front and back both opened out: their other sides meet where their match points lie equally far from their fold
    edges, or half a repeat more; if not, nothing can help it, and only the drawn sides are held against each other."""

    def half(name: str, across: float) -> Piece:
        return Piece(
            name,
            ((-100, 0), (100, 0), (100, across), (-100, across)),
            notches=(Notch((0, across), 270.0, name="hip"),),
            grainline=((-40, 0), (40, 0)),
            fold=((-100, 0), (100, 0)),
            edges=(Edge("side", (100, across), (-100, across)),),
        )

    front, back = half("front", 90.0), half("back", side)
    order = order_of(cut(front), cut(back), repeat_across=100.0, width=1500.0)
    order = replace(order, seams=(Seam(("front.side", "back.side"), match=True),))

    def lay(off: float) -> Lay:
        # drawn sides at 290 and, three repeats on, at 590 + off
        places = [put(front, 110, 200, opened=True), put(back, 110, 590 - side + off + 100, opened=True)]
        return lay_of(order, "open", places)

    assert found(lay(0.0), order) == set()
    assert found(lay(1.0), order) == {"repeat"}

    def flipped(off: float) -> Lay:
        # the back's drawn side on the left, at 610 + off, where the front's other side is at 110
        places = [put(front, 110, 200, opened=True), put(back, 110, 610 + side + off, opened=True, flipped=True)]
        return lay_of(order, "open", places)

    assert found(flipped(0.0), order) == set()
    assert found(flipped(1.0), order) == {"repeat"}


def test_stripes_on_a_fold() -> None:
    """Halves on a fold may be flipped freely; their stripes have to agree lengthwise all the same."""

    def half(name: str, hip: float) -> Piece:
        return Piece(
            name,
            ((-100, 0), (100, 0), (100, 90), (-100, 90)),
            notches=(Notch((hip, 90), 270.0, name="hip"),),
            grainline=((-40, 0), (40, 0)),
            fold=((-100, 0), (100, 0)),
            edges=(Edge("side", (100, 90), (-100, 90)),),
        )

    front, back = half("front", 0.0), half("back", 30.0)
    order = order_of(cut(front), cut(back), tubular=True, width=600.0, selvage=0.0, repeat_along=80.0)
    order = replace(order, seams=(Seam(("front.side", "back.side"), match=True),))

    def lay(x: float) -> Lay:
        flipped = put(back, x, 600.0, plies=(0, 1), on_fold=True, flipped=True)
        return lay_of(order, "tubular", [put(front, 150.0, 0.0, plies=(0, 1), on_fold=True), flipped])

    assert found(lay(200.0), order) == set()  # 230 = 150 + 80
    assert found(lay(201.0), order) == {"repeat"}


def test_motif() -> None:
    """A point of the piece on a multiple of the repeat plus an offset, mirrored with a left-handed piece."""
    motif = Motif((10.0, 20.0), (5.0, 7.0))
    order = order_of(cut(LEG, motif=motif), repeat_along=50.0, repeat_across=60.0)
    # right: (x + 10, y + 20) = (155 + 50 k …); left: (x + 10, y − 20)
    right, left = put(LEG, 195, 107), put(LEG, 195, 387, flipped=True)
    lay = lay_of(order, "open", [right, left])
    assert found(lay, order) == set()
    assert found(lay_of(order, "open", [put(LEG, 195, 108), left]), order) == {"repeat"}
    assert found(lay_of(order, "open", [put(LEG, 196, 107), left]), order) == {"repeat"}
    assert found(lay_of(order, "open", [right, put(LEG, 195, 367, flipped=True)]), order) == {"repeat"}


def test_plies_that_are_folded_back_or_turned() -> None:
    """Face to face, a ply that is folded back at the end runs the other way along the cloth: its repeat is counted from
    the far end. One that is cut off and turned does not; with a nap only that will do."""
    order = order_of(cut(TAB, motif=Motif((0.0, 0.0))), plies=2, repeat_along=50.0)

    def lay(x: float, *, folded_back: bool) -> Lay:
        one = lay_of(order, "stacked face to face", [put(TAB, x, 100, plies=(1,), flipped=True)])
        section = one.sections[0]
        below, above = section.spread.plies
        spread = replace(section.spread, plies=(below, replace(above, reversed=folded_back)))
        return replace(one, sections=(replace(section, spread=spread),))

    # the tab ends 50 mm beyond its middle, and the lay with it
    assert found(lay(60.0, folded_back=True), order) == set()
    assert found(lay(60.0, folded_back=False), order) == {"repeat"}
    assert found(lay(100.0, folded_back=False), order) == set()
    napped = replace(order, cloths=(replace(order.cloths[0], nap="one way", may_turn_plies=True),))
    assert found(lay(100.0, folded_back=False), napped) == set()
    assert "spread" in found(lay(100.0, folded_back=True), napped)


def test_sizes_and_garments_are_told_apart() -> None:
    """The same piece in two sizes and two garments: labels swapped between sizes are a wrong shape."""
    small, large = rectangle("band", 200, 40), rectangle("band", 220, 40)
    order = Order(
        title="Chorus",
        units="mm",
        path=None,
        sha256="",
        pieces=(cut(replace(small, size="S")), cut(replace(large, size="L"))),
        cloths=(cloth(),),
        garments=(Garment("shorts", "S", 1, ("band",)), Garment("shorts", "L", 1, ("band",))),
    )
    placements = [put(small, 100, 100, size="S"), put(large, 110, 200, size="L")]
    assert found(lay_of(order, "open", placements), order) == set()
    swapped = [replace(placements[0], size="L"), replace(placements[1], size="S")]
    assert "shape" in found(lay_of(order, "open", swapped), order)
    both_small = [put(small, 100, 100, size="S"), put(small, 110, 200, size="S", copy=2)]
    assert {"count", "garments"} <= found(lay_of(order, "open", both_small), order)


def test_empty_lay() -> None:
    """Nothing laid where nothing is asked for holds; where something is, everything is missing."""
    order = order_of(cut(TAB))
    nothing = replace(order, garments=(replace(order.garments[0], count=0),))
    lay = finished(order, lay_of(order, "open", [put(TAB, 60, 100)]).sections)
    empty = replace(lay, sections=(), lay_length=0.0, buy_length=0.0, lower_bound=0.0, utilisation=0.0, garments=())
    assert prove(empty, nothing).failures == ()
    assert "count" in found(empty, order)
    assert BRIEF.fold is not None
