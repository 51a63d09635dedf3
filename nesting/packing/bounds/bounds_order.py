"""Bounds by order: pieces that cannot lie beside each other lie one behind the other.

Two pieces that share a ply, at a given difference dy of height, keep each other off along x: the differences dx at
which they overlap hold an interval, seen from bands inside both (``bounds_shapes.chain_of``). If that is so for every
dy that the cloth's width leaves them, one of them lies behind the other by at least the least end of those intervals.
These either-ors and the choice of lies make a scheduling problem, a relaxation of the layout; CP-SAT gives a proven
lower bound on it, finished or not. Items tied to a fold have one height each, so this is where a fold's own length is
counted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement, product
from time import thread_time
from typing import TYPE_CHECKING

import numba
import numpy as np
from numpy.typing import NDArray
from shapely.affinity import translate

from nesting.packing.bounds.bounds_lies import Lie, Ply, Shape, axis_from
from nesting.packing.bounds.bounds_load import Kind
from nesting.packing.bounds.bounds_shapes import Chain, chain_of
from nesting.packing.problem import Axis

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["Ordered", "least_reach", "order_bound", "warm_up"]

Floats = NDArray[np.float64]
_MOST = 24  # items in the model
_PAIRS = 8000  # pairs of lies looked at in a second of work
_LEVELS = 512  # slabs across the width
_FLAWS = 6  # flaws in the model
_UNITS = 10**5  # resolution of lengths in the model
_CONFLICTS = 30_000  # about what the solver works through in a second
_TRIALS = 4  # lengths that it is asked about


#: (least x₂ − x₁, least x₁ − x₂) of each pair of lies (by number) of each pair of kinds that cannot pass each other.
Pairs = dict[tuple[int, int], dict[tuple[int, int], tuple[float, float]]]


@dataclass(frozen=True)
class Ordered:
    """A bound and the kinds it rests on; ``tied`` if all of them have one height, as on a fold."""

    length: float
    kinds: tuple[Kind, ...]
    tied: bool


@numba.njit(cache=True)
def _reach(a: int, a_high: Floats, b: int, b_low: Floats, k: int) -> float:
    """max over the slabs that two chains share, the second lifted by ``k`` slabs, of a's right end − b's left end."""
    reach = -np.inf
    for j in range(max(a, b + k), min(a + len(a_high), b + k + len(b_low))):
        reach = max(reach, a_high[j - a] - b_low[j - k - b])
    return reach


@numba.njit(cache=True)
def least_reach(a: int, a_high: Floats, b: int, b_low: Floats, low: float, high: float) -> float:
    """Least of ``_reach`` over lifts from ``low`` to ``high`` slabs, −inf if the chains can miss each other."""
    first, last = int(np.ceil(low - 1e-6)), int(np.floor(high + 1e-6))
    if first > last:  # between two whole lifts, the slabs of both meet
        return max(_reach(a, a_high, b, b_low, last), _reach(a, a_high, b, b_low, first))
    least = np.inf
    for k in range(first, last + 1):
        least = min(least, _reach(a, a_high, b, b_low, k))
        if least == -np.inf:
            break
    return least


def _apart(one: tuple[Lie, Chain], two: tuple[Lie, Chain], height: float) -> tuple[float, float] | None:
    """(least x₂ − x₁ with 2 behind, least x₁ − x₂ with 1 behind) of two lies' middles; None if they can pass."""
    (p, a), (q, b) = one, two
    low, high = (q.low - p.high) / height, (q.high - p.low) / height
    behind = least_reach(a.first, a.high, b.first, b.low, low, high)
    if behind == -math.inf:
        return None
    before = least_reach(a.first, -a.low, b.first, -b.high, low, high)
    if p.x is not None and q.x is not None and p.x.period == q.x.period != 0:  # only on the same lattice
        room = 1e-6 * (p.shape.right - p.shape.left)
        apart = Axis(q.x.offset - p.x.offset, p.x.period)
        behind = axis_from(apart, behind, room)
        before = axis_from(Axis(-apart.offset, p.x.period), before, room)
    return (behind, before) if behind + before > 0 else None


def _whole(value: float, unit: float) -> int:
    return math.floor(value / unit + 1e-6)


def warm_up() -> None:
    """Have the kernels compiled (once after installing; from then on they come from the cache at once)."""
    square = np.array([[0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 1.0, 1.0], [1.0, 1.0, 0.0, 1.0], [0.0, 1.0, 0.0, 0.0]])
    chain = chain_of(square, 0.5)
    assert chain is not None
    least_reach(chain.first, chain.high, chain.first, chain.low, 0.0, 0.0)


