"""One edge sewn to several in a row: lengths summed, joins and notches met, ease placed between two notches."""

from __future__ import annotations

from pathlib import Path

import pytest

from nesting.checking.judging import check_order
from nesting.model.errors import OrderError
from nesting.model.order import Order
from nesting.model.piece import Notch, Piece
from nesting.pieces.prepare import prepare
from nesting.pieces.seams import WalkedSeam, walk_edge, walk_seam, with_join_notches
from nesting.pieces.sewn import sewn_in_sizes
from nesting.pieces.wishes import EdgeSpec, Preparation
from tests.order_builder import load


def band(length: float, *notches: float, fold: str | None = None, side: str = "side", **how: object) -> Piece:
    """A band 50 high, its lower edge "e" ``length`` long with notches n1, n2, … at these places from the left; its
    right end is called ``side``."""
    ring = ((0.0, 0.0), (length, 0.0), (length, 50.0), (0.0, 50.0))
    piece = Piece("p", ring, notches=tuple(Notch((x, 0.0), 90.0, name=f"n{k}") for k, x in enumerate(notches, 1)))
    edges = [EdgeSpec("e", 1, 2)]
    if fold != "right":
        edges.append(EdgeSpec(side, 2, 3))
    if fold == "right":
        edges.append(EdgeSpec(side, 4, 1))
    return prepare(piece, Preparation(grain=0.0, fold=fold, edges=tuple(edges), **how))[0]  # type: ignore[arg-type]


def row(lone: Piece, *others: Piece, **rest: object) -> WalkedSeam:
    """The lone edge against the others in a row."""
    names = ("band.e", *(f"{chr(97 + k)}.e" for k in range(len(others))))
    called = [[n.name or "" for n in p.notches] for p in (lone, *others)]
    return walk_seam(
        [(lone, "e"), *((p, "e") for p in others)], names, counts=(1, len(others)), called=called, **rest  # type: ignore[arg-type]
    )


def test_the_lengths_of_a_row_are_summed() -> None:
    """300 + 200 against 500, then against 504: 4 mm longer than the band."""
    good = row(band(500.0), band(300.0), band(200.0))
    assert good.lengths == pytest.approx((500.0, 500.0)) and good.agrees
    assert good.parts == pytest.approx((500.0, 300.0, 200.0))
    bad = row(band(500.0), band(304.0), band(200.0))
    assert bad.difference == pytest.approx(4.0) and not bad.agrees
    assert bad.messages()[0] == "a.e + b.e is 4.0 mm longer than band.e (504.0 mm against 500.0 mm)"


def test_a_notch_meets_the_join() -> None:
    """The band's notch 300 along meets where 300 + 200 join; at 306 it misses by 6."""
    good = row(band(500.0, 300.0), band(300.0), band(200.0))
    assert [g.joins for g in good.notches] == [(None, "join of a.e and b.e")]
    assert [g.difference for g in good.notches] == pytest.approx([0.0]) and good.lone == ()
    bad = row(band(500.0, 306.0), band(300.0), band(200.0))
    assert bad.messages() == ("the notch 306.0 mm along band.e misses the join of a.e and b.e by 6.0 mm",)
    assert not bad.agrees


def test_a_row_may_be_read_from_either_end() -> None:
    """The band's notch at 200 is where the row read backwards joins."""
    assert row(band(500.0, 200.0), band(300.0), band(200.0)).agrees


def test_notches_of_the_edges_meet_those_of_the_band() -> None:
    """Both end at a side, where they join: b from its start (200, its notch at 140), then a from its end (300, its
    notch at 200 + 200)."""
    walked = row(band(500.0, 140.0, 200.0, 400.0), band(300.0, 100.0), band(200.0, 140.0))
    assert [g.along for g in walked.notches] == pytest.approx([140.0, 200.0, 400.0])
    assert walked.agrees and walked.lone == () and walked.unmarked == ()


def test_a_join_without_a_notch_is_told_and_marked_on_request() -> None:
    """The join lies 300 along from the side on which the band begins."""
    lone, a, b = band(500.0), band(300.0), band(200.0)
    walked = row(lone, a, b)
    assert walked.agrees and [u.join for u in walked.unmarked] == ["join of a.e and b.e"]
    assert "has no notch for the join of a.e and b.e" in walked.messages()[0]
    changed, told = with_join_notches([(lone, "e"), (a, "e"), (b, "e")], walked)
    assert set(changed) == {0} and len(told) == 1
    marked = row(changed[0], a, b)
    assert marked.unmarked == () and marked.agrees and [g.difference for g in marked.notches] == pytest.approx([0.0])


def test_halves_in_a_row_against_a_half() -> None:
    """Front from its fold 150, back to its fold 130, against half a waistband of 280: the notch at 150 is the join."""
    lone = band(280.0, 150.0, fold="left")
    walked = row(lone, band(150.0, fold="left"), band(130.0, fold="right"))
    assert walked.lengths == pytest.approx((280.0, 280.0)) and walked.agrees
    assert [g.difference for g in walked.notches] == pytest.approx([0.0])
    # the same, with 8 mm of ease in the whole seam: 4 in each half
    eased = row(band(280.0, fold="left"), band(152.0, fold="left"), band(132.0, fold="right"), ease=8.0)
    assert eased.agrees and eased.wanted == pytest.approx((280.0, 284.0))


