"""Exact placement on a grid, for small jobs: what the search should find, or be ashamed of.

Each item stands at whole steps from where its pose lies flush with the start and the lower edge of the cloth (or where
its axes put it). Collisions are tables of differences of grid place (``exact_tables``), handed to CP-SAT as "if the
difference of height is in this range, the difference along the cloth is in that set". Free tilts are left at 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import groupby
from time import monotonic

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model
from shapely import MultiPolygon, Polygon, affinity, box, covers, prepare
from shapely.ops import unary_union

from nesting.packing.bounds import lower_bound
from nesting.packing.exact_tables import DEPTH, Window, collisions, trapezoids
from nesting.packing.problem import Axis, Bound, NeverFits, Place, Pose, Problem, Result

__all__ = ["place_exactly"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
_FINE = 10**6  # the objective counts in this share of a step, as poses stand off the grid by different amounts


@dataclass(frozen=True, eq=False)
class _Way:
    """A pose on the grid: reference point at (``x`` + i · step, ``y`` + j · step) wherever ``free[i, j]``."""

    pose: int
    shape: Pose
    parts: Floats
    x: float
    y: float
    free: Flags
    tilt: float = 0.0

    @property
    def end(self) -> float:
        """The body's right end at i = 0."""
        return self.x + float(_body(self.shape)[:, 0].max())


def _body(pose: Pose) -> Floats:
    return pose.ring if pose.body is None else pose.body


def place_exactly(problem: Problem, *, step: float, seconds: float) -> Result | None:
    """The shortest layout on a grid of ``step``, or the best found in about ``seconds``; None if none was found.

    ``Result.bound`` is of layouts *on this grid*: it equals the length (``stopped_by`` "bound") when the layout is the
    grid's best. One worker and a fixed seed: the same problem gives the same answer, unless time runs out first.
    Meant for up to about eight items, a hundred steps across and a few poses each.

    Raises
    ------
    ValueError
        if ``step`` or ``seconds`` is not positive.
    """
    if not (step > 0 and seconds > 0):
        raise ValueError(f"step and seconds must be positive, not {step!r} and {seconds!r}")
    began = monotonic()
    if not problem.items:
        return Result(0.0, (), Bound(0.0, "there is nothing to place"), 0, 0.0, "bound")
    try:
        proven = lower_bound(problem, seconds=0.1 * seconds).length
    except NeverFits:
        return None
    longest = _longest(problem, step)
    ways = _all_ways(problem, step, longest)
    if any(not own for own in ways):
        return None
    tables = _Tables(step)
    greedy = _greedy(problem, ways, tables, step)
    if greedy is not None and problem.length is None:  # nothing to the right of a known layout's end is needed
        ways = [[_cut(way, greedy[0], step) for way in own] for own in ways]
    model = _Model(problem, ways, tables, step, proven, greedy)
    return model.solve(began, seconds)


def _longest(problem: Problem, step: float) -> float:
    """A length within which all items fit one behind the other, unless odd cloth forbids that."""
    ends = 0.0
    for item in problem.items:
        pose = item.poses[item.fixed.pose] if item.fixed else max(item.poses, key=lambda p: float(np.ptp(_body(p)[:, 0])))
        out = float(np.ptp(pose.ring[:, 0]))
        period = max((abs(p.x.period) for p in item.poses if p.x is not None), default=0.0)
        ends += out + period + 2 * step
        tied = [item.fixed.x] if item.fixed else [p.x.offset for p in item.poses if p.x is not None]
        ends += max([0.0, *tied])
    holes = [float(np.ptp(hole[:, 0])) for ply in problem.plies for hole in ply.holes]
    return ends + sum(holes)


def _cloth(problem: Problem, ply: int, longest: float) -> tuple[Polygon | MultiPolygon | None, tuple[float, float, float, float]]:
    """(what of a ply may be covered, None if it is simply its box; the box)."""
    region = problem.plies[ply]
    (x0, y0), (x1, y1) = region.outline.min(axis=0), region.outline.max(axis=0)
    outline = Polygon(region.outline)
    odd = outline.area < (x1 - x0) * (y1 - y0) * (1 - 1e-12)
    if problem.length is None and not odd:
        x0, x1 = 0.0, longest
        outline = box(x0, y0, x1, y1)
    elif problem.length is not None:
        x1 = min(float(x1), problem.length)
        outline = outline.intersection(box(x0, y0, x1, y1))
    bounds = (float(x0), float(y0), float(x1), float(y1))
    if not region.holes and not odd:
        return None, bounds
    return outline.difference(unary_union([Polygon(hole) for hole in region.holes])), bounds