def order_bound(
    kinds: Sequence[Kind], plies: Sequence[Ply], widths: dict[int, float], proven: float, work: float, until: float
) -> Ordered | None:
    """The scheduling bound, or None if it is no better than ``proven``.

    ``widths``: of each ply, what the rings' chords add up to at most; ``work``: about how many seconds of work to do,
    counted by the work itself, so that it repeats; ``until``: a reading of the processor clock (``thread_time``) to
    stop at anyway.
    """
    height = max(ply.width for ply in plies) / _LEVELS
    things = [*_deepest(kinds, work), *_flaws(plies)]
    whole = sum(len(kind.members) for kind in kinds)
    chains: dict[Shape, tuple[Chain | None, Chain | None]] = {}  # of body and ring
    for shape in dict.fromkeys(lie.shape for kind in things for lie in kind.lies):
        body = chain_of(shape.edges, height)
        chains[shape] = body, chain_of(shape.ring_edges, height) if shape.gapped else body
    pairs: Pairs = {}
    for k, m in combinations_with_replacement(range(len(things)), 2):
        flaw = things[m].lies[0].flaw
        if things[k].lies[0].flaw or (m == k and len(things[k].members) < 2):
            continue
        if thread_time() > until:
            return None
        table = {}
        for (i, one), (j, two) in product(enumerate(things[k].lies), enumerate(things[m].lies)):
            # bodies keep out of flaws, rings keep out of rings
            a, b = chains[one.shape][0 if flaw else 1], chains[two.shape][0 if flaw else 1]
            if a is None or b is None or not set(one.plies) & set(two.plies):
                continue
            if (apart := _apart((one, a), (two, b), height)) is not None:
                table[i, j] = apart
        if table:
            pairs[k, m] = table
    grouped = any(kind.group is not None for kind in things)  # whichever state a group takes, something may lie long
    if not pairs and not grouped and (len(widths) == 1 or whole > _MOST):
        return None
    involved = {k for pair in pairs for k in pair}
    order = sorted(range(len(things)), key=lambda k: (not things[k].lies[0].flaw, k not in involved))
    chosen = [(k, n) for k in order for n in range(len(things[k].members))][: _MOST + _FLAWS]
    return _schedule(things, plies, widths, chosen, pairs, proven, work, until)


def _deepest(kinds: Sequence[Kind], work: float) -> list[Kind]:
    """The kinds most likely to keep others from beside them: tied ones, then deep ones, as many as time allows."""

    def rank(kind: Kind) -> tuple[bool, float]:
        return not all(lie.tied for lie in kind.lies), -min(lie.shape.up - lie.shape.down for lie in kind.lies)

    found: list[Kind] = []
    items, lies = 0, 0
    for kind in sorted(kinds, key=rank):
        items, lies = items + len(kind.members), lies + len(kind.lies)
        if found and lies**2 > _PAIRS * work:
            break
        found.append(kind)
        if items >= _MOST:
            break
    return found


def _flaws(plies: Sequence[Ply]) -> list[Kind]:
    """The largest flaws, as things that lie where they lie."""
    found: list[tuple[float, Kind]] = []
    for p, ply in enumerate(plies):
        for part in getattr(ply.flaws, "geoms", [ply.flaws]):
            if part.is_empty or part.geom_type != "Polygon":
                continue
            x0, y0, x1, y1 = part.bounds
            x, y = (x0 + x1) / 2, (y0 + y1) / 2
            shape = translate(part, -x, -y)
            whole = Shape(shape, shape, 0.0, 0.0, 0.0, x0 - x, x1 - x, y0 - y, y1 - y, (0.0,) * 4)
            lie = Lie(whole, (p,), None, y, y, Axis(x), placed=True, flaw=True)
            found.append((part.area, Kind((lie,), (-1,), None, "a flaw")))
    found.sort(key=lambda flaw: -flaw[0])
    return [flaw for _, flaw in found[:_FLAWS]]


