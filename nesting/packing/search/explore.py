"""One worker's search: attempts to lay everything within a certain length, over and over.

Every round is one attempt: take a layout, disturb it, separate what overlaps (``kernels``), make the result exact and
as short as it can be in its order (``compact``).

    *begin*     a random layout at a comfortable length
    *shrink*    the incumbent (the best layout since the last restart) within a length some per cent less, in steps that
                are halved at each failure
    *compress*  then: the present layout within a hair less
    *perturb*   and: the present layout with a window shuffled or large items swapped, within about the same length.
                What comes out may be a little longer and become the present layout all the same; on stagnation the
                incumbent becomes the present layout again (iterated local search with threshold
                acceptance: Lourenço, Martin, Stützle 2003, in Handbook of Metaheuristics; Dueck, Scheuer 1990,
                J. Computational Physics 90)

Explorers that run side by side tell each other of their best layouts. In the beginning each takes what is better than
its own, for then any gain helps. Later the surroundings of the best are known: each goes its own way from there, as
what different layouts become in minutes differs more than what they are now. Without a new best of its own for very
long it *restarts*: it goes on from the best that anyone found, or, if that is its own, from a fresh random layout
(restarts: Lourenço, Martin, Stützle 2003).
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nesting.packing.kernel import kernels
from nesting.packing.kernel.arrays import FIXED, LMIN, RIDES, SIDE, XR, Model
from nesting.packing.kernel.fields import Fields
from nesting.packing.kernel.kernels import State, uniform
from nesting.packing.search import first, moves
from nesting.packing.search.compact import Compactor
from nesting.packing.search.settings import SETTINGS, Settings

__all__ = ["LEAST_PERIOD", "Explorer", "Layout", "Memory", "extent"]

#: one of these is drawn for each perturbation
PERTURBATIONS = ("near", "near", "window", "swap")
#: a period has so many half lengths of the longest item at least. With four only the nearest copies of two items could
#: meet; with three that is nearly so, and the exact finish looks at the copies on either side
LEAST_PERIOD = 3.0
Clock = Callable[[], float]
#: a layout has to be this much shorter to count as better (internal units)
_BETTER = 1e-9


@dataclass(frozen=True, eq=False)
class Layout:
    """A snapshot: ``length`` (internal units) and the arrays of a state."""

    length: float
    cx: NDArray[np.float64]
    cy: NDArray[np.float64]
    var: NDArray[np.int32]
    group: NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Memory:
    """Everything an explorer knows between two rounds."""

    rng: int
    record: Layout | None
    incumbent: Layout | None
    current: Layout | None
    since: int
    idle: int
    perturbations: int
    restarts: int
    pool: tuple[tuple[float, Layout], ...]
    step: float
    fine: float
    rounds: int


class Explorer:
    """Searches one model. Deterministic for a seed as long as ``deadline`` (on ``clock``) does not cut in.

    ``record`` is the best exact layout that it knows, ``incumbent`` the best since its last restart, ``fallback`` a
    plain one for when random ones cannot be separated. ``stats`` counts [attempts, successes, seconds, share of length
    gained] by the name of the attempt.
    """

    def __init__(
        self,
        model: Model,
        fields: Fields,
        compactor: Compactor,
        seed: int,
        clock: Clock = time.perf_counter,
        settings: Settings = SETTINGS,
    ) -> None:
        self.model, self.fields, self.compactor, self.clock, self.settings = model, fields, compactor, clock, settings
        self.deadline = math.inf
        self.state = kernels.new_state(model.tables, len(model.obstacles), seed)
        self.record: Layout | None = None
        self.incumbent: Layout | None = None
        self.current: Layout | None = None
        self.fallback: Layout | None = None
        # perturbations since the best became the present layout again or was new; since the best was new; all
        self.since = self.idle = self.perturbations = 0
        #: how often the best was given up for another
        self.restarts = 0
        self.pool: list[tuple[float, Layout]] = []
        self.step, self.fine = settings.step, settings.fine
        self.rounds = 0
        self.stats: dict[str, list[float]] = {}
        t = model.tables
        inside = t.i_fixed <= FIXED
        least = [t.v_lim[a:b, LMIN].min() for a, b in zip(t.i_v0[inside], t.i_v1[inside], strict=True)]
        self.least = float(max(least, default=0.0))
        if model.repeats:
            self.least = max(self.least, LEAST_PERIOD * float(t.s_hw[t.v_ring].max()))

    # -- snapshots

    def keep(self, length: float) -> Layout:
        """The state as a layout."""
        s = self.state
        return Layout(length, s.cx.copy(), s.cy.copy(), s.var.copy(), s.group.copy())

    def take(self, layout: Layout) -> None:
        """Make the state that layout, with all weights 1."""
        self.state.group[:] = layout.group
        x = layout.cx
        if self.model.repeats:
            x = np.mod(x, layout.length)
            self._around(layout.length)
        self._lay(x, layout.cy, layout.var)
        self.state.weight[:] = 1.0

    def _lay(self, x: NDArray[np.float64], y: NDArray[np.float64], v: NDArray[np.int32]) -> None:
        for i in range(self.model.n):
            kernels.put(self.model.tables, self.state, i, int(v[i]), float(x[i]), float(y[i]))

    def _around(self, length: float) -> None:
        if self.model.repeats:
            self.state.around[:] = length, 1.0 / length

    def memory(self) -> Memory:
        """What has to be kept to go on later, in another process."""
        return Memory(
            int(self.state.rng[0]), self.record, self.incumbent, self.current, self.since, self.idle,
            self.perturbations, self.restarts, tuple(self.pool), self.step, self.fine, self.rounds,
        )  # fmt: skip

    def recall(self, memory: Memory) -> None:
        """Go on from a memory."""
        self.state.rng[0] = np.uint64(memory.rng)
        self.record, self.incumbent, self.current = memory.record, memory.incumbent, memory.current
        self.since, self.idle = memory.since, memory.idle
        self.perturbations, self.restarts = memory.perturbations, memory.restarts
        self.pool = list(memory.pool)
        self.step, self.fine, self.rounds = memory.step, memory.fine, memory.rounds

    def adopt(self, layout: Layout) -> None:
        """Hear of a layout found elsewhere. If it is better than our best it takes its place, unless we are alone.

        Our present layout stays if it is near enough.
        """
        if _shorter(layout.length, self.record):
            self.record = layout
        if self.incumbent is None or (not self.alone() and _shorter(layout.length, self.incumbent)):
            self.incumbent, self.idle = layout, 0
            if self.current is None or self.current.length > layout.length * (1.0 + self.settings.near_by):
                self.current = None
                self.pool.clear()

    def alone(self) -> bool:
        """Whether we go our own way by now."""
        return self.perturbations >= self.settings.together * self.model.n

    # -- attempts

    def _ended(self) -> bool:
        return self.clock() >= self.deadline

    def separate(self, length: float, patience: int, accept: float = 0.0) -> tuple[bool, float]:
        """Separate the state within ``length``. (True, length reached) with an exact state if that worked.

        Otherwise (False, overlap) with the state of least overlap. A state that is nearly free is tried, too:
        the exact finish often turns it into a layout hardly longer. Whatever becomes shorter than the best so far
        counts, and what is longer by no more than the share ``accept``.
        """
        s, t, f, q = self.state, self.model.tables, self.fields.tables(), self.settings
        self._around(length)
        bx, by, bv = s.cx.copy(), s.cy.copy(), s.var.copy()
        control = np.array([1e300, 0.0, 0.0, 1e300, *q.samples, q.exchange])
        limit = length + 1e-6
        if self.incumbent is not None and self.model.length is None:
            limit = max(limit, self.incumbent.length - 1e-4, self.incumbent.length * (1.0 + accept))
        # the least overlap that was tried, and the one below which the next try is due
        status, tried, due = 0, math.inf, q.near_within * self.model.n
        while status == 0 and self.clock() < self.deadline:
            status = kernels.separate(t, f, s, length, 10, patience, control, bx, by, bv)
            if status == 0 and control[0] < due:
                tried = float(control[0])
                due = 0.5 * tried
                x, y, v = s.cx.copy(), s.cy.copy(), s.var.copy()
                self._lay(bx, by, bv)
                got = self.compactor(s, ended=self._ended)
                if got is not None and got <= limit:
                    return True, got
                self._around(length)
                self._lay(x, y, v)
        self._lay(bx, by, bv)
        overlap = float(control[0])
        # on cloth of a fixed size what fits without slack never looks quite free, and there is nothing else to do
        near = q.near if self.model.length is None else q.near_fixed
        if status == 1 or overlap < near * self.model.n:
            kept = self.keep(length)
            # what was tried on the way fails again
            got = self.compactor(s, ended=self._ended) if overlap < tried else None
            if got is not None and got <= limit:
                return True, got
            self.take(kept)
        return False, overlap

    def begin(self) -> None:
        """A fresh random layout, separated at a comfortable length; the fallback if that fails again and again."""
        m, q = self.model, self.settings
        length = m.length if m.length is not None else max(self.least, m.area / SIDE / q.density)
        self.state.weight[:] = 1.0
        for _ in range(40):
            first.choose_states(m, self.state)
            first.random_places(m, self.state, length)
            ok, got = self.separate(length, q.patience_first if m.length is None else q.patience_shrink)
            if ok:
                self._better(got)
                return
            if self.clock() >= self.deadline:
                return
            if m.length is None:
                length *= 1.05
        self.incumbent = self.fallback

    def _better(self, length: float) -> bool:
        if not _shorter(length, self.incumbent):
            return False
        self.incumbent = self.current = self.keep(length)
        self.since = self.idle = 0
        self.pool.clear()
        if _shorter(length, self.record):
            self.record = self.incumbent
        return True

    def round(self) -> bool:
        """One attempt; True if it brought a layout better than all that are known."""
        self.rounds += 1
        known = self.record
        if self.incumbent is None:
            self.begin()
            return self.incumbent is not None
        if self.idle >= self.settings.restart * self.model.n:
            self._restart(self.incumbent)
        else:
            self._improve(self.incumbent)
        return self.record is not known

    def _restart(self, stagnant: Layout) -> None:
        """Nothing comes of our best any more: go on from a better one if it is known, else from a random one."""
        self.current, self.idle, self.since = None, 0, 0
        self.pool.clear()
        self.restarts += 1
        if self.record is not None and _shorter(self.record.length, stagnant):
            self.incumbent = self.record
            return
        self.incumbent = None
        self.step, self.fine = self.settings.step, self.settings.fine
        self.begin()
        if self.incumbent is None or self.incumbent is self.fallback:
            self.incumbent = stagnant

    def _improve(self, incumbent: Layout) -> None:
        q, rng = self.settings, self.state.rng
        if self.current is None or self.since > q.stagnation:
            self.current, self.since = incumbent, 0
        if self.step > q.least_step:
            self._attempt("shrink", incumbent, incumbent.length * (1.0 - self.step), q.patience_shrink)
            return
        if uniform(rng) < q.compress:
            self._attempt("compress", self.current, self.current.length * (1.0 - self.fine), q.patience_compress)
            return
        length = self.current.length * (1.0 - q.perturb[0] - (q.perturb[1] - q.perturb[0]) * uniform(rng))
        name = PERTURBATIONS[int(uniform(rng) * len(PERTURBATIONS))]
        base = self.current
        if self.pool and uniform(rng) < q.from_pool:
            base = self.pool[int(len(self.pool) * uniform(rng) ** 2)][1]
        self._attempt(name, base, length, q.patience_perturb)

    def _attempt(self, name: str, base: Layout, length: float, patience: int) -> None:
        m, s, rng = self.model, self.state, self.state.rng
        length = max(self.least, length)
        self.take(base)
        moves.squeeze(m, s, length, max(0.0, base.length - length))
        if m.riders is not None:
            rides = m.tables.i_fixed == RIDES
            s.cx[rides] = length - m.riders[rides]
        if name == "near":
            moves.shuffle_near(m, s, length)
        elif name == "window":
            moves.shuffle_window(m, s, length)
        elif name == "swap":
            for _ in range(1 + int(uniform(rng) * 3)):
                moves.swap(m, s, length)
        if any(len(states) > 1 for states in m.num_states) and uniform(rng) < 0.3:
            moves.flip_group(m, s, length)
        began = self.clock()
        ok, got = self.separate(length, patience, self.settings.accept if name in PERTURBATIONS else 0.0)
        row = self.stats.setdefault(name, [0.0, 0.0, 0.0, 0.0])
        row[0] += 1.0
        row[1] += ok
        row[2] += self.clock() - began
        if ok and self.incumbent is not None:
            row[3] += max(0.0, 1.0 - got / self.incumbent.length)
        better = ok and self._better(got)
        self._learn(name, ok if name == "shrink" else better)
        if name in PERTURBATIONS:
            self.perturbations += 1
        if better:
            return
        if name in PERTURBATIONS:
            self.since += 1
            self.idle += 1
            if not ok:
                self.pool.append((got, self.keep(length)))
                self.pool.sort(key=lambda entry: entry[0])
                del self.pool[self.settings.pool :]
        if ok and self.current is not None and got < self.current.length * (1.0 + self.settings.accept):
            self.current = self.keep(got)

    def _learn(self, name: str, ok: bool) -> None:
        q = self.settings
        if name == "compress":
            self.fine = min(q.most_fine, self.fine * 1.5) if ok else max(q.least_fine, self.fine * 0.7)
        elif name == "shrink" and not ok:
            self.step *= 0.5


def _shorter(length: float, than: Layout | None) -> bool:
    return than is None or length < than.length - _BETTER


def extent(model: Model, state: State) -> float:
    """Extent of a state in internal units."""
    return float((state.cx + model.tables.v_lim[state.var, XR]).max(initial=0.0))