def test_halves_and_pairs_in_a_row_go_round_a_whole_band() -> None:
    """A front of 150 on the fold and a back of 130 cut left and right: 2 · (150 + 130) = 560, joins 130 and 430."""
    lone = band(560.0, 130.0, 280.0, 430.0)
    walked = row(lone, band(150.0, fold="left"), band(130.0), pairs=(False, False, True))
    assert walked.lengths == pytest.approx((560.0, 560.0)) and walked.parts == pytest.approx((560.0, 300.0, 260.0))
    found = {round(g.along): round(g.difference, 6) for g in walked.notches}
    assert found == {130: 0.0, 430: 0.0} and walked.agrees
    assert [round(m.along) for _, m in walked.lone] == [280]  # no centre notch on the front's fold


def test_two_pairs_go_round_a_band_that_is_cut_once() -> None:
    """150 and 130, left and right each, against 560; against a band of 280 that is a pair too they go along one."""
    round_ = row(band(560.0), band(150.0), band(130.0), pairs=(False, True, True))
    assert round_.lengths == pytest.approx((560.0, 560.0)) and round_.agrees
    along = row(band(280.0), band(150.0), band(130.0), pairs=(True, True, True))
    assert along.lengths == pytest.approx((280.0, 280.0)) and along.agrees
    panel = row(band(280.0), band(150.0), band(130.0), pairs=(False, True, True))
    assert panel.lengths == pytest.approx((280.0, 280.0)) and panel.agrees


def test_ease_placed_between_two_notches() -> None:
    """12 mm in the middle 100 of 300: notches at 100 and 200 meet 100 and 212; spread evenly they would be at 104
    and 208, 4 mm off each."""
    one, two = band(300.0, 100.0, 200.0), band(312.0, 100.0, 212.0)
    walked = walk_seam(
        [(one, "e"), (two, "e")], ("a.e", "b.e"), ease=12.0, between=("n1", "n2"), called=[["n1", "n2"], ["n1", "n2"]]
    )
    assert walked.agrees and [g.difference for g in walked.notches] == pytest.approx([0.0, 0.0])
    assert walked.eased_between == ((100.0, 200.0),)
    spread = walk_seam([(one, "e"), (two, "e")], ("a.e", "b.e"), ease=12.0)
    assert sorted(abs(g.difference) for g in spread.notches) == pytest.approx([4.0, 4.0])


def test_ease_between_a_notch_and_the_edge_that_meets_the_end() -> None:
    """From the notch at 200 to the side at 300: what lies before the notch is sewn edge to edge."""
    one, two = band(300.0, 50.0, 200.0), band(310.0, 50.0, 200.0)
    walked = walk_seam(
        [(one, "e"), (two, "e")], ("a.e", "b.e"), ease=10.0, between=("n2", "side"), called=[["n1", "n2"], ["n1", "n2"]]
    )
    assert walked.eased_between == ((200.0, 300.0),)
    assert walked.agrees and all(g.difference == pytest.approx(0.0) for g in walked.notches)


def test_ease_between_notches_that_only_the_longer_side_has() -> None:
    """60 and 200 of the second edge, 220 long with 20 of ease between: 60 and 180 of the first, 200 long."""
    one, two = band(200.0), band(220.0, 60.0, 200.0)
    walked = walk_seam(
        [(one, "e"), (two, "e")], ("a.e", "b.e"), ease=20.0, between=("n1", "n2"), called=[[], ["n1", "n2"]]
    )
    ((a, b),) = walked.eased_between
    assert b - a == pytest.approx(120.0) and walked.agrees


def test_ease_that_cannot_be_placed_is_refused() -> None:
    """A notch that is not there (with those that are), and more taken up than lies between."""
    one, two = band(300.0, 100.0, 110.0), band(280.0)
    called = [["n1", "n2"], []]
    with pytest.raises(OrderError, match="no notch 'hip' along the seam; along it are n1, n2, side"):
        walk_seam([(one, "e"), (two, "e")], ("a.e", "b.e"), ease=9.0, between=("n1", "hip"), called=called)
    with pytest.raises(OrderError, match=r"20 mm are to be eased in within 10\.0 mm"):
        walk_seam([(one, "e"), (two, "e")], ("a.e", "b.e"), ease=-20.0, between=("n1", "n2"), called=called)


# --- through an order -------------------------------------------------------------------------------------------------

_SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="800mm" height="400mm" viewBox="0 0 800 400">
<g id="front"><path class="cut" d="M 0 0 h 150 v 100 h -150 Z"/><path class="grain" d="M 75 90 V 10"/>
 <path class="edge waist" d="M 0 0 h 150"/><path class="edge side" d="M 150 0 v 100"/></g>