# long: one model, put together rule by rule from the same variables
def _schedule(
    kinds: Sequence[Kind],
    plies: Sequence[Ply],
    widths: dict[int, float],
    chosen: Sequence[tuple[int, int]],
    pairs: Pairs,
    proven: float,
    work: float,
    until: float,
) -> Ordered | None:
    """Solve the relaxation over the chosen items (kind, number)."""
    # half a second to load, while workers search already
    from ortools.sat.python import cp_model

    most = sum(max(lie.shape.right - lie.shape.left for lie in kinds[k].lies) for k, _ in chosen)
    ends = [
        lie.x.offset + lie.shape.right
        for k, _ in chosen
        for lie in kinds[k].lies
        if lie.x is not None and lie.x.period == 0
    ]
    reach = max([most, proven, *ends])
    unit = 10.0 ** math.floor(math.log10(reach)) / _UNITS
    far = 4 * _whole(reach, unit)
    model = cp_model.CpModel()
    length = model.new_int_var(_whole(proven, unit), far, "length")
    start: list[cp_model.IntVar] = []
    lying: list[list[cp_model.IntVar]] = []
    states: dict[tuple[int, int], cp_model.IntVar] = {}
    areas: dict[int, list[cp_model.LinearExpr]] = {p: [] for p in widths}
    for k, n in chosen:
        kind = kinds[k]
        x = model.new_int_var(-far, far, f"x{k}.{n}")
        chosen_lie = [model.new_bool_var(f"lie{k}.{n}.{i}") for i in range(len(kind.lies))]
        model.add_exactly_one(chosen_lie)
        start.append(x)
        lying.append(chosen_lie)
        for lie, here in zip(kind.lies, chosen_lie, strict=True):
            left = max(plies[p].left for p in lie.plies)
            if not lie.flaw:
                model.add(length - x >= _whole(lie.shape.right, unit)).only_enforce_if(here)
                for p in lie.plies:
                    areas[p].append(_whole(lie.shape.area / plies[p].width, unit) * here)
            if lie.x is not None and lie.x.period == 0:
                model.add(x == _whole(lie.x.offset, unit)).only_enforce_if(here)
            elif lie.x is not None:
                model.add(x >= _whole(lie.first(left) - lie.shape.right, unit)).only_enforce_if(here)
            else:
                model.add(x >= _whole(left + lie.back - lie.shape.left, unit)).only_enforce_if(here)
            if kind.group is not None and lie.state is not None:
                key = (kind.group, lie.state)
                if key not in states:
                    states[key] = model.new_bool_var(f"state{key}")
                model.add_implication(here, states[key])
        if n > 0 and not any(lie.placed for lie in kind.lies):
            model.add(start[-2] <= x)  # items of a kind stand in the order of their numbers
    for group in {g for g, _ in states}:
        model.add_at_most_one(v for (g, _), v in states.items() if g == group)
    if len(widths) > 1:  # which ply a piece lies on is chosen piece by piece
        for p, shares in areas.items():
            model.add(length >= sum(shares) + _whole(plies[p].left, unit))
    for i, (k, _) in enumerate(chosen):
        for j in range(i + 1, len(chosen)):
            m = chosen[j][0]
            turned_round = k > m
            table = pairs.get((m, k) if turned_round else (k, m), {})
            one, two = (j, i) if turned_round else (i, j)
            if not table:
                continue
            behind = model.new_bool_var(f"behind{one}.{two}")
            for (a, b), (after, before) in table.items():
                both = [lying[one][a], lying[two][b]]
                model.add(start[two] - start[one] >= _whole(after, unit)).only_enforce_if([behind, *both])
                model.add(start[one] - start[two] >= _whole(before, unit)).only_enforce_if([~behind, *both])
    bound = _least_length(model, length, far, work, until) * unit
    if bound <= proven * (1 + 1e-9):
        return None
    used = {k for k, _ in chosen} & {k for pair in pairs for k in pair}
    tied = all(lie.tied or lie.flaw for k in used for lie in kinds[k].lies)
    return Ordered(bound, tuple(kinds[k] for k in sorted(used) if not kinds[k].lies[0].flaw), tied)


def _least_length(model: cp_model.CpModel, length: cp_model.IntVar, far: int, work: float, until: float) -> int:
    """A proven lower bound on ``length``: by optimising it, and if that stalls by showing lengths to be too short.

    A solver's own bound rises in small steps where pieces may be shifted a little against each other; asked whether
    anything fits into a length half way to what it has found, it often says no at once (destructive bounds).
    """
    from ortools.sat.python import cp_model

    def solve(model: cp_model.CpModel, share: float) -> tuple[cp_model.CpSolver, int]:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_time_in_seconds = 4 * max(until - thread_time(), 0.01)  # a wall clock; others may compute
        solver.parameters.max_deterministic_time = share * work
        solver.parameters.max_number_of_conflicts = max(1, int(share * work * _CONFLICTS))
        return solver, int(solver.solve(model))

    plain = model.clone()
    model.minimize(length)
    solver, status = solve(model, 0.4)
    if status == cp_model.MODEL_INVALID:
        raise AssertionError("the scheduling relaxation is not a valid model")
    if status == cp_model.INFEASIBLE:
        return far
    low = math.floor(solver.best_objective_bound + 1e-3)  # whole, give or take the arithmetic
    if status != cp_model.FEASIBLE:
        return low
    high = math.floor(solver.objective_value + 0.5)
    for _ in range(_TRIALS):
        if high - low < 2 or thread_time() > until:
            break
        middle = (low + high) // 2
        short = plain.clone()
        short.add(short.get_int_var_from_proto_index(length.index) <= middle)
        _, status = solve(short, 0.6 / _TRIALS)
        if status == cp_model.INFEASIBLE:
            low = middle + 1
        else:
            high = middle
    return low
