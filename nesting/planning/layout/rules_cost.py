"""What matching the repeat, and cutting together in one cloth, cost."""

from __future__ import annotations

import math
from dataclasses import replace

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.packing.problem import Place, Problem, Result
from nesting.planning.layout.assemble import assemble
from nesting.planning.layout.bounding import counted
from nesting.planning.layout.candidates import candidates_for
from nesting.planning.layout.demand import Stack, stacks_of
from nesting.planning.layout.options import share_of
from nesting.planning.layout.runs import run_search
from nesting.planning.layout.starts import lying_in, places_from
from nesting.planning.layout.trials import Search
from nesting.planning.layout.wording import say_length
from nesting.planning.layout.yardage import full_widths
from nesting.resolving.cutting_list import CuttingList

__all__ = ["COST_SHARE", "has_rules", "what_rules_cost"]

#: share of the whole search's time for each of the two searches that are compared
COST_SHARE = 0.15


def has_rules(search: Search) -> bool:
    """Whether there is something whose cost is to be found out."""
    if search.remnant is not None:
        return False
    matched = search.cloth.repeat_along > 0.0 or search.cloth.repeat_across > 0.0
    return matched or any(s.needs[0].pair is not None for s in search.stacks)

#: a problem and a layout of it to begin from
_Run = tuple[Problem, tuple[Place, ...] | None]
#: problems that are tried without a rule: the lay's own way of cutting, and another
_RUNS = 2


def what_rules_cost(search: Search, lay: Lay) -> tuple[str, ...]:
    """What matching the repeat, and cutting together in this cloth, cost against a lay without.

    Two searches of the same time go on from the lay: one under its rules, one without the rule in question. Both know
    the lay, so the difference is what the rule costs as far as searches of that time tell: about, never a bound.
    """
    from nesting.planning.layout.repeats import matching_for

    order, cloth = search.order, search.cloth
    if search.remnant is not None or len(lay.sections) != 1:
        return ()
    without: list[tuple[str, CuttingList, tuple[Stack, ...]]] = []
    if any(matching_for(order, cloth, s.cut).any for s in search.stacks):
        plain = replace(order.changed(lambda cut: replace(cut, motif=None)), matched=())
        counts = counted(search.stacks)
        without.append(("matching the repeat", plain, stacks_of(plain, cloth, counts)))
    if any(s.needs[0].pair is not None for s in search.stacks):
        without.append(("cutting together", order, stacks_of(order, cloth, counted(search.stacks), apart=True)))
    if not without:
        return ()
    asked = [("", run) for run in _runs(search, lay, order, search.stacks)[:1]]
    for what, other, stacks in without:
        asked += [(what, run) for run in _runs(search, lay, other, stacks)[:_RUNS]]
    stop = share_of(search.options, COST_SHARE)
    seed = search.options.seed * 1009 + 900
    if search.pool is None:
        outcomes = [run_search(problem, stop, seed, start) for _, (problem, start) in asked]
    else:
        running = [search.pool.submit(run_search, problem, stop, seed, start) for _, (problem, start) in asked]
        try:
            outcomes = [future.result() for future in running]
        except KeyboardInterrupt:  # the lay is there; only what the rules cost stays unsaid
            for future in running:
                future.cancel()
            search.interrupted()
            return ()
    found: dict[str, float] = {"": lay.lay_length}
    for (what, _), outcome in zip(asked, outcomes, strict=True):
        if isinstance(outcome, Result):
            found[what] = min(found.get(what, math.inf), outcome.length)
    widths = full_widths(lay.sections[0].spread.kind, cloth)
    notes = []
    for what, length in found.items():
        if what:
            cost = say_length(search, max(0.0, widths * (found[""] - length)))
            notes.append(f"{what} costs about {cost} of cloth against a lay without it, on the same spread")
    return tuple(notes)


def _runs(search: Search, lay: Lay, order: CuttingList, stacks: tuple[Stack, ...]) -> list[_Run]:
    """Problems of the lay's spread, each with the lay as its start where it is one of that problem's; those first."""
    spread = lay.sections[0].spread
    lying = lying_in(lay.placements, followers=any(s.needs[0].pair is not None for s in search.stacks))
    runs: list[_Run] = []
    for candidate in candidates_for(spread.kind, stacks, search.cloth):
        for depths in dict.fromkeys((spread.depths, candidate.depths)):
            try:
                assembly = assemble(order, search.cloth, stacks, spread.kind, depths=depths, style=candidate.style)
            except CannotLayError:
                continue
            places = tuple(sorted(places_from(lying, assembly), key=lambda p: p.item))
            complete = len(places) == len(assembly.jobs)
            runs.append((assembly.problem, assembly.from_zero(places) if complete else None))
    return sorted(runs, key=lambda run: run[1] is None)
