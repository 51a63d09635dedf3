"""The combinatorial part of a batch plan: which ratios there are, and which of them to use in how many layers."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from nesting.model.errors import CannotLayError, InternalError

__all__ = ["Chosen", "Column", "Plan", "Ratio", "choose_sections", "ratio_pool"]

#: Garments of each kind in one layer.
Ratio = tuple[int, ...]
#: (ratio, mode, layers)
Chosen = tuple[Ratio, int, int]
#: (ratio, layers) of each section.
Plan = tuple[tuple[Ratio, int], ...]
#: (ratio, mode, most layers, cloth per layer in tenths of a millimetre, cuts)
Column = tuple[Ratio, int, int, int, int]

#: Sequences in which garments are dealt to sections: as they come, largest first, evenly, and shuffled ones.
_WAYS = 20
#: Whole plans from which the solver may start.
_KEPT_PLANS = 40


def ratio_pool(
    counts: Ratio, weights: Sequence[float], fits: Callable[[Ratio], bool], most_layers: int, limit: int
) -> tuple[tuple[Ratio, ...], bool, tuple[Plan, ...]]:
    """Ratios to choose from, whether they are all there are, and some whole plans made of them (best first).

    ``weights``: how much room one garment of each kind takes. ``fits`` must be monotone: what is less than a ratio
    that fits, fits. If there are more than ``limit`` ratios, the pool holds those of the plans that need the fewest
    layers in all (see ``_plans``), and every single garment.
    """
    plans = _plans(counts, weights, fits, most_layers)
    every = _all_ratios(counts, fits, limit)
    if every is not None:
        return tuple(every), True, tuple(plans[:_KEPT_PLANS])
    size = len(counts)
    # Single garments first: whatever else is dropped, these can make up any order.
    singles = (tuple(int(k == i) for k in range(size)) for i in range(size))
    pool = dict.fromkeys(ratio for ratio in singles if fits(ratio))
    for plan in plans:
        if len(pool) >= limit:
            break
        pool.update(dict.fromkeys(ratio for ratio, _ in plan))
    return tuple(pool), False, tuple(plans[:_KEPT_PLANS])


def _all_ratios(counts: Ratio, fits: Callable[[Ratio], bool], limit: int) -> list[Ratio] | None:
    found: list[Ratio] = []

    def extend(prefix: Ratio) -> bool:
        i = len(prefix)
        if i == len(counts):
            if any(prefix):
                found.append(prefix)
            return len(found) <= limit
        for n in range(counts[i] + 1):
            longer = (*prefix, n)
            if any(longer) and not fits(longer + (0,) * (len(counts) - i - 1)):
                break
            if not extend(longer):
                return False
        return True

    return found if extend(()) else None


def _plans(counts: Ratio, weights: Sequence[float], fits: Callable[[Ratio], bool], most_layers: int) -> list[Plan]:
    """Whole plans, fewest layers first, then fewest sections.

    The order is divided by a number of layers, the quotient packed into sections as into bins, and what is left over
    divided again by a smaller number, down to single layers.
    """
    rng = random.Random(0)
    top = min(most_layers, max(counts))
    found: dict[Plan, None] = {}
    for way in range(_WAYS):
        for first in range(top, 0, -1):
            for second in range(first, 0, -1):
                left, plan = counts, []
                for layers in (first, second, 1):
                    whole = tuple(c // layers for c in left)
                    bins = _bins(whole, weights, fits, way, rng)
                    if bins is None:
                        break
                    plan += [(ratio, layers) for ratio in bins]
                    left = tuple(c - layers * w for c, w in zip(left, whole, strict=True))
                if not any(left):
                    found.setdefault(tuple(plan))
    return sorted(found, key=lambda plan: (sum(n for _, n in plan), len(plan)))


def _bins(
    whole: Ratio, weights: Sequence[float], fits: Callable[[Ratio], bool], way: int, rng: random.Random
) -> list[Ratio] | None:
    """``whole`` divided among sections that fit: garments in the given sequence each into the first section that
    takes it. ``way`` 0: as they come, 1: the largest first, 2: dealt out evenly, from 3: shuffled. None: one alone
    does not fit."""
    items = [i for i, n in enumerate(whole) for _ in range(n)]
    if way == 1:
        items.sort(key=lambda i: -weights[i])
    elif way == 2:
        return _dealt(whole, fits)
    elif way > 2:
        rng.shuffle(items)
    bins: list[Ratio] = []
    for i in items:
        for k, ratio in enumerate(bins):
            more = (*ratio[:i], ratio[i] + 1, *ratio[i + 1 :])
            if fits(more):
                bins[k] = more
                break
        else:
            alone = tuple(int(k == i) for k in range(len(whole)))
            if not fits(alone):
                return None
            bins.append(alone)
    return bins


def _dealt(whole: Ratio, fits: Callable[[Ratio], bool]) -> list[Ratio] | None:
    for number in range(1, sum(whole) + 1):
        dealt = [[0] * len(whole) for _ in range(number)]
        turn = 0
        for i, n in enumerate(whole):
            for _ in range(n):
                dealt[turn % number][i] += 1
                turn += 1
        ratios = [tuple(d) for d in dealt]
        if all(fits(r) for r in ratios if any(r)):
            return [r for r in ratios if any(r)]
    return None if any(whole) else []


def choose_sections(
    counts: Ratio,
    columns: Sequence[Column],
    *,
    seconds: float,
    hint: Sequence[Chosen] = (),
    plans: Sequence[Plan] = (),
) -> tuple[list[Chosen], bool]:
    """Sections (ratio, mode, layers) that give exactly ``counts``: least cloth, then fewest sections, then cuts.

    ``hint``: sections of an earlier plan, ``plans``: other plans; the search starts from the best of them. The second
    value tells whether the solver proved the plan best. Raises CannotLayError if the columns cannot make up the counts.
    """
    from ortools.sat.python import cp_model

    options = [
        _Option(ratio, mode, layers, tenths * layers, cuts)
        for ratio, mode, most, tenths, cuts in columns
        for layers in range(1, min(most, _ceiling(counts, ratio)) + 1)
    ]
    starts = [_greedy(counts, options), _looked_up(hint, options), *(_spread_out(plan, options) for plan in plans)]
    start = min((plan for plan in starts if plan is not None), key=_cost, default=None)
    model = cp_model.CpModel()
    started = Counter(start or ())
    many = []
    for option in options:
        z = model.new_int_var(0, _ceiling(counts, option.ratio) // option.layers, "")
        many.append(z)
        if start is not None:
            model.add_hint(z, started[option])
    for i, count in enumerate(counts):
        model.add(sum(o.layers * o.ratio[i] * z for o, z in zip(options, many, strict=True) if o.ratio[i]) == count)
    # One number that puts cloth before sections before cuts: each weight exceeds all that the next can come to.
    per_section = 1 + max((o.cuts for o in options), default=0) * sum(counts)
    per_tenth = per_section * (sum(counts) + 1)
    model.minimize(sum((o.tenths * per_tenth + per_section + o.cuts) * z for o, z in zip(options, many, strict=True)))
    solver = cp_model.CpSolver()
    # the solver's own measure of its work, which is about seconds on a machine that does nothing else, and repeats
    solver.parameters.max_deterministic_time = seconds
    solver.parameters.max_time_in_seconds = 10.0 * seconds
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 0
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        raise CannotLayError(
            "the ordered counts cannot be made up of sections that the table and the cutter can take: allow a longer "
            "table (table_length) or another spread",
            code="batch.impossible",
        )
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        found = [o for o, z in zip(options, many, strict=True) for _ in range(int(solver.value(z)))]
        if start is None or _cost(found) < _cost(start):
            start = found
    if start is None:
        raise InternalError(
            f"no plan of the batch was found in {seconds:g} s (solver status {solver.status_name(status)}): "
            "give more time",
            code="batch.no-plan",
        )
    return [(o.ratio, o.mode, o.layers) for o in start], bool(status == cp_model.OPTIMAL)


@dataclass(frozen=True)
class _Option:
    """One column with a number of layers: cloth in tenths of a millimetre, and cuts."""

    ratio: Ratio
    mode: int
    layers: int
    tenths: int
    cuts: int


def _ceiling(counts: Ratio, ratio: Ratio) -> int:
    return min(c // r for c, r in zip(counts, ratio, strict=True) if r)


def _cost(plan: Sequence[_Option]) -> tuple[int, int, int]:
    return (sum(o.tenths for o in plan), len(plan), sum(o.cuts for o in plan))


def _looked_up(hint: Sequence[Chosen], options: Sequence[_Option]) -> list[_Option] | None:
    """The sections of an earlier plan among today's options; None where one is no longer there."""
    at = {(o.ratio, o.mode, o.layers): o for o in options}
    plan = [at[section] for section in hint if section in at]
    return plan if hint and len(plan) == len(hint) else None


