"""Exact placement on a grid, for small jobs: what the search should find, or be ashamed of.

Each item stands at whole steps from where its pose lies flush with the start and the lower edge of the cloth (or where
its axes put it). Collisions are tables of differences of grid place (``exact_tables``), handed to CP-SAT as "if the
difference of height is in this range, the difference along the cloth is in that set". Free tilts are left at 0.
"""

from __future__ import annotations

import math
from itertools import groupby
from time import monotonic

import numpy as np
from ortools.sat.python import cp_model

from nesting.packing.bounds.bounds import lower_bound
from nesting.packing.problem import Bound, NeverFits, Place, Problem, Result
from tests.packing.exact.exact_ways import Flags, Tables, Way, all_ways, cut, greedy_layout, longest_of

__all__ = ["place_exactly"]

_FINE = 10**6  # the objective counts in this share of a step, as poses stand off the grid by different amounts


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
    if math.isinf(proven):
        return None
    longest = longest_of(problem, step)
    ways = all_ways(problem, step, longest)
    if any(not own for own in ways):
        return None
    tables = Tables(step)
    greedy = greedy_layout(problem, ways, tables, step)
    if greedy is not None and problem.length is None:  # nothing to the right of a known layout's end is needed
        ways = [[cut(way, greedy[0], step) for way in own] for own in ways]
    model = _Model(problem, ways, tables, step, proven, greedy)
    return model.solve(began, seconds)


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
        ways: list[list[Way]],
        tables: Tables,
        step: float,
        proven: float,
        greedy: tuple[float, list[tuple[int, int, int]]] | None,
    ) -> None:
        self.problem, self.ways, self.tables, self.step, self.greedy = problem, ways, tables, step, greedy
        self.unit = step / _FINE
        self.model = cp_model.CpModel()
        most = max(way.end + (len(way.free) - 1) * step for own in ways for way in own)
        self.least = least = min(math.floor(proven / self.unit * (1 - 1e-9)), math.ceil(most / self.unit))
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
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            chosen = []
            for n, lying in enumerate(self.lying):
                w = next(w for w, v in enumerate(lying) if solver.value(v))
                chosen.append((w, solver.value(self.columns[n]), solver.value(self.rows[n])))
        elif self.greedy is not None:  # out of time before the solver had even taken this one up
            chosen = self.greedy[1]
        else:
            return None
        places, length = [], 0.0
        for n, (w, i, j) in enumerate(chosen):
            way = self.ways[n][w]
            places.append(Place(n, way.pose, way.x + i * self.step, way.y + j * self.step, way.tilt))
            length = max(length, way.end + i * self.step)
        best = status == cp_model.OPTIMAL
        bound = length if best else min(length, max(solver.best_objective_bound, self.least) * self.unit)
        why = (
            f"no layout on a grid of {self.step:.6g} is shorter"
            if best
            else f"as far as was shown on a grid of {self.step:.6g}"
        )
        spent = monotonic() - began
        return Result(
            length,
            tuple(places),
            Bound(bound, why),
            len(trace.found),
            spent,
            "bound" if best else "seconds",
            tuple(trace.found),
        )
