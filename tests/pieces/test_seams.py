"""Seams walked: lengths, ease, ratio, notches that must meet, halves on the fold, three layers, centre notches."""

from __future__ import annotations

import math

import pytest

from nesting.model.piece import Edge, Notch, Piece, Ring
from nesting.model.tolerances import SEAM_MM
from nesting.pieces.prepare import prepare
from nesting.pieces.seams import edge_names, walk_edge, walk_seam
from nesting.pieces.wishes import EdgeSpec, Finish, Preparation
from tests.pieces.outlines import circle


def strip(length: float, *notches: float, name: str = "a", fold: bool = False, edge: str = "e", **how: object) -> Piece:
    """A band 50 high, its lower edge (1-2, called ``edge``) ``length`` long with notches at these places."""
    ring = ((0.0, 0.0), (length, 0.0), (length, 50.0), (0.0, 50.0))
    piece = Piece(name, ring, notches=tuple(Notch((x, 0.0), 90.0) for x in notches))
    settings = Preparation(grain=0.0, fold="left" if fold else None, edges=(EdgeSpec(edge, 1, 2),), **how)  # type: ignore[arg-type]
    return prepare(piece, settings)[0]


def walk(a: Piece, b: Piece, **rest: object):  # type: ignore[no-untyped-def]
    """Walk edge e of both."""
    return walk_seam([(a, "e"), (b, "e")], ("a.e", "b.e"), **rest)  # type: ignore[arg-type]


def test_lengths_are_arc_lengths_on_the_seam_line() -> None:
    """A quarter circle of radius 80 is 40·π long, whatever allowance lies outside it (closed form)."""
    n = 900
    quarter = [(80.0 * math.cos(math.pi * k / 2 / n), 80.0 * math.sin(math.pi * k / 2 / n)) for k in range(n + 1)]
    ring: Ring = ((0.0, 0.0), *quarter)
    piece, _ = prepare(Piece("p", ring), Preparation(grain=0.0, finishes=(("*", Finish("seam", 12.0)),)))
    assert walk_edge(piece, "2-3").length == pytest.approx(40.0 * math.pi, abs=1e-3)


def test_the_edge_of_a_circle_is_its_circumference() -> None:
    """An outline without corners has one edge, all round."""
    piece, _ = prepare(Piece("p", circle(50.0)), Preparation(grain=0.0))
    assert edge_names(piece) == ("1-1",)
    assert walk_edge(piece, "1-1").length == pytest.approx(100.0 * math.pi, rel=1e-5)
    assert walk_edge(piece, "1-1").closed


def test_equal_edges_agree_and_the_default_tolerance_is_a_sixteenth_of_an_inch() -> None:
    """1.5 mm passes, 1.7 mm does not: patterns are trued to 1/16 in ("10 Patternwork Skills", 2018/19)."""
    assert pytest.approx(25.4 / 16) == SEAM_MM
    assert walk(strip(200.0), strip(201.5)).agrees
    bad = walk(strip(200.0), strip(201.7))
    assert not bad.agrees
    assert bad.difference == pytest.approx(1.7)
    assert bad.messages() == ("b.e is 1.7 mm longer than a.e (201.7 mm against 200.0 mm)",)
    assert walk(strip(200.0), strip(201.7), tolerance=2.0).agrees


def test_ease_and_ratio_are_honoured() -> None:
    """The second edge longer by its ease; an elastic at 0.8 of the edge."""
    assert walk(strip(200.0), strip(212.0), ease=12.0).agrees
    assert walk(strip(200.0), strip(200.0), ease=12.0).difference == pytest.approx(-12.0)
    assert walk(strip(200.0), strip(160.0), ratio=0.8).agrees


def test_notches_meet_when_one_edge_runs_backwards() -> None:
    """Right sides together the second edge is walked from its other end: 60 from the left meets 60 from the right."""
    good = walk(strip(200.0, 60.0, 150.0), strip(200.0, 50.0, 140.0))
    assert [n.difference for n in good.notches] == pytest.approx([0.0, 0.0])
    assert good.agrees and good.lone == ()


def test_a_notch_that_misses_its_partner_is_reported_with_place_and_difference() -> None:
    """60 against 66.5."""
    bad = walk(strip(200.0, 60.0, 150.0), strip(200.0, 50.0, 133.5))
    assert not bad.agrees and bad.lengths_agree
    assert bad.messages() == ("the notch 60.0 mm along a.e misses its partner on b.e by 6.5 mm",)
    assert {round(n.along): round(n.difference, 6) for n in bad.notches} == {60: 6.5, 150: 0.0}


def test_a_notch_without_a_partner_is_told() -> None:
    """One notch against two."""
    walked = walk(strip(200.0, 60.0), strip(200.0, 30.0, 140.0))
    assert walked.agrees
    assert walked.messages() == ("the notch 30.0 mm along b.e has no partner",)


