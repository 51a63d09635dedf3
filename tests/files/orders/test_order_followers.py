"""Followers cut from the shape of their leaders, and judged against these as altered and finished."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from shapely.geometry import Polygon

from nesting.checking.judging import check_order
from nesting.model.errors import NestingError, PatternError
from nesting.model.order import Order
from nesting.model.piece import Piece, Ring
from nesting.pieces.agreement import agreement, put
from nesting.pieces.prepare import prepare
from nesting.pieces.wishes import Preparation
from tests.order_builder import load

# A brief's half front 260 high on its fold: crotch (0,0)-(40,0), leg (40,0)-(160,180), side, waist. Its lining ends 90
# up, where the leg is at x = 100: (0,0)-(40,0)-(100,90)-(0,90). SVG's y points down: page y = 260 - y.
_FRONT = "M 0 260 L 40 260 L 160 80 L 165 0 L 0 0 Z"
_LINING = "M 200 260 L 240 260 L 300 170 L 200 170 Z"


def _svg(front: str = _FRONT, lining: str = _LINING) -> str:
    return f"""<svg xmlns="http://www.w3.org/2000/svg" width="500mm" height="300mm" viewBox="0 0 500 300">
<g id="front"><path class="cut" d="{front}"/><path class="grain" d="M 30 200 V 60"/>
 <path class="edge crotch" d="M 0 260 H 40"/><path class="edge leg" d="M 40 260 L 160 80"/></g>
<g id="lining"><path class="cut" d="{lining}"/><path class="grain" d="M 220 250 V 180"/>
 <path class="edge crotch" d="M 200 260 H 240"/><path class="edge leg" d="M 240 260 L 300 170"/>
 <path class="edge top" d="M 300 170 H 200"/></g></svg>"""


_BASE = """title = "briefs"
units = "cm"
[[pattern]]
file = "p.svg"
[[cloth]]
name = "main"
width = "150 cm"
[[garment]]
name = "briefs"
[[together]]
leader = "front"
follower = "lining"
"""
_FOLDS = '[[piece]]\nname = "front"\nfold = "left"\n[[piece]]\nname = "lining"\nfold = "left"\n'


def order_of(folder: Path, more: str, *, together: str = "", folds: str = _FOLDS, **drawn: str) -> Order:
    """Front and lining, cut together, with these blocks."""
    return load(folder, _BASE + together + folds + more, p=_svg(**drawn))


_STRIP = '[[alter]]\npieces = ["front", "lining"]\nkind = "take strip"\nat = "4 cm"\nby = "1 cm"\n'


def test_one_strip_out_of_both_leaves_legs_that_differ_by_a_hand_worked_figure(tmp_path: Path) -> None:
    """By themselves, crotch on crotch: the front's leg (120 across, 180 along) becomes 120 on 170, the lining's (60 on
    90) 60 on 80. From the crotch they run apart: at the lining's top, 80 up, the front's leg is 80 · 120/170 = 56.5 out
    and the lining's 60: 3.53 across, times 170/208.1 square to the front's leg = 2.88 mm, whatever is allowed."""
    off = (60.0 - 80.0 * 120.0 / 170.0) * 170.0 / math.hypot(120.0, 170.0)
    assert off == pytest.approx(2.88, abs=0.005)
    for tolerance in ("1 mm", "2 mm", "4 mm", "8 mm"):
        together = f'shape = "own"\ntolerance = "{tolerance}"\n'
        (line,) = check_order(order_of(tmp_path, _STRIP, together=together)).together
        assert line.fits.agrees == (off <= float(tolerance.split()[0]))
        assert line.fits.largest == pytest.approx(off, abs=0.05)


def test_the_figure_does_not_depend_on_what_is_allowed(tmp_path: Path) -> None:
    """The same pieces, six tolerances, one figure."""
    found = set()
    order = order_of(tmp_path, _STRIP, together='shape = "own"\n')
    for tolerance in (0.1, 0.5, 1.0, 2.0, 5.0, 20.0):
        pieces = [order.cut_piece(name, None).piece for name in ("front", "lining")]
        found.add(round(agreement(pieces[0], pieces[1], tolerance).largest, 6))
    assert len(found) == 1


def test_the_follower_is_cut_from_the_leader_where_both_were_drawn_alike(tmp_path: Path) -> None:
    """After the strip its leg is the front's leg: exactly inside, 80 high, its top 40 + 80 · 120/170 wide."""
    order = order_of(tmp_path, _STRIP)
    (line,) = check_order(order).together
    assert line.fits.agrees and line.fits.largest < 1e-6
    lining = order.cut_piece("lining", None).piece
    area = 80.0 * (40.0 + 40.0 + 80.0 * 120.0 / 170.0) / 2.0
    assert Polygon(lining.outline).area == pytest.approx(area, abs=0.01)
    assert lining.fold is not None
    assert [f.code for f in order.findings].count("together.from-leader") == 1
    ends = {e.name: math.dist(e.start, e.end) for e in lining.edges}
    assert ends["top"] == pytest.approx(40.0 + 80.0 * 120.0 / 170.0, abs=1e-3)
    assert ends["leg"] == pytest.approx(80.0 * math.hypot(120.0, 170.0) / 170.0, abs=1e-3)
    assert ends["crotch"] == pytest.approx(40.0, abs=1e-6)


