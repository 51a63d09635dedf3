"""The sections of the report, the curve's picture and the terminal, read back."""

from __future__ import annotations

import io
import random
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from PIL import Image
from rich.console import Console

import nesting
from nesting.files.remnant import small_picture
from nesting.model.order import Cloth, Garment, Seam, Together, Trim
from nesting.model.piece import Edge
from nesting.planning.batch.cutting import batch
from nesting.planning.buying.buy import buy
from nesting.planning.buying.trims import trim_needs
from nesting.planning.layout.laying import laying
from nesting.planning.layout.options import SearchOptions
from nesting.planning.leftovers.remnants import plan_remnants
from nesting.planning.leftovers.stash import Stash, add
from nesting.report.html.buy_page import (
    batch_section,
    buying_section,
    curve_pictures,
    remnants_section,
    rows_first,
    trims_section,
)
from nesting.report.html.drawn import part_html as html
from nesting.report.terminal.buy_terminal import (
    batch_summary,
    buying_summary,
    remnants_summary,
    stash_summary,
    trims_summary,
)
from nesting.report.words import shop_column, shop_length
from nesting.resolving.resolve import resolve
from tests.planning.area_lays import AreaLay, order_of, rectangle, scrap, shape
from tests.planning.leftovers.test_remnants import Judge


class Reader(HTMLParser):
    """Text, tags that do not close, and table rows of a page."""

    VOID = ("meta", "br", "img", "link", "hr", "use", "path")

    def __init__(self, text):
        super().__init__()
        self.open, self.wrong, self.words, self.rows = [], [], [], []
        self.feed(text)
        self.wrong += self.open

    def handle_starttag(self, tag, attrs):
        """Open it."""
        if tag not in self.VOID:
            self.open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th") and self.rows:
            self.rows[-1].append("")

    def handle_endtag(self, tag):
        """Close it."""
        if tag in self.VOID:
            return
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_startendtag(self, tag, attrs):
        """Nothing to close."""

    def handle_data(self, data):
        """Keep the words."""
        self.words.append(data)
        if self.rows and self.open and self.open[-1] in ("td", "th"):
            self.rows[-1][-1] += data.strip()

    @property
    def text(self):
        """All words in one line."""
        return re.sub(r"\s+", " ", " ".join(self.words))


def shorts(name="shorts", units="cm", **cloth):
    """An order with two sizes, a trim and a price."""
    pieces = [
        shape(
            "body",
            ((0.0, 0.0), (side, 0.0), (side, side), (0.0, side)),
            size=size,
            edges=(Edge("leg", (0.0, 0.0), (side, 0.0)),),
        )
        for size, side in (("S", 200.0), ("M", 250.0))
    ]
    garments = [Garment(name, "S", 2, ("body",)), Garment(name, "M", 3, ("body",))]
    how = {"width": 1000.0, "price": 10.0, **cloth}
    trims = (Trim("leg <8 mm>", "elastic", ("body.leg",), 0.85, False, join=10.0, increment=100.0),)
    return order_of(pieces, garments, [Cloth("main & co", **how)], units=units, trims=trims)


def shorts_order(**how):
    """The same with the pieces on that cloth."""
    order = shorts(**how)
    return replace(order, pieces=tuple(replace(p, cloth="main & co") for p in order.pieces))


def words_of(renderable):
    """What the terminal shows, 160 wide."""
    out = io.StringIO()
    Console(file=out, width=160, color_system=None).print(renderable)
    return out.getvalue()


def test_the_page_says_what_to_buy_first():
    """The answer, one row for each width and spread, refusals with reasons, the curve, all closed tags."""
    order = shorts_order()
    bought = buy(
        resolve(order), AreaLay(0.8), widths=[150.0, 1000.0], spreads=["open", "crosswise fold"], naps=["one way"]
    )
    page = Reader(html("buy", buying_section(bought)))
    assert page.wrong == []
    # 2 · 40,000 + 3 · 62,500 = 267,500 mm² on 1 m at 80 %, + 5 % for nap = 35.1 cm; with 4 cm of ends, by 10 cm: 40 cm
    assert "40 cm of main & co, 100 cm wide, costs 4.00" in page.text
    row = ["main & co", "100 cm", "one way", "open ←", "40.0 cm", "35.1 cm", "8.0 cm", "4.00", "10.0 cm", "80.0 %"]
    assert page.rows.index(row) < 3
    assert any(row[:2] == ["main & co", "15 cm"] and "250 mm wide" in row[-1] for row in page.rows)
    assert sum("crosswise" in " ".join(row) for row in page.rows) == 2
    assert [row[0] for row in page.rows if row[0].isdigit()] == ["1", "2", "3", "4", "5", "6"]


