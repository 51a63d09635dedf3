"""What to buy: the table, refusals, the curve, and rounding that never goes down."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nesting.model.errors import CannotLayError, UnitsError
from nesting.model.order import Cloth, Garment, Trim
from nesting.model.piece import Edge
from nesting.planning.buying.buy import buy, parse_widths
from nesting.planning.buying.curve import adding_sequence, curve
from nesting.planning.layout.yardage import buy_length
from nesting.resolving.resolve import resolve
from tests.planning.area_lays import AreaLay, lay_of, order_of, rectangle, shape


def shorts(count=4, **cloth):
    """One kind of garment of 400 cm², 200 mm wide."""
    how = {"width": 1000.0, "end_allowance": 20.0, "increment": 100.0, **cloth}
    return order_of(
        [rectangle("body", 200.0, 200.0)], [Garment("shorts", None, count, ("body",))], [Cloth("main", **how)]
    )


def test_rows_are_widths_by_spreads_by_nap():
    """Two widths, open and folded, with and without nap: 2 · 2 · 2 rows."""
    bought = buy(
        resolve(shorts(price=10.0)),
        AreaLay(0.8),
        widths=[900.0, 1500.0],
        spreads=["open", "lengthwise fold"],
        curve_counts=0,
    )
    assert len(bought.rows) == 8
    assert {(r.width, r.spread, r.nap) for r in bought.rows} == {
        (w, s, n) for w in (900.0, 1500.0) for s in ("open", "lengthwise fold") for n in ("none", "one way")
    }
    assert bought.curves == ()


def test_a_row_says_length_per_garment_cost_and_one_more():
    """Worked by hand: 4 · 40,000 mm² on 1,000 mm at 80 % are 200 mm, + 2 · 20, / 0.95 = 252.6, by 100 mm 300 mm."""
    order = shorts(shrink_along=0.05, price=10.0)
    bought = buy(resolve(order), AreaLay(0.8), spreads=["open"], naps=["none"], curve_counts=0)
    (row,) = bought.rows
    assert row.lay_length == pytest.approx(200.0)
    assert row.buy_length == 300.0
    assert row.per_garment == 75.0
    assert row.cost == pytest.approx(3.0)
    assert row.best
    # five: 250 mm, + 40, / 0.95 = 305.3, so 400 mm: one more adds 100 mm
    assert row.one_more == pytest.approx(100.0)


def test_one_more_may_be_free():
    """Six: 300 + 40 = 340, seven: 350 + 40 = 390: both 400 mm."""
    bought = buy(resolve(shorts(6)), AreaLay(0.8), spreads=["open"], naps=["none"])
    assert bought.rows[0].one_more == 0.0
    assert 7 in bought.curves[0].free
    assert bought.as_dict()["curves"][0]["one_more"] == {"garment": "shorts", "buy_length": 400.0, "adds": 0.0}


def test_nothing_is_called_free_that_was_not_measured_for_one_less():
    """Every garment takes 100 mm more, and the shop sells by 50: none is free. Of twenty only some lays are made; those
    between are served by the next larger, so that it costs the same without being free."""
    piece = shape("body", ((0.0, 0.0), (100.0, 0.0), (100.0, 1000.0), (0.0, 1000.0)))
    order = order_of(
        [piece], [Garment("strip", None, 20, ("body",))], [Cloth("main", 1000.0, increment=50.0, end_allowance=0.0)]
    )
    bought = buy(resolve(order), AreaLay(1.0), spreads=["open"], naps=["none"], curve_counts=5)
    (found,) = bought.curves
    assert sum(point.measured for point in found.points) == 5 and len(found.points) == 21
    assert found.free == ()


def test_the_document_has_the_agreed_keys():
    """rows, curve, trims and refused, in mm."""
    piece = shape(
        "body", ((0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0)), edges=(Edge("leg", (0.0, 0.0), (200.0, 0.0)),)
    )
    trims = (Trim("leg", "elastic", ("body.leg",), 0.85, False),)
    order = order_of([piece], [Garment("shorts", None, 2, ("body",))], [Cloth("main", 1000.0)], trims=trims)
    document = buy(resolve(order), AreaLay(0.8), spreads=["open", "crosswise fold"], naps=["one way"]).as_dict()
    assert {"cloth", "width", "spread", "lay_length", "buy_length", "per_garment", "cost"} <= set(document["rows"][0])
    assert [set(p) >= {"count", "buy_length"} for p in document["curve"]] == [True, True]
    assert [p["count"] for p in document["curve"]] == [1, 2]
    assert document["trims"][0]["kind"] == "elastic" and document["trims"][0]["opening"] == "leg"
    assert document["trims"][0]["length"] == pytest.approx(2 * 0.85 * 200.0)
    assert [r["spread"] for r in document["refused"]] == ["crosswise fold"]
    assert document["rows"][0]["cost"] is None


def test_refused_rows_name_the_reason_and_leave_no_row():
    """A piece wider than the narrow cloth: that width is refused with the figures, the other is laid."""
    bought = buy(
        resolve(shorts()), AreaLay(0.8), widths=[150.0, 900.0], spreads=["open"], naps=["none"], curve_counts=0
    )
    assert [r.width for r in bought.rows] == [900.0]
    assert [(r.width, "200 mm wide on 150" in r.reason) for r in bought.refused] == [(150.0, True)]


def test_a_spread_that_the_search_refuses_is_listed_beside_the_others():
    """On 300 mm a piece of 200 mm does not go on the fold of 150 mm; open cloth is laid."""
    order = shorts(width=300.0)
    bought = buy(resolve(order), AreaLay(0.8), spreads=["open", "lengthwise fold"], naps=["none"], curve_counts=0)
    assert [r.spread for r in bought.rows] == ["open"]
    assert [(r.spread, r.reason) for r in bought.refused] == [
        ("lengthwise fold", "piece 'body': 200 mm wide on 150 mm")
    ]


def test_the_time_of_all_rows_is_spent_on_all_spreads_together():
    """Two spreads: two rows' time in all, two thirds of it for the lay, the rest for one more and for one alone."""
    lay = AreaLay(0.8)
    buy(resolve(shorts()), lay, spreads=["open", "lengthwise fold"], naps=["none"], curve_counts=0)
    shares = {counts: share for counts, _, _, share in lay.calls}
    assert shares == {(4,): pytest.approx(4 / 3), (5,): pytest.approx(1 / 2), (1,): pytest.approx(1 / 6)}
    first, more = (next(c for c in lay.calls if c[0] == n) for n in ((4,), (5,)))
    assert first[2] is None and more[2] is not None


