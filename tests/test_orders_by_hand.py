"""Small orders as people write them, from the files to the lay; every answer was worked out by hand before."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

import nesting
from nesting.checking.judging import check_order
from nesting.model.errors import CannotLayError
from nesting.model.units import to_cents
from nesting.proof import prove
from nesting.report.html.summary import cost
from nesting.report.sheet.folding import folding_steps
from nesting.resolving.resolve import resolve

ORDER = """units = "cm"
{body}
[[cloth]]
name = "main"
width = "{width} cm"
increment = "1 cm"
end_allowance = "2 cm"
{cloth}
[[garment]]
name = "g"
count = {count}
{garment}
"""
PANEL = '[[piece]]\nname = "a"\nrectangle = ["{} cm", "{} cm"]\n'
PAIR = "cut = 2\nmirrored = true\n"
DRAWN = '[[pattern]]\nfile = "p.svg"\n'
HALVES = DRAWN + "".join(f'[[piece]]\nname = "{n}"\nfold = "left"\nunfold = false\n' for n in ("h12", "h8", "h25"))
HALF_DISC = '[[piece]]\nname = "half"\nfold = "left"\n'
SINGLE = '[[piece]]\nname = "s"\nrectangle = ["30 cm", "20 cm"]\n'
#: halves of 12, 8 and 25 cm, 30 long; a right-angled triangle, 30 along and 40 across; one that is 30 × 20 in a group
#: that is turned by 90°, so that on the page its grain runs to the right; true discs of 30 and 20, half a disc of 40, a
#: triangle 40 across and 30 high, a wedge of 30 and 20 across, and an L of three squares of 20
SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="1700mm" height="1300mm" viewBox="0 0 1700 1300">
<g id="h12"><path d="M50 50 h120 v300 h-120 Z"/><path id="grainline-1" d="M100 300 V100"/></g>
<g id="h8"><path d="M250 50 h80 v300 h-80 Z"/><path id="grainline-2" d="M290 300 V100"/></g>
<g id="h25"><path d="M400 50 h250 v300 h-250 Z"/><path id="grainline-3" d="M500 300 V100"/>
<path id="edge-side" d="M650 50 v300"/></g>
<g id="tri"><path d="M700 50 v300 h400 Z"/><path id="grainline-4" d="M750 330 V200"/></g>
<g transform="translate(600 400) rotate(90)"><g id="turned"><path d="M0 0 h200 v300 h-200 Z"/>
<path id="grainline-5" d="M100 250 V50"/></g></g>
<g id="disc30"><circle cx="200" cy="900" r="150"/><path id="grainline-6" d="M200 1000 V800"/></g>
<g id="disc20"><circle cx="500" cy="900" r="100"/><path id="grainline-7" d="M500 950 V850"/></g>
<g id="half"><path d="M650 750 a200 200 0 0 1 0 400 Z"/><path id="grainline-8" d="M700 1050 V850"/></g>
<g id="iso"><path d="M900 1050 h400 l-200 -300 Z"/><path id="grainline-9" d="M1100 1000 V850"/></g>
<g id="wedge"><path d="M1340 750 h300 l-100 300 h-200 Z"/><path id="grainline-10" d="M1390 1000 V800"/></g>
<g id="ell"><path d="M1150 50 h400 v200 h-200 v200 h-200 Z"/><path id="grainline-11" d="M1250 400 V100"/></g></svg>"""


def order(folder: Path, body: str, width: str, cloth: str = "", count: str = "1", garment: str = "") -> nesting.Order:
    """The order, with its drawing beside it."""
    (folder / "p.svg").write_text(SVG, encoding="utf-8")
    path = folder / "order.toml"
    text = ORDER.format(body=body, width=width, cloth=cloth, count=count, garment=garment)
    path.write_text(text, encoding="utf-8")
    return nesting.load_order(path)


def only(*names: str) -> str:
    """The pieces of the garment."""
    return f"pieces = {[*names]}"