def _along(axis: Axis | None, low: float, high: float, step: float) -> list[tuple[float, int, int]]:
    """(first place, number of places, every how many steps) of one coordinate between two limits."""
    room = DEPTH * max(high - low, step)
    if high < low - room:
        return []
    if axis is None:
        return [(low, math.floor((high - low + room) / step) + 1, 1)]
    if axis.period == 0:
        return [(axis.offset, 1, 1)] if low - room <= axis.offset <= high + room else []
    period = abs(axis.period)
    first = axis.offset + math.ceil((low - room - axis.offset) / period) * period
    count = math.floor((high + room - first) / period) + 1
    if count <= 0:
        return []
    every = round(period / step)
    if every >= 1 and abs(every * step - period) <= 1e-12 * period:
        return [(first, (count - 1) * every + 1, every)]
    return [(first + k * period, 1, 1) for k in range(count)]


def _all_ways(problem: Problem, step: float, longest: float) -> list[list[_Way]]:
    """Of each item, its poses on the grid."""
    cloths = [_cloth(problem, ply, longest) for ply in range(len(problem.plies))]
    known: dict[int, list[_Way]] = {}
    ways: list[list[_Way]] = []
    for item in problem.items:
        if item.fixed is not None:
            place, pose = item.fixed, item.poses[item.fixed.pose]
            shape = _tilted(pose, place.tilt)
            free = np.ones((1, 1), dtype=bool)
            ways.append([_Way(place.pose, shape, trapezoids(shape.ring), place.x, place.y, free, place.tilt)])
            continue
        if item.kind is not None and item.kind in known:
            ways.append(known[item.kind])
            continue
        own = [way for n, pose in enumerate(item.poses) for way in _ways_of(n, pose, cloths, step)]
        if item.kind is not None:
            known[item.kind] = own
        ways.append(own)
    return ways


def _tilted(pose: Pose, degrees: float) -> Pose:
    if degrees == 0.0:
        return pose
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    turn = np.array([[c, s], [-s, c]])
    return Pose(pose.ring @ turn, pose.plies, None if pose.body is None else pose.body @ turn, state=pose.state)


def _ways_of(
    number: int,
    pose: Pose,
    cloths: list[tuple[Polygon | MultiPolygon | None, tuple[float, float, float, float]]],
    step: float,
) -> list[_Way]:
    body = _body(pose)
    (bx0, by0), (bx1, by1) = body.min(axis=0), body.max(axis=0)
    boxes = np.array([cloths[ply][1] for ply in pose.plies])
    xs = _along(pose.x, boxes[:, 0].max() - bx0, boxes[:, 2].min() - bx1, step)
    ys = _along(pose.y, boxes[:, 1].max() + pose.low - by0, boxes[:, 3].min() - pose.high - by1, step)
    found = []
    parts = trapezoids(pose.ring)
    for x, across, every_x in xs:
        for y, up, every_y in ys:
            free = np.zeros((across, up), dtype=bool)
            free[::every_x, ::every_y] = True
            for ply in pose.plies:
                cloth = cloths[ply][0]
                if cloth is not None:
                    roomy = cloth.buffer(DEPTH * float(np.ptp(body, axis=0).max()), join_style="mitre")
                    prepare(roomy)
                    i, j = np.nonzero(free)
                    shape = Polygon(body)
                    placed = [affinity.translate(shape, x + p * step, y + q * step) for p, q in zip(i, j, strict=True)]
                    free[i, j] = covers(roomy, np.array(placed, dtype=object)) if len(placed) else True
            if free.any():
                found.append(_Way(number, pose, parts, x, y, free))
    return found


def _cut(way: _Way, length: float, step: float) -> _Way:
    """The same, only as far as the body ends before ``length``."""
    count = math.floor((length - way.end) / step + 1e-6) + 1
    return _Way(way.pose, way.shape, way.parts, way.x, way.y, way.free[: max(count, 0)], way.tilt)


class _Tables:
    """Collision tables of pairs of ways, each worked out once."""

    def __init__(self, step: float) -> None:
        self.step = step
        self._known: dict[tuple[int, int, float, float], Window] = {}
        self._kept: list[Floats] = []

    def of(self, one: _Way, two: _Way) -> Window | None:
        """The differences (two − one) of grid place that collide; None if they share no ply."""
        if not set(one.shape.plies) & set(two.shape.plies):
            return None
        offset = (two.x - one.x, two.y - one.y)
        key = (id(one.parts), id(two.parts), *offset)
        if key not in self._known:
            self._kept += [one.parts, two.parts]  # an id stays a shape's own only while the shape is alive
            self._known[key] = collisions(one.parts, two.parts, offset, self.step)
        return self._known[key]


