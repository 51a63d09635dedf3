"""A window along a long layout: what lies in it is searched again, what lies before it stays, what lies behind it moves
with its end.

A window is a problem like any other: the same search serves it. Its neighbours take part as items that do not move by
themselves: those before it stay where they are, those behind it ride with the window's end. So all that a window gains
the whole layout gains, the work in it depends on the window alone, and windows that are apart can be searched side by
side. Where a lay repeats itself, what was found in one window serves wherever the same surroundings come again.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from nesting.packing.kernel.arrays import FIXED, LX, PX, RIDES, STAYS, XR, Model, part_of
from nesting.packing.search.explore import Explorer, Layout
from nesting.packing.search.outlines import halves_of
from nesting.packing.search.workers import Prepared, prepared

__all__ = ["Found", "Ints", "Task", "Window", "again", "applied", "cut", "order_of", "run_window"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

#: room beyond the items of a window in which they may move, and the most that a window may gain (internal units)
_ROOM = 3.0
MOST = 25.0
#: places that differ by less are the same: far below what counts as an overlap
_SAME = 1e-9


@dataclass(frozen=True, eq=False)
class Window:
    """``free``: items to search; ``stay``, ``ride``: neighbours before and behind. ``a``, ``b``: the ranks of the free
    ones in the order along the layout. From ``begin`` to ``end`` (internal units)."""

    free: Ints
    stay: Ints
    ride: Ints
    a: int
    b: int
    begin: float
    end: float


@dataclass(frozen=True, eq=False)
class Task:
    """One window to search: ``rounds`` attempts at most, none begun after ``seconds``, all given up after ``left``."""

    problem: bytes
    key: str
    seed: int
    rounds: int
    seconds: float | None
    left: float | None
    window: Window
    layout: Layout
    step: float


@dataclass(frozen=True, eq=False)
class Found:
    """What came of a window: ``gain`` 0 or less: nothing. The arrays are those of its free items, x from its begin."""

    gain: float
    cx: Floats
    cy: Floats
    var: NDArray[np.int32]
    rounds: int


def order_of(layout: Layout) -> Ints:
    """The items along the layout."""
    return np.argsort(layout.cx, kind="stable")


def cut(model: Model, layout: Layout, order: Ints, a: int, b: int) -> Window | None:
    """The window of the items of rank ``a`` to ``b`` - 1; None if what lies behind it could not move with its end."""
    t = model.tables
    half = halves_of(model)[layout.var]
    low, high = layout.cx - half, layout.cx + half
    left, inside, right = order[:a], order[a:b], order[b:]
    held = (t.i_fixed == FIXED) | (t.v_lim[layout.var, PX] == 0.0)
    if held[right].any():
        return None
    free = inside[~held[inside]]
    if not len(free):
        return None
    left = np.concatenate([left, inside[held[inside]]])
    begin = max(0.0, float(low[inside].min()) - _ROOM)
    end = float(np.maximum(high, layout.cx + t.v_lim[layout.var, XR])[inside].max())
    if not len(right):
        return Window(free, left[high[left] > begin], right, a, b, begin, end)
    end += _ROOM
    # long items may reach far to either side: whatever could meet while the end moves takes part
    stay = left[high[left] > min(begin, float(low[right].min()) - MOST)]
    ride = right[low[right] < max(end, float(high[left].max(initial=0.0)) + MOST)]
    if not len(ride):
        ride = right[np.argmin(low[right])][None]
    return Window(free, stay, ride, a, b, begin, end)


def _model_of(model: Model, window: Window, layout: Layout) -> tuple[Model, Ints]:
    index = np.concatenate([window.free, window.stay, window.ride])
    part = part_of(model, index)
    fixed = np.zeros(len(index), dtype=np.uint8)
    f, s = len(window.free), len(window.stay)
    fixed[f : f + s], fixed[f + s :] = STAYS, RIDES
    lim = part.tables.v_lim.copy()
    lim[:, LX] -= window.begin
    riders = np.full(len(index), math.nan)
    riders[f + s :] = window.end - layout.cx[window.ride]
    groups = sorted({int(g) for g in model.tables.i_group[index]} - {-1})
    states: list[tuple[int, ...]] = [(int(layout.group[g]),) for g in groups]  # a group keeps its state in a window
    return replace(part, tables=part.tables._replace(v_lim=lim, i_fixed=fixed), riders=riders, num_states=states), index


def run_window(task: Task) -> Found:
    """Search one window, in whatever process this is."""
    began = time.perf_counter()
    until = None if task.left is None else began + task.left
    have = prepared(task.problem, task.key, None, until)
    nothing = Found(0.0, np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int32), 0)
    return nothing if have is None else _improved(have, task, began, until)


def _improved(have: Prepared, task: Task, began: float, until: float | None) -> Found:
    window, layout = task.window, task.layout
    model, index = _model_of(have.model, window, layout)
    finish = have.compactor.for_part(model)
    explorer = Explorer(model, have.fields, finish, task.seed)
    if until is not None:
        explorer.deadline = until
    group = np.array([s[0] for s in model.num_states] or [-1], dtype=np.int32)
    length = window.end - window.begin
    start = Layout(length, layout.cx[index] - window.begin, layout.cy[index], layout.var[index], group)
    explorer.take(start)
    start = replace(start, length=finish.length(explorer.state))
    length = start.length
    explorer.incumbent = explorer.current = explorer.record = start
    explorer.step = task.step
    got = finish(explorer.state)
    if got is not None and got < length - 1e-7:
        explorer.incumbent = explorer.current = explorer.record = explorer.keep(got)
    done = 0
    while done < task.rounds:
        explorer.round()
        done += 1
        now = time.perf_counter()
        if now >= explorer.deadline or (task.seconds is not None and now >= began + task.seconds):
            break
    best, n = explorer.incumbent, len(window.free)
    assert best is not None
    gain = length - best.length
    if len(window.ride):
        gain = _on_lattice(have.model, layout, window, gain)
        if gain < length - best.length - 1e-12 and gain > 0.0:
            # the riders stop short of where the programme has them: that must hold as well
            explorer.take(best)
            rides = model.tables.i_fixed == RIDES
            assert model.riders is not None
            explorer.state.cx[rides] = length - gain - model.riders[rides]
            if finish.overlap(explorer.state) > finish.deepest:
                gain = 0.0
        if gain > MOST and len(window.stay):  # it was not looked for what may meet from so far
            gain = 0.0
    return Found(gain, best.cx[:n].copy(), best.cy[:n].copy(), best.var[:n].copy(), done)


def _on_lattice(model: Model, layout: Layout, window: Window, gain: float) -> float:
    """As much of ``gain`` as all that lies behind the window may move by: whole periods of their lattices."""
    behind = layout.cx >= layout.cx[window.ride].min()
    behind[window.free] = False
    periods = sorted({float(p) for p in model.tables.v_lim[layout.var[behind], PX] if p > 0.0})
    if not periods:
        return gain
    if len(periods) > 1:
        return 0.0
    return math.floor(gain / periods[0] + 1e-9) * periods[0]


def applied(model: Model, layout: Layout, window: Window, order: Ints, found: Found) -> Layout:
    """The layout with what was found in the window; the length is worked out anew."""
    cx, cy, var = layout.cx.copy(), layout.cy.copy(), layout.var.copy()
    cx[order[window.b :]] -= found.gain
    cx[window.free] = found.cx + window.begin
    cy[window.free], var[window.free] = found.cy, found.var
    return Layout(float((cx + model.tables.v_lim[var, XR]).max()), cx, cy, var, layout.group)


def again(model: Model, before: Layout, window: Window, layout: Layout) -> list[tuple[int, int, Ints, float]]:
    """Wherever in ``layout`` the surroundings come that ``window`` had in ``before``, its own place included.

    Each as (a, b, the items that stand for the window's free ones, the shift), from left to right. The caller cuts
    the window there and asks ``same`` before it uses it, as using one may end another.
    """
    t = model.tables
    members = np.concatenate([window.free, window.stay, window.ride])
    kind = t.i_v0.astype(np.int64)
    state = np.where(t.i_group >= 0, before.group[np.maximum(t.i_group, 0)], -1)
    alike: dict[tuple[int, int, int], list[int]] = {}
    for i in order_of(layout):
        alike.setdefault((int(kind[i]), int(layout.var[i]), int(state[i])), []).append(int(i))
    lying = {k: (np.array(v, dtype=np.int64), layout.cx[np.array(v)]) for k, v in alike.items()}

    def image(i: int, shift: float) -> int:
        there = lying.get((int(kind[i]), int(before.var[i]), int(state[i])))
        if there is None:
            return -1
        who, xs = there
        k = int(np.searchsorted(xs, before.cx[i] + shift - _SAME))
        while k < len(xs) and xs[k] <= before.cx[i] + shift + _SAME:
            if abs(layout.cy[who[k]] - before.cy[i]) <= _SAME:
                return int(who[k])
            k += 1
        return -1

    anchor = int(members[0])
    there = lying.get((int(kind[anchor]), int(before.var[anchor]), int(state[anchor])))
    found: list[tuple[int, int, Ints, float]] = []
    if there is None:
        return found
    rank = np.empty(len(layout.cx), dtype=np.int64)
    rank[order_of(layout)] = np.arange(len(rank))
    for j, x in zip(*there, strict=True):
        if abs(layout.cy[j] - before.cy[anchor]) > _SAME:
            continue
        shift = float(x - before.cx[anchor])
        if window.begin + shift < 0.0:
            continue
        images = [image(int(i), shift) for i in members]
        if min(images) < 0:
            continue
        free = np.array(images[: len(window.free)], dtype=np.int64)
        a, b = int(rank[free].min()), int(rank[free].max()) + 1
        if b - a == window.b - window.a:
            found.append((a, b, free, shift))
    return found