def _spread_out(plan: Plan, options: Sequence[_Option]) -> list[_Option] | None:
    """Each section of the plan in the way that takes least; None where one cannot be had."""
    best: dict[tuple[Ratio, int], _Option] = {}
    for o in options:
        key = (o.ratio, o.layers)
        if key not in best or _cost([o]) < _cost([best[key]]):
            best[key] = o
    sections = [best[section] for section in plan if section in best]
    return sections if len(sections) == len(plan) else None


def _greedy(counts: Ratio, options: Sequence[_Option]) -> list[_Option] | None:
    """A first plan: again and again the option that takes least cloth for what it covers, the larger first."""
    worth = []
    for i in range(len(counts)):
        alone = [o.tenths / (o.layers * sum(o.ratio)) for o in options if o.ratio[i]]
        if not alone:
            return None
        worth.append(max(alone))
    left, plan, usable = counts, [], list(options)

    def merit(o: _Option) -> tuple[float, float]:
        covered = o.layers * sum(w * r for w, r in zip(worth, o.ratio, strict=True))
        return (o.tenths / covered, -covered)

    while any(left):
        usable = [o for o in usable if all(o.layers * r <= c for r, c in zip(o.ratio, left, strict=True))]
        if not usable:
            return None
        best = min(usable, key=merit)
        plan.append(best)
        left = tuple(c - best.layers * r for c, r in zip(left, best.ratio, strict=True))
    return plan
