"""A second cloth that is cut together with leaders of another: what to buy of it is what the lay of the order says."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from nesting.model.findings import Reason
from nesting.model.order import Cloth, Garment, Together
from nesting.model.units import round_up
from nesting.planning.batch.cutting import batch
from nesting.planning.buying.buy import _with_the_best, buy, buying_work
from nesting.planning.buying.buy_rows import BuyRow
from nesting.planning.layout.laying import laying
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.solve import laid_together, lay_order
from nesting.planning.leftovers.remnants import plan_remnants
from nesting.report.html.buy_page import batch_section, buying_section, remnants_section
from nesting.report.html.drawn import part_html as html
from nesting.report.terminal.buy_terminal import batch_summary, buying_summary
from nesting.resolving.resolve import resolve
from tests.planning.area_lays import AreaLay, order_of, rectangle, scrap
from tests.planning.leftovers.test_remnants import Judge
from tests.report.html.test_buy_page import Reader, words_of

FEW = SearchOptions(seconds=None, rounds=4, seed=0, workers=1)


def lined(count=3, spreads=("open", "lengthwise fold"), **main):
    """Fronts with a lining that is cut through at the front's place, and sides without."""
    pieces = [
        rectangle("front", 200.0, 150.0),
        rectangle("side", 330.0, 270.0, cut=2),
        rectangle("lining", 120.0, 150.0, cloth="lining"),
    ]
    cloths = [
        Cloth("main", 700.0, spreads=spreads, **main),
        Cloth("lining", 700.0, spreads=spreads, price=5.0),
    ]
    garments = [Garment("briefs", None, count, ("front", "side", "lining"))]
    return order_of(pieces, garments, cloths, together=(Together("front", "lining"),))


def by_search(order, **how):
    """What to buy, by the program's own search and its own way of laying one cloth over another."""

    def over(there, lays):
        return laid_together(there, lays, FEW)

    return buy(resolve(order), laying(FEW), over=over, curve_counts=0, naps=["none"], **how)


@pytest.mark.parametrize("spreads", [("open",), ("open", "lengthwise fold")])
def test_what_to_buy_is_what_the_lay_says(spreads):
    """Both cloths, same order, widths and spreads: the rows to go by are the lays that the order's lay consists of."""
    order = lined(spreads=spreads)
    lays = {lay.cloth: lay for lay in lay_order(resolve(order), FEW)}
    assert lays["lining"].leaders_on == "main"
    bought = by_search(order)
    best = {row.cloth: row for row in bought.rows if row.best}
    for name, lay in lays.items():
        assert best[name].buy_length == lay.buy_length, name
        assert best[name].spread == lay.sections[0].spread.kind
    assert best["lining"].over == "main" and best["main"].over is None
    assert best["lining"].lay_length == pytest.approx(lays["lining"].lay_length, abs=20.0)
    apart = [r for r in bought.rows if r.cloth == "lining" and r is not best["lining"]]
    assert {r.spread for r in apart} == set(spreads) and all(r.apart_from == "main" and not r.own for r in apart)
    # cut by itself: three of 150 mm beside each other, 120 mm long, and two ends of 20 mm
    assert min(r.buy_length for r in apart) == 200.0


class Over:
    """A second cloth laid over the first, so much longer than by itself; remembers what it was given."""

    def __init__(self, extra=300.0, refused=None, wide=0.0):
        self.extra, self.refused, self.wide = extra, refused, wide
        self.asked = []

    def __call__(self, order, lays):
        """The lays, the lining's over the main cloth's."""
        self.asked.append((tuple(g.count for g in order.garments), {lay.cloth: lay.width for lay in lays}))
        main = next(lay for lay in lays if lay.cloth == "main")
        found = []
        for lay in lays:
            if lay.cloth == "lining" and self.refused:
                lay = replace(lay, apart=Reason(self.refused, code="together.apart"))
            elif lay.cloth == "lining":
                length = main.lay_length + self.extra + (self.wide if main.width > 800.0 else 0.0)
                lay = replace(lay, over="main", lay_length=length, buy_length=round_up(length, 100.0))
            found.append(lay)
        return tuple(found)


def test_over_the_leaders_goes_before_apart_and_both_are_told():
    """The row to go by lies over the main cloth; cut apart is for comparison; one more and its cost are worked out."""
    over = Over()
    bought = buy(resolve(lined()), AreaLay(0.8), over=over, naps=["none"], spreads=["open"])
    lining = [r for r in bought.rows if r.cloth == "lining"]
    assert [(r.over, r.apart_from, r.best) for r in lining] == [("main", None, True), (None, "main", False)]
    # 3 · (30,000 + 2 · 89,100) mm² on 700 mm at 80 % are 1,115 mm, and 300 mm more
    assert lining[0].lay_length == pytest.approx(3 * 208_200.0 / 560.0 + 300.0)
    assert (lining[0].buy_length, lining[0].cost) == (1500.0, pytest.approx(7.5))
    assert lining[0].one_more == pytest.approx(round_up(4 * 208_200.0 / 560.0 + 300.0, 100.0) - 1500.0)
    assert over.asked[-1][0] == (4,)
    row = bought.as_dict()["rows"][1]
    assert (row["cloth"], row["over"], row["apart_from"]) == ("lining", "main", None)
    assert [c.apart_from for c in bought.curves] == [None, "main"]
    page, shown = Reader(html("buy", buying_section(bought))), " ".join(words_of(buying_summary(bought)).split())
    assert page.wrong == []
    assert "open, laid over main; cut apart, 20 cm would do" in page.text
    assert "open, laid over main, costs 7.50; cut apart, 20 cm would do" in shown
    assert "open, cut apart" in page.text
    assert "lining, laid over main or cut apart" in shown
    assert re.search(r"open none 70 cm 150.0 cm .* ← over open none 70 cm 20.0 cm .* apart", shown)
    for text in (page.text, shown):
        assert "Counted as cut apart from main." in text