def test_every_cloth_that_is_cut_is_bought():
    """Main and lining each have rows and a curve; a cloth that nothing is cut from has none."""
    pieces = [rectangle("body", 200.0, 200.0), rectangle("lining", 100.0, 100.0, cloth="lining")]
    cloths = [Cloth("main", 1000.0), Cloth("lining", 1400.0), Cloth("spare", 900.0)]
    order = order_of(pieces, [Garment("shorts", None, 3, ("body", "lining"))], cloths)
    bought = buy(resolve(order), AreaLay(0.8), spreads=["open"], naps=["none"])
    assert [r.cloth for r in bought.rows] == ["main", "lining"]
    assert [c.cloth for c in bought.curves] == ["main", "lining"]
    assert bought.as_dict()["curve"] == bought.curves[0].as_dicts()


def test_the_best_row_is_the_cheapest_with_the_own_nap():
    """Where a wider cloth costs less in all it is the one to go by; rows with another nap are for comparison."""
    bought = buy(resolve(shorts(20, price=10.0)), AreaLay(0.8, extra=0.3), widths=[900.0, 1500.0], curve_counts=0)
    (best,) = [r for r in bought.rows if r.best]
    assert (best.width, best.nap, best.spread) == (1500.0, "none", "open")


def test_each_lay_of_the_curve_starts_from_the_one_before():
    """1, 2, … n + 1 garments, each started from the lay just found."""
    lay = AreaLay(0.8)
    found = curve(resolve(shorts(4)), "main", lay, spread="open")
    assert [call[0] for call in lay.calls] == [(1,), (2,), (3,), (4,), (5,)]
    assert lay.calls[0][2] is None
    for before, after in zip(lay.calls[1:], lay.calls[2:], strict=False):
        assert after[2] is not None and before[2] is not None
        assert after[2].lay_length > before[2].lay_length
    assert [p.count for p in found.points] == [1, 2, 3, 4, 5]


class Hasty(AreaLay):
    """A search that finds nothing good for more than four."""

    def __call__(self, order, cloth, **how):
        """The lay; ten times as long for five."""
        lay = super().__call__(order, cloth, **how)
        if sum(g.count for g in order.garments) < 5 or how.get("spread") is None:
            return lay
        return lay_of(order, order.cloth_named(cloth), 10.0 * lay.lay_length, how["spread"])


