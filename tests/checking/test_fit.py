"""Wearers, elastic by measure or edge, and whether an opening goes on: worked by hand from lengths and stretches."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console

import nesting
from nesting.checking.fit import opening_lines
from nesting.checking.judging import check_order
from nesting.model.errors import OrderError
from nesting.planning.buying.trims import trim_needs
from nesting.report.html.check_page import check_summary
from nesting.resolving.resolve import resolve

# A tube of two panels, each 350 mm across the top: a waist of 700 mm round.
BASE = """
title = "skirts"
units = "cm"
[[piece]]
name = "panel"
rectangle = [40, 35]
cut = 2
[[cloth]]
name = "main"
width = 150
stretch_across = "40 %"
[[wearer]]
name = "Ada"
measures = {{ waist = "72 cm", hip = "98 cm" }}
[[wearer]]
name = "Bo"
measures = {{ waist = "88 cm", hip = "104 cm" }}
{more}
[[garment]]
name = "skirt"
count = 2
wearer = "Ada"
[[garment]]
name = "skirt"
count = 1
wearer = "Bo"
"""
TRIM = """
[[trim]]
name = "waist elastic"
kind = "elastic"
edges = ["panel.right"]
openings = 1
"""


def order(tmp_path: Path, more: str = "") -> nesting.Order:
    """The skirts with whatever else the order says."""
    path = tmp_path / "skirts.toml"
    path.write_text(BASE.format(more=more), encoding="utf-8")
    return nesting.load_order(path)


def lines(tmp_path: Path, more: str) -> dict[str, dict]:
    """Opening lines by garment."""
    return {line.garment: line.as_dict() for line in opening_lines(resolve(order(tmp_path, more)))}


def warnings(tmp_path: Path, more: str) -> list[str]:
    """What a check warns of."""
    return [f.message for f in check_order(order(tmp_path, more)).findings if f.kind == "warning"]


def test_garments_are_cut_for_their_wearers(tmp_path) -> None:
    """Copies, labels and sizes carry the names; one wearer's alteration does not touch the other's pieces."""
    asked = order(tmp_path, '[[alter]]\npiece = "panel"\nkind = "lengthen"\nat = "10 cm"\nby = "3 cm"\nwearer = "Bo"\n')
    assert [(g.name, g.size, g.wearer) for g in asked.garments] == [("skirt", "Ada", "Ada"), ("skirt", "Bo", "Bo")]

    def long(who: str) -> float:
        xs = [x for x, _ in asked.cut_piece("panel", who).piece.outline]
        return max(xs) - min(xs)

    assert long("Ada") == pytest.approx(400.0) and long("Bo") == pytest.approx(430.0)
    (lay,) = nesting.lay(asked, rounds=2, workers=1)
    assert {p.label for p in lay.placements} == {"panel Ada 1", "panel Ada 2", "panel Bo 1"}
    assert sum(p.gives for p in lay.placements) == 6


def test_elastic_by_measure_or_by_edge(tmp_path) -> None:
    """0.9 of 720 and of 880 mm and 2 cm for the join; by the edge 0.8 of 700 mm."""
    (need,) = trim_needs(
        resolve(order(tmp_path, TRIM + 'measure = "waist"\nfactor = 0.9\njoin = "2 cm"\nratio = 0.8\n'))
    )
    assert [o.trim_length for o in need.openings] == pytest.approx([0.9 * 720 + 20, 0.9 * 880 + 20])
    assert need.total == pytest.approx(2 * 668.0 + 812.0)
    (by_edge,) = trim_needs(resolve(order(tmp_path, TRIM + "ratio = 0.8\n")))
    assert [o.trim_length for o in by_edge.openings] == pytest.approx([560.0, 560.0])


def test_front_and_back_have_ratios_of_their_own(tmp_path) -> None:
    """One side at 1.0 and the other at 0.72: 350 and 252 mm."""
    more = """
