"""A second cloth laid over the first: which way up it lies, and in which hand its pieces come out.

One cut goes through both cloths. A follower whose right side faces the same way as its leader's comes out as it lies on
its leader's drawing; one that faces its leader comes out as the mirror image, as one of the two is seen from its wrong
side. Folded, every further ply of the second cloth turns over as those of the first do.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from shapely.geometry import Polygon

from nesting.model.lay import Lay
from nesting.model.order import Cloth, CutPiece, Garment, Order, Together
from nesting.model.piece import mapped
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.solve import lay_order
from nesting.proof import prove
from nesting.report.sheet.folding import folding_steps
from nesting.report.words import kind_words
from nesting.resolving.resolve import resolve
from tests.planning.builders import flag, half, order_of, rect

ONE_ROUND = SearchOptions(seconds=None, rounds=1, seed=1, workers=1)
TO_THE_LEADER: Any = "to the leader"


@pytest.fixture(autouse=True)
def _whole_lengths_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is tried here is the whole length over its leaders; patches, often cheaper, have tests of their own."""
    from nesting.planning.layout import second_cloth

    monkeypatch.setattr(second_cloth, "_cheapest", lambda order, lays, whole, options, continued: whole)


def two_cloths(
    leader: CutPiece, follower: CutPiece, faces: Any, *more: CutPiece, lining: dict[str, Any] | None = None, **main: Any
) -> Order:
    """A garment whose follower is cut together with its leader, from a cloth called lining; ``more`` as they say."""
    order = order_of(leader, replace(follower, cloth="lining"), *more, **main)
    second = Cloth("lining", **{"width": 1000.0, "end_allowance": 0.0, "increment": 1.0, **(lining or {})})
    return replace(order, cloths=(*order.cloths, second), together=(Together(leader.name, follower.name, faces),))


def laid(order: Order, spread: Any) -> tuple[Lay, Lay]:
    """Both lays, proved, the second by the first."""
    main, second = lay_order(resolve(order), ONE_ROUND, spread=spread)
    for lay in (main, second):
        verdict = prove(lay, order, first=main if lay.over else None)
        assert verdict.ok, (lay.cloth, [str(f) for f in verdict.failures])
    return main, second


def hands(lay: Lay, name: str) -> Counter[str]:
    """How many right and left ones of a piece come off, ply by ply: on a ply that lies face down an unflipped
    placement cuts the mirror image."""
    found: Counter[str] = Counter()
    for section in lay.sections:
        faces = {ply.ply: ply.face for ply in section.spread.plies}
        for p in section.placements:
            for ply in p.plies if p.piece == name else ():
                found["right" if (faces[ply] == "up") != p.flipped else "left"] += 1
    return found


def drawn_mirrored(cut: CutPiece) -> CutPiece:
    """The same piece drawn as its own mirror image."""
    return replace(cut, piece=mapped(cut.piece, lambda p: (p[0], -p[1]), mirrored=True))


ONE, PAIR = flag("front", 300, 200), flag("front", 300, 200, cut=2, mirrored=True)
LINING, LININGS = flag("lining", 300, 200), flag("lining", 300, 200, cut=2, mirrored=True)
STACK: dict[str, Any] = {"plies": 2, "lining": {"plies": 2}}