@pytest.mark.parametrize(("spread", "adds"), [("open", 100.0), ("lengthwise fold", 100.0), ("partial fold", 2300.0)])
def test_one_more_is_never_dearer_than_laid_behind_the_others(spread, adds):
    """Four take 20 cm, one alone 5 cm: 25 cm, so buy 30 cm. A partial fold has its own depth: 250 cm."""
    order = shorts(increment=100.0, end_allowance=0.0)
    (row,) = buy(resolve(order), Hasty(0.8), spreads=[spread], naps=["none"], curve_counts=0).rows
    assert (row.buy_length, row.one_more) == (200.0, adds)


class Unsteady(AreaLay):
    """A search that is unlucky with even counts."""

    def __call__(self, order, cloth, **how):
        """The lay, half as long again for even counts."""
        lay = super().__call__(order, cloth, **how)
        if sum(g.count for g in order.garments) % 2 == 0:
            return lay_of(order, order.cloth_named(cloth), lay.lay_length * 1.5)
        return lay


def test_the_curve_never_falls_and_a_larger_lay_serves_a_smaller_order():
    """L(n) = min(L(n), L(n + 1)), worked from the top."""
    raw = {n: 50.0 * n * (1.5 if n % 2 == 0 else 1.0) for n in range(1, 8)}
    found = curve(resolve(shorts(6)), "main", Unsteady(0.8), spread="open")
    lengths = [p.lay_length for p in found.points]
    assert lengths == sorted(lengths)
    for p in found.points:
        assert p.lay_length == pytest.approx(min(raw[n] for n in range(p.count, 8)))


def test_a_known_lay_counts_opened_out():
    """Four take 200 mm of open cloth. A crosswise fold of 90 mm takes 180 mm of it, not 90: the smaller counts keep
    their own lengths; one of 110 mm, 220 mm opened out, is no better."""
    order = shorts(4, end_allowance=0.0, increment=10.0)
    cloth = order.cloths[0]
    for half, best in ((90.0, 180.0), (110.0, 200.0)):
        known = replace(lay_of(order, cloth, half, "crosswise fold"), buy_length=2.0 * half)
        found = curve(resolve(order), "main", AreaLay(0.8), spread="open", known=known)
        assert [p.lay_length for p in found.points[:4]] == pytest.approx([50.0, 100.0, 150.0, best])
        assert [p.buy_length for p in found.points[:4]] == pytest.approx([50.0, 100.0, 150.0, best])


class Luckier(AreaLay):
    """A search that does better with a nap than without, by chance."""

    def __call__(self, order, cloth, **how):
        """The lay, a tenth longer without nap."""
        lay = super().__call__(order, cloth, **how)
        if order.cloth_named(cloth).nap == "none" and how.get("spread"):
            return lay_of(order, order.cloth_named(cloth), 1.2 * lay.lay_length, how["spread"])
        return lay


def test_cloth_without_nap_never_takes_more_than_with_one():
    """All pieces one way is allowed on plain cloth, too: 4 garments take 210 mm so, 240 mm as it was found."""
    rows = buy(
        resolve(shorts(4, end_allowance=0.0, increment=10.0)), Luckier(0.8), spreads=["open"], curve_counts=0
    ).rows
    assert [(r.nap, r.own) for r in rows] == [("none", True), ("one way", False)]
    assert [r.lay_length for r in rows] == pytest.approx([210.0, 210.0])


class Folded(AreaLay):
    """A search for pieces that go through two plies at once: not on open cloth."""

    def __call__(self, order, cloth, **how):
        """The lay, on a fold."""
        if how.get("spread") == "open":
            raise CannotLayError("there is no second ply")
        return super().__call__(order, cloth, **how)


def test_what_cannot_lie_open_has_a_curve_on_its_fold():
    """The curve is of the spread that was found, not missing."""
    bought = buy(resolve(shorts(4)), Folded(0.8), spreads=["open", "lengthwise fold"], naps=["none"])
    (found,) = bought.curves
    assert found.spread == "lengthwise fold" and [p.count for p in found.points] == [1, 2, 3, 4, 5]
    assert [(r.spread, r.reason) for r in bought.refused] == [("open", "there is no second ply")]