def fold(kind: str) -> str:
    """The only spread that is allowed."""
    return f'spreads = ["{kind}"]'


# name: (body, width, cloth, count, garment), lay length and length to buy, mm
CASES: dict[str, tuple[tuple[str, ...], float, float]] = {
    # 3 × 32.6 and two gaps of 1.1 are 100
    "three and two gaps": ((PANEL.format(40, 32.6), "100", 'gap = "1.1 cm"', "3"), 400.0, 440.0),
    # with gaps of 1.2 they are 100.2: a second row, and a gap between
    "two gaps too wide": ((PANEL.format(40, 32.6), "100", 'gap = "1.2 cm"', "3"), 812.0, 860.0),
    # half a gap from the fold: 29 + 1 on a table of 30
    "half a gap from a fold": (
        (PANEL.format(20, 29) + PAIR, "60", fold("lengthwise fold") + '\ngap = "2 cm"'), 200.0, 240.0,
    ),
    # 0.5 from the fold, 40, the gap of 1, 40; twice that and the ends to buy
    "gaps before a crosswise fold": (
        (PANEL.format(40, 60) + PAIR, "60", fold("crosswise fold") + '\ngap = "1 cm"', "2"), 815.0, 1670.0,
    ),
    # the fold edge square to the grain: 30 on the table, twice that to buy
    "a half on a crosswise fold": (
        (DRAWN + '[[piece]]\nname = "turned"\nfold = "left"\nunfold = false\n', "20", fold("crosswise fold"), "1",
         only("turned")), 300.0, 640.0,
    ),
    # opened out across the grain it is 60 long and 20 wide; along the grain 30 long and 40 wide
    "a turned half opened out": (
        (DRAWN + '[[piece]]\nname = "turned"\nfold = "left"\n', "20", fold("open"), "1", only("turned")), 600.0, 640.0,
    ),
    "its other side on a fold": (
        (DRAWN + '[[piece]]\nname = "turned"\nfold = "top"\n', "40", fold("lengthwise fold"), "1", only("turned")),
        300.0, 340.0,
    ),
    # flaps of 13 and 9 with their selvages: 62 - 22 = 40 between the folds, 12 + 20 + 8
    "two halves and a single on a double fold": (
        (HALVES + SINGLE, "62", fold("double fold") + '\nselvage = "1 cm"', "1", only("h12", "h8", "s")), 300.0, 340.0,
    ),
    # 25 on either fold of a tube that is 50 flat; with a gap of 1 between them, one behind the other
    "halves on both folds of a tube": ((HALVES, "50", "tubular = true", "2", only("h25")), 300.0, 340.0),
    "the same with a gap": ((HALVES, "50", 'tubular = true\ngap = "1 cm"', "2", only("h25")), 610.0, 650.0),
    # 50 less 4 % are 48; 34 less 5 % of shrinkage: 35.79, rounded up
    "shrinkage both ways": (
        (PANEL.format(30, 48), "50", 'shrink_across = "4 %"\nshrink_along = "5 %"'), 300.0, 360.0,
    ),
    # two triangles fill 30 × 40 where one is turned
    "triangles turned": ((DRAWN, "40", "", "2", only("tri")), 300.0, 340.0),
    "triangles one way": ((DRAWN, "40", 'nap = "one way"', "2", only("tri")), 600.0, 640.0),
    "triangles by garment": ((DRAWN, "40", 'nap = "by garment"', "2", only("tri")), 300.0, 340.0),
    # a square of 20 on the bias is 28.284 wide and long
    "a square on the bias": ((PANEL.format(20, 20) + 'turn = "bias"\n', "28.29"), 282.843, 330.0),
    # four plies in two pairs: an outline gives two of each hand, so two outlines; four times 60 + 4
    "plies face to face": (
        (PANEL.format(30, 40) + PAIR, "40", 'plies = 4\nspreads = ["stacked face to face"]', "4"), 600.0, 2560.0,
    ),
    # two plies face up: left and right each need an outline; twice 60 + 4
    "plies face up": (
        (PANEL.format(30, 40) + PAIR, "40", 'plies = 2\nspreads = ["stacked face up"]', "2"), 600.0, 1280.0,
    ),
    # 124 less 4 of ends: four rows of two; 1 mm less: three rows
    "as many as fit": ((PANEL.format(30, 40), "80", f'length = "124 cm"\n{fold("open")}', '"most"'), 1200.0, 1240.0),
    "one row less": ((PANEL.format(30, 40), "80", f'length = "123.9 cm"\n{fold("open")}', '"most"'), 900.0, 940.0),
    # true discs: two of 30 and a gap of 1 on 61; one as wide as the cloth; three of 20 on 40, the third in the hollow
    "discs and a gap": ((DRAWN, "61", fold("open") + '\ngap = "1 cm"', "2", only("disc30")), 300.0, 340.0),
    "a disc as wide as the cloth": ((DRAWN, "30", "", "1", only("disc30")), 300.0, 340.0),
    "half a disc on a fold": (
        (DRAWN + HALF_DISC + "unfold = false\n", "40", fold("lengthwise fold"), "1", only("half")), 400.0, 440.0,
    ),
    "half a disc opened out": ((DRAWN + HALF_DISC, "40", fold("open"), "1", only("half")), 400.0, 440.0),
    "half discs on both flaps": (
        (DRAWN + HALF_DISC + "unfold = false\n", "80", fold("double fold"), "2", only("half")), 400.0, 440.0,
    ),
    # tip to foot: 60 across; a gap of 1 square to the slanted edges is sqrt(20² + 30²) / 30 = 1.202 across
    "two triangles in one another": ((DRAWN, "60", fold("open"), "2", only("iso")), 300.0, 340.0),
    "triangles with a gap": ((DRAWN, "61.21", fold("open") + '\ngap = "1 cm"', "2", only("iso")), 300.0, 340.0),
    "two wedges, one turned": ((DRAWN, "50", fold("open"), "2", only("wedge")), 300.0, 340.0),
    "two wedges one way": (
        (DRAWN, "50", fold("open") + '\nnap = "one way"', "2", only("wedge")), 600.0, 640.0,
    ),
    # six squares of 20 in 40 × 60
    "two Ls in one another": ((DRAWN, "60", fold("open"), "2", only("ell")), 400.0, 440.0),
    "an L and its square": (
        (DRAWN + '[[piece]]\nname = "sq"\nrectangle = ["20 cm", "20 cm"]\n', "40", fold("open"), "1",
         only("ell", "sq")), 400.0, 440.0,
    ),
    # the single beside a half of 12: 12 + gap 1 + 30 + selvage 1.5, and the flap of 13.5: 58
    "a flap with selvage and gap": (
        (HALVES + '[[piece]]\nname = "s"\nrectangle = ["30 cm", "30 cm"]\n', "58",
         fold("partial fold") + '\nselvage = "1.5 cm"\ngap = "1 cm"', "1", only("h12", "s")), 300.0, 340.0,
    ),
    # flaps of 12 and 8, a gap on either side of the single between them: 12 + 1 + 20 + 1 + 8 on 62 - 20
    "a single between two flaps, with gaps": (
        (HALVES + SINGLE, "62", fold("double fold") + '\ngap = "1 cm"', "1", only("h12", "h8", "s")), 300.0, 340.0,
    ),
    "flaps that meet": ((HALVES, "100", fold("double fold"), "2", only("h25")), 300.0, 340.0),
    # 4 × 36.25 and three gaps of 1 on 150 less two selvages
    "gaps between selvages": (
        (PANEL.format(20, 36.25), "150", fold("open") + '\nselvage = "1 cm"\ngap = "1 cm"', "4"), 200.0, 240.0,
    ),
    "rows with a gap": ((PANEL.format(10, 148), "150", 'selvage = "1 cm"\ngap = "3 mm"', "3"), 306.0, 350.0),
    # 30 wide and 40 long turned by a quarter, as it stretches enough lengthwise only
    "turned for its stretch": (
        (PANEL.format(20, 30) + 'turn = "quarter turns"\nneeds_stretch = "60 %"\n', "25",
         fold("open") + '\nstretch_across = "40 %"\nstretch_along = "70 %"'), 300.0, 340.0,
    ),
    # a strip on the bias: (10 + 40) / sqrt(2) both ways
    "a strip on the bias": ((PANEL.format(10, 40) + 'turn = "bias"\n', "35.36", fold("open")), 353.553, 400.0),
    # 60 less 3 % are 58.2: two of 29.1, and not two of 29.11; 20 + 4 less 8 % are 26.09
    "two on what washing leaves": (
        (PANEL.format(20, 29.1), "60", fold("open") + '\nshrink_across = "3 %"\nshrink_along = "8 %"', "2"),
        200.0, 270.0,
    ),
    "one too wide for what washing leaves": (
        (PANEL.format(20, 29.11), "60", fold("open") + '\nshrink_across = "3 %"', "2"), 400.0, 440.0,
    ),
    "three plies face up": (
        (PANEL.format(30, 40), "40", 'plies = 3\nspreads = ["stacked face up"]', "3"), 300.0, 1020.0,
    ),
    # 3 × 15.5 and two gaps, half a gap at the fold, on 50 less the selvage: 49
    "pairs between fold and selvage": (
        (PANEL.format(20, 15.5) + PAIR, "100", fold("lengthwise fold") + '\nselvage = "1 cm"\ngap = "1 cm"', "3"),
        200.0, 240.0,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_worked_out_by_hand(name: str, tmp_path: Path) -> None:
    """The lay and what to buy are those; no bound is above; the proof holds."""
    how, length, buy = CASES[name]
    asked = order(tmp_path, *how)
    (lay,) = nesting.lay(asked, rounds=6, workers=1)
    assert lay.lay_length == pytest.approx(length, abs=0.01)
    assert lay.buy_length == pytest.approx(buy, abs=1e-6)
    assert 0.0 < lay.lower_bound <= length + 1e-6 and lay.bound_reason
    assert prove(lay, asked).ok


def test_what_an_alteration_changes_by_area_is_no_bound_on_the_lay(tmp_path: Path) -> None:
    """By hand: 25 × 30 with 2 cm more at an edge cover 60 cm² more, 2 cm of cloth that is 30 wide; but 27 fit beside
    nothing else as 25 did, so the lay stays 30 long. So nothing is said to be "at least"."""
    more = DRAWN + '[[alter]]\npiece = "h25"\nkind = "add"\nby = "2 cm"\nedge = "side"\n'
    asked = order(tmp_path, more, "30", fold("open"), "1", only("h25"))
    (note,) = [f.message for f in check_order(asked).findings if f.code == "cloth.area-changed"]
    assert "by area some 2 cm more of its width" in note and "at least" not in note
    (lay,) = nesting.lay(asked, rounds=2, workers=1)
    assert lay.lay_length == pytest.approx(300.0, abs=0.01)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        # half a gap too much on half the width
        ((PANEL.format(30, 49.6) + PAIR, "100", fold("lengthwise fold") + '\ngap = "1 cm"'), ("50.1 cm", "50 cm")),
        ((PANEL.format(20, 48.1), "50", 'selvage = "1 cm"'), ("48.1 cm", "48 cm")),
        ((PANEL.format(40, 60) + PAIR, "60", fold("crosswise fold") + '\nnap = "one way"'), ("nap",)),
        ((PANEL.format(20, 20) + 'turn = "bias"\n', "28.2"), ("28.3 cm", "28.2 cm")),
        # three rows of 30 and the ends are 94
        ((PANEL.format(30, 40), "40", "length = 90", "3"), ("94 cm", "90 cm", "4 cm are missing", "no lay of these")),
    ],
)
def test_what_does_not_fit_is_refused_with_its_figures(how: tuple[str, ...], words: tuple[str, ...], tmp_path) -> None:
    """A little less room than the answer needs, and the reason says both figures."""
    with pytest.raises(CannotLayError) as why:
        nesting.lay(order(tmp_path, *how), rounds=2, workers=1)
    assert why.value.exit_code == 3
    for word in words:
        assert word in str(why.value)