CASES: list[tuple[str, Order, str | None, list[str], dict[str, int]]] = [
    # (case, order, spread, face of each ply of the second cloth, how many right and left linings come off)
    ("open, the same way", two_cloths(ONE, LINING, "same"), "open", ["up"], {"right": 1}),
    # right sides together: the second cloth lies face down, and its outline seen from there is the mirror image
    ("open, to the leader", two_cloths(ONE, LINING, TO_THE_LEADER), "open", ["down"], {"left": 1}),
    (
        "open, a pair, to the leader: the leader's right gives a left, its left a right",
        two_cloths(PAIR, LININGS, TO_THE_LEADER),
        "open",
        ["down"],
        {"right": 1, "left": 1},
    ),
    # the leader lies on the lower ply, face up, or flipped on the upper one, face down: right by either
    (
        "fold, a single, the same way: folded right sides together as the first",
        two_cloths(ONE, LINING, "same"),
        "lengthwise fold",
        ["up", "down"],
        {"right": 1},
    ),
    (
        "fold, two singles on either ply, to the leader: folded wrong sides together",
        two_cloths(ONE, LINING, TO_THE_LEADER, count=2),
        "lengthwise fold",
        ["down", "up"],
        {"left": 2},
    ),
    (
        "fold, a pair through both plies, the same way",
        two_cloths(PAIR, LININGS, "same"),
        "lengthwise fold",
        ["up", "down"],
        {"right": 1, "left": 1},
    ),
    (
        "fold, a pair through both plies, to the leader",
        two_cloths(PAIR, LININGS, TO_THE_LEADER),
        "lengthwise fold",
        ["down", "up"],
        {"right": 1, "left": 1},
    ),
    (
        "crosswise fold, a single, to the leader",
        two_cloths(flag("front", 300, 700), flag("lining", 300, 700), TO_THE_LEADER),
        "crosswise fold",
        ["down", "up"],
        {"left": 1},
    ),
    (
        "a stack face up, the same way: all face up",
        two_cloths(ONE, LINING, "same", count=2, **STACK),
        "stacked face up",
        ["up", "up"],
        {"right": 2},
    ),
    (
        "a stack face up, to the leader: all face down",
        two_cloths(ONE, LINING, TO_THE_LEADER, count=2, **STACK),
        "stacked face up",
        ["down", "down"],
        {"left": 2},
    ),
    (
        "a stack face to face, to the leader: the lowest face down, the next up",
        two_cloths(PAIR, LININGS, TO_THE_LEADER, **STACK),
        "stacked face to face",
        ["down", "up"],
        {"right": 1, "left": 1},
    ),
    (
        "a stack over two plies of a cloth that lies single by itself",
        two_cloths(ONE, LINING, TO_THE_LEADER, count=2, plies=2, spreads=("stacked face up",)),
        None,
        ["down", "down"],
        {"left": 2},
    ),
    (
        "drawn as the mirror image of its leader, to the leader: comes out as drawn",
        two_cloths(ONE, drawn_mirrored(LINING), TO_THE_LEADER),
        "open",
        ["down"],
        {"right": 1},
    ),
    (
        "drawn as the mirror image of its leader, the same way: comes out mirrored",
        two_cloths(ONE, drawn_mirrored(LINING), "same"),
        "open",
        ["up"],
        {"left": 1},
    ),
    (
        "a symmetric leader has to lie as drawn, as its follower is one-sided",
        two_cloths(rect("front", 300, 200), LINING, "same", count=2),
        "lengthwise fold",
        ["up", "down"],
        {"right": 2},
    ),
    (
        "a symmetric follower has no hand, but the cloth lies as the order says",
        two_cloths(rect("front", 300, 200), rect("lining", 300, 200), TO_THE_LEADER),
        "open",
        ["down"],
        {"left": 1},
    ),
]


