"""Wearers, openings, bands, elastic, as many as fit and patches: orders as people write them, worked out by hand."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

import nesting
from nesting.checking.fit import opening_lines
from nesting.checking.judging import check_order
from nesting.planning.buying.trims import trim_needs
from nesting.proof import prove
from nesting.report.bundles.cutting_list import cutting_list_csv
from nesting.report.bundles.gathered import gathered
from nesting.resolving.resolve import resolve

# two panels, 31 cm across the top each: 62 cm round, which reach 93 cm at 50 %
SKIRT = """units = "{units}"
[[piece]]
name = "panel"
rectangle = ["30 cm", "31 cm"]
cut = 2
{piece}
[[cloth]]
name = "main"
width = "150 cm"
stretch_across = "50 %"
[[wearer]]
name = "Ada"
measures = {{ waist = "66 cm", hip = "92 cm" }}
[[wearer]]
name = "Bo"
measures = {{ waist = "60 cm", hip = "94 cm" }}
[[wearer]]
name = "Cleo"
measures = {{ waist = "90 cm", hip = "100 cm" }}
{more}
[[garment]]
name = "skirt"
wearer = "Ada"
[[garment]]
name = "skirt"
wearer = "Bo"
count = 2
[[garment]]
name = "skirt"
wearer = "Cleo"
"""
EDGE = 'edges = ["panel.right"]\nopenings = 1\nsits = "waist"\npasses = "hip"\n'
BAND = '[[piece]]\nname = "rib"\nround = ["panel.right"]\nheight = "8 cm"\njoin = "1 cm"\n'
#: Bo's panels are 2 cm wider each: 66 cm round
WIDER = '[[alter]]\npiece = "panel"\nkind = "add"\nedge = "top"\nby = "2 cm"\nwearer = "Bo"\n'


def skirts(folder: Path, more: str = "", piece: str = "", units: str = "cm") -> nesting.Order:
    """The order."""
    path = folder / "skirts.toml"
    path.write_text(SKIRT.format(more=more, piece=piece, units=units), encoding="utf-8")
    return nesting.load_order(path)


def trim(kind: str, *, edge: str = EDGE, **how: object) -> str:
    """One that is sewn to the waist."""
    own = "".join(f"{k} = {v!r}\n" if isinstance(v, float) else f'{k} = "{v}"\n' for k, v in how.items())
    return f'[[trim]]\nname = "waist"\nkind = "{kind}"\n{edge}{own}'


OPENING = f'[[opening]]\nname = "waist"\n{EDGE}'
# what the order says of the opening: rest and stretched of Ada, Bo, Cleo, mm; and of whom it is said that it does
# not go on (hips of 92, 94 and 100 cm), cuts in (below 70 %) and stands off (above 100 %) at waists of 66, 60, 90
OPENINGS: dict[str, tuple[str, str, tuple[tuple[float, float], ...], str, str, str]] = {
    "raw": (OPENING, "", ((620, 930),) * 3, "Bo Cleo", "Cleo", "Bo"),
    "folded back": (OPENING, 'finish = { right = "fold back 2 cm" }', ((620, 930),) * 3, "Bo Cleo", "Cleo", "Bo"),
    "a finish that gives 60 %": (OPENING + 'stretch = "60 %"\n', "", ((620, 992),) * 3, "Cleo", "Cleo", "Bo"),
    "limits of one's own": (OPENING + "least = 0.68\nmost = 1.04\n", "", ((620, 930),) * 3, "Bo Cleo", "", ""),
    # 66 round for Bo reach 99, and stand off by 10 %
    "one is wider": (OPENING + WIDER, "", ((620, 930), (660, 990), (620, 930)), "Cleo", "Cleo", "Bo"),
    # 0.9 × 620; 70 % more are 948.6, so the edge's 930 count; 60 % more are 892.8
    "lace": (trim("lace", ratio=0.9, stretch="70 %"), "", ((558, 930),) * 3, "Bo Cleo", "Cleo", ""),
    "less lace": (trim("lace", ratio=0.9, stretch="60 %"), "", ((558, 892.8),) * 3, "Ada Bo Cleo", "Cleo", ""),
    # 0.95 × 620 and a quarter more
    "binding": (trim("binding", ratio=0.95, stretch="25 %"), "", ((589, 736.25),) * 3, "Ada Bo Cleo", "Cleo", ""),
    # 0.9 of 66, 60 and 90 without the join; the last is longer than the edge: 62 at rest
    "elastic by the waist": (
        trim("elastic", measure="waist", factor=0.9, join="1 cm", stretch="100 %"), "",
        ((594, 930), (540, 930), (620, 930)), "Bo Cleo", "Cleo", "",
    ),
    # 60 % more than 594 are 950.4, than 540 864
    "elastic that gives less": (
        trim("elastic", measure="waist", factor=0.9, join="1 cm", stretch="60 %"), "",
        ((594, 930), (540, 864), (620, 930)), "Bo Cleo", "Cleo", "",
    ),
    # 0.8 × 620, for Bo × 660; twice that is more than the edge
    "elastic by the edge": (
        trim("elastic", ratio=0.8, stretch="100 %") + WIDER, "", ((496, 930), (528, 990), (496, 930)),
        "Cleo", "Cleo", "",
    ),
    # 0.85 × 620 without the joins, half as much again
    "band": (BAND + "ratio = 0.85\n" + OPENING, "", ((527, 790.5),) * 3, "Ada Bo Cleo", "Cleo", ""),
    "band of a wider one": (
        BAND + OPENING + WIDER, "", ((527, 790.5), (561, 841.5), (527, 790.5)), "Ada Bo Cleo", "Cleo", "",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", OPENINGS)
def test_openings(name: str, tmp_path: Path) -> None:
    """At rest, stretched, and what is said of it, for each wearer."""
    more, piece, figures, not_on, cuts_in, stands_off = OPENINGS[name]
    order = skirts(tmp_path, more, piece)
    lines = {line.garment: line for line in opening_lines(resolve(order))}
    for who, (rest, stretched) in zip(("Ada", "Bo", "Cleo"), figures, strict=True):
        line = lines[f"skirt {who}"]
        assert (line.rest, line.stretched) == (pytest.approx(rest), pytest.approx(stretched)), who
    told = [f.message for f in check_order(order).findings if f.code == "wearer.fit"]

    def of(words: str) -> str:
        return " ".join(who for who in ("Ada", "Bo", "Cleo") if any(f"skirt {who}:" in m and words in m for m in told))

    assert (of("does not go on"), of("may cut in"), of("may stand off")) == (not_on, cuts_in, stands_off)


def test_a_rib_is_a_rectangle_for_each_wearer(tmp_path: Path) -> None:
    """0.85 × 620 + 2 × 10 = 547 mm round and 80 high; for Bo 0.85 × 660 + 20 = 581; one in a garment, as the order says
    that the two edges are one opening: of an opening or of a trim."""
    order = skirts(tmp_path, BAND + OPENING + WIDER)
    sewn = skirts(tmp_path, BAND + trim("elastic", ratio=0.8) + WIDER)
    for who, length in (("Ada", 547.0), ("Bo", 581.0), ("Cleo", 547.0)):
        for one in (order, sewn):
            rib = one.cut_piece("rib", who)
            xs, ys = zip(*rib.piece.outline, strict=True)
            assert (max(xs) - min(xs), max(ys) - min(ys)) == (pytest.approx(80.0), pytest.approx(length))
            assert rib.cut == 1


def test_elastic_of_each_wearer_is_on_the_cutting_list(tmp_path: Path) -> None:
    """0.8 of the waist and 1.5 cm: 54.3, 49.5 and 73.5 cm; in all 54.3 + 2 × 49.5 + 73.5."""
    order = skirts(tmp_path, trim("elastic", measure="waist", factor=0.8, join="1.5 cm"))
    (need,) = trim_needs(resolve(order))
    assert need.total == pytest.approx(543.0 + 2 * 495.0 + 735.0)
    lays = nesting.lay(order, rounds=2, workers=1)
    written = cutting_list_csv(gathered(lays, resolve(order)), imperial=False).decode("utf-8-sig")
    rows = [*csv.DictReader(io.StringIO(written, newline=""))]
    elastic = [(r["wearer"], r["copy"], r["of"], r["cut length (cm)"]) for r in rows if r["item"] != "piece"]
    lengths = (
        ("Ada", "1", "1", "54.3"),
        ("Bo", "1", "2", "49.5"),
        ("Bo", "2", "2", "49.5"),
        ("Cleo", "1", "1", "73.5"),
    )
    assert elastic == [*lengths]
    panels = [(r["wearer"], r["copy"]) for r in rows if r["item"] == "piece" for _ in range(int(r["count"]))]
    assert panels == [who[:2] for who in lengths for _ in range(2)]


COATS = """units = "cm"
[[piece]]
name = "coat"
rectangle = ["60 cm", "100 cm"]
[[piece]]
name = "skirt"
rectangle = ["40 cm", "100 cm"]
[[cloth]]
name = "main"
width = "100 cm"
length = "{length}"
end_allowance = "2 cm"
[[garment]]
name = "coat"
pieces = ["coat"]
count = "most"
{coat}
[[garment]]
name = "skirt"
pieces = ["skirt"]
count = "most"
{skirt}
"""


@pytest.mark.parametrize(
    ("length", "coat", "skirt", "held"),
    [
        # 160 without the ends: 4 skirts are worth 16, two coats and one 14
        ("164 cm", "value = 5", "value = 4", (0, 4)),
        # worth 18 with two coats, 16 without, 15 with one
        ("164 cm", "value = 7", "value = 4", (2, 1)),
        # a millimetre less than two coats and a skirt: 4 of 40 do not lie either; one and two are 140, worth 15
        ("163.9 cm", "value = 7", "value = 4", (1, 2)),
        # one to one: 100 each; two to one: 160
        ("164 cm", "ratio = 1", "ratio = 1", (1, 1)),
        ("164 cm", "ratio = 2", "ratio = 1", (2, 1)),
        # 80 + 60 are 140, twice that is 280
        ("284 cm", "ratio = 1", "ratio = 2", (2, 4)),
        ("283.9 cm", "ratio = 1", "ratio = 2", (1, 2)),
    ],
)
def test_as_many_as_fit(length: str, coat: str, skirt: str, held: tuple[int, int], tmp_path: Path) -> None:
    """By value, and in ratios."""
    path = tmp_path / "coats.toml"
    path.write_text(COATS.format(length=length, coat=coat, skirt=skirt), encoding="utf-8")
    order = nesting.load_order(path)
    (lay,) = nesting.lay(order, rounds=8, workers=1)
    counts = {name: sum(p.gives for p in lay.placements if p.garment == name) for name in ("coat", "skirt")}
    assert (counts["coat"], counts["skirt"]) == held
    assert lay.extra["as_many"]["proved"]


# a front of 90 × 8 beside each back of 90 × 90: fronts lie one behind the other
LINED = """units = "cm"
[[piece]]
name = "back"
rectangle = ["90 cm", "92 cm"]
[[piece]]
name = "front"
rectangle = ["90 cm", "8 cm"]
[[piece]]
name = "lining"
rectangle = ["30 cm", "8 cm"]
cloth = "thin"
[[together]]
leader = "front"
follower = "lining"
[[cloth]]
name = "main"
width = "100 cm"
increment = "1 cm"
end_allowance = "0 cm"
price = 20.0
[[cloth]]
name = "thin"
width = "100 cm"
increment = "1 cm"
end_allowance = "0 cm"
price = 8.0
{thin}
[[garment]]
name = "g"
count = 3
"""


@pytest.mark.parametrize(
    ("thin", "buy"),
    [
        # three patches of 32 × 10 side by side; metres over the fronts would be 3 × 90 less what the last leaves
        ("", 320.0),
        ('patch_margin = "2 cm"', 340.0),
        # without a margin they are the linings
        ('patch_margin = "0 cm"', 300.0),
    ],
)
def test_patches_with_prices(thin: str, buy: float, tmp_path: Path) -> None:
    """2.7 m of the first at 20, and so much of the second at 8; the table says what both cost."""
    path = tmp_path / "lined.toml"
    path.write_text(LINED.format(thin=thin), encoding="utf-8")
    order = nesting.load_order(path)
    first, second = nesting.lay(order, rounds=6, workers=1)
    assert first.buy_length == pytest.approx(2700.0) and second.buy_length == pytest.approx(buy)
    assert second.patches and prove(first, order).ok and prove(second, order, first=first).ok
    taken = next(t for t in first.tried if t.chosen)
    assert taken.in_all == pytest.approx(2.7 * 20.0 + buy / 1000.0 * 8.0)
