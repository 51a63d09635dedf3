"""Pairs in one turn, nap by garment, as many as fit, openings, colours with leftovers: more orders worked by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

import nesting
from nesting.checking.fit import opening_lines
from nesting.checking.judging import check_order
from nesting.model.order import Cloth, Garment
from nesting.planning.batch.leftovers_first import batch_all
from nesting.planning.buying.trims import trim_needs
from nesting.planning.layout.laying import laying
from nesting.planning.layout.options import SearchOptions
from nesting.planning.leftovers.cloth_pieces import FitsBySearch
from nesting.proof import prove
from nesting.report.bundles.gathered import gathered
from nesting.report.bundles.labels_pdf import label_pages
from nesting.report.drawing.scene import Text
from nesting.resolving.resolve import resolve
from tests.planning.area_lays import order_of, rectangle, scrap
from tests.test_cloth_by_hand import BAND, COATS, OPENING, skirts, trim
from tests.test_orders_by_hand import fold, order

#: a roof, 40 cm wide at its foot and 30 high along the grain: turned half round it fills what another one leaves
ROOF = """<svg xmlns="http://www.w3.org/2000/svg" width="500mm" height="400mm" viewBox="0 0 500 400">
<g id="roof"><path d="M50 350 h400 l-200 -300 Z"/><path id="grainline-1" d="M250 300 V150"/></g></svg>"""
PAIR = '[[pattern]]\nfile = "roof.svg"\n[[piece]]\nname = "roof"\ncut = 2\nmirrored = true\n'
ALIKE = 'stretch_across = "60 %"\nstretch_along = "60 %"\n'
OPEN = fold("open") + "\n"

# name: width, cloth, count of garments; lay length and length to buy, mm
PAIRS: dict[str, tuple[str, str, str, float, float]] = {
    # up and down they share 60 of width; in one turn the foot of 40 of one needs all of the other's height
    "same way": ("60", OPEN + 'pairs = "same way"', "1", 600.0, 640.0),
    "free": ("60", OPEN + 'pairs = "free"', "1", 300.0, 340.0),
    # quarter turns: both lie across, two feet of 30 beside each other, 40 long
    "same way with quarter turns": ("60", OPEN + ALIKE, "1", 400.0, 440.0),
    "free with quarter turns": ("60", OPEN + ALIKE + 'pairs = "free"', "1", 300.0, 340.0),
    # they lie across only if the lengthwise stretch is alike
    "stretch that is not alike": (
        "60", OPEN + 'stretch_across = "60 %"\nstretch_along = "50 %"\npairs = "same way"', "1", 600.0, 640.0,
    ),
    # side by side
    "same way, wide enough": ("80", OPEN + 'pairs = "same way"', "1", 300.0, 340.0),
    # through both plies, which mirror across the grain: one outline
    "same way on a lengthwise fold": ("80", fold("lengthwise fold") + '\npairs = "same way"', "1", 300.0, 340.0),
    # the lower ply lies end for end: on the table one points up and one down, 30 of both plies
    "same way on a crosswise fold": ("60", fold("crosswise fold") + '\npairs = "same way"', "1", 300.0, 640.0),
    # a pair is of one garment, which points one way
    "by garment, one": ("60", OPEN + 'nap = "by garment"', "1", 600.0, 640.0),
    # one pair up and one down: two rows of an up and a down
    "by garment, two": ("60", OPEN + 'nap = "by garment"', "2", 600.0, 640.0),
    "one way, two": ("60", OPEN + 'nap = "one way"', "2", 1200.0, 1240.0),
    "same way, two": ("60", OPEN + 'pairs = "same way"', "2", 600.0, 640.0),
}  # fmt: skip


@pytest.mark.parametrize("name", PAIRS)
def test_pairs_and_nap(name: str, tmp_path: Path) -> None:
    """The lay and what to buy are those; no bound is above; the proof holds."""
    width, cloth, count, length, buy = PAIRS[name]
    (tmp_path / "roof.svg").write_text(ROOF, encoding="utf-8")
    asked = order(tmp_path, PAIR, width, cloth, count)
    (lay,) = nesting.lay(asked, rounds=8, workers=1)
    assert (lay.lay_length, lay.buy_length) == (pytest.approx(length, abs=0.01), pytest.approx(buy, abs=1e-6))
    assert lay.lower_bound <= length + 1e-6 and prove(lay, asked).ok


@pytest.mark.parametrize(
    ("length", "coat", "skirt", "held"),
    [
        # three of 60 and two of 40 are 260
        ("264 cm", "ratio = 3", "ratio = 2", (3, 2)),
        # worth 3 each, three of 40 are 120; two coats are 120 too and worth 2
        ("124 cm", "value = 1", "value = 1", (0, 3)),
        # two and one, worth 8.2; four skirts 8; one and two 7.1
        ("164 cm", "value = 3.1", "value = 2", (2, 1)),
    ],
)
def test_as_many_as_fit(length: str, coat: str, skirt: str, held: tuple[int, int], tmp_path: Path) -> None:
    """By value, and in ratios."""
    path = tmp_path / "coats.toml"
    path.write_text(COATS.format(length=length, coat=coat, skirt=skirt), encoding="utf-8")
    (lay,) = nesting.lay(nesting.load_order(path), rounds=8, workers=1)
    assert tuple(sum(p.gives for p in lay.placements if p.garment == g) for g in ("coat", "skirt")) == held


# as in test_cloth_by_hand: at rest and stretched for Ada, Bo, Cleo; of whom it is said that it does not go on, cuts in,
# stands off
OPENINGS: dict[str, tuple[str, tuple[tuple[float, float], ...], str, str, str]] = {
    # the edges make two openings: half of 62 each
    "two openings": (
        OPENING.replace("openings = 1", "openings = 2"), ((310, 465),) * 3, "Ada Bo Cleo", "Ada Bo Cleo", "",
    ),
    # 62 and half as much again
    "lace as long as the edge": (trim("lace", ratio=1.0, stretch="50 %"), ((620, 930),) * 3, "Bo Cleo", "Cleo", "Bo"),
    # 0.75 of 66 and 60, of 90 more than the edge; 2.2 times that is more than the edge gives
    "strong elastic": (
        trim("elastic", measure="waist", factor=0.75, join="2 cm", stretch="120 %"),
        ((495, 930), (450, 930), (620, 930)), "Bo Cleo", "Cleo", "",
    ),
    # 1.45 × 620
    "binding": (trim("binding", ratio=1.0, stretch="45 %"), ((620, 899),) * 3, "Ada Bo Cleo", "Cleo", "Bo"),
    "a seam that gives less": (OPENING + 'stretch = "45 %"\n', ((620, 899),) * 3, "Ada Bo Cleo", "Cleo", "Bo"),
    # 0.9 × 620, half as much again
    "band of 0.9": (BAND + "ratio = 0.9\n" + OPENING, ((558, 837),) * 3, "Ada Bo Cleo", "Cleo", ""),
    "band as long as the edge": (BAND + "ratio = 1.0\n" + OPENING, ((620, 930),) * 3, "Bo Cleo", "Cleo", "Bo"),
    # 620 / 900 is 0.69, 620 / 600 1.03
    "wider limits": (OPENING + "least = 0.65\nmost = 1.1\n", ((620, 930),) * 3, "Bo Cleo", "", ""),
}  # fmt: skip


@pytest.mark.parametrize("name", OPENINGS)
def test_openings(name: str, tmp_path: Path) -> None:
    """At rest, stretched, and what is said of it, for each wearer."""
    more, figures, not_on, cuts_in, stands_off = OPENINGS[name]
    asked = skirts(tmp_path, more)
    lines = {line.garment: line for line in opening_lines(resolve(asked))}
    for who, (rest, stretched) in zip(("Ada", "Bo", "Cleo"), figures, strict=True):
        line = lines[f"skirt {who}"]
        assert (line.rest, line.stretched) == (pytest.approx(rest), pytest.approx(stretched)), who
    told = [f.message for f in check_order(asked).findings if f.code == "wearer.fit"]
    said = ["does not go on", "may cut in", "may stand off"]
    found = [
        " ".join(w for w in ("Ada", "Bo", "Cleo") if any(f"skirt {w}:" in m and s in m for m in told)) for s in said
    ]
    assert found == [not_on, cuts_in, stands_off]


@pytest.mark.parametrize(
    ("how", "total"),
    [
        # 0.8 × 620 + 20, four times
        ({"ratio": 0.8, "join": "2 cm"}, 2064.0),
        # 0.85 × (66 + 2 × 60 + 90) and four joins
        ({"measure": "waist", "factor": 0.85, "join": "1 cm"}, 2386.0),
    ],
)
def test_elastic_in_all(how: dict[str, object], total: float, tmp_path: Path) -> None:
    """For three wearers and four garments."""
    (need,) = trim_needs(resolve(skirts(tmp_path, trim("elastic", **how))))
    assert need.total == pytest.approx(total)


def test_a_label_for_each_garment_with_its_elastic(tmp_path: Path) -> None:
    """Four garments of three wearers are four labels, each with its wearer and its length: 0.8 × 66, 60, 60 and 90."""
    asked = skirts(tmp_path, trim("elastic", measure="waist", factor=0.8))
    lays = nesting.lay(asked, rounds=2, workers=1)
    bundles = gathered(lays, resolve(asked))
    assert [b.wearer for b in bundles] == ["Ada", "Bo", "Bo", "Cleo"]
    scenes = label_pages(bundles, "skirts", "a4", imperial=False)
    words = [" ".join(i.words for i in scene.items if isinstance(i, Text)) for scene in scenes]
    every = " ".join(words)
    assert [every.count(f"{n} cm") for n in ("52.8", "48", "72")] == [1, 2, 1]


@pytest.mark.parametrize(
    ("scraps", "made", "buy"),
    [
        # one leftover of exactly one body; three red ones behind each other
        (((400.0, 600.0, "navy"),), 1, {"navy": 800.0, "red": 400.0}),
        # a millimetre too short
        (((399.0, 600.0, "navy"),), 0, {"navy": 1200.0, "red": 400.0}),
        # two behind each other, and one of another colour
        (((800.0, 600.0, "navy"), (800.0, 600.0, "grey")), 2, {"navy": 400.0, "red": 400.0}),
        # all of navy: nothing of it is bought
        (((1200.0, 600.0, "navy"),), 3, {"red": 400.0}),
    ],
)
def test_leftovers_of_each_colour_first(
    scraps: tuple[tuple[float, float, str], ...], made: int, buy: dict[str, float]
) -> None:
    """Three bodies of 40 × 60 cm in navy and one in red, on 60 cm: each is 40 long."""
    plain = {"end_allowance": 0.0, "increment": 1.0}
    cloths = tuple(Cloth(name, 600.0, **plain) for name in ("main", "navy", "red", "grey"))
    garments = [
        Garment(f"top {c}", None, n, ("body",), cloth=(("main", c),)) for c, n in (("navy", 3), ("red", 1))
    ]  # fmt: skip
    kept = tuple(scrap(f"s{k}", *one) for k, one in enumerate(scraps))
    asked = order_of([rectangle("body", 400.0, 600.0)], garments, cloths, remnants=kept)
    once = SearchOptions(seconds=None, rounds=2, workers=1)
    found = batch_all(resolve(asked), laying(once), FitsBySearch(once), seconds=None)
    assert {p.cloth: p.buy_length for p in found.plans} == buy
    assert found.leftovers is not None
    assert {m.garment: m.made for m in found.leftovers.made}.get("top navy", 0) == made
    assert all(prove(lay, asked).ok for lay in found.lays)