<g id="back"><path class="cut" d="M 200 0 h 130 v 100 h -130 Z"/><path class="grain" d="M 260 90 V 10"/>
 <path class="edge waist" d="M 200 0 h 130"/><path class="edge side" d="M 200 0 v 100"/></g>
<g id="waistband"><path class="cut" d="M 0 200 h 280 v 40 h -280 Z"/><path class="grain" d="M 140 235 V 205"/>
 <path class="edge top" d="M 0 240 h 280"/><path class="notch" d="M 150 240 v -4"/></g></svg>"""
_REST = '[[pattern]]\nfile = "p.svg"\n[[cloth]]\nname = "main"\nwidth = "150 cm"\n[[garment]]\nname = "skirt"\n'
_SEAM = '[[seam]]\nedges = ["waistband.top", ["front.waist", "back.waist"]]\n'


def order_of(folder: Path, text: str) -> Order:
    """The order with these blocks."""
    return load(folder, 'title = "t"\nunits = "cm"\n' + _REST + text, p=_SVG)


def test_an_order_sews_one_edge_to_several_after_an_alteration(tmp_path: Path) -> None:
    """150 + 130 = 280; with 8 mm added at the front's side the row is 8 mm too long, and fits with 8 mm of ease."""
    check = check_order(order_of(tmp_path, _SEAM))
    document = check.as_dict()["seams"][0]
    assert document["edges"] == ["waistband.top", ["front.waist", "back.waist"]]
    assert document["lengths"] == pytest.approx([280.0, 280.0]) and document["agrees"]
    assert document["notches"][0]["join"] == "join of front.waist and back.waist"
    wider = _SEAM + '[[alter]]\npiece = "front"\nkind = "add"\nedge = "side"\nby = "8 mm"\n'
    bad = check_order(order_of(tmp_path, wider)).as_dict()["seams"][0]
    assert bad["difference"] == pytest.approx(8.0, abs=1e-3) and not bad["agrees"]
    eased = check_order(order_of(tmp_path, wider.replace("[[alter]]", 'ease = "8 mm"\n[[alter]]')))
    assert eased.as_dict()["seams"][0]["difference"] == pytest.approx(0.0, abs=1e-3)


def test_join_notches_are_added_by_the_order(tmp_path: Path) -> None:
    """Without the drawn notch the waistband gets one, 150 along, and it is on the piece that is laid."""
    plain = _SVG.replace('<path class="notch" d="M 150 240 v -4"/>', "")
    text = 'title = "t"\nunits = "cm"\n' + _REST + _SEAM + "add_join_notches = true\n"
    order = load(tmp_path, text, p=plain)
    piece = order.cut_piece("waistband", None).piece
    assert len(piece.notches) == 1
    assert walk_edge(piece, "top").marks[0].along in (pytest.approx(150.0), pytest.approx(130.0))
    (sewn,) = sewn_in_sizes(order.seams[0], order.pieces)
    assert sewn.walked.agrees and sewn.walked.unmarked == ()
    assert [f.code for f in order.findings].count("notch.added") == 1


@pytest.mark.parametrize(
    ("block", "key", "says"),
    [
        ('edges = ["waistband.top", ["front.waist", ["back.waist"]]]', "seam[1].edges[2]", "edges in a row"),
        ('edges = ["waistband.top", []]', "seam[1].edges[2]", "edges in a row"),
        ('edges = ["waistband.top", ["front.wiast", "back.waist"]]', "seam[1].edges", "did you mean 'front.waist'"),
        ('edges = ["front.waist", ["front.waist", "back.waist"]]', "seam[1].edges", "on two sides"),
        (_SEAM.split("\n")[1] + "\nmatch = true", "seam[1].match", "each pair of edges"),
        (_SEAM.split("\n")[1] + '\nease_between = ["n1", "n2"]', "seam[1].ease_between", "ease ="),
        ('edges = ["front.side", "back.side"]\nadd_join_notches = true', "seam[1].add_join_notches", "in a row"),
    ],
)
def test_rows_that_cannot_be_are_refused(tmp_path: Path, block: str, key: str, says: str) -> None:
    """With the key, and what to write."""
    with pytest.raises(OrderError) as caught:
        order_of(tmp_path, f"[[seam]]\n{block}\n")
    assert caught.value.key == key and says in caught.value.message


def test_allowances_that_differ_along_a_seam_are_told(tmp_path: Path) -> None:
    """10 mm at the waistband, 6 mm at the front, 10 mm at the back."""
    finishes = "".join(
        f'[[piece]]\nname = "{name}"\nfinish = {{ {edge} = "seam {mm} mm" }}\n'
        for name, edge, mm in (("waistband", "top", 10), ("front", "waist", 6), ("back", "waist", 10))
    )
    found = [f for f in check_order(order_of(tmp_path, _SEAM + finishes)).findings if f.code == "seam.allowances"]
    assert len(found) == 1 and not found[0].forbids
    assert "6.0 mm at front.waist" in found[0].message and "10.0 mm at waistband.top" in found[0].message
    same = finishes.replace("seam 6 mm", "seam 10 mm")
    assert not any(f.code == "seam.allowances" for f in check_order(order_of(tmp_path, _SEAM + same)).findings)
