"""Large orders: lays of parts, repeated and joined, then made denser in windows along the cloth.

As a cutting room divides a large order into markers: the items are divided into equal mixtures, one of them is
searched and repeated, and what does not go into equal mixtures is laid by itself behind them. Where nothing forbids it
smaller mixtures are searched without ends, as what goes on with copies of itself (``repeats``); the places where these
meet, and both ends, are then searched by themselves. From then on windows along the layout are searched again, one
after the other and side by side, with the seams among them. While a layout of parts with ends still repeats itself,
what a window gains is gained in every copy.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future, wait
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from nesting.packing.kernel.arrays import PX, XLO, XR, Model
from nesting.packing.problem import Place, Stop
from nesting.packing.search.explore import Layout
from nesting.packing.search.outlines import halves_of
from nesting.packing.search.repeats import Blocks, blocks_of
from nesting.packing.search.windows import Found, Ints, Task, Window, again, applied, cut, order_of, run_window

__all__ = ["LARGE", "Division", "Host", "as_layout", "divided", "improve", "joined"]

#: with at least this many items a problem is divided
LARGE = 150
#: items of a part, about: of one that is divided again and laid without ends, and of one laid with its ends, which cost
#: less the larger it is; and at most of what is left over
_PART, _PART_WITH_ENDS, _REST = 64, 96, 90
#: items of a window
_WINDOW = 30
#: attempts in a window by rounds; seconds in a window: least, share of all, most
_ROUNDS = 8
_SECONDS = (0.5, 0.02, 3.0)
#: the same where a gain is gained in every copy: so many times the seconds
_REPEATED = 2.5
#: a layout that is the same all along may be so much longer than the best and still be the one to go on with
_REGULAR = 0.003
#: windows begin where the golden ratio says, so that the seams among them keep moving and no place is forgotten
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
#: ends, and seams between blocks: share of all seconds, times the attempts of a window, the first step
_ENDS, _END_ROUNDS, _END_STEP = 0.15, 2.0, 0.04
#: windows without a gain, in periods, after which a layout that repeats itself is searched place by place
_PATIENCE = 3.0


@dataclass(frozen=True, eq=False)
class Division:
    """``copies``: equal mixtures, item for item of the same kind; ``rest``: mixtures of what is left over; ``blocks``:
    the copies as they are laid without ends, where they are."""

    copies: tuple[tuple[int, ...], ...]
    rest: tuple[tuple[int, ...], ...]
    blocks: Blocks | None = None

    @property
    def distinct(self) -> tuple[tuple[int, ...], ...]:
        """What has to be searched."""
        return (*self.copies[:1], *self.rest)


class Host(Protocol):
    """What a search of windows needs of the run that it is part of."""

    model: Model
    seed: int
    stop: Stop
    rounds: int

    def elapsed(self) -> float:
        """Seconds since the run began."""

    def offer(self, layout: Layout) -> None:
        """Take a layout if it is shorter and passes the exact check."""

    def ended(self) -> bool:
        """Whether the run has to stop."""

    def holds(self, layout: Layout) -> bool:
        """Whether the layout is what the run has as its best."""


def divided(model: Model) -> Division | None:
    """How to divide the items; None where they are few or the problem does not let parts lie one after the other."""
    t = model.tables
    if model.n < LARGE or model.length is not None or model.obstacles or t.i_fixed.any():
        return None
    periods = set(t.v_lim[:, PX].tolist())
    if 0.0 in periods or len(periods - {-1.0}) > 1:
        return None
    division = _in_parts(model, _PART)
    blocks = blocks_of(model, division.copies, division.rest)
    return replace(division, blocks=blocks) if blocks is not None else _in_parts(model, _PART_WITH_ENDS)


def _in_parts(model: Model, part: int) -> Division:
    t = model.tables
    units: dict[object, list[int]] = {}
    for i in range(model.n):
        g = int(t.i_group[i])
        units.setdefault(("group", g) if g >= 0 else ("item", i), []).append(i)
    kinds: dict[object, list[tuple[int, ...]]] = {}
    for members in units.values():
        own = tuple(sorted(members, key=lambda i: (int(t.i_v0[i]), i)))
        grouped = int(t.i_group[own[0]]) >= 0
        kinds.setdefault((grouped, tuple(int(t.i_v0[i]) for i in own)), []).append(own)
    most = max(2, round(model.n / part * 2))

    def left_over(k: int) -> int:
        return sum((len(us) % k) * len(us[0]) for us in kinds.values())

    def worth(k: int) -> float:
        per = (model.n - left_over(k)) / k
        return 3.0 * left_over(k) / model.n + 0.1 * abs(math.log2(max(per, 1.0) / part)) + (10.0 if per < 12 else 0.0)

    k = min(range(2, most + 1), key=lambda k: (worth(k), k))
    copies: list[list[int]] = [[] for _ in range(k)]
    rest: list[tuple[int, ...]] = []
    for members_of in kinds.values():
        each = len(members_of) // k
        for c in range(k):
            for unit in members_of[c * each : (c + 1) * each]:
                copies[c] += unit
        rest += members_of[k * each :]
    if len(copies[0]) < 12:
        copies, rest = [], [unit for us in kinds.values() for unit in us]
    # dealt out by size, so that every part has large items and small ones
    rest.sort(key=lambda unit: (-sum(float(t.i_size[i]) ** 2 for i in unit), unit))
    count = math.ceil(sum(len(u) for u in rest) / _REST)
    dealt: list[list[int]] = [[] for _ in range(count)]
    for number, unit in enumerate(rest):
        turn, at = divmod(number, count)
        dealt[at if turn % 2 == 0 else count - 1 - at] += unit
    return Division(tuple(tuple(c) for c in copies), tuple(tuple(d) for d in dealt if d))


def joined(model: Model, division: Division, layouts: Sequence[Layout]) -> Layout:
    """The layouts of the distinct parts one after the other, the first one for every copy of its mixture."""
    t = model.tables
    cx, cy, var = np.zeros(model.n), np.zeros(model.n), t.i_v0.copy()
    group = np.array([s[0] for s in model.num_states] or [-1], dtype=np.int32)
    period = max(float(t.v_lim[:, PX].max()), 0.0)
    end: float | None = None
    parts = [(c, layouts[0]) for c in division.copies]
    parts += list(zip(division.rest, layouts[len(layouts) - len(division.rest) :], strict=True))
    for items, lay in parts:
        index = np.array(items, dtype=np.int64)
        half = halves_of(model)[lay.var]
        offset = 0.0 if end is None else end - float((lay.cx - half).min()) + 1e-6
        if period > 0.0:
            offset = math.ceil(offset / period - 1e-9) * period
        cx[index], cy[index], var[index] = lay.cx + offset, lay.cy, lay.var
        groups = t.i_group[index]
        number = {g: k for k, g in enumerate(sorted(set(groups.tolist()) - {-1}))}
        for g, k in number.items():
            group[g] = lay.group[k]
        end = float((lay.cx + half).max()) + offset
    return Layout(float((cx + t.v_lim[var, XR]).max()), cx, cy, var, group)


class _Windows:
    """One search of windows; ``run`` is where the layouts go."""

    def __init__(self, run: Host, data: bytes, key: str, workers: int, executor: Executor | None) -> None:
        self.run, self.data, self.key, self.workers, self.executor = run, data, key, workers, executor
        self.number = 0
        self.offered = 0.0
        self.cost = 0.0

    def tasks(
        self, layout: Layout, windows: list[Window], step: float, longer: float, share: float | None = None
    ) -> list[Found]:
        """Search these windows side by side, what is found in their order. ``share`` of all seconds for each."""
        run = self.run
        left = None if run.stop.seconds is None else max(0.0, run.stop.seconds - run.elapsed() - self.cost)
        seconds = None
        if run.stop.rounds is None and run.stop.seconds is not None:
            seconds = longer * min(_SECONDS[2], max(_SECONDS[0], _SECONDS[1] * run.stop.seconds))
            if share is not None:
                seconds = share * run.stop.seconds
        rounds = round(longer * _ROUNDS) if seconds is None else 1_000_000
        sent = []
        for window in windows:
            self.number += 1
            seed = (run.seed * 1_000_003 + self.number * 7_919 + 54_321) % (1 << 62)
            sent.append(Task(self.data, self.key, seed, rounds, seconds, left, window, layout, step))
        if self.executor is None:
            found = [run_window(task) for task in sent]
        else:
            futures: list[Future[Found]] = [self.executor.submit(run_window, task) for task in sent]
            try:
                wait(futures)
            finally:
                for future in futures:
                    future.cancel()
            found = [future.result() for future in futures]
        run.rounds += sum(f.rounds for f in found)
        return found

    def use(self, layout: Layout, window: Window, found: Found, before: Layout) -> tuple[Layout, int]:
        """What was found in a window of ``before``, wherever it serves in ``layout``; how often it did."""
        model, times = self.run.model, 0
        tried: set[int] = set()
        while True:
            order = order_of(layout)
            for a, b, free, shift in again(model, before, window, layout):
                anchor = int(free[0])
                if anchor in tried:
                    continue
                tried.add(anchor)
                here = cut(model, layout, order, a, b)
                if here is None or not _alike(window, here, shift, before, layout):
                    continue
                moved = Window(free, here.stay, here.ride, a, b, window.begin + shift, window.end + shift)
                layout = applied(model, layout, moved, order, found)
                times += 1
                break
            else:
                return layout, times

    def tell(self, layout: Layout, good: Layout, *, last: bool = False) -> Layout:
        """Offer a layout when that is due: the check takes time. The layout to go on with."""
        run = self.run
        timed = run.stop.rounds is None
        if not last and timed and run.elapsed() - self.offered < 15.0 * self.cost:
            return good
        began = time.perf_counter()
        run.offer(layout)
        self.cost = time.perf_counter() - began
        self.offered = run.elapsed()
        return layout if run.holds(layout) else good


def _alike(window: Window, here: Window, shift: float, before: Layout, layout: Layout) -> bool:
    """Whether the neighbours are the same, as many at the same places."""
    for mine, theirs in ((window.stay, here.stay), (window.ride, here.ride)):
        if len(mine) != len(theirs):
            return False
        one = sorted(zip((before.cx[mine] + shift).round(6), before.cy[mine].round(6), strict=True))
        two = sorted(zip(layout.cx[theirs].round(6), layout.cy[theirs].round(6), strict=True))
        if not np.allclose(np.array(one), np.array(two), rtol=0.0, atol=1e-5):
            return False
    return len(window.free) == len(here.free)


# long: one sweep of windows; all its steps work on the same layout and the same clock
def improve(
    run: Host, layout: Layout, data: bytes, key: str, workers: int, executor: Executor | None, *,
    division: Division | None = None, ragged: tuple[Layout, Blocks] | None = None,
    on_step: Callable[[Layout], None] | None = None,
) -> Layout:  # fmt: skip
    """Search windows along ``layout`` until the run ends. ``division``: how it was joined, if it still is that.

    ``ragged``: what was unrolled, whose ends and seams are searched first; the better of the two is gone on with.
    ``on_step`` hears of every layout on the way (for tests).
    """
    n = len(layout.cx)
    period = len(division.copies[0]) if division is not None and len(division.copies) > 2 else 0
    size = min(_WINDOW, max(4, n // 3))
    if period:
        size = max(4, min(size, round(0.55 * period)))
    work = _Windows(run, data, key, workers, executor)
    if ragged is not None and not run.ended():
        flat = _with_ends(work, *ragged, size)
        run.offer(flat)
        if run.holds(flat):
            layout = flat
            if on_step is not None:
                on_step(layout)
    good, step, idle, place = layout, 0.004, 0.0, 0.0
    repeats = period > 0
    while not run.ended():
        order = order_of(layout)
        place = (place + _GOLDEN) % 1.0
        if repeats:
            # in the middle of the layout, where there are most copies; every worker tries the same window
            # (every other time about a seam, where parts that were laid by themselves leave most)
            middle = (place - 0.5) * (0.4 if work.number // max(1, workers) % 2 == 0 else 1.0) * period
            first = _seam(layout, division) + int(middle) - size // 2
            one = cut(run.model, layout, order, max(0, first), min(n, first + size))
            windows = [one] * max(1, workers) if one is not None else []
        else:
            windows = _apart(run.model, layout, order, place, size, max(1, workers))
        if not windows:
            repeats, idle = False, idle + 1.0
            if idle > 100.0:
                break
            continue
        found = work.tasks(layout, windows, step, _REPEATED if repeats else 1.0)
        before, gained = layout, False
        pairs = sorted(zip(windows, found, strict=True), key=lambda p: -p[1].gain)
        for window, what in pairs[:1] if repeats else pairs:
            if what.gain > 1e-7:
                layout, times = work.use(layout, window, what, before)
                gained = gained or times > 0
                if repeats and times < 2:
                    repeats = False
        if repeats and gained and division is not None:
            regular = renewed(run.model, layout, division)
            if regular is None:
                repeats = False
            elif regular.length <= (1.0 + _REGULAR) * good.length:
                if layout.length < min(good.length, regular.length):
                    good = work.tell(layout, good)
                layout = regular
        idle = 0.0 if gained else idle + 1.0
        if repeats and idle * size > _PATIENCE * period:
            repeats, idle, layout = False, 0.0, good if good.length < layout.length else layout
        if gained:
            if on_step is not None:
                on_step(layout)
            if layout.length < good.length:
                good = work.tell(layout, good)
                if run.stop.rounds is not None and not repeats:
                    layout = good
    work.tell(layout, good, last=True)
    return layout


def _with_ends(work: _Windows, layout: Layout, blocks: Blocks, size: int) -> Layout:
    """The layout with both ends searched, and the seams between blocks; the last end with all that is left over."""
    model, order, n = work.run.model, order_of(layout), len(layout.cx)
    rest = sum(map(len, blocks.rest))
    ranges = [(0, size), *((k - size // 2, k + size // 2) for k in blocks.seams), (n - size - rest, n)]
    windows: list[Window] = []
    reached = 0
    for a, b in ranges:
        window = cut(model, layout, order, max(a, reached), b) if b - max(a, reached) > size // 3 else None
        if window is not None:
            windows.append(window)
            reached = b + size // 2  # neighbours of one are no items of the next
    share = _ENDS * min(1.0, work.workers / max(1, len(windows)))
    found = work.tasks(layout, windows, _END_STEP, _END_ROUNDS, share)
    # the last one first: what is gained before it moves it
    for window, what in reversed(list(zip(windows, found, strict=True))):
        if what.gain > 1e-7:
            layout = applied(model, layout, window, order, what)
    return layout


def _seam(layout: Layout, division: Division | None) -> int:
    """The rank in the order along the layout at which the middle copy begins."""
    if division is None:
        return len(layout.cx) // 2
    copy = np.array(division.copies[len(division.copies) // 2], dtype=np.int64)
    return int((layout.cx < np.sort(layout.cx[copy])[0]).sum())


def renewed(model: Model, layout: Layout, division: Division) -> Layout | None:
    """The layout with every copy as the middle one lies, where that one is one period behind its neighbour; else None.

    A period is cut where that leaves the least length; what is left over is laid behind the last copy.
    """
    t = model.tables
    copies = np.array(division.copies, dtype=np.int64)
    middle = len(copies) // 2
    mine, before = copies[middle], copies[middle - 1]
    steps = layout.cx[mine] - layout.cx[before]
    period = float(np.median(steps))
    same = (layout.var[mine] == layout.var[before]) & (np.abs(layout.cy[mine] - layout.cy[before]) < 1e-9)
    same &= t.i_v0[mine] == t.i_v0[before]
    if period <= 0.0 or not same.all() or np.abs(steps - period).max() > 1e-7:
        return None
    x, y, v = layout.cx[mine], layout.cy[mine], layout.var[mine]
    half = halves_of(model)[v]
    order = np.argsort(x, kind="stable")
    best: tuple[float, int] | None = None
    for k in range(len(order)):
        turned = x.copy()
        turned[order[:k]] += period
        extent = float((turned + t.v_lim[v, XR]).max() - (turned - half).min())
        if best is None or extent < best[0] - 1e-9:
            best = (extent, k)
    assert best is not None
    x = x.copy()
    x[order[: best[1]]] += period
    lattice = max(float(t.v_lim[:, PX].max()), 0.0)
    shift = float((t.v_lim[v, XLO] - x).max())
    if lattice > 0.0:
        shift = math.ceil(shift / lattice - 1e-9) * lattice
    cx, cy, var = layout.cx.copy(), layout.cy.copy(), layout.var.copy()
    for number, copy in enumerate(copies):
        cx[copy], cy[copy], var[copy] = x + shift + number * period, y, v
    end = float((cx + halves_of(model)[var])[copies.reshape(-1)].max())
    for part in division.rest:
        index = np.array(part, dtype=np.int64)
        wide = halves_of(model)[var[index]]
        offset = end - float((cx[index] - wide).min()) + 1e-6
        if lattice > 0.0:
            offset = math.ceil(offset / lattice - 1e-9) * lattice
        cx[index] += offset
        end = float((cx[index] + wide).max())
    return Layout(float((cx + t.v_lim[var, XR]).max()), cx, cy, var, layout.group)


def _apart(model: Model, layout: Layout, order: Ints, place: float, size: int, count: int) -> list[Window]:
    """Windows far enough from one another that each one's neighbours are no one else's items."""
    n = len(order)
    starts = sorted(int(((place + k / count) % 1.0) * (n - size + 1)) for k in range(count))
    rank = np.empty(n, dtype=np.int64)
    rank[order] = np.arange(n)
    chosen: list[Window] = []
    reached = -1
    for a in starts:
        window = cut(model, layout, order, a, min(n, a + size))
        if window is None:
            continue
        around = rank[np.concatenate([window.free, window.stay, window.ride])]
        if int(around.min()) < (chosen[-1].b if chosen else 0) or a <= reached:
            continue
        chosen.append(window)
        reached = int(around.max())
    return chosen


def as_layout(model: Model, places: tuple[Place, ...]) -> Layout | None:
    """Places as a layout of the model, without a search's tables; None with a tilt that the search does not use."""
    t = model.tables
    cx, cy, var = np.zeros(model.n), np.zeros(model.n), t.i_v0.copy()
    group = np.array([s[0] for s in model.num_states] or [-1], dtype=np.int32)
    for p in places:
        found = model.find(p)
        if found is None:
            return None
        var[p.item], cx[p.item], cy[p.item] = found
        wanted = model.problem.items[p.item].poses[p.pose].state
        if t.i_group[p.item] >= 0 and wanted is not None:
            group[t.i_group[p.item]] = wanted
    return Layout(float((cx + t.v_lim[var, XR]).max()), cx, cy, var, group)
