"""One worker's search: attempts to lay everything within a slightly shorter length, over and over."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nesting.packing import first, kernels
from nesting.packing.compact import Compactor
from nesting.packing.fields import Fields
from nesting.packing.kernels import State, uniform
from nesting.packing.model import XR, Model

__all__ = ["Explorer", "Layout", "Memory"]

Clock = Callable[[], float]


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
    best: Layout | None
    pool: tuple[tuple[float, Layout], ...]
    step: float
    fine: float
    failures: int
    rounds: int


class Explorer:
    """Searches one model. Deterministic for a seed as long as ``deadline`` does not cut in."""

    def __init__(
        self, model: Model, fields: Fields, compactor: Compactor, seed: int, clock: Clock = time.perf_counter
    ) -> None:
        self.model = model
        self.fields = fields
        self.compactor = compactor
        self.clock = clock
        self.deadline = math.inf
        self.state = kernels.new_state(model.tables, len(model.obstacles), seed)
        self.best: Layout | None = None
        self.fallback: Layout | None = None
        self.least = self._least_length()
        self.rounds = 0
        self.samples = (6.0, 6.0, 3.0)
        self.exchange = 0.25
        self.strikes = 0
        self.near = 2e-4
        self.share = 0.5
        self.pc, self.px = 100, 300
        self.step = 0.04
        self.least_step = 0.002
        self.kick_low, self.kick_high, self.pk, self.from_pool = 0.0002, 0.002, 150, 0.3
        self.failures = 0
        self.fine = 0.0015
        self.pool: list[tuple[float, Layout]] = []
        self.stats: dict[str, list[float]] = {}

    def _least_length(self) -> float:
        t = self.model.tables
        lmin = t.v_lim[:, 11]
        return max((float(min(lmin[v] for v in range(a, b))) for a, b in zip(t.i_v0, t.i_v1, strict=True)), default=0.0)

    # -- snapshots

    def keep(self, length: float) -> Layout:
        """The state as a layout."""
        s = self.state
        return Layout(length, s.cx.copy(), s.cy.copy(), s.var.copy(), s.group.copy())

    def take(self, layout: Layout) -> None:
        """Make the state that layout, with all weights 1."""
        s = self.state
        s.group[:] = layout.group
        for i in range(self.model.n):
            kernels.put(self.model.tables, s, i, int(layout.var[i]), float(layout.cx[i]), float(layout.cy[i]))
        s.weight[:] = 1.0

    def memory(self) -> Memory:
        """What has to be kept to go on later, in another process."""
        return Memory(
            int(self.state.rng[0]), self.best, tuple(self.pool), self.step, self.fine, self.failures, self.rounds
        )

    def recall(self, memory: Memory) -> None:
        """Go on from a memory."""
        self.state.rng[0] = np.uint64(memory.rng)
        self.best, self.pool = memory.best, list(memory.pool)
        self.step, self.fine = memory.step, memory.fine
        self.failures, self.rounds = memory.failures, memory.rounds

    def adopt(self, layout: Layout) -> None:
        """Take a layout found elsewhere if it is better than our best."""
        if self.best is None or layout.length < self.best.length - 1e-9:
            self.best = layout
            self.pool.clear()

    # -- moves on whole layouts

    def squeeze(self, length: float, shrink: float) -> None:
        """Everything right of a random cut moves left by ``shrink``; nothing lies beyond ``length``."""
        s, t = self.state, self.model.tables
        cut = uniform(s.rng) * length
        for i in range(self.model.n):
            if not t.i_fixed[i]:
                x = s.cx[i] - shrink if s.cx[i] > cut else s.cx[i]
                self._put(i, int(s.var[i]), float(x), float(s.cy[i]), length)

    def _put(self, i: int, v: int, x: float, y: float, length: float) -> None:
        t = self.model.tables
        if t.v_lim[v, 11] > length + 1e-9:
            options = first.allowed(self.model, self.state, i, length)
            v = options[0] if options else v
        kernels.put(t, self.state, i, v, kernels.fit_x(t, v, x, length), kernels.fit_y(t, v, y))

    def swap(self, length: float) -> None:
        """Two items that are not small and not alike change places."""
        s, t = self.state, self.model.tables
        free = [i for i in range(self.model.n) if not t.i_fixed[i]]
        free.sort(key=lambda i: -t.i_size[i])
        large = free[: max(2, int(len(free) * 0.4))]
        if len(large) < 2:
            return
        for _ in range(20):
            a = large[int(uniform(s.rng) * len(large))]
            b = large[int(uniform(s.rng) * len(large))]
            if t.i_kind[a] != t.i_kind[b] or (a != b and s.var[a] != s.var[b]):
                ax, ay, bx, by = float(s.cx[a]), float(s.cy[a]), float(s.cx[b]), float(s.cy[b])
                self._put(a, int(s.var[a]), bx, by, length)
                self._put(b, int(s.var[b]), ax, ay, length)
                return

    def shuffle_window(self, length: float) -> None:
        """The items inside a vertical window of 12-30 % of the length exchange their places at random."""
        s, t = self.state, self.model.tables
        width = length * (0.12 + 0.18 * uniform(s.rng))
        left = uniform(s.rng) * (length - width)
        inside = [i for i in range(self.model.n) if not t.i_fixed[i] and left <= s.cx[i] <= left + width]
        spots = [(float(s.cx[i]), float(s.cy[i])) for i in inside]
        for k in range(len(inside) - 1, 0, -1):
            c = int(uniform(s.rng) * (k + 1))
            spots[k], spots[c] = spots[c], spots[k]
        for i, (x, y) in zip(inside, spots, strict=True):
            self._put(i, int(s.var[i]), x, y, length)

    def flip_group(self, length: float) -> None:
        """One group takes another of its states; its items keep their places as well as they can."""
        s, t = self.state, self.model.tables
        several = [g for g, states in enumerate(self.model.num_states) if len(states) > 1]
        if not several:
            return
        g = several[int(uniform(s.rng) * len(several))]
        others = [q for q in self.model.num_states[g] if q != s.group[g]]
        s.group[g] = others[int(uniform(s.rng) * len(others))]
        for i in range(self.model.n):
            if t.i_group[i] == g and not t.i_fixed[i]:
                options = first.allowed(self.model, s, i, length)
                if options and int(s.var[i]) not in options:
                    v = options[int(uniform(s.rng) * len(options))]
                    self._put(i, v, float(s.cx[i]), float(s.cy[i]), length)

    # -- attempts

    def separate(self, length: float, patience: int) -> tuple[bool, float]:
        """Separate the state within ``length``. (True, length reached) with an exact state if that worked.

        Otherwise (False, overlap) with the state of least overlap. A state that is nearly free of overlap may end as an exact one
        that is longer than ``length`` but shorter than the best so far: that counts as well.
        """
        s, t, f = self.state, self.model.tables, self.fields.tables()
        bx, by, bv = s.cx.copy(), s.cy.copy(), s.var.copy()
        control = np.array([1e300, 0.0, 0.0, 1e300, *self.samples, self.exchange])
        status = 0
        strikes = 0
        reference = math.inf
        while self.clock() < self.deadline:
            status = kernels.separate(t, f, s, length, 10, patience, control, bx, by, bv)
            if status == 1:
                break
            if status == 2:
                strikes = 0 if control[0] < 0.98 * reference else strikes + 1
                reference = min(reference, float(control[0]))
                if strikes >= self.strikes:
                    break
                # back to the least overlap, with the weights as they have become
                for i in range(self.model.n):
                    kernels.put(t, s, i, int(bv[i]), float(bx[i]), float(by[i]))
                control[1] = 0.0
        for i in range(self.model.n):
            kernels.put(t, s, i, int(bv[i]), float(bx[i]), float(by[i]))
        overlap = float(control[0])
        if status == 1 or overlap < self.near * self.model.n:
            kept = self.keep(length)
            got = self.compactor(s)
            limit = length + 1e-6
            if self.best is not None and self.model.length is None:
                limit = max(limit, self.best.length - 1e-4)
            if got is not None and got <= limit:
                return True, got
            self.take(kept)
        return False, overlap

    def begin(self) -> None:
        """A fresh random layout, separated at a comfortable length; the fallback if that fails again and again."""
        m = self.model
        length = m.length if m.length is not None else max(self.least, m.area / 100.0 / 0.65)
        for _ in range(40):
            first.choose_states(m, self.state)
            first.random_places(m, self.state, length)
            ok, got = self.separate(length, 100)
            if ok:
                self._better(got)
                return
            if self.clock() >= self.deadline:
                return
            if m.length is None:
                length *= 1.05
        self.best = self.fallback

    def _better(self, length: float) -> bool:
        if self.best is None or length < self.best.length - 1e-9:
            self.best = self.keep(length)
            self.pool.clear()
            return True
        return False

    def round(self) -> bool:
        """One attempt; True if the best layout became better."""
        self.rounds += 1
        m = self.model
        if self.best is None:
            self.begin()
            return self.best is not None
        rng = self.state.rng
        base = self.best
        if self.step > self.least_step:
            name, ratio, patience = "shrink", self.step, self.px
        elif uniform(rng) < self.share:
            name, ratio, patience = "compress", self.fine, self.pc
        else:
            ratio = self.kick_low * (self.kick_high / self.kick_low) ** uniform(rng)
            patience = self.pk
            w = uniform(rng)
            name = "window" if w < 0.5 else "swap"
            if self.pool and uniform(rng) < self.from_pool:
                base = self.pool[int(len(self.pool) * uniform(rng) ** 2)][1]
        self.take(base)
        length = max(self.least, self.best.length * (1.0 - ratio))
        self.squeeze(length, max(0.0, base.length - length))
        if name == "window":
            self.shuffle_window(length)
        elif name == "swap":
            for _ in range(1 + int(uniform(rng) * 3)):
                self.swap(length)
        if any(len(q) > 1 for q in m.num_states) and uniform(self.state.rng) < 0.3:
            self.flip_group(length)
        t0 = self.clock()
        ok, got = self.separate(length, patience)
        row = self.stats.setdefault(name, [0.0, 0.0, 0.0, 0.0])
        row[0] += 1
        row[2] += self.clock() - t0
        if ok:
            row[1] += 1
            row[3] += 1.0 - got / self.best.length
            if name == "compress":
                self.fine = min(0.003, self.fine * 1.5)
            return self._better(got)
        if name == "compress":
            self.fine = max(0.00005, self.fine * 0.7)
        elif name == "shrink":
            self.step *= 0.5
        else:
            self.pool.append((got, self.keep(length)))
            self.pool.sort(key=lambda e: e[0])
            del self.pool[8:]
        return False


def extent(model: Model, state: State) -> float:
    """Extent of a state in internal units."""
    return float((state.cx + model.tables.v_lim[state.var, XR]).max(initial=0.0))