def test_second_cloths_go_by_the_width_of_the_first():
    """The main cloth is cheapest at 900 mm, so the lining is bought for that lay, though less of it would do at 700."""
    order = lined(price=10.0)
    over = Over(extra=0.0, wide=900.0)
    bought = buy(
        resolve(order), AreaLay(0.8), over=over, widths=[700.0, 900.0], naps=["none"], spreads=["open"], curve_counts=0
    )
    best = {r.cloth: r for r in bought.rows if r.best}
    assert (best["main"].width, best["lining"].width, best["lining"].over) == (900.0, 900.0, "main")
    assert {tuple(widths.values()) for _, widths in over.asked} == {(700.0, 700.0), (900.0, 900.0)}


def test_what_cannot_lie_over_is_cut_apart_and_says_why():
    """The reason stands among the refusals, and the row to go by is the one cut apart."""
    bought = buy(
        resolve(lined()),
        AreaLay(0.8),
        over=Over(refused="it does not reach"),
        naps=["none"],
        spreads=["open"],
        curve_counts=0,
    )
    lining = [r for r in bought.rows if r.cloth == "lining"]
    assert [(r.over, r.apart_from, r.best) for r in lining] == [(None, "main", True)]
    assert [(r.cloth, r.spread, r.reason) for r in bought.refused] == [("lining", None, "it does not reach")]


def test_only_what_is_cut_from_another_cloth_is_led():
    """A follower in its leader's own cloth, or without its leader in the garment, leads to no second cloth."""
    order = lined()
    assert resolve(order).led_by("lining") == "main" and resolve(order).led_by("main") is None
    same = replace(order, pieces=tuple(replace(p, cloth="main") for p in order.pieces))
    assert resolve(same).led_by("main") is None
    alone = replace(order, garments=(replace(order.garments[0], pieces=("side", "lining")),))
    assert resolve(alone).led_by("lining") is None
    assert resolve(replace(order, garments=(replace(order.garments[0], count=0),))).led_by("lining") is None


def test_batches_and_leftovers_say_that_they_count_it_apart():
    """Where a second cloth is counted by itself, that is said in the document, on the page and in the terminal."""
    order = lined()
    plans = batch(resolve(order), AreaLay(0.8), seconds=2.0)
    assert [p.apart_from for p in plans] == [None, "main"]
    assert plans[1].as_dict()["apart_from"] == "main"
    for text in (Reader(html("plan of the batch", batch_section(plans))).text, words_of(batch_summary(plans))):
        assert text.count("counted as cut apart from main") == 1
    stocked = replace(order, remnants=(scrap("a", 2000.0, 700.0),))
    plan = plan_remnants(resolve(stocked), Judge(lambda *_: True), lay=AreaLay(0.8), seconds=5.0)
    assert [(b.cloth, b.apart_from) for b in plan.to_buy] == [("lining", "main")]
    assert "cut apart from main" in Reader(html("plan of leftovers", remnants_section(plan))).text


def test_patches_are_told_as_patches():
    """A second cloth cut in two patches is not said to lie over the first; one that is cut in none is."""
    over = Over()
    plain = buy(resolve(lined()), AreaLay(0.8), over=over, naps=["none"], spreads=["open"])
    two = replace(plain, rows=[replace(r, patches=2) if r.over else r for r in plain.rows])
    page, shown = Reader(html("buy", buying_section(two))), " ".join(words_of(buying_summary(two)).split())
    for words in (page.text, shown):
        assert "open, in 2 patches laid at their leaders on main" in words and "laid over main" not in words
    assert "lining, in patches on main or cut apart" in shown and "← patches" in shown
    assert [r["patches"] for r in two.as_dict()["rows"]] == [0, 2, 0]


def test_of_equal_rows_the_one_that_the_second_cloth_lies_on_is_gone_by():
    """Two spreads of the first cloth cost the same in all; the second cloth was laid on the lengthwise fold."""
    cut = resolve(lined())
    row = BuyRow("main", 700.0, "none", "open", 3, 900.0, 1000.0, 10.0, None, "g", 0.8, in_all=12.0)
    fold = replace(row, spread="lengthwise fold", led=True)
    found = _with_the_best(cut, [row, fold])
    assert [(r.spread, r.best) for r in found] == [("open", False), ("lengthwise fold", True)]
    cheaper = _with_the_best(cut, [replace(row, in_all=11.0), fold])
    assert [r.best for r in cheaper] == [True, False]


def test_all_work_is_counted_beforehand():
    """Every search is told before it begins; what they weigh in all is what was said beforehand."""
    order = lined()
    told = []
    buy(
        resolve(order),
        AreaLay(0.8),
        over=Over(),
        widths=[700.0, 900.0],
        spreads=["open", "lengthwise fold"],
        on_step=lambda cloth, doing, weight: told.append((cloth, doing, weight)),
    )
    expected = buying_work(resolve(order), widths=[700.0, 900.0], spreads=["open", "lengthwise fold"])
    assert sum(weight for _, _, weight in told) == pytest.approx(expected)
    words = [f"{cloth}: {doing}" for cloth, doing, _ in told]
    assert words[0] == "main: rows 1 to 2 of 16, 70 cm wide"
    assert words[1] == "main: rows 3 to 4 of 16, 70 cm wide, nap one way"
    assert words.count("lining: laid over main") == 2
    assert words[-1] == "lining: the curve, 4 of 4 garments"