[[trim]]
name = "hem"
kind = "elastic"
edges = ["panel.right", "panel.left"]
ratios = { "panel.right" = 1.0, "panel.left" = 0.72 }
openings = 2
"""
    (need,) = trim_needs(resolve(order(tmp_path, more)))
    assert need.openings[0].trim_length == pytest.approx((700.0 + 0.72 * 700.0) / 2)


@pytest.mark.parametrize(
    ("more", "rest", "stretched", "goes"),
    [
        # raw or folded back: the edge itself, 700 mm and 40 % more
        ('[[opening]]\nname = "waist"\nedges = ["panel.right"]\nopenings = 1\n', 700.0, 980.0, True),
        # its finish gives less than the cloth
        ('[[opening]]\nname = "w"\nedges = ["panel.right"]\nopenings = 1\nstretch = "30 %"\n', 700.0, 910.0, False),
        # elastic at 0.8, rated 100 %: 560 mm at rest, 1120 by itself, so the edge's 980 counts
        (TRIM + 'ratio = 0.8\nstretch = "100 %"\n', 560.0, 980.0, True),
        # the same rated 60 %: 896 mm
        (TRIM + 'ratio = 0.8\nstretch = "60 %"\n', 560.0, 896.0, False),
        # a binding that gives 30 %, cut to 0.95: 665 mm, 864.5
        (TRIM.replace('"elastic"', '"binding"') + 'ratio = 0.95\nstretch = "30 %"\n', 665.0, 864.5, False),
        # lace elastic as long as the edge, rated 45 %: the edge's 980 is less than 1015
        (TRIM.replace('"elastic"', '"lace"') + 'ratio = 1.0\nstretch = "45 %"\n', 700.0, 980.0, True),
    ],
)
def test_six_openings_worked_by_hand(tmp_path, more, rest, stretched, goes) -> None:
    """Rest and stretched lengths for Ada's waist of 720 and hip of 980 mm; what does not reach the hip is told."""
    found = lines(tmp_path, more + 'sits = "waist"\npasses = "hip"\n')["skirt Ada"]
    assert found["rest"] == pytest.approx(rest) and found["stretched"] == pytest.approx(stretched)
    assert found["ratio"] == pytest.approx(rest / 720.0, abs=1e-4)
    assert found["needs_stretch"] == pytest.approx(0.4)
    told = [w for w in warnings(tmp_path, more + 'sits = "waist"\npasses = "hip"\n') if "of skirt Ada" in w]
    assert any("it does not go on" in w for w in told) != goes


def test_limits_are_told_with_their_figures(tmp_path) -> None:
    """560 mm on a waist of 880 is 64 %, below 70 %; 700 mm on a neck of 65 cm is 108 %, above 100 %."""
    told = warnings(tmp_path, TRIM + 'ratio = 0.8\nsits = "waist"\n')
    assert any("skirt Bo" in w and "64 % of the 88 cm" in w and "may cut in" in w for w in told)
    assert not any("skirt Ada" in w for w in told)
    loose = '[[opening]]\nname = "top"\nedges = ["panel.right"]\nopenings = 1\nsits = "65 cm"\n'
    assert any("108 % of the 65 cm" in w and "stand off" in w for w in warnings(tmp_path, loose))
    assert not warnings(tmp_path, loose + "most = 1.1\n")


def test_unknown_wearers_and_measures_are_named_with_the_choices(tmp_path) -> None:
    """The nearest name is offered."""
    with pytest.raises(OrderError, match=r"no \[\[wearer\]\] 'Adda'; did you mean 'Ada'"):
        order(tmp_path, '[[alter]]\npiece = "panel"\nkind = "lengthen"\nat = "10 cm"\nby = 1\nwearer = "Adda"\n')
    with pytest.raises(OrderError, match=r"states a measure 'waste'; did you mean 'waist'"):
        order(tmp_path, TRIM + 'sits = "waste"\n')


def test_without_a_stated_stretch_nothing_is_claimed(tmp_path) -> None:
    """The cloth's stretch is not known: neither that it goes on nor that it does not."""
    path = tmp_path / "skirts.toml"
    text = BASE.format(more=TRIM + 'ratio = 0.9\nsits = "waist"\npasses = "hip"\n')
    path.write_text(text.replace('stretch_across = "40 %"\n', ""), encoding="utf-8")
    asked = nesting.load_order(path)
    assert {line.stretched for line in opening_lines(resolve(asked))} == {None}
    assert not [f for f in check_order(asked).findings if "go on" in f.message]


def test_a_leg_with_elastic_that_differs_front_and_back(tmp_path) -> None:
    """A leg of 350 + 350 mm: the front's elastic as long as its edge, the back's at 0.72 (both as hobby pages have it,
    70 to 75 % at the back; no better source). By hand: 350 + 252 = 602 mm at rest; rated 80 % it would reach 1083.6,
    the edge only 700 × 1.4 = 980. On a thigh of 62 cm that is 97 %."""
    leg = """
[[trim]]
name = "leg elastic"
kind = "elastic"
edges = ["panel.right", "panel.left"]
ratios = { "panel.right" = 1.0, "panel.left" = 0.72 }
openings = 2
stretch = "80 %"
sits = "62 cm"
"""
    found = lines(tmp_path, leg)["skirt Ada"]
    assert found["rest"] == pytest.approx(602.0) and found["stretched"] == pytest.approx(980.0)
    assert found["ratio"] == pytest.approx(602.0 / 620.0, abs=1e-4)
    assert not [w for w in warnings(tmp_path, leg) if "leg elastic" in w]


