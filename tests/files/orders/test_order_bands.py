"""Bands joined in the round, worked out from the opening that they serve."""

from __future__ import annotations

from pathlib import Path

import pytest

import nesting
from nesting.checking.fit import opening_lines
from nesting.checking.judging import check_order
from nesting.model.errors import OrderError
from nesting.model.order import Order
from nesting.resolving.resolve import resolve
from tests.order_builder import CLOTH, GARMENT, load, panel_svg

EDGES = "".join(f'[[edge]]\npiece = "{piece}"\nname = "waist"\nfrom = 3\nto = 4\n' for piece in ("front", "back"))
PATTERNS = '[[pattern]]\nfile = "front.svg"\n[[pattern]]\nfile = "back.svg"\n'
BAND = '[[piece]]\nname = "band"\nround = ["front.waist", "back.waist"]\nheight = "8 cm"\njoin = "1 cm"\n'


def order(folder: Path, band: str, more: str = "") -> Order:
    """A front and a back, each 36 cm along the waist, and a band."""
    drawings = {name: panel_svg(name, width=360) for name in ("front", "back")}
    return load(folder, PATTERNS + CLOTH + GARMENT + EDGES + band + more, **drawings)


def sides(read: Order) -> tuple[float, float]:
    """Along and across the grain, mm."""
    ring = read.cut_piece("band", None).piece.outline
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    return max(xs) - min(xs), max(ys) - min(ys)


def test_a_band_of_85_per_cent_joined_with_1_cm(tmp_path: Path) -> None:
    """By hand: an opening of 36 + 36 = 72 cm; 0.85 × 72 = 61.2 cm, and 1 cm at each end: 63.2 cm, across the grain, so
    that the cloth's stretch goes round the body; 8 cm high. Cut once."""
    read = order(tmp_path, BAND + "ratio = 0.85\n")
    assert sides(read) == pytest.approx((80.0, 632.0), abs=0.01)
    cut = read.cut_piece("band", None)
    assert cut.cut == 1 and not cut.mirrored and cut.band
    (told,) = [f for f in read.findings if f.code == "band.length"]
    assert "63.2 cm round" in told.message and "72 cm" in told.message and "practice" not in told.message


def test_without_a_ratio_that_of_practice(tmp_path: Path) -> None:
    """0.85 (common practice), said so; without a join none is added."""
    read = order(tmp_path, BAND.replace('join = "1 cm"\n', ""))
    assert sides(read)[1] == pytest.approx(612.0, abs=0.01)
    assert any("common practice" in f.message for f in read.findings if f.code == "band.length")


def test_one_for_each_of_two_openings(tmp_path: Path) -> None:
    """Left and right: two openings of 36 cm each, so two bands of 30.6 + 2 cm."""
    pair = "".join(f'[[piece]]\nname = "{name}"\ncut = 2\nmirrored = true\n' for name in ("front", "back"))
    read = order(tmp_path, BAND + "ratio = 0.85\n", pair)
    assert read.cut_piece("band", None).cut == 2
    assert sides(read)[1] == pytest.approx(0.85 * 720.0 + 20.0, abs=0.01)


def test_an_alteration_of_the_opening_lengthens_the_band(tmp_path: Path) -> None:
    """The front let out by 2 cm along the side that it widens: the band follows by 0.85 × that."""
    wider = '[[edge]]\npiece = "front"\nname = "side"\nfrom = 2\nto = 3\n'
    wider += '[[alter]]\npiece = "front"\nkind = "add"\nedge = "side"\nby = "2 cm"\n'
    read = order(tmp_path, BAND + "ratio = 0.85\n", wider)
    assert sides(read)[1] == pytest.approx(0.85 * 740.0 + 20.0, abs=0.05)


def test_it_is_laid_like_any_other_piece(tmp_path: Path) -> None:
    """Two garments: two bands, with its longer side across the cloth, proved."""
    read = order(tmp_path, BAND + "ratio = 0.85\n")
    (lay,) = nesting.lay(read, rounds=2, workers=1, spread="open")
    bands = [p for p in lay.placements if p.piece == "band"]
    assert len(bands) == 2 and all(p.turn % 180.0 == 0.0 for p in bands)


WAIST = '[[opening]]\nname = "waist"\nedges = ["front.waist", "back.waist"]\nsits = "66 cm"\npasses = "88 cm"\n'


@pytest.mark.parametrize(
    ("cloth", "rib", "stretched", "goes"),
    [
        # of the same cloth, 40 %: the band reaches 61.2 × 1.4 = 85.68 cm, the edge 72 × 1.4 = 100.8
        ("40 %", None, 856.8, False),
        # a rib of 60 %: the band reaches 97.92, less than the edge's 100.8
        ("40 %", "60 %", 979.2, True),
        # a rib of 80 %: the band would reach 110.16, the edge holds it at 100.8
        ("40 %", "80 %", 1008.0, True),
    ],
)
def test_a_band_draws_its_opening_in(tmp_path: Path, cloth: str, rib: str | None, stretched: float, goes: bool) -> None:
    """By hand: a band of 0.85 on 72 cm is 61.2 cm at rest, without its joins: 92.7 % of a waist of 66 cm. The hip of 88
    cm is passed only where band and edge both reach it."""
    stretchy = CLOTH + f'stretch_across = "{cloth}"\n'
    more = WAIST
    band = BAND + "ratio = 0.85\n"
    if rib is not None:
        more += f'[[cloth]]\nname = "rib"\nwidth = "100 cm"\nstretch_across = "{rib}"\n'
        band += 'cloth = "rib"\n'
    drawings = {name: panel_svg(name, width=360) for name in ("front", "back")}
    read = load(tmp_path, PATTERNS + stretchy + GARMENT + EDGES + band + more, **drawings)
    (line,) = opening_lines(resolve(read))
    assert line.edge == pytest.approx(720.0) and line.rest == pytest.approx(612.0)
    assert line.stretched == pytest.approx(stretched)
    told = [f.message for f in check_order(read).findings if f.code == "wearer.fit"]
    assert any("it does not go on" in message for message in told) != goes


def test_a_band_cut_too_short_may_cut_in(tmp_path: Path) -> None:
    """0.6 × 72 = 43.2 cm on 66 cm: 65 %, below the 70 % of common practice; without a stated stretch nothing more."""
    read = order(tmp_path, BAND + "ratio = 0.6\n", WAIST)
    (line,) = opening_lines(resolve(read))
    assert line.rest == pytest.approx(432.0) and line.stretched is None
    told = [f.message for f in check_order(read).findings if f.code == "wearer.fit"]
    assert any("65 % of the 66 cm" in message and "may cut in" in message for message in told)


@pytest.mark.parametrize(
    ("band", "words"),
    [
        (BAND.replace('height = "8 cm"\n', ""), "height = "),
        (BAND + 'rectangle = ["8 cm", "60 cm"]\n', "leave out rectangle"),
        (BAND.replace("front.waist", "front.waste"), "waste"),
        ('[[piece]]\nname = "front"\njoin = "1 cm"\n', "round = "),
        (BAND.replace("front.waist", "sleeve.hem").replace(', "back.waist"', ""), "sleeve.hem"),
    ],
)
def test_refusals(tmp_path: Path, band: str, words: str) -> None:
    """Each says what is missing or wrong."""
    with pytest.raises(OrderError) as error:
        order(tmp_path, band)
    assert words in str(error.value)
