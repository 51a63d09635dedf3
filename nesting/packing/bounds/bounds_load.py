"""Bounds that count: what the pieces take of the cloth, line by line, against what the cloth has.

Each *row* is a linear inequality that every layout of length L obeys: Σ cost(item as it lies) <= room(L), on one ply.
    bars    vertical lines: Σ ∫ f(chord / width) dx <= L (f dual feasible; f = identity is the area)
    blocks  inscribed rectangles w × h: Σ f(h / width) · g(w / L) <= 1 (Fekete, Schepers (2004), Mathematical Methods of
            Operations Research 60, 311-329: conservative scales in both directions)
Each comes for bodies in the cloth, and for rings (bodies and half the gap) in cloth that is larger by what the rings
stick out. If for some weights λ >= 0 of the rows Σ over items of (the least over its lies of λ·cost) exceeds λ·room(L),
no layout is as short as L. The weights come from a linear programme, but the proof is this sum, evaluated on its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from time import thread_time

import numpy as np
from numpy.typing import NDArray
from shapely import box
from shapely.geometry.base import BaseGeometry

from nesting.packing.bounds.bounds_functions import SLACK, Dual, standard
from nesting.packing.bounds.bounds_lies import Lie, Ply
from nesting.packing.bounds.bounds_shapes import Profile, edges_of, eroded, profile_of

__all__ = ["Kind", "Load"]

Floats = NDArray[np.float64]
_GAIN = 1e-6  # share of the bound below which a search for a longer one ends


@dataclass(frozen=True, eq=False)
class Kind:
    """``members``: items (by number) that are alike, each lying in one of ``lies``; ``group`` shares a state."""

    lies: tuple[Lie, ...]
    members: tuple[int, ...]
    group: int | None = None
    name: str = ""


@dataclass(frozen=True)
class _Row:
    """One row of bars: Σ costs <= length + ``extra`` less what flaws take."""

    ply: int
    ringed: bool
    dual: Dual
    width: float
    extra: float


class Load:
    """The rows of one problem.

    ``work``: about how many seconds of work to do, counted by the work itself so that it can be repeated; ``until``: a
    reading of the processor clock (``thread_time``) to stop at anyway.
    """

    def __init__(self, kinds: Sequence[Kind], plies: Sequence[Ply], work: float, until: float) -> None:
        self.kinds, self.plies, self.until = kinds, plies, until
        self._eroded: dict[tuple[int, bool], tuple[BaseGeometry, Profile | None]] = {}
        self._stacked: dict[tuple[int, bool], tuple[Profile, NDArray[np.int64]]] = {}
        self.columns = [(k, lie) for k, kind in enumerate(kinds) for lie in kind.lies]
        self.states: dict[int, set[int]] = {}
        for kind in kinds:
            if kind.group is not None:
                own = {lie.state for lie in kind.lies if lie.state is not None}
                self.states.setdefault(kind.group, set()).update(own)
        self.counts = np.array([float(len(kind.members)) for kind in kinds])
        self.gapped = any(lie.shape.gapped for _, lie in self.columns)
        slabs = sum(len(lie.shape.edges) + len(lie.shape.ring_edges) * lie.shape.gapped for _, lie in self.columns)
        # the finest set of functions that a fifth of the time allows, and as many lengths tried as a third allows
        sets = [standard(fine) for fine in (48, 16, 5)]
        self.duals = next((duals for duals in sets if _cost(slabs, duals) < 0.2 * work), sets[-1])
        self.trials = max(3, min(60, int(work / 3 / _cost(slabs, self.duals))))

    # -- what a choice of weights proves ----------------------------------------------------------------------------

    def least(self, costs: Floats) -> float:
        """Least Σ of ``costs`` (one per column) over all ways to choose a lie for every item."""
        total = 0.0
        grouped: dict[int, dict[int, float]] = {}
        states = self.states
        at = 0
        for k, kind in enumerate(self.kinds):
            own = costs[at : at + len(kind.lies)]
            at += len(kind.lies)
            if kind.group is None or not states[kind.group]:
                total += self.counts[k] * float(own.min())
                continue
            sums = grouped.setdefault(kind.group, dict.fromkeys(states[kind.group], 0.0))
            for state in sums:
                able = [c for c, lie in zip(own, kind.lies, strict=True) if lie.state in (None, state)]
                sums[state] += self.counts[k] * (float(min(able)) if able else math.inf)
        return total + sum(min(sums.values()) for sums in grouped.values())

    # -- bars: rows whose costs do not depend on the length -----------------------------------------------------------

    def _on(self, ply: int) -> list[Lie]:
        return [lie for _, lie in self.columns if ply in lie.plies]

    def _frame(self, ply: int, ringed: bool) -> tuple[float, float, float]:
        """The box that holds all bodies, or all rings, of a ply: (from y, to y, what the length is extended by)."""
        lies, box = self._on(ply), self.plies[ply]
        if not ringed:
            low, high = min(lie.guard[0] for lie in lies), min(lie.guard[1] for lie in lies)
            return box.low + low, box.high - high, -box.left - min(lie.back for lie in lies)
        bottom = max(lie.shape.margins[1] - lie.guard[0] for lie in lies)
        top = max(lie.shape.margins[3] - lie.guard[1] for lie in lies)
        out = max(lie.shape.margins[0] - lie.back for lie in lies) + max(lie.shape.margins[2] for lie in lies)
        return box.low - bottom, box.high + top, out - box.left

    def widths(self) -> dict[int, float]:
        """Of each ply in use, what the chords of all rings on a vertical line add up to at most."""
        frames = {ply: self._frame(ply, self.gapped) for ply in range(len(self.plies)) if self._on(ply)}
        return {ply: high - low for ply, (low, high, _) in frames.items()}

    def _flaws(self, ply: int, ringed: bool) -> tuple[BaseGeometry, Profile | None]:
        """What of its frame no body, or no ring, may cover, and the profile of that (None: nothing)."""
        if (ply, ringed) not in self._eroded:
            flaws = self.plies[ply].flaws
            if not flaws.is_empty:
                low, high, _ = self._frame(ply, ringed)
                depth = max(lie.shape.stick for lie in self._on(ply)) if ringed else 0.0
                x0, _, x1, _ = flaws.bounds
                flaws = eroded(flaws, depth).intersection(box(x0, low, x1, high))
            edges = edges_of(flaws)
            self._eroded[ply, ringed] = flaws, profile_of(edges) if len(edges) else None
        return self._eroded[ply, ringed]

    def _lost(self, row: _Row, length: float) -> float:
        """What the flaws left of ``length`` take of a row of bars."""
        _, bars = self._flaws(row.ply, row.ringed)
        return 0.0 if bars is None else row.dual.over(bars.up_to(length), row.width)

    def _cleared(self, row: _Row, least: float, proven: float) -> float:
        """The length, at least ``proven``, up to which a row's cloth less its flaws holds less than ``least``."""
        low = max(proven, least - row.extra)
        high = least - row.extra + self._lost(row, math.inf)
        for _ in range(60 if high > low else 0):
            middle = (low + high) / 2
            low, high = (middle, high) if middle + row.extra - self._lost(row, middle) < least else (low, middle)
        return float(low)

    def _sides(self) -> list[tuple[int, bool]]:
        used = [p for p in range(len(self.plies)) if self._on(p)]
        return [(p, ringed) for p in used for ringed in ([False, True] if self.gapped else [False])]

    def _slabs(self, ply: int, ringed: bool) -> tuple[Profile, NDArray[np.int64]]:
        """The profiles of all columns on a ply end to end, and the column of each slab."""
        key = (ply, ringed)
        if key not in self._stacked:
            own = [(c, lie.shape) for c, (_, lie) in enumerate(self.columns) if ply in lie.plies]
            bars = [shape.ring_bars if ringed else shape.bars for _, shape in own]
            parts = [np.concatenate([getattr(b, name) for b in bars]) for name in ("start", "step", "first", "last")]
            self._stacked[key] = Profile(*parts), np.repeat([c for c, _ in own], [len(b.start) for b in bars])
        return self._stacked[key]

    def _costs(self, ply: int, ringed: bool, dual: Dual, width: float) -> Floats:
        slabs, column = self._slabs(ply, ringed)
        sums = np.bincount(column, dual.slabs(slabs, width), minlength=len(self.columns))
        return sums.astype(np.float64)

    def _areas(self, ply: int, ringed: bool) -> Floats:
        areas = [lie.shape.ring_area if ringed else lie.shape.area for _, lie in self.columns]
        return np.where([ply in lie.plies for _, lie in self.columns], areas, 0.0)

    def bars(self, longest: float) -> tuple[float, str]:
        """The best bound by bars, at least ``longest`` (already proven): (length, name of the row, "" if no better)."""
        rows: list[_Row] = []
        costs: list[Floats] = []
        least: list[float] = []
        for ply, ringed in self._sides():
            low, high, extra = self._frame(ply, ringed)
            for dual in self.duals:
                if dual.name == "area":  # summed before dividing: whole numbers stay exact
                    areas = self._areas(ply, ringed)
                    costs.append(areas / (high - low))
                    least.append(self.least(areas) / (high - low))
                elif thread_time() > self.until:
                    break
                else:
                    costs.append(self._costs(ply, ringed, dual, high - low))
                    least.append(self.least(costs[-1]))
                rows.append(_Row(ply, ringed, dual, high - low, extra))
        table, sums, extra_all = np.array(costs), np.array(least), np.array([row.extra for row in rows])
        best, why = longest, ""
        flawed = any(self._flaws(ply, ringed)[1] is not None for ply, ringed in self._sides())
        for _ in range(20):  # the longer the cloth, the more of its flaws count
            lost = np.array([self._lost(row, best) for row in rows])
            top = int(np.argmax(sums + lost - extra_all))
            found, name = float((sums + lost - extra_all)[top]), rows[top].dual.name
            if found > best and flawed:
                found = self._cleared(rows[top], least[top], found)
            if self._choices(table):
                weights = self._weights(table, extra_all - lost, np.ones(len(rows)))
                if weights is not None and weights.sum() > 0:
                    mixed = (self.least(weights @ table) - float(weights @ (extra_all - lost))) / float(weights.sum())
                    if mixed > found:
                        found, name = mixed, rows[int(np.argmax(weights))].dual.name
            gain = found > best * (1 + 1e-9)
            if found > best:
                best, why = float(found), name
            if not gain or not flawed or thread_time() > self.until:
                break
        return best, why

    def _choices(self, table: Floats) -> bool:
        """Whether any item has lies that cost differently."""
        at = 0
        for kind in self.kinds:
            own = table[:, at : at + len(kind.lies)]
            at += len(kind.lies)
            if (own.max(axis=1) - own.min(axis=1) > 1e-9 * np.abs(own).max(axis=1)).any():
                return True
        return False

    def _weights(self, costs: Floats, room: Floats, excess: Floats) -> Floats | None:
        """Weights of the rows for which the programme min t: costs · z <= room + t · excess is tight."""
        # slow to load, while workers search already
        from scipy.optimize import linprog

        columns, n = len(self.columns), len(self.kinds)
        choose = np.zeros((n, columns + 1))
        for c, (k, _) in enumerate(self.columns):
            choose[k, c] = 1.0
        goal = np.zeros(columns + 1)
        goal[-1] = 1.0
        bounds = [(0.0, None)] * columns + [(None, None)]
        scale = max(float(np.abs(costs).max()), 1e-300)
        left = 4 * max(self.until - thread_time(), 0.05)  # a wall clock; others may compute
        answer = linprog(
            goal,
            A_ub=np.hstack([costs / scale, -excess[:, None]]),
            b_ub=room / scale,
            A_eq=choose,
            b_eq=self.counts,
            bounds=bounds,
            method="highs",
            options={"time_limit": left},
        )
        if answer.status != 0:
            return None
        return np.maximum(-np.asarray(answer.ineqlin.marginals, dtype=np.float64), 0.0)

    # -- blocks: their costs depend on the length ------------------------------------------------------------------

    def _at(self, length: float) -> Floats:
        """Blocks of a layout of that length; each has room for 1."""
        costs: list[Floats] = []
        for ply in sorted({p for p, _ in self._sides()}):
            low, high, extra = self._frame(ply, self.gapped)
            size = length + extra, high - low
            thresholds = [d for d in self.duals if d.name == "threshold"]
            few = [self.duals[0], *thresholds[-1 :: -1 if len(self.duals) < 60 else -4]]
            few += [d for d in self.duals if d.name == "rounding"][:3]
            table = np.zeros((len(few) * len(few), len(self.columns)))
            for c, (_, lie) in enumerate(self.columns):
                if ply in lie.plies and len(lie.shape.rectangles):
                    wide, deep = (lie.shape.rectangles * SLACK / size).T
                    f = np.array([d.at(deep) for d in few])
                    g = np.array([d.at(wide) for d in few])
                    table[:, c] = (f[:, None, :] * g[None, :, :]).max(axis=2).ravel()
            costs += list(table)
        return np.array(costs)

    def too_short(self, length: float) -> bool:
        """Whether blocks show that no layout has that length."""
        costs = self._at(length)
        single = np.array([self.least(line) for line in costs])
        top = float(single.max())
        if top > 1 + 1e-9:
            return True
        if top < 0.8 or not self._choices(costs):
            return False
        near = costs[np.argsort(-single)[:80]]
        weights = self._weights(near, np.ones(len(near)), np.ones(len(near)))
        if weights is None or weights.sum() <= 0:
            return False
        return self.least(weights @ near) > float(weights.sum()) * (1 + 1e-9)

    def longer(self, proven: float) -> float:
        """The greatest length, from ``proven`` on, that blocks show to be too short."""
        best, step, trials = proven, 0.2, self.trials
        while step > _GAIN and trials > 0 and thread_time() < self.until:
            trials -= 1
            tried = best * (1 + step)
            if self.too_short(tried):
                best = tried
            else:
                step /= 2
        return best


def _cost(slabs: int, duals: Sequence[Dual]) -> float:
    """Seconds to evaluate all functions once (measured, roughly, on one core of 2020s make)."""
    return 0.015 + 8e-8 * slabs * len(duals)