def _greedy(
    problem: Problem, ways: list[list[_Way]], tables: _Tables, step: float
) -> tuple[float, list[tuple[int, int, int]]] | None:
    """A layout by placing each item, large ones first, where it ends soonest: (length, [(way, i, j) of each item])."""
    order = sorted(range(len(ways)), key=lambda n: (problem.items[n].fixed is None, -_size(ways[n][0])))
    done: dict[int, tuple[int, int, int]] = {}
    state: dict[int, int] = {}
    length = 0.0
    for n in order:
        group = problem.items[n].group
        best: tuple[float, int, int, int] | None = None
        for w, way in enumerate(ways[n]):
            if group is not None and way.shape.state is not None and state.get(group, way.shape.state) != way.shape.state:
                continue
            free = way.free.copy()
            for m, (v, i, j) in done.items():
                window = tables.of(ways[m][v], way)
                if window is not None:
                    _stamp(free, window, i, j)
            open_columns = np.flatnonzero(free.any(axis=1))
            if len(open_columns):
                i = int(open_columns[0])
                end = way.end + i * step
                if best is None or end < best[0] - 1e-12:
                    best = (end, w, i, int(np.argmax(free[i])))
        if best is None:
            return None
        length = max(length, best[0])
        done[n] = best[1:]
        chosen = ways[n][best[1]].shape.state
        if group is not None and chosen is not None:
            state[group] = chosen
    return length, [done[n] for n in range(len(ways))]


def _size(way: _Way) -> float:
    return float(np.prod(np.ptp(_body(way.shape), axis=0)))


def _stamp(free: Flags, window: Window, i: int, j: int) -> None:
    """Clear the places that collide with a shape at (i, j)."""
    left, low = i + window.dx, j + window.dy
    a, b = max(left, 0), min(left + window.hit.shape[0], free.shape[0])
    c, d = max(low, 0), min(low + window.hit.shape[1], free.shape[1])
    if a < b and c < d:
        free[a:b, c:d] &= ~window.hit[a - left : b - left, c - low : d - low]


class _Trace(cp_model.CpSolverSolutionCallback):
    """Notes when each better layout came."""

    def __init__(self, began: float, unit: float) -> None:
        super().__init__()
        self.began, self.unit = began, unit
        self.found: list[tuple[float, float]] = []

    def on_solution_callback(self) -> None:
        """Called by the solver."""
        self.found.append((monotonic() - self.began, self.objective_value * self.unit))