class Lucky(AreaLay):
    """The same with luck that differs from one search to the next, so that rows and curve find other lengths."""

    def __init__(self, seed):
        super().__init__(0.8)
        self.draw = random.Random(seed)

    def __call__(self, order, cloth, *, spread=None, **how):
        """The lay, up to a third longer."""
        self.efficiency = 0.8 / self.draw.uniform(1.0, 1.35)
        return super().__call__(order, cloth, spread=spread, **how)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("increment", [1.0, 50.0])
def test_what_one_more_adds_is_one_figure(seed, increment):
    """Headline, table, curve and JSON of the same search say one length to buy and one addition, whatever the luck of
    each of its parts; both are lengths that were found, and n + 1 garments never take less than n."""
    order = shorts_order(increment=increment, nap="one way")
    bought = buy(resolve(order), Lucky(seed), spreads=["open", "lengthwise fold"])
    document = bought.as_dict()
    (best,) = (r for r in document["rows"] if r["best"])
    (curve,) = document["curves"]
    adds = curve["one_more"]["adds"]
    assert best["one_more"] == pytest.approx(adds, abs=1e-6) and adds >= -1e-9
    assert curve["points"][-1]["buy_length"] == pytest.approx(best["buy_length"], abs=1e-6)
    assert curve["one_more"]["buy_length"] == pytest.approx(best["buy_length"] + adds, abs=1e-6)
    lengths = [p["buy_length"] for p in curve["points"]]
    assert lengths == sorted(lengths) and min(r["buy_length"] for r in document["rows"]) == best["buy_length"]
    words = "is free" if adds < 1e-6 else f"adds about {shop_length(adds, False)}"
    page = Reader(html("buy", buying_section(bought)))
    shown = " ".join(words_of(buying_summary(bought)).split())
    for text in (page.text, shown):
        # in the headline, and beside the curve, which has one unit throughout
        assert text.count(f"another {best['next_garment']} {words}") == 2
    for point in curve["points"]:
        assert f"{point['count']}: {shop_column(point['buy_length'], False)}" in shown
    (row,) = (cells for cells in page.rows if "←" in " ".join(cells))
    column = "free" if adds < 1e-6 else shop_column(adds, False)
    assert row[8] == column and shop_column(best["buy_length"], False) == row[4] and column in shown
    beyond = next(cells for cells in page.rows if cells[0] == "6")
    assert beyond[2] == shop_column(best["buy_length"] + adds, False)
    assert best["cost"] == round(best["buy_length"] / 1000.0 * 10.0, 2)
    for p in bought.curves[0].points:
        # 2 cm at each end, and by the shop's increment
        assert p.lay_length + 40.0 <= p.buy_length + 1e-6


def test_one_more_at_another_width_is_what_that_width_takes(tmp_path):
    """Two panels of 30 × 40 cm: 34 cm with the ends at 80 cm and at 120 cm of width. A third lies beside them on 120,
    if the cloth is laid open: nothing more to buy, though on the fold it would be 30 cm more; on 80 it is 30."""
    text = """units = "cm"
[[piece]]
name = "a"
rectangle = [30, 40]
[[cloth]]
name = "main"
width = 80
increment = "1 cm"
[[garment]]
name = "g"
count = 2
"""
    path = tmp_path / "order.toml"
    path.write_text(text, encoding="utf-8")
    order = nesting.load_order(path)
    lay = laying(SearchOptions(seconds=None, rounds=2))
    bought = buy(resolve(order), lay, widths=[800.0, 1200.0], spreads=["open", "lengthwise fold"])
    first, _ = rows_first(bought)
    assert {(r.width, r.buy_length): pytest.approx(r.one_more, abs=1e-6) for r in first} == {
        (800.0, 340.0): 300.0,
        (1200.0, 340.0): 0.0,
    }


