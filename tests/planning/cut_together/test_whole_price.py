"""The price of all cloths together decides the spread: against every choice worked out one by one."""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import replace

import pytest

import nesting
from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import Order, Remnant
from nesting.planning.cut_together.layered import lay_over
from nesting.planning.cut_together.patches import in_patches
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.second_cloth import laid_together, spread_by_whole_price, worth
from nesting.planning.layout.solve import lay_order
from nesting.resolving.cutting_list import CuttingList
from nesting.resolving.resolve import resolve
from tests.planning.cut_together.together_orders import together_order

NO_SEARCH = SearchOptions(seconds=None, rounds=1)


def one_cloth(order: CuttingList, name: str) -> Lay:
    """One cloth by itself, in one round."""
    return lay_cloth(order, name, NO_SEARCH)


def price(order: CuttingList, lays: list[Lay]) -> float:
    """By the definition: length to buy times price, or lengths where a price is missing."""
    if any(order.cloth_named(lay.cloth).price is None for lay in lays):
        return math.fsum(lay.buy_length for lay in lays)
    return math.fsum(lay.buy_length / 1000.0 * (order.cloth_named(lay.cloth).price or 0.0) for lay in lays)


def every_choice(order: CuttingList, first: Lay, second: Lay) -> dict[tuple[str, str], float]:
    """(spread of the first cloth, way of the second) -> what both cost, each worked out by itself."""
    found: dict[tuple[str, str], float] = {}
    for lay in (first, *first.others):
        kind = lay.sections[0].spread.kind if len(lay.sections) == 1 else "sections"
        found[kind, "apart"] = price(order, [lay, second])
        over = lay_over(order, (lay, second))
        if over[1].over is not None:
            found[kind, "over"] = price(order, list(over))
        with suppress(CannotLayError):
            found[kind, "patches"] = price(order, list(in_patches(order, lay, second, None)))
    return found


@pytest.mark.parametrize("number", range(20))
def test_the_cheapest_of_all_choices(number: int) -> None:
    """Twenty small orders: no spread and no way of cutting at the same time costs less than what is chosen."""
    asked = together_order(100 + number)
    small = tuple(replace(g, count=1) for g in asked.garments[:1])
    cloths = tuple(replace(c, spreads=("open", "lengthwise fold", "crosswise fold")) for c in asked.cloths)
    order = resolve(replace(asked, garments=small, cloths=cloths))
    own = tuple(one_cloth(order, cloth.name) for cloth in order.cloths)
    choices = every_choice(order, *own)
    together = {choice: cost for choice, cost in choices.items() if choice[1] != "apart"}
    least = min((together or choices).values())
    chosen = spread_by_whole_price(order, own)
    rows = {t.kind: t for t in chosen[0].tried}
    taken = next(t for t in chosen[0].tried if t.chosen)
    assert taken.in_all == pytest.approx(least)
    assert chosen[0].sections[0].spread.kind == taken.kind
    for kind in {kind for kind, _ in choices}:
        ways = [cost for (k, way), cost in together.items() if k == kind]
        alone = choices[kind, "apart"]  # type: ignore[index]
        assert rows[kind].in_all == pytest.approx(min(ways) if ways else alone)  # type: ignore[index]
    # what is searched for beyond that never costs more
    found = laid_together(order, own, NO_SEARCH)
    if together:
        assert found[1].leaders_on is not None and worth(order, found) <= least + 1e-9


def test_what_is_said_of_a_lay_is_said_of_that_lay() -> None:
    """Why the easier spread was chosen by itself is not told of the other spread that all cloths together ask for."""
    changed = 0
    for number in range(4):
        asked = together_order(100 + number)
        small = tuple(replace(g, count=1) for g in asked.garments[:1])
        cloths = tuple(replace(c, spreads=("open", "lengthwise fold", "crosswise fold")) for c in asked.cloths)
        order = resolve(replace(asked, garments=small, cloths=cloths))
        first, second = (one_cloth(order, cloth.name) for cloth in order.cloths)
        assert not any("easier to cut" in note for lay in first.others for note in lay.notes)
        tagged = [replace(one, notes=(one.sections[0].spread.kind,), others=()) for one in (first, *first.others)]
        # as if the longest of them were the one that was chosen by itself
        longest = max(tagged, key=lambda one: one.buy_length)
        told = replace(longest, others=tuple(one for one in tagged if one is not longest))
        chosen = spread_by_whole_price(order, (told, second))[0]
        assert chosen.notes == (chosen.sections[0].spread.kind,)
        changed += chosen.notes != told.notes
    assert changed, "no order took another spread"


def test_the_table_says_what_each_spread_would_cost_in_all() -> None:
    """The one that is taken costs least; the figure is that of the lays that come with it."""
    asked = together_order(103)
    lays = nesting.lay(asked, rounds=1, workers=1)
    told = [t for t in lays[0].tried if t.in_all is not None]
    taken = next(t for t in told if t.chosen)
    assert taken.in_all == pytest.approx(worth(resolve(asked), lays))
    assert taken.in_all == pytest.approx(min(t.in_all or math.inf for t in told))


def test_lay_and_buy_say_one_price_for_the_same_lays() -> None:
    """The same stored lays through ``buy``: its rows to go by cost what the lay of the whole order does."""
    from nesting.planning.buying.buy import buy

    asked: Order = together_order(104)
    order = resolve(asked)
    lays = lay_order(order, NO_SEARCH)
    stored = {cloth.name: one_cloth(order, cloth.name) for cloth in order.cloths}

    def lay(part: CuttingList, cloth: str, **_: object) -> Lay:
        return stored[cloth]

    bought = buy(
        order, lay, over=lambda there, own: laid_together(there, own, NO_SEARCH), curve_counts=0, one_more=False,
        naps=[order.cloths[0].nap],
    )  # fmt: skip
    best = {row.cloth: row for row in bought.rows if row.best}
    assert {cloth: row.buy_length for cloth, row in best.items()} == {one.cloth: one.buy_length for one in lays}


def test_remnants_say_the_same_price_for_the_same_lays() -> None:
    """The same stored lays through ``remnants``: leftovers on which nothing lies leave all to be bought, of both cloths
    at once as ``lay`` lays them."""
    from nesting.planning.leftovers.cloth_pieces import FitsBySearch
    from nesting.planning.leftovers.remnants import plan_remnants

    asked: Order = together_order(104)
    tiny = tuple(Remnant(f"scrap of {c.name}", c.name, ((0, 0), (30, 0), (30, 30), (0, 30))) for c in asked.cloths)
    order = resolve(replace(asked, remnants=tiny))
    lays = lay_order(order, NO_SEARCH)
    stored = {cloth.name: one_cloth(order, cloth.name) for cloth in order.cloths}

    def lay(part: CuttingList, cloth: str, **_: object) -> Lay:
        return stored[cloth]

    plan = plan_remnants(
        order,
        FitsBySearch(NO_SEARCH),
        lay=lay,
        over=lambda there, own: laid_together(there, own, NO_SEARCH),
        seconds=None,
    )
    assert plan.number == 0
    assert {b.cloth: b.buy_length for b in plan.to_buy} == {one.cloth: one.buy_length for one in lays}
    costs = [b.cost for b in plan.to_buy]
    assert None not in costs
    assert math.fsum(c or 0.0 for c in costs) == pytest.approx(worth(order, lays), abs=0.005 * len(costs))
    assert all(b.apart_from is None for b in plan.to_buy)