def test_which_ends_meet_is_known_from_the_edges_that_both_join() -> None:
    """Both sides join a waist: a notch near the waist on one and near the leg on the other do not meet."""

    def side(waist_at_end: bool, notch: float) -> Piece:
        ring = ((0.0, 0.0), (200.0, 0.0), (200.0, 50.0), (0.0, 50.0))
        waist = Edge("waist", (200.0, 0.0), (200.0, 50.0)) if waist_at_end else Edge("waist", (0.0, 50.0), (0.0, 0.0))
        piece = Piece("p", ring, notches=(Notch((notch, 0.0), 90.0),),
                      edges=(Edge("e", (0.0, 0.0), (200.0, 0.0)), waist))  # fmt: skip
        return prepare(piece, Preparation(grain=0.0))[0]

    assert walk(side(True, 60.0), side(False, 140.0)).notches_agree
    wrong = walk(side(True, 60.0), side(False, 60.0))
    assert len(wrong.lone) == 2  # 80 mm apart, so neither has a partner
    # places along an edge say from which end they count where that end has a name
    told = sorted(wrong.messages())
    assert told == [f"the notch 60.0 mm along {edge} has no partner" for edge in ("a.e", "b.e (from waist)")]
    near = walk(side(True, 60.0), side(False, 133.5)).messages()
    assert near in (("the notch 140.0 mm along a.e (from waist) misses its partner on b.e by 6.5 mm",),
                    ("the notch 60.0 mm along a.e misses its partner on b.e by 6.5 mm",))  # fmt: skip
    assert walk(side(True, 60.0), side(True, 60.0)).notches[0].difference == pytest.approx(0.0)


def test_halves_on_the_fold_are_walked_from_the_fold() -> None:
    """Half against half; the second one is drawn the other way round."""
    left = strip(100.0, 30.0, fold=True)
    ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0))
    right, _ = prepare(
        Piece("b", ring, notches=(Notch((70.0, 0.0), 90.0),)),
        Preparation(grain=0.0, fold="right", edges=(EdgeSpec("e", 1, 2),)),
    )
    walked = walk(left, right)
    assert walked.lengths == pytest.approx((100.0, 100.0))
    assert [n.difference for n in walked.notches] == pytest.approx([0.0])


def test_a_half_against_a_whole_is_opened_out() -> None:
    """100 to the fold is 200 of a whole band; a notch 30 from the fold is two notches, 70 and 130 along."""
    walked = walk(strip(100.0, 30.0, fold=True), strip(200.0, 70.0, 130.0))
    assert walked.lengths == pytest.approx((200.0, 200.0))
    assert sorted(round(n.along) for n in walked.notches) == [70, 130]
    assert walked.agrees
    off = walk(strip(100.0, 30.0, fold=True), strip(204.0, 70.0, 130.0))
    assert off.difference == pytest.approx(4.0)


def test_a_left_and_a_right_piece_go_against_the_two_halves_of_a_fold_piece() -> None:
    """A pair's edge of 100 meets one half of a band on the fold."""
    walked = walk(strip(100.0), strip(100.0, fold=True), pairs=(True, False))
    assert walked.lengths == pytest.approx((100.0, 100.0))
    assert walked.agrees


def test_a_three_layer_join_wants_centre_notches_and_they_are_added_on_request() -> None:
    """Front and back with a centre notch, a lining without: offered, then added, then they meet."""
    front, back = strip(80.0, 40.0), strip(80.0, 40.0, name="b")
    lining = strip(80.0, name="c")
    names = ("front.e", "back.e", "lining.e")
    first = walk_seam([(front, "e"), (back, "e"), (lining, "e")], names)
    assert first.no_centre == ("lining.e",)
    added = strip(80.0, name="c", add_centre_notches=("e",))
    again = walk_seam([(front, "e"), (back, "e"), (added, "e")], names)
    assert again.no_centre == () and len(again.notches) == 2 and again.agrees
    assert len(strip(80.0, 40.0, add_centre_notches=("e",)).notches) == 1  # never a second one


def test_an_added_centre_notch_lies_on_the_cut_edge_and_on_a_half_at_the_fold() -> None:
    """With 10 mm of allowance the notch lies 10 outside the middle of the seam line, pointing in."""
    finish = (("e", Finish("seam", 10.0)),)
    whole = strip(80.0, add_centre_notches=("e",), finishes=finish)
    half = strip(40.0, fold=True, add_centre_notches=("e",), finishes=finish)
    assert whole.seam is not None and half.fold is not None
    low = min(y for _, y in whole.seam)
    assert whole.notches[0].at == pytest.approx((sum(x for x, _ in whole.seam) / 4, low - 10.0))
    assert whole.notches[0].direction == pytest.approx(90.0)
    assert half.notches[0].at in half.fold
    assert half.notches[0].direction == pytest.approx(90.0)