def test_a_flap_is_as_deep_all_along_as_the_steps_say(tmp_path: Path) -> None:
    """A half of 12 with the selvage of 1 beside it: the flap is 13 deep on 62, and the table 62 - 13. The steps say
    both; the flap's ply ends 1 short of that everywhere. One that runs out of true by 1 mm at an end is refused."""
    asked = order(tmp_path, HALVES + SINGLE, "62", fold("partial fold") + '\nselvage = "1 cm"', "1", only("h12", "s"))
    (lay,) = nesting.lay(asked, rounds=4, workers=1)
    (section,) = lay.sections
    (step,) = [s for s in folding_steps(lay, section) if "all along" in s]
    assert "13 cm deep" in step and "equally deep all along" in step and "it is then 49.0 cm" in step
    flap = section.spread.plies[1]
    assert sorted({round(y, 6) for _, y in flap.region}) == [0.0, 120.0]
    far = max(x for x, _ in flap.region)
    askew = tuple((x, y - 1.0 if (x, y) == (far, 120.0) else y) for x, y in flap.region)
    assert askew != flap.region
    plies = (section.spread.plies[0], replace(flap, region=askew))
    spoiled = replace(lay, sections=(replace(section, spread=replace(section.spread, plies=plies)),))
    assert prove(lay, asked).ok and not prove(spoiled, asked).ok


