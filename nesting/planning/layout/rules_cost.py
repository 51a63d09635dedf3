"""What rules cost: matching the repeat, cutting together in one cloth, left and right in one turn; and what laying
each garment one way would."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from nesting.cloth.spreads import sound_spreads
from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import Cloth
from nesting.packing.problem import PackingError, Place, Problem, Result
from nesting.planning.layout.assemble import assemble
from nesting.planning.layout.bounding import counted
from nesting.planning.layout.candidates import candidates_for
from nesting.planning.layout.demand import Stack, stacks_of
from nesting.planning.layout.options import share_of
from nesting.planning.layout.posing import shares_a_turn
from nesting.planning.layout.runs import run_search
from nesting.planning.layout.starts import Lying, lying_in, place_missing, places_from
from nesting.planning.layout.trials import Search
from nesting.planning.layout.wording import say_length
from nesting.planning.layout.yardage import full_widths
from nesting.resolving.cutting_list import CuttingList

__all__ = ["COST_SHARE", "has_rules", "what_pairs_cost", "what_rules_cost"]

#: share of the whole search's time for each of the two searches that are compared
COST_SHARE = 0.15


def has_rules(search: Search) -> bool:
    """Whether there is something whose cost is to be found out."""
    if search.remnant is not None:
        return False
    matched = search.cloth.repeat_along > 0.0 or search.cloth.repeat_across > 0.0
    return matched or any(s.needs[0].pair is not None for s in search.stacks)


def _asks_for_pairs(search: Search) -> bool:
    return search.remnant is None and any(shares_a_turn(s.cut, search.cloth) for s in search.stacks)


#: a problem and a layout of it to begin from
_Run = tuple[Problem, tuple[Place, ...] | None]
#: share of the time for each search that tells what pairs cost, and what a nap by garment would
_PAIRS_SHARE = 0.03
#: problems that are tried without a rule: the lay's own way of cutting, and another
_RUNS = 2


def what_rules_cost(search: Search, lay: Lay) -> tuple[str, ...]:
    """What matching the repeat, and cutting together in this cloth, cost against a lay without.

    Two searches of the same time go on from the lay: one under its rules, one without the rule in question. Both know
    the lay, so the difference is what the rule costs as far as searches of that time tell: about, never a bound.
    """
    from nesting.planning.layout.repeats import matching_for

    listed, cloth = search.listed, search.cloth
    if search.remnant is not None or len(lay.sections) != 1:
        return ()
    without: list[tuple[str, CuttingList, tuple[Stack, ...]]] = []
    if any(matching_for(listed, cloth, s.cut).any for s in search.stacks):
        plain = replace(listed.changed(lambda cut: replace(cut, motif=None)), matched=())
        counts = counted(search.stacks)
        without.append(("matching the repeat", plain, stacks_of(plain, cloth, counts)))
    if any(s.needs[0].pair is not None for s in search.stacks):
        without.append(("cutting together", listed, stacks_of(listed, cloth, counted(search.stacks), apart=True)))
    if not without:
        return ()
    asked = [("", run) for run in _runs(search, cloth, lay, listed, search.stacks)[:1]]
    for what, other, stacks in without:
        asked += [(what, run) for run in _runs(search, cloth, lay, other, stacks)[:_RUNS]]
    outcomes = _searched(search, [run for _, run in asked], COST_SHARE)
    found: dict[str, float] = {"": lay.lay_length}
    for (what, _), outcome in zip(asked, outcomes, strict=False):
        if isinstance(outcome, Result):
            found[what] = min(found.get(what, math.inf), outcome.length)
    widths = full_widths(lay.sections[0].spread.kind, cloth)
    notes = []
    for what, length in found.items():
        if what:
            cost = say_length(search, max(0.0, widths * (found[""] - length)))
            notes.append(f"{what} costs about {cost} of cloth against a lay without it, on the same spread")
    return tuple(notes)


def _searched(search: Search, runs: Sequence[_Run], share: float) -> list[Result | PackingError]:
    """A search from each, all of the same time; none where Ctrl-C comes, as then only what rules cost stays unsaid."""
    stop = share_of(search.options, share)
    seed = search.options.seed * 1009 + 900
    if search.pool is None:
        return [run_search(problem, stop, seed, start) for problem, start in runs]
    running = [search.pool.submit(run_search, problem, stop, seed, start) for problem, start in runs]
    try:
        return [future.result() for future in running]
    except KeyboardInterrupt:
        for future in running:
            future.cancel()
        search.interrupted()
        return []


def what_pairs_cost(search: Search, lay: Lay) -> tuple[str, ...]:
    """What it costs that left and right share a turn, and what it would cost to lay each garment one way.

    Searches of the same time go on from the lay; for each garment one way, what lies the other way than most of its
    garment is laid anew behind the others first. About, never a bound.
    """
    left = search.share_left()
    if not _asks_for_pairs(search) or len(lay.sections) != 1 or (left is not None and left < 2.0 * _PAIRS_SHARE):
        return ()
    free, by_garment = replace(search.cloth, pairs="free"), replace(search.cloth, nap="by garment")
    asked: list[tuple[str, _Run]] = []
    for what, cloth in (("", search.cloth), ("free", free), ("nap", by_garment)):
        if sound_spreads(cloth, None, lay.sections[0].spread.kind)[1]:
            continue
        runs = _runs(search, cloth, lay, search.listed, search.stacks)[:1]
        asked += [(what, run) for run in runs if run[1] is not None or what == "nap"]
    outcomes = _searched(search, [run for _, run in asked], _PAIRS_SHARE)
    found = {what: one.length for (what, _), one in zip(asked, outcomes, strict=False) if isinstance(one, Result)}
    now = min(lay.lay_length, found.get("", math.inf))
    widths = full_widths(lay.sections[0].spread.kind, search.cloth)
    notes = []
    if "free" in found:
        cost = say_length(search, max(0.0, widths * (now - found["free"])))
        notes.append(
            f"left and right of each garment share one turn, which costs about {cost} of cloth against turns of their "
            'own (pairs = "free")'
        )
    if "nap" in found:
        cost = say_length(search, max(0.0, widths * (found["nap"] - now)))
        notes.append(f'laying each garment one way (nap = "by garment") would cost about {cost} of cloth more')
    return tuple(notes)


def _runs(search: Search, cloth: Cloth, lay: Lay, listed: CuttingList, stacks: tuple[Stack, ...]) -> list[_Run]:
    """Problems of the lay's spread, each with the lay as its start where it is one of that problem's; those first."""
    spread = lay.sections[0].spread
    lying = lying_in(lay.placements, followers=any(s.needs[0].pair is not None for s in search.stacks))
    if cloth.nap == "by garment":
        lying = _one_way(lying)
    runs: list[_Run] = []
    for candidate in candidates_for(spread.kind, stacks, cloth):
        for depths in dict.fromkeys((spread.depths, candidate.depths)):
            try:
                assembly = assemble(listed, cloth, stacks, spread.kind, depths=depths, style=candidate.style)
            except CannotLayError:
                continue
            places = places_from(lying, assembly)
            whole = place_missing(places, assembly) if cloth.nap == "by garment" else places
            complete = whole is not None and len(whole) == len(assembly.jobs)
            start = assembly.from_zero(tuple(sorted(whole or (), key=lambda p: p.item))) if complete else None
            runs.append((assembly.problem, start))
    return sorted(runs, key=lambda run: run[1] is None)


def _one_way(lying: tuple[Lying, ...]) -> tuple[Lying, ...]:
    """What lies along the cloth, of each garment only what lies the way in which most of it lies."""
    ways: dict[tuple[str, str | None, int], Counter[float]] = {}
    straight = [one for one in lying if one.turn % 360.0 in (0.0, 180.0)]
    for one in straight:
        ways.setdefault((one.garment, one.size, one.copies[0]), Counter())[one.turn % 360.0] += 1
    return tuple(
        one
        for one in straight
        if len(one.copies) == 1 or len(set(one.copies)) == 1
        if ways[one.garment, one.size, one.copies[0]].most_common(1)[0][0] == one.turn % 360.0
    )