def test_a_leg_folded_back_by_2_cm_keeps_its_opening(tmp_path) -> None:
    """What is turned in is cut on, 40 + 2 cm of it, and lies inside: the finished edge of 700 mm goes round the leg
    and reaches 980. A thigh of 66 cm is 106 %: it may stand off."""
    asked = order(tmp_path)
    path = tmp_path / "skirts.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace("cut = 2\n", 'cut = 2\nfinish = { right = "fold back 2 cm" }\n', 1)
        + '[[opening]]\nname = "leg"\nedges = ["panel.right"]\nopenings = 1\nsits = "66 cm"\n',
        encoding="utf-8",
    )
    folded = nesting.load_order(path)

    def long(read: nesting.Order) -> float:
        xs = [x for x, _ in read.cut_piece("panel", "Ada").piece.outline]
        return max(xs) - min(xs)

    assert long(folded) == pytest.approx(long(asked) + 20.0)
    line = next(x for x in opening_lines(resolve(folded)) if x.garment == "skirt Ada")
    assert line.rest == pytest.approx(700.0) and line.stretched == pytest.approx(980.0)
    told = [f.message for f in check_order(folded).findings if f.code == "wearer.fit"]
    assert any("106 % of the 66 cm" in message and "stand off" in message for message in told)


def test_elastic_for_three_wearers(tmp_path) -> None:
    """0.85 of each waist (80 to 85 % is what hobby pages say, no better source) and 1 cm for the join: by hand 61.2 +
    1, 74.8 + 1 and 78.2 + 1 cm; Cleo's is hers, though no other garment of that size is there."""
    cleo = '[[wearer]]\nname = "Cleo"\nmeasures = { waist = "92 cm" }\n'
    path = tmp_path / "skirts.toml"
    more = cleo + TRIM + 'measure = "waist"\nfactor = 0.85\njoin = "1 cm"\n'
    path.write_text(
        BASE.format(more=more) + '[[garment]]\nname = "skirt"\ncount = 1\nwearer = "Cleo"\n', encoding="utf-8"
    )
    (need,) = trim_needs(resolve(nesting.load_order(path)))
    assert [o.trim_length for o in need.openings] == pytest.approx([622.0, 758.0, 792.0])
    assert need.total == pytest.approx(2 * 622.0 + 758.0 + 792.0)


@pytest.mark.parametrize(("held", "percent"), [(5.0, 25), (6.0, 50), (7.0, 75), (8.0, 100), (5.5, 37.5)])
def test_stretch_by_the_four_inch_test(tmp_path, held, percent) -> None:
    """Four inches held at 5, 6, 7 and 8 in: 25, 50, 75 and 100 %; very stretchy from 5 1/2 in (Utah State University
    Extension, Considerations for Knit Fabrics). An edge of 700 mm of such a knit reaches 700 × held / 4."""
    path = tmp_path / "skirts.toml"
    opening = '[[opening]]\nname = "waist"\nedges = ["panel.right"]\nopenings = 1\nsits = "waist"\n'
    text = BASE.format(more=opening).replace('stretch_across = "40 %"', f'stretch_across = "{percent} %"')
    path.write_text(text, encoding="utf-8")
    line = opening_lines(resolve(nesting.load_order(path)))[0]
    assert line.stretched == pytest.approx(700.0 * held / 4.0)


def test_what_openings_come_to_is_shown_whole_on_a_narrow_terminal(tmp_path) -> None:
    """On 80 columns no length and no name is cut short; a piece that is in no garment is said not to be cut."""
    path = tmp_path / "skirts.toml"
    other = '[[piece]]\nname = "pocket"\nrectangle = [10, 12]\n'
    trim = TRIM + 'ratio = 0.8\nstretch = "100 %"\nsits = "waist"\npasses = "hip"\n'
    garment = 'name = "skirt"\npieces = ["panel"]\n'
    path.write_text(BASE.format(more=other + trim).replace('name = "skirt"\n', garment), encoding="utf-8")
    asked = nesting.load_order(path)
    console = Console(width=80, record=True, file=StringIO())
    console.print(check_summary(check_order(asked), asked))
    shown = console.export_text()
    line = next(one for one in shown.splitlines() if one.startswith("waist elastic"))
    assert " ".join(line.split()) == "waist elastic skirt Ada 70 cm 56 cm 98 cm 72 cm 98 cm 78 %" and "…" not in shown
    assert [one.in_garment for one in check_order(asked).pieces if one.name == "pocket"] == [False]
    assert "not cut: in no" in shown
