"""``solve``: the one way into the optimiser."""

from __future__ import annotations

import logging
import math
import time
from concurrent.futures import Executor
from typing import Literal

from nesting.packing import check, first, kernels
from nesting.packing.compact import Compactor
from nesting.packing.explore import Explorer, Layout, extent
from nesting.packing.fields import Fields
from nesting.packing.kernels import State
from nesting.packing.model import Model, prepare
from nesting.packing.problem import Bound, NoLayoutFound, OnBetter, Place, Problem, Result, Stop

__all__ = ["solve"]

log = logging.getLogger(__name__)
_Reason = Literal["seconds", "rounds", "length", "bound", "interrupted"]


def solve(
    problem: Problem,
    stop: Stop,
    *,
    seed: int = 0,
    workers: int = 1,
    executor: Executor | None = None,
    start: tuple[Place, ...] | None = None,
    on_better: OnBetter | None = None,
    bound: Bound | None = None,
) -> Result:
    """The shortest layout that the search finds before ``stop``; any layout if the length is fixed.

    ``start`` is a layout to begin with (it is checked, and left aside if it does not hold). ``on_better`` hears of each better layout.
    With ``stop.rounds`` the same seed and number of workers give the same result. ``KeyboardInterrupt`` ends the search with the
    best layout so far. ``bound`` is a bound that the caller has proven already (working one out takes time).

    Raises NeverFits if some item does not even fit alone, NoLayoutFound if a fixed container was not filled in time,
    and PackingError if the problem contradicts itself.
    """
    if stop.seconds is None and stop.rounds is None:
        raise ValueError("a search needs a limit: seconds or rounds")
    return _Run(problem, stop, seed, on_better, bound).solve(start)


class _Run:
    def __init__(
        self, problem: Problem, stop: Stop, seed: int, on_better: OnBetter | None, bound: Bound | None = None
    ) -> None:
        self.began = time.perf_counter()
        self.problem, self.stop, self.on_better = problem, stop, on_better
        self.model: Model = prepare(problem)
        self.bound = bound if bound is not None else lower_bound(problem, self.model)
        self.length = math.inf
        self.places: tuple[Place, ...] | None = None
        self.trace: list[tuple[float, float]] = []
        self.seed = seed
        self.rounds = 0

    def elapsed(self) -> float:
        return time.perf_counter() - self.began

    def offer(self, layout: Layout) -> None:
        """Take a layout if it is better and passes the exact check."""
        m = self.model
        places = tuple(
            self.problem.items[i].fixed or m.place(i, int(layout.var[i]), float(layout.cx[i]), float(layout.cy[i]))
            for i in range(m.n)
        )
        self.offer_places(places)

    def offer_places(self, places: tuple[Place, ...]) -> bool:
        length = check.extent(self.problem, places)
        if length >= self.length - 1e-12 * max(1.0, length):
            return False
        wrong = check.faults(self.problem, places)
        if wrong:
            log.debug("a layout of length %.6g failed its check and was left aside: %s", length, "; ".join(wrong[:3]))
            return False
        self.length, self.places = length, places
        now = self.elapsed()
        self.trace.append((now, length))
        if self.on_better is not None:
            self.on_better(now, length, places)
        return True

    def done(self) -> _Reason | None:
        if self.places is not None:
            if self.model.length is not None:
                return "length"
            if self.stop.length is not None and self.length <= self.stop.length * (1.0 + 1e-12):
                return "length"
            if self.length <= self.bound.length * (1.0 + 1e-8):
                return "bound"
        if self.stop.seconds is not None and self.elapsed() >= self.stop.seconds:
            return "seconds"
        if self.stop.rounds is not None and self.rounds >= self.stop.rounds:
            return "rounds"
        return None

    def solve(self, start: tuple[Place, ...] | None) -> Result:
        reason: _Reason | None = None
        explorer: Explorer | None = None
        try:
            if start is not None and len(start) == self.model.n:
                self.offer_places(tuple(sorted(start, key=lambda p: p.item)))
            self._boxes()
            reason = self.done()
            if reason is None and self.model.n:
                fields = Fields(self.model)
                until = None if self.stop.seconds is None else self.began + self.stop.seconds
                if not fields.build(until):
                    # Short runs of large problems: what is there is the first layout; the fields built stay in store.
                    reason = "seconds"
            if reason is None and self.model.n:
                explorer = Explorer(self.model, fields, Compactor(self.model), self.seed)
                if self.places is not None:
                    explorer.best = self._layout(self.places)
                if self.stop.seconds is not None:
                    explorer.deadline = self.began + self.stop.seconds
            while reason is None and explorer is not None:
                better = explorer.round()
                self.rounds += 1
                if better and explorer.best is not None:
                    self.offer(explorer.best)
                reason = self.done()
        except KeyboardInterrupt:
            reason = "interrupted"
        if self.places is None:
            raise self._nothing(explorer)
        assert reason is not None
        return Result(self.length, self.places, self.bound, self.rounds, self.elapsed(), reason, tuple(self.trace))

    def _boxes(self) -> None:
        state = kernels.new_state(self.model.tables, len(self.model.obstacles), self.seed)
        first.choose_states(self.model, state)
        if first.boxes(self.model, state):
            length = extent(self.model, state)
            self.offer(Layout(length, state.cx, state.cy, state.var, state.group))

    def _layout(self, places: tuple[Place, ...]) -> Layout:
        """The layout as arrays; a tilt that the search does not know becomes the nearest one that it does."""
        m = self.model
        state = kernels.new_state(m.tables, len(m.obstacles), self.seed)
        first.choose_states(m, state)
        for p in places:
            item = self.problem.items[p.item]
            wanted = item.poses[p.pose].state
            g = int(m.tables.i_group[p.item])
            if g >= 0 and wanted is not None:
                state.group[g] = wanted
        for p in places:
            i = p.item
            own = range(int(m.tables.i_v0[i]), int(m.tables.i_v1[i]))
            v = min(own, key=lambda v: (m.variants[v].pose != p.pose, abs(m.variants[v].tilt - p.tilt)))
            d = m.variants[v]
            kernels.put(m.tables, state, i, v, p.x * m.scale + d.dx, p.y * m.scale + d.dy)
        return Layout(extent(m, state), state.cx, state.cy, state.var, state.group)

    def _nothing(self, explorer: Explorer | None) -> NoLayoutFound:
        """The items that overlap least are a layout; the others have no place."""
        m = self.model
        placed: list[int] = []
        kept: tuple[Place, ...] = ()
        if explorer is not None:
            s = explorer.state
            places = [self.problem.items[i].fixed or m.place(i, int(s.var[i]), float(s.cx[i]), float(s.cy[i])) for i in range(m.n)]
            for i in sorted(range(m.n), key=lambda i: (not m.tables.i_fixed[i], -m.tables.i_size[i])):
                trial = (*kept, places[i])
                if not check.faults(self.problem, trial):
                    kept = trial
                    placed.append(i)
        missing = tuple(i for i in range(m.n) if i not in placed)
        return NoLayoutFound(kept, missing, tuple(self.problem.items[i].name for i in missing))


def lower_bound(problem: Problem, model: Model) -> Bound:
    """The bound of the module ``bounds`` if it is there, else area over height, ply by ply."""
    try:
        from nesting.packing import bounds
    except ImportError:
        return Bound(0.0, "no bound")
    bound: Bound = bounds.lower_bound(problem)
    return bound