def test_one_row_for_each_width_and_the_others_on_request():
    """Spreads and naps at two widths: two rows; all with ``every``, and in the report under a summary."""
    bought = buy(resolve(shorts_order()), AreaLay(0.8), widths=[900.0, 1000.0])
    first, others = rows_first(bought)
    assert all(r.own for r in first) and sorted(r.width for r in first) == [900, 1000]
    assert len(others) == len(bought.rows) - 2 > 4
    assert sum(r.best for r in first) == 1
    shown, every = (words_of(buying_summary(bought, every=e)) for e in (False, True))
    assert f"{len(others)} rows more" in shown and "rows more" not in every
    assert "one way" not in shown
    assert sum("one way" in line and "refused" not in line for line in every.splitlines()) == sum(
        r.nap == "one way" for r in bought.rows
    )
    text = html("buy", buying_section(bought))
    inside = Reader(text[text.index("<details>") : text.index("</details>")])
    assert len([r for r in inside.rows if len(r) == 10]) == len(others) + 1


def test_names_are_escaped():
    """A name with markup in it stays a name."""
    order = shorts_order(name="<b>shorts</b>")
    bought = buy(resolve(order), AreaLay(0.8), spreads=["open"], naps=["none"])
    text = html("buy", buying_section(bought)) + html("trims", trims_section(bought.trims, imperial=False))
    assert "<b>" not in text and "&lt;b&gt;" in text
    assert "leg &lt;8 mm&gt;" in text


def test_the_curve_is_drawn():
    """In the section as SVG, fetched from nowhere, and beside it as a PNG of some size."""
    order = shorts_order()
    bought = buy(resolve(order), AreaLay(0.8), spreads=["open"], naps=["none"])
    text = html("buy", buying_section(bought))
    assert not re.search(r"""(src|href)\s*=\s*["'](?!#)""", text)
    svg = text[text.index("<svg") : text.index("</svg>") + 6]
    assert ET.fromstring(svg).tag.endswith("svg")
    pictures = curve_pictures(bought)
    assert set(pictures) == {"curve-main-co.png"}
    picture = Image.open(io.BytesIO(pictures["curve-main-co.png"]))
    assert picture.width > 900 and len(set(picture.convert("L").tobytes())) > 10
    assert curve_pictures(bought) == pictures and html("buy", buying_section(bought)) == text


def test_yards_are_shown_where_yards_are_read():
    """An order in inches: lengths to buy in eighths of a yard, cost per yard."""
    order = shorts_order(units="in", increment=914.4 / 8, price_unit=914.4)
    bought = buy(resolve(order), AreaLay(0.8), spreads=["open"], naps=["none"])
    # 33.4 cm + 4 cm are 0.409 yd, by eighths 1/2 yd
    assert "1/2 yd" in Reader(html("buy", buying_section(bought))).text
    shown = words_of(buying_summary(bought))
    assert "Buy 1/2 yd of main & co" in shown and "costs 5.00" in shown
    assert " cm" not in shown


def test_trims_show_how_they_come_about():
    """Ratio, practice, joins, total and what to buy: 2 · (170 + 10) + 3 · (212.5 + 10) = 102.75 cm, buy 1.1 m."""
    order = shorts_order()
    needs = trim_needs(resolve(order))
    page = Reader(html("trims", trims_section(needs, imperial=False)))
    assert page.wrong == []
    assert "0.85 × edge (practice) + 1 cm for each join; 1.028 m in all, buy 1.1 m" in page.text
    assert "no published standard was found" in page.text
    assert "110.0 cm" in words_of(trims_summary(needs, False))


def test_leftovers_say_which_piece_goes_where():
    """Number, pieces by copy, what is still to be bought."""
    pieces = [rectangle("front", 100.0, 100.0), rectangle("back", 100.0, 100.0)]
    order = order_of(pieces, [Garment("briefs", None, 2, ("front", "back"))], remnants=(scrap("a", 350.0, 100.0),))
    plan = plan_remnants(resolve(order), Judge(lambda *_: True), lay=AreaLay(0.8))
    page = Reader(html("plan of leftovers", remnants_section(plan)))
    assert page.wrong == []
    assert ["a", "briefs", "1", "back, front"] in page.rows
    assert "only 150 cm² are left" in page.text
    # first of all how many there are and what must be bought
    assert page.text.strip().startswith("1 whole garment from leftovers Still to be bought: 10 cm of main")
    assert "10 cm of main for 1 × briefs" in page.text
    shown = words_of(remnants_summary(plan))
    assert "1 whole garment from leftovers: 1 of 2 briefs" in shown and "still to be bought: 10 cm" in shown