def test_without_alterations_nothing_is_changed(tmp_path: Path) -> None:
    """As drawn they agree, so each is cut as drawn, and nothing is told."""
    order = order_of(tmp_path, "")
    assert not any(f.code == "together.from-leader" for f in order.findings)
    assert Polygon(order.cut_piece("lining", None).piece.outline).area == pytest.approx(90.0 * (40 + 100) / 2)


def test_a_leader_that_alone_is_altered_takes_its_follower_along(tmp_path: Path) -> None:
    """5 mm off the front's leg: the lining loses as much, its top stays where it was."""
    order = order_of(tmp_path, '[[alter]]\npiece = "front"\nkind = "take"\nedge = "leg"\nby = "5 mm"\n')
    (line,) = check_order(order).together
    assert line.fits.agrees and line.fits.largest < 1e-6
    # 5 mm square to the leg is 5 · 216.33/180 = 6.009 mm across the fold, all along
    across = 5.0 * math.hypot(120.0, 180.0) / 180.0
    area = Polygon(order.cut_piece("lining", None).piece.outline).area
    assert area == pytest.approx(90.0 * (40.0 + 100.0) / 2.0 - 90.0 * across, abs=0.05)


def test_the_finish_of_the_leader_is_the_followers_too(tmp_path: Path) -> None:
    """8 mm turned in at the front's leg: the lining that states none has it; one that says raw keeps its own edge."""
    front = '[[piece]]\nname = "front"\nfold = "left"\nfinish = { leg = "elastic 8 mm" }\n'
    plain = '[[piece]]\nname = "lining"\nfold = "left"\n'
    order = order_of(tmp_path, "", folds=front + plain)
    (line,) = check_order(order).together
    assert line.fits.agrees and line.fits.largest < 1e-6
    assert Polygon(order.cut_piece("lining", None).piece.outline).area > 90.0 * 70.0 + 8.0 * 100.0
    raw = '[[piece]]\nname = "lining"\nfold = "left"\nfinish = { leg = "raw" }\n'
    kept = order_of(tmp_path, "", folds=front + raw)
    assert Polygon(kept.cut_piece("lining", None).piece.outline).area == pytest.approx(90.0 * 70.0, abs=1.0)


def test_a_follower_altered_by_itself_keeps_its_own_shape_unless_the_order_says_otherwise(tmp_path: Path) -> None:
    """5 mm added to the lining's leg alone: told as a difference; with shape = "leader" it follows."""
    alone = '[[alter]]\npiece = "lining"\nkind = "add"\nedge = "leg"\nby = "5 mm"\n'
    (line,) = check_order(order_of(tmp_path, alone)).together
    assert not line.fits.agrees
    (line,) = check_order(order_of(tmp_path, alone, together='shape = "leader"\n')).together
    assert line.fits.agrees and line.fits.largest < 1e-6


def test_drawn_differently_means_its_own_shape(tmp_path: Path) -> None:
    """A lining drawn 3 mm too wide is told so; with shape = "leader" it is cut from the front."""
    wide = "M 200 260 L 243 260 L 303 170 L 200 170 Z"
    (line,) = check_order(order_of(tmp_path, "", lining=wide)).together
    assert not line.fits.agrees
    (line,) = check_order(order_of(tmp_path, "", together='shape = "leader"\n', lining=wide)).together
    assert line.fits.agrees


def test_a_follower_with_no_edge_of_its_leader_cannot_have_its_shape(tmp_path: Path) -> None:
    """A patch well inside, told what to write."""
    patch = "M 210 250 L 264.4 224.6 L 255.4 211.8 Z"
    with pytest.raises(PatternError, match=r'shape = "own"'):
        order_of(tmp_path, "", together='shape = "leader"\n', folds='[[piece]]\nname = "front"\n', lining=patch)


def test_shape_takes_two_words(tmp_path: Path) -> None:
    """Anything else is refused with both."""
    with pytest.raises(NestingError, match="'leader', 'own'"):
        order_of(tmp_path, "", together='shape = "front"\n')


def test_a_follower_that_goes_straight_on_at_an_inner_corner_does_not_differ() -> None:
    """The front's leg turns out at an inner corner, 100 up; the follower goes straight on from there inside it."""
    front: Ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (160.0, 130.0), (160.0, 300.0), (0.0, 300.0))
    lining: Ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 180.0), (0.0, 180.0))

    def ready(name: str, ring: Ring) -> Piece:
        return prepare(Piece(name, ring), Preparation(grain=90.0, fold="left"))[0]

    for tolerance in (None, 0.2, 5.0, 20.0):
        found = agreement(ready("front", front), ready("lining", lining), tolerance)
        assert found.agrees and found.largest < 1e-6, tolerance
        assert put(ready("lining", lining), found.shift, found.turn, found.flipped).outline


def test_small_bends_at_an_inner_corner_are_no_difference_either() -> None:
    """Inner corners of 8 to 80 degrees: nothing differs before the corner, nothing is compared after it."""
    for degrees in (12, 20, 40, 80):
        a = math.radians(degrees)
        out = (100.0 + 120.0 * math.sin(a), 100.0 + 120.0 * math.cos(a))
        front: Ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), out, (out[0], 300.0), (0.0, 300.0))
        lining: Ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 180.0), (0.0, 180.0))
        pieces = [prepare(Piece("p", r), Preparation(grain=90.0, fold="left"))[0] for r in (front, lining)]
        assert agreement(pieces[0], pieces[1], 0.5).largest < 1e-6, degrees
