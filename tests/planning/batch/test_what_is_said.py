"""What is said of a batch: proved or best found, how many lays were measured, what one at a time would take."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.console import Console

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import Cloth, Garment, Order
from nesting.planning.batch.batch import BatchPlan
from nesting.planning.batch.cutting import batch
from nesting.report.html.buy_page import batch_section, sure_words
from nesting.report.html.drawn import part_html
from nesting.report.terminal.buy_terminal import batch_summary
from nesting.resolving.resolve import resolve
from tests.planning.area_lays import AreaLay, order_of, rectangle

NO_LESS = "no division of the batch needs less cloth from the shop: the area of the pieces takes as much"


def bags(count: int, **cloth: object) -> Order:
    """Bags of a panel of 20 × 50 cm each, on cloth of 100 cm: by area 10 cm each."""
    how: dict[str, object] = {"end_allowance": 0.0, "increment": 100.0, "max_plies": 1, "spreads": ("open",), **cloth}
    return order_of(
        [rectangle("panel", 200.0, 500.0)], [Garment("bag", None, count, ("panel",))], [Cloth("main", 1000.0, **how)]
    )


class Counting(AreaLay):
    """The same lay by area, and how many times one was asked for, and how often in vain."""

    def __init__(self, efficiency: float = 1.0, refuse: tuple[str, ...] = ()) -> None:
        super().__init__(efficiency)
        self.asked, self.refused, self.refuse = 0, 0, refuse

    def _all(self, *args: object) -> Lay:  # the whole order in one lay: its spreads are no lays of their own
        before = self.asked
        found = super()._all(*args)
        self.asked = before
        return found

    def __call__(self, order: object, cloth: str, **how: object) -> Lay:
        """The lay, or a refusal."""
        self.asked += 1
        if how.get("spread") in self.refuse:
            self.refused += 1
            raise CannotLayError("not in this spread", piece="panel")
        return super().__call__(order, cloth, **how)


def planned(order: Order, lay: AreaLay) -> BatchPlan:
    """The plan of its one cloth."""
    (plan,) = batch(resolve(order), lay, seconds=2.0)
    return plan


def shown(plan: BatchPlan) -> str:
    """All that terminal and report say, in one line."""
    out = io.StringIO()
    Console(file=out, width=200, color_system=None).print(batch_summary([plan]))
    return " ".join(out.getvalue().split()) + part_html("plan of the batch", batch_section([plan]))


@pytest.mark.parametrize(
    ("waste", "ends", "buy", "sure"),
    [
        (0.0, 0.0, 500.0, True),  # five of 10 cm: 50 cm, and by area no less
        (0.0, 1.0, 600.0, True),  # 50 cm and 2 mm of ends: the shop cuts 60, and nobody can do with 50
        (0.01, 0.0, 600.0, False),  # a lay of 50.5 cm: 60 to buy, where one of 50 might exist
        (0.30, 20.0, 700.0, False),  # 65 + 4 cm: 70, where 54 by area would be 60
        (0.05, 20.0, 600.0, True),  # 52.5 + 4 cm: 60, and 54 by area are 60 as well
    ],
)
def test_that_no_division_needs_less_is_said_only_where_it_is_so(
    waste: float, ends: float, buy: float, sure: bool
) -> None:
    """Worked out by hand; whatever is said, least by area never is more than what is bought."""
    plan = planned(bags(5, end_allowance=ends), AreaLay(1.0 / (1.0 + waste)))
    assert plan.buy_length == buy and plan.proved is sure and plan.as_dict()["proved"] is sure
    assert plan.least == pytest.approx(500.0 + 2 * ends)
    words = shown(plan)
    assert (NO_LESS in words) is sure
    assert ("the best found, at least" in words) is not sure


def test_no_division_needs_less_than_the_least_whatever_the_sections() -> None:
    """Sections each have ends of their own, so several never take less than the ends once; tubes lie double."""
    for tubular in (False, True):
        spreads = None if tubular else ("open",)
        # a tube lies in two plies
        how = {"tubular": tubular, "spreads": spreads, "max_plies": 2 if tubular else 1}
        order = bags(6, end_allowance=15.0, table_length=300.0, shrink_along=0.04, **how)
        plan = planned(order, AreaLay(0.5 if not tubular else 1.0))
        area = 6 * 200.0 * 500.0 / (1000.0 * (2 if tubular else 1))
        assert plan.least == pytest.approx((area + 30.0) / 0.96)
        assert plan.cloth_length >= plan.least - 1e-6


def test_at_least_is_never_more_than_it_is() -> None:
    """60.26 cm by area are told as at least 60.2 cm, and 60.2 stay 60.2."""
    plan = planned(bags(5), AreaLay(0.5))
    assert "at least 60.2 cm by area" in sure_words(replace(plan, least=602.6))
    assert "at least 60.2 cm by area" in sure_words(replace(plan, least=602.0))


@pytest.mark.parametrize("refuse", [(), ("lengthwise fold",), ("stacked face to face", "lengthwise fold")])
def test_lays_measured_are_those_that_were_made(refuse: tuple[str, ...]) -> None:
    """As many as the search gave, the whole order in one among them, and none that it refused."""
    order = bags(7, max_plies=4, spreads=None, table_length=900.0)
    lay = Counting(0.9, refuse)
    plan = planned(order, lay)
    # the lays of the sections themselves are made after the plan is
    again = sum(s.layers > 1 for s in plan.sections) if plan.sections[0].spread != "sections" else 0
    assert plan.measured == lay.asked - lay.refused - again
    assert f"{plan.measured} lays measured" in sure_words(replace(plan, least=1.0))
    assert "1 lay measured" in sure_words(replace(plan, least=1.0, measured=1))


def test_what_the_batch_saves_is_against_each_cut_by_itself() -> None:
    """By hand: six of 10 cm and 4 cm of ends each are 84 cm; in one lay 64: 20 of 84 are 23.8 %."""
    plan = planned(bags(6, end_allowance=20.0), AreaLay(1.0))
    assert plan.one_at_a_time == pytest.approx(840.0) and plan.cloth_length == pytest.approx(640.0)
    words = shown(plan)
    assert words.count("about 84 cm, the batch saves about 23.8 %") == 2
    one = planned(bags(1, end_allowance=20.0), AreaLay(1.0))
    assert one.one_at_a_time == pytest.approx(one.cloth_length)
    assert "nothing is saved" in shown(one) and "saves about" not in shown(one)


def test_what_was_not_measured_is_not_told() -> None:
    """The first plan that is heard of is the whole order in one quick lay: nothing was cut one at a time yet."""
    heard: list[tuple[BatchPlan, ...]] = []
    batch(resolve(bags(6, end_allowance=20.0)), AreaLay(1.0), seconds=2.0, on_plans=heard.append)
    (first,) = heard[0]
    assert first.one_at_a_time is None and first.measured == 1
    assert "one at a time" not in shown(first) and "saves" not in shown(first)
    (last,) = heard[-1]
    assert last.one_at_a_time == pytest.approx(840.0)