def test_pictures_of_leftovers_are_shown(tmp_path):
    """A leftover that was photographed is shown in the report and its file named; what is no picture is not."""
    pieces = [rectangle("front", 100.0, 100.0)]
    order = order_of(pieces, [Garment("briefs", None, 1, ("front",))], remnants=(scrap("a", 350.0, 100.0),))
    plan = plan_remnants(resolve(order), Judge(lambda *_: True), lay=AreaLay(0.8))
    file = tmp_path / "a.jpg"
    file.write_bytes(b"\xff\xd8\xff\xe0 picture")
    page = Reader(
        html("plan of leftovers", remnants_section(plan, {"a": small_picture(file), "b": ("image/png", b"not used")}))
    )
    assert page.wrong == []
    section = html("plan of leftovers", remnants_section(plan, {"a": small_picture(file)}))
    assert section.count("<img") == 1 and 'src="data:image/jpeg;base64,/9j/4CBwaWN0dXJl"' in section
    assert "<img" not in html("plan of leftovers", remnants_section(plan))
    shown = words_of(remnants_summary(plan, {"a": "pictures/a.jpg", "b": "pictures/b.jpg"}))
    assert "picture of a: pictures/a.jpg" in shown and "b.jpg" not in shown
    file.write_bytes(b"GIF89a")
    assert small_picture(file) is None and small_picture(tmp_path / "none.jpg") is None


def test_leftovers_say_what_they_do_not_keep_to():
    """Pieces cut together and stripes that meet: each piece lies by itself on a leftover, and that is said."""
    pieces = [rectangle(name, 100.0, 100.0) for name in ("front", "lining", "back")]
    seams = (Seam(("front.side", "back.side"), match=True), Seam(("front.rise", "back.rise")))
    order = order_of(
        pieces, [Garment("briefs", None, 1, ("front", "lining", "back"))], remnants=(scrap("a", 350.0, 100.0),),
        together=(Together("front", "lining"),), seams=seams,
    )  # fmt: skip
    plan = plan_remnants(resolve(order), Judge(lambda *_: True), lay=AreaLay(0.8))
    assert plan.number == 1
    cut, stripes = plan.as_dict()["unbound"]
    assert cut.startswith("lining is cut by itself here, not together with front")
    assert stripes.startswith("stripes are not matched at the seam of front.side and back.side")
    page, shown = Reader(html("plan of leftovers", remnants_section(plan))), words_of(remnants_summary(plan))
    assert page.wrong == []
    for text in (page.text, shown):
        assert "lining is cut by itself here" in text and "stripes are not matched" in text
    plain = plan_remnants(
        resolve(replace(order, together=(), seams=seams[1:])), Judge(lambda *_: True), lay=AreaLay(0.8)
    )
    assert plain.unbound == ()


def test_a_batch_shows_sections_and_shares():
    """The sections add up to the counts; shares of the sizes by area."""
    order = shorts_order()
    plans = batch(resolve(order), AreaLay(0.8), max_plies=2, seconds=2.0)
    page = Reader(html("plan of the batch", batch_section(plans)))
    assert page.wrong == []
    share = 80_000.0 / 267_500.0
    assert any(row[:3] == ["shorts S", "2", f"{100 * share:.1f} %"] for row in page.rows)
    shown = words_of(batch_summary(plans))
    assert "5 garments" in shown and "one at a time" in shown


def test_a_stash_is_listed():
    """Name, cloth and size; an empty one says so."""
    shown = words_of(stash_summary(add(Stash(), [scrap("navy", 450.0, 600.0)], note="from the shorts")))
    assert re.search(r"navy\s+main\s+45.0 cm\s+60.0 cm\s+from the shorts", shown)
    assert "flaws" not in shown
    assert "empty" in words_of(stash_summary(Stash()))