def test_a_long_curve_is_measured_at_some_counts():
    """Forty garments: twelve lays at most, 1, 40 and 41 among them; between them the next larger lay serves."""
    lay = AreaLay(0.8)
    found = curve(resolve(shorts(40)), "main", lay, spread="open", counts=12)
    measured = [p.count for p in found.points if p.measured]
    assert len(lay.calls) <= 12 and {1, 40, 41} <= set(measured)
    assert [p.count for p in found.points] == list(range(1, 42))
    for p in found.points:
        assert p.buy_length >= math.ceil((50.0 * p.count + 40.0) / 100.0 - 1e-9) * 100.0 - 1e-6


def test_a_curve_ends_where_the_cloth_does():
    """Cloth for five garments: the curve has no sixth, and the order of five can still be bought."""
    found = curve(resolve(shorts(5, length=260.0)), "main", AreaLay(0.8), spread="open")
    assert [p.count for p in found.points] == [1, 2, 3, 4, 5]
    assert found.as_dicts()[-1]["count"] == 5
    with pytest.raises(CannotLayError):
        curve(resolve(shorts(5, length=10.0)), "main", AreaLay(0.8), spread="open")


@given(st.lists(st.integers(0, 9), min_size=1, max_size=6))
def test_garments_are_added_in_proportion(counts):
    """After n steps each kind is less than one garment off its share; at the end the counts are exact."""
    total = sum(counts)
    sequence = adding_sequence(counts, more=1)
    if not total:
        assert sequence == ()
        return
    assert len(sequence) == total + 1
    for n in range(total + 1):
        for i, count in enumerate(counts):
            assert sequence[:n].count(i) > count * n / total - len(counts)
            assert sequence[:n].count(i) <= count
    assert [sequence[:total].count(i) for i in range(len(counts))] == counts


def test_widths_are_read_with_their_units():
    """90 cm, 45 in, a bare number in the order's units, each once."""
    assert parse_widths("90cm, 45 in,1 1/2 yd,90", "cm") == pytest.approx((900.0, 1143.0, 1371.6))
    with pytest.raises(UnitsError, match="0cm"):
        parse_widths("90cm,0cm", "cm")
    with pytest.raises(UnitsError, match="wide"):
        parse_widths("90cm,wide", "cm")


INCREMENTS = st.sampled_from([100.0, 50.0, 10.0, 1000.0, 250.0, 914.4 / 8, 914.4 / 4, 914.4, 25.4])


@given(st.floats(0.0, 50_000.0), INCREMENTS, st.floats(0.0, 0.15), st.floats(0.0, 60.0), st.integers(1, 6))
def test_what_is_bought_is_never_rounded_down(lay_length, increment, shrink, ends, plies):
    """In exact fractions: at least the need, less than one increment above it, in metres and in eighths of a yard."""
    cloth = Cloth("main", 1500.0, shrink_along=shrink, end_allowance=ends, increment=increment, plies=plies)
    for kind, lengths, times in (("open", 1, 1), ("crosswise fold", 2, 1), ("stacked face up", 1, plies)):
        need = times * (lengths * Fraction(lay_length) + 2 * Fraction(ends)) / (1 - Fraction(shrink))
        bought = Fraction(buy_length(kind, cloth, lay_length))
        slack = need * Fraction(1, 10**12) + Fraction(1, 10**6)
        assert bought >= need - slack
        assert bought < need + Fraction(increment) + slack


@given(st.integers(0, 400), INCREMENTS)
def test_exact_multiples_stay(n, increment):
    """A need that is a whole number of increments is bought as it is."""
    cloth = Cloth("main", 1500.0, end_allowance=0.0, increment=increment)
    assert buy_length("open", cloth, n * increment) == pytest.approx(n * increment, abs=1e-6)


def test_compensation_for_shrinkage_divides():
    """Costing by L / (1 − s): 1 m at 5 % is 1.0526 m, not 1.05 m (trade pages; the two conventions differ)."""
    cloth = Cloth("main", 1500.0, shrink_along=0.05, end_allowance=0.0, increment=0.0)
    assert buy_length("open", cloth, 1000.0) == pytest.approx(1052.6316, abs=1e-4)


def test_rows_of_one_table_share_a_nap_and_width_in_sequence():
    """Within one width and nap the least to buy comes first."""
    bought = buy(resolve(shorts(30)), AreaLay(0.8, extra=0.5), naps=["none"], curve_counts=0)
    lengths = [r.buy_length for r in bought.rows]
    assert lengths == sorted(lengths) and bought.rows[0].spread == "open"


def test_imperial_orders_say_so():
    """The table knows that people read yards here."""
    order = replace(shorts(), units="in")
    assert buy(resolve(order), AreaLay(0.8), spreads=["open"], naps=["none"]).imperial