def test_three_discs_lie_in_one_anothers_hollow(tmp_path: Path) -> None:
    """Two of 20 side by side on 40, the third between them: 20 + sqrt(20² - 10²) = 37.32 long. Curves are followed to
    0.01 mm, so the lay may be shorter by some of that, times the slope of the touching place."""
    (lay,) = nesting.lay(order(tmp_path, DRAWN, "40", fold("open"), "3", only("disc20")), rounds=6, workers=1)
    assert lay.lay_length == pytest.approx(200.0 + math.sqrt(200.0**2 - 100.0**2), abs=0.05)
    assert lay.lower_bound <= lay.lay_length


def test_inches_yards_and_a_till_that_rounds_halves_up(tmp_path: Path) -> None:
    """Three pairs of 9 × 22 1/2 in on 46 in: less 2 % and two selvages of 1/2 in 44.08 in, so on a crosswise fold one
    pair in a row. 3 × 9, two gaps of 1/8 and half of one at the fold: 27 5/16 in. Twice that and both ends of 1 in,
    58.98 in with 4 % of shrinkage, are 14 eighths of a yard: 63 in. At 9.50 a yard 16.625, so 16.63."""
    text = """units = "in"
[[piece]]
name = "a"
rectangle = ["9 in", "22 1/2 in"]
cut = 2
mirrored = true
[[cloth]]
name = "main"
width = "46 in"
selvage = "1/2 in"
shrink_along = "4 %"
shrink_across = "2 %"
end_allowance = "1 in"
gap = "1/8 in"
price = 9.5
spreads = ["crosswise fold"]
[[garment]]
name = "g"
count = 3
"""
    path = tmp_path / "order.toml"
    path.write_text(text, encoding="utf-8")
    asked = nesting.load_order(path)
    (lay,) = nesting.lay(asked, rounds=4, workers=1)
    assert lay.lay_length == pytest.approx((27 + 5 / 16) * 25.4, abs=0.01)
    assert lay.buy_length == pytest.approx(63 * 25.4, abs=1e-6)
    assert cost(lay, resolve(asked)) == 16.63
    assert [to_cents(x) for x in (16.624, 1.005, 0.115, -2.675, 3.4)] == [16.62, 1.01, 0.12, -2.68, 3.4]