class _Model:
    """The placement as a constraint model: of each item a way, a column i and a row j."""

    def __init__(
        self,
        problem: Problem,
        ways: list[list[_Way]],
        tables: _Tables,
        step: float,
        proven: float,
        greedy: tuple[float, list[tuple[int, int, int]]] | None,
    ) -> None:
        self.problem, self.ways, self.tables, self.step = problem, ways, tables, step
        self.unit = step / _FINE
        self.model = cp_model.CpModel()
        most = max(way.end + (len(way.free) - 1) * step for own in ways for way in own)
        least = min(math.floor(proven / self.unit * (1 - 1e-9)), math.ceil(most / self.unit))
        self.length = self.model.new_int_var(max(least, 0), math.ceil(most / self.unit) + 1, "length")
        self.columns: list[cp_model.IntVar] = []
        self.rows: list[cp_model.IntVar] = []
        self.lying: list[list[cp_model.IntVar]] = []
        self._place_each()
        for a in range(len(ways)):
            for b in range(a + 1, len(ways)):
                self._keep_apart(a, b)
        if greedy is not None:
            for n, (w, i, j) in enumerate(greedy[1]):
                self.model.add_hint(self.columns[n], i)
                self.model.add_hint(self.rows[n], j)
                for v, here in enumerate(self.lying[n]):
                    self.model.add_hint(here, v == w)
        self.model.minimize(self.length)

    def _place_each(self) -> None:
        model = self.model
        states: dict[tuple[int, int], cp_model.IntVar] = {}
        last: dict[tuple[int, int | None], int] = {}
        for n, own in enumerate(self.ways):
            item = self.problem.items[n]
            i = model.new_int_var(0, max(0, *(way.free.shape[0] - 1 for way in own)), f"i{n}")
            j = model.new_int_var(0, max(way.free.shape[1] - 1 for way in own), f"j{n}")
            lying = [model.new_bool_var(f"way{n}.{w}") for w in range(len(own))]
            model.add_exactly_one(lying)
            self.columns.append(i)
            self.rows.append(j)
            self.lying.append(lying)
            for way, here in zip(own, lying, strict=True):
                if not way.free.any():
                    model.add(here == 0)
                    continue
                end = math.floor(way.end / self.unit + 0.5)
                model.add(self.length >= end + i * _FINE).only_enforce_if(here)
                self._where(way.free, 0, 0, i, j, [here])
                if item.group is not None and way.shape.state is not None:
                    key = (item.group, way.shape.state)
                    if key not in states:
                        states[key] = model.new_bool_var(f"state{key}")
                    model.add_implication(here, states[key])
            if item.kind is not None and item.fixed is None:
                alike = (item.kind, item.group)
                if alike in last:  # of items that are alike, the first stands first
                    model.add(self.columns[last[alike]] <= i)
                last[alike] = n
        for group in {g for g, _ in states}:
            model.add_at_most_one(v for (g, _), v in states.items() if g == group)

    def _where(
        self,
        free: Flags,
        dx: int,
        dy: int,
        across: cp_model.LinearExprT,
        up: cp_model.LinearExprT,
        when: list[cp_model.IntVar],
        beyond: bool = False,
    ) -> None:
        """Demand ``free[across − dx, up − dy]`` when all of ``when`` hold; off the table all is free if ``beyond``."""
        model = self.model
        everything = cp_model.Domain(-(2**40), 2**40)
        if not beyond:
            model.add_linear_expression_in_domain(up, cp_model.Domain(dy, dy + free.shape[1] - 1)).only_enforce_if(when)
        for row, same in groupby(range(free.shape[1]), key=lambda q: free[:, q].tobytes()):
            del row
            run = list(same)
            column = free[:, run[0]]
            at = (np.flatnonzero(column) + dx).tolist() if not beyond else (np.flatnonzero(~column) + dx).tolist()
            if beyond and not at:
                continue
            allowed = cp_model.Domain.from_values(at)
            if beyond:
                allowed = allowed.complement().intersection_with(everything)
            rows = cp_model.Domain(dy + run[0], dy + run[-1])
            if len(run) == free.shape[1] and not beyond:
                model.add_linear_expression_in_domain(across, allowed).only_enforce_if(when)
                continue
            inside = model.new_bool_var("")
            elsewhere = rows.complement().intersection_with(everything)
            model.add_linear_expression_in_domain(up, elsewhere).only_enforce_if([~inside])
            if allowed.is_empty():
                model.add_bool_or([~inside, *(~w for w in when)])
            else:
                model.add_linear_expression_in_domain(across, allowed).only_enforce_if([inside, *when])

    def _keep_apart(self, a: int, b: int) -> None:
        across, up = self.columns[b] - self.columns[a], self.rows[b] - self.rows[a]
        for one, lies_one in zip(self.ways[a], self.lying[a], strict=True):
            for two, lies_two in zip(self.ways[b], self.lying[b], strict=True):
                window = self.tables.of(one, two)
                if window is not None and window.hit.any():
                    when = [v for v, own in ((lies_one, self.ways[a]), (lies_two, self.ways[b])) if len(own) > 1]
                    self._where(~window.hit, window.dx, window.dy, across, up, when, beyond=True)

    def solve(self, began: float, seconds: float) -> Result | None:
        """Run the solver for what is left of ``seconds``."""
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_time_in_seconds = max(seconds - (monotonic() - began), 0.05)
        trace = _Trace(began, self.unit)
        status = solver.solve(self.model, trace)
        if status == cp_model.MODEL_INVALID:
            raise AssertionError(f"the grid model is not valid: {self.model.validate()}")
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        places, length = [], 0.0
        for n, own in enumerate(self.ways):
            way = own[next(w for w, v in enumerate(self.lying[n]) if solver.value(v))]
            i, j = solver.value(self.columns[n]), solver.value(self.rows[n])
            places.append(Place(n, way.pose, way.x + i * self.step, way.y + j * self.step, way.tilt))
            length = max(length, way.end + i * self.step)
        best = status == cp_model.OPTIMAL
        bound = length if best else min(length, solver.best_objective_bound * self.unit)
        why = f"no layout on a grid of {self.step:.6g} is shorter" if best else f"as far as was shown on a grid of {self.step:.6g}"
        spent = monotonic() - began
        return Result(
            length, tuple(places), Bound(bound, why), len(trace.found), spent, "bound" if best else "seconds", tuple(trace.found)
        )