@pytest.mark.parametrize(("order", "spread", "faces", "linings"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_laid_over(order: Order, spread: Any, faces: list[str], linings: dict[str, int]) -> None:
    """The second cloth lies over the first with the faces of the answer, and gives the hands of the answer."""
    main, second = laid(order, spread)
    assert second.over == "main" and main.over is None
    assert [ply.face for ply in second.sections[0].spread.plies] == faces
    assert hands(second, "lining") == Counter(linings)
    side = "down" if faces[0] == "down" else "up"
    spread = main.sections[0].spread.kind
    said = {"open": f"right side {side}", "stacked face up": f"all right side {side}"}
    turned = "wrong sides together" if side == "down" else "right sides together"
    assert any(said.get(spread, turned) in note for note in second.notes)
    # laid by the sheet, each follower lies within a leader
    (at,) = second.over_at
    shift = at + second.end_allowance - main.end_allowance
    leaders = [Polygon(p.outline).buffer(0.01) for p in main.placements]
    for p in second.placements:
        there = Polygon([(x + shift, y) for x, y in p.outline])
        assert any(leader.contains(there) for leader in leaders)
    moved = prove(replace(second, over_at=(at + 2.0,)), order, first=main)
    assert any("begins" in f.message for f in moved.failures)


@pytest.mark.parametrize("spread", ["lengthwise fold", "partial fold", "double fold", "tubular"])
@pytest.mark.parametrize("faces", ["same", TO_THE_LEADER])
def test_halves_on_the_folds_of_both_cloths(spread: Any, faces: Any) -> None:
    """A half on a fold has no hand: it lies on the folds of both cloths, whichever way the second is folded, and on a
    second cloth of another width as well."""
    tubular = {"tubular": True} if spread == "tubular" else {}
    lining = {"width": 1000.0 if tubular else 980.0, **tubular}
    front, inner = (half(name, 300, 200, unfold=False) for name in ("front", "lining"))
    order = two_cloths(front, inner, faces, count=2, lining=lining, **tubular)
    _, second = laid(order, spread)
    assert second.over == "main"
    lower = second.sections[0].spread.plies[0]
    assert lower.face == ("up" if faces == "same" else "down")
    assert all(p.on_fold for p in second.placements)


def test_halves_on_a_crosswise_fold() -> None:
    """The fold of the second cloth lies over that of the first, where the fold edges are."""
    front, lining = (half(name, 300, 700, fold_across=True) for name in ("front", "lining"))
    order = two_cloths(front, lining, TO_THE_LEADER, gap=3.0, lining={"gap": 3.0})
    _, second = laid(order, "crosswise fold")
    assert second.over == "main" and [p.on_fold for p in second.placements] == [True]


def test_cut_apart_from_a_second_cloth() -> None:
    """A lining that faces its leader is its mirror image, also where its cloth gives another piece and is laid by
    itself, right side up: there it lies flipped."""
    pocket = rect("pocket", 100, 100, cloth="lining")
    order = two_cloths(ONE, LINING, TO_THE_LEADER, pocket)
    _, second = laid(order, "open")
    assert second.over is None and any("also gives pocket" in note for note in second.notes)
    assert [ply.face for ply in second.sections[0].spread.plies] == ["up"]
    assert hands(second, "lining") == {"left": 1}
    _, second = laid(two_cloths(ONE, LINING, "same", pocket), "open")
    assert hands(second, "lining") == {"right": 1}


def test_cut_together_in_one_cloth_comes_out_the_same() -> None:
    """On the other ply of the same cloth, facing its leader, the lining comes out as the mirror image as well."""
    order = replace(order_of(ONE, LINING, count=2), together=(Together("front", "lining", TO_THE_LEADER),))
    (lay,) = lay_order(resolve(order), ONE_ROUND, spread="lengthwise fold")
    assert prove(lay, order).ok
    assert hands(lay, "front") == {"right": 2} and hands(lay, "lining") == {"left": 2}
    symmetric = replace(
        order_of(rect("front", 300, 200), LINING, count=2), together=(Together("front", "lining", TO_THE_LEADER),)
    )
    (lay,) = lay_order(resolve(symmetric), ONE_ROUND, spread="lengthwise fold")
    assert prove(lay, symmetric).ok
    assert hands(lay, "lining") == {"left": 2}


REFUSALS: list[tuple[str, Order, str | None, str]] = [
    # (case, order, spread, words of the reason for which the second cloth is laid by itself)
    ("larger than its leader", two_cloths(ONE, flag("lining", 320, 220), "same"), "open", "lies outside 'front'"),
    (
        "cut more seldom than its leader",
        two_cloths(PAIR, LINING, "same"),
        "open",
        "'front' is cut 2 times and 'lining' 1 times",
    ),
    (
        "left and right over two alike",
        two_cloths(flag("front", 300, 200, cut=2), LININGS, "same"),
        "open",
        "'front' is cut alike and 'lining' left and right",
    ),
    (
        "on a tube",
        two_cloths(rect("front", 300, 200), rect("lining", 300, 200), "same", tubular=True),
        None,
        "not a tube",
    ),
    (
        "a nap that a crosswise fold would turn",
        two_cloths(
            rect("front", 300, 700),
            rect("lining", 300, 700),
            "same",
            spreads=("crosswise fold",),
            lining={"nap": "one way"},
        ),
        None,
        "nap of the upper ply",
    ),
    (
        "a stack higher than the second cloth may be cut",
        two_cloths(ONE, LINING, "same", count=4, plies=4, lining={"plies": 2, "max_plies": 3}),
        "stacked face up",
        "max_plies is 3",
    ),
    (
        "a half that may not be opened out",
        two_cloths(half("front", 300, 200), half("lining", 300, 200, unfold=False), "same", spreads=("open",)),
        None,
        "may not be opened out",
    ),
    (
        "a spread that the order does not list",
        two_cloths(ONE, LINING, "same", spreads=("lengthwise fold",), lining={"spreads": ("open",)}),
        None,
        "lie on a spread (lengthwise fold) that the order does not list for 'lining'",
    ),
    (
        "narrower than where the leaders lie",
        two_cloths(rect("front", 300, 980), rect("lining", 300, 700), "same", lining={"selvage": 30.0}),
        "open",
        "beyond the edge of 'lining'",
    ),
    (
        "not enough of the second cloth",
        two_cloths(rect("front", 300, 900), rect("lining", 300, 450), "same", count=2, lining={"length": 500.0}),
        "open",
        "of which there are 50 cm",
    ),
    (
        "a gap between cuts that the leaders do not keep",
        two_cloths(rect("front", 300, 900), rect("lining", 300, 900), "same", count=2, lining={"gap": 20.0}),
        "open",
        "apart, the gap on 'lining' is 2 cm",
    ),
]


@pytest.mark.parametrize(("name", "order", "spread", "words"), REFUSALS, ids=[r[0] for r in REFUSALS])
def test_kept_apart_with_its_reason(name: str, order: Order, spread: Any, words: str) -> None:
    """What the second cloth's own rules forbid over the leaders is laid by itself, proved, and says why."""
    _, second = laid(order, spread)
    assert second.over is None
    assert any(note.startswith("cut together with cloth 'main' is not possible") for note in second.notes)
    assert any(words in note for note in second.notes), second.notes


def test_followers_that_face_different_ways() -> None:
    """One spread of the second cloth cannot face one leader and lie the same way as another."""
    order = two_cloths(ONE, LINING, TO_THE_LEADER, flag("back", 280, 180), flag("facing", 280, 180, cloth="lining"))
    order = replace(order, together=(*order.together, Together("back", "facing", "same")))
    _, second = laid(order, "open")
    assert second.over is None
    assert any("'lining' faces its leader and 'facing' the same way" in note for note in second.notes)
    assert hands(second, "lining") == {"left": 1} and hands(second, "facing") == {"right": 1}


def test_a_nap_of_the_second_cloth_is_kept() -> None:
    """Six fronts on plain cloth lie both ways up; a lining with a nap then cannot be cut at their places."""
    order = two_cloths(flag("front", 300, 200), flag("lining", 300, 200), "same", count=6, lining={"nap": "one way"})
    main, second = laid(order, "open")
    if {p.turn for p in main.placements} == {0.0}:
        assert second.over == "main"
    else:
        assert second.over is None
        assert any("turned by 180° on 'lining': the cloth lies one way (nap)" in note for note in second.notes)


def test_garments_in_two_entries() -> None:
    """Only the garment that has the leader wants the mirror image; the same piece by itself stays as drawn."""
    order = two_cloths(ONE, LINING, TO_THE_LEADER)
    order = replace(order, garments=(*order.garments, Garment("spare", None, 1, ("lining",))))
    _, second = laid(order, "open")
    assert second.over is None
    by_garment = {p.garment: p.flipped for p in second.placements}
    assert by_garment == {"g": True, "spare": False}


def test_words_of_the_sheet() -> None:
    """The steps say which way up the second cloth lies, and over what; a stack is not called face up when it is not."""
    _, second = laid(two_cloths(ONE, LINING, TO_THE_LEADER), "open")
    steps = folding_steps(second, second.sections[0])
    assert steps[0] == "Lay the cloth open, one ply, right side down, selvage A towards you."
    assert steps[1].startswith("Lay it over “main”")
    _, second = laid(two_cloths(PAIR, LININGS, TO_THE_LEADER), "lengthwise fold")
    assert "Fold lengthwise, wrong sides together" in folding_steps(second, second.sections[0])[0]
    main, second = laid(two_cloths(ONE, LINING, TO_THE_LEADER, count=2, **STACK), "stacked face up")
    assert kind_words(main.sections[0].spread) == "stacked face up"
    assert kind_words(second.sections[0].spread) == "stacked face down"


def test_a_bound_of_a_cloth_laid_over_stacked_leaders_counts_the_gap_between_its_lengths() -> None:
    """Two linings of 300 in each of two plies cannot take less than 300 + 10 + 300. Four in a row take 1230 by
    themselves, half of which is 615: the two lengths do not keep a gap from one another."""
    stacked: dict[str, Any] = {"plies": 2, "spreads": ("stacked face up",), "lining": {"gap": 10.0}}
    order = two_cloths(rect("front", 345, 1000), rect("lining", 300, 1000), "same", count=4, gap=10.0, **stacked)
    _, second = laid(order, None)
    assert second.over == "main" and second.sections[0].spread.kind == "stacked face up"
    # in the middle of leaders that take 345 + 10 + 345
    assert second.lay_length == pytest.approx(655.0, abs=0.01)
    assert 609.0 < second.lower_bound <= 610.0


def test_what_would_do_is_never_said_shorter_than_it_is() -> None:
    """61.4 cm laid over the leaders and apart: neither is 61 cm."""
    order = two_cloths(rect("front", 307, 1000), rect("lining", 307, 1000), "same", count=2)
    _, second = laid(order, "open")
    (note,) = (note for note in second.notes if note.startswith("cut together"))
    assert "61.4 cm of 'lining'" in note and "cut apart, 61.4 cm would do" in note
