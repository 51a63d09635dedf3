"""The work of a session, wherever it is done: by kind, telling of all that is better as it comes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from nesting.model.as_laid import order_as_laid
from nesting.planning.layout.options import Progress, SearchOptions
from nesting.proof import Verdict, require
from nesting.session.events import BatchWork, Better, BuyWork, Event, LayWork, Progressed, Result, SoFar, Work
from nesting.session.numbering import numbered

if TYPE_CHECKING:
    from nesting.model.lay import Lay
    from nesting.model.order import Order
    from nesting.resolving.cutting_list import CuttingList

__all__ = ["do", "proved"]

Tell = Callable[[Event], None]


def proved(lays: tuple[Lay, ...], order: Order) -> tuple[Verdict, ...]:
    """The proof of each lay. ProofError for one that does not stand it."""
    by_cloth = {one.cloth: one for one in lays}
    if all(one.remnant is None and one.holds is None for one in lays):
        order = order_as_laid(order, lays)  # all cloths must give the same number of a garment
    return tuple(require(one, order, first=by_cloth.get(one.leaders_on or "")) for one in lays)


def do(order: Order, listed: CuttingList, options: SearchOptions, work: Work, tell: Tell) -> Result:
    """Do the work by the order's cutting list; lays in the result are proved by the order itself. Raises what the
    planner and the proof raise."""

    def step(p: Progress) -> None:
        tell(Progressed(p.cloth, p.doing, p.share, p.length))

    told = replace(options, on_progress=step)
    if isinstance(work, LayWork):
        def better(found: tuple[Lay, ...]) -> None:
            tell(Better(tuple(numbered(one, order, work.start) for one in found)))

        laid = _lay(listed, replace(told, on_lays=better), work)
        lays = tuple(numbered(one, order, work.start) for one in laid)
        return Result(lays, proved(lays, order))
    if isinstance(work, BuyWork):
        return Result(answer=_buy(listed, told, work, tell))
    if isinstance(work, BatchWork):
        answer = _batch(listed, told, work, tell)
        return Result(answer.lays, tuple(require(one, order) for one in answer.lays), answer)
    plan = _remnants(listed, told, tell)
    return Result(plan.lays, tuple(require(one, order) for one in plan.lays), plan)


def _lay(listed: CuttingList, options: SearchOptions, work: LayWork) -> tuple[Lay, ...]:
    from nesting.planning.as_many.filling import lay_as_many, settled_by
    from nesting.planning.batch.on_table import divided
    from nesting.planning.layout.solve import lay_order

    if listed.open_ended and work.start is None:
        return lay_as_many(listed, options, divide=divided, spread=work.spread)
    if work.start is not None:
        listed = settled_by(listed, [work.start])  # a lay to begin from says how many it holds
    return lay_order(
        listed,
        options,
        spread=work.spread,
        start=work.start,
        keep=work.keep,
        divide=lambda found, how: divided(listed, found, how),
    )


def _buy(listed: CuttingList, options: SearchOptions, work: BuyWork, tell: Tell) -> Any:
    from nesting.planning.as_many.filling import refuse_open_ended
    from nesting.planning.buying.buy import buy, buying_work
    from nesting.planning.buying.steps import Steps
    from nesting.planning.buying.what_if import choices, what_if
    from nesting.planning.layout.options import search_pool
    from nesting.planning.layout.solve import laid_together

    refuse_open_ended(listed, "what to buy")
    # the same workers for all searches: they know the pieces after the first
    tried = choices(listed) if work.what_if else ()
    with search_pool(options) as pool:
        total = buying_work(listed, widths=work.widths)
        more = float(sum(len(one.listed.cloths_used) for one in tried) + len(listed.cloths_used)) if tried else 0.0
        steps = Steps(replace(options, executor=pool), total + more, work.budget)

        def over(there: CuttingList, lays: tuple[Lay, ...]) -> tuple[Lay, ...]:
            return laid_together(there, lays, steps.searching())

        bought = buy(
            listed,
            steps.lay,
            over=over,
            widths=work.widths,
            on_step=steps.begin,
            on_rows=lambda bought: tell(SoFar(bought)),
        )
        if not work.what_if:
            return bought
        savings = what_if(
            listed,
            steps.lay,
            over,
            tried=tried,
            told={} if work.widths else bought.told,
            on_step=steps.begin,
            on_saving=lambda found: tell(SoFar(replace(bought, what_if=found))),
        )
        return replace(bought, what_if=savings)


def _batch(listed: CuttingList, options: SearchOptions, work: BatchWork, tell: Tell) -> Any:
    from nesting.planning.as_many.filling import refuse_open_ended
    from nesting.planning.batch.cutting import batch_work
    from nesting.planning.batch.leftovers_first import batch_all, stocked_cloths
    from nesting.planning.buying.steps import Steps
    from nesting.planning.layout.options import search_pool
    from nesting.planning.leftovers.cloth_pieces import FitsBySearch

    refuse_open_ended(listed, "a batch")
    with search_pool(options) as pool:
        steps = Steps(replace(options, executor=pool), batch_work(listed), work.budget)
        # a third of the time is for leftovers, where there are any
        planning = None if work.budget is None else work.budget / 3.0
        first = steps.searching()
        if stocked_cloths(listed):
            steps.begin("leftovers", "which piece goes where", steps.total / 2.0)
        each = None if planning is None else max(0.5, planning / 3.0)
        return batch_all(
            listed,
            steps.lay,
            FitsBySearch(replace(first, seconds=each or first.seconds, workers=1, executor=None)),
            seconds=planning,
            steps=steps,
            on_batch=lambda found: tell(SoFar(found)),
        )


def _remnants(listed: CuttingList, options: SearchOptions, tell: Tell) -> Any:
    """Of the options' seconds three quarters are for the leftovers, the rest for what must still be bought."""
    from nesting.planning.buying.steps import Steps
    from nesting.planning.layout.laying import laying
    from nesting.planning.layout.solve import laid_together
    from nesting.planning.leftovers.cloth_pieces import FitsBySearch
    from nesting.planning.leftovers.remnants import plan_remnants

    whole = options.seconds
    planning = 60.0 if whole is None else 0.75 * whole
    each = None if whole is None else max(0.5, planning / 3.0)
    rest = None if whole is None else max(0.5, 0.25 * whole / len(listed.cloths_used))
    steps = Steps(replace(options, seconds=1.0), 60.0 if whole is None else whole)
    search = steps.searching()
    steps.begin("leftovers", "which piece goes where", planning)
    fits = FitsBySearch(replace(search, seconds=each, workers=1))
    until = None if whole is None else planning
    return plan_remnants(
        listed,
        fits,
        lay=laying(replace(search, seconds=rest)),
        over=lambda there, lays: laid_together(there, lays, replace(search, seconds=rest)),
        seconds=until,
        on_plan=lambda plan: tell(SoFar(plan)),
    )
