"""The exact finish: a linear programme makes a nearly free layout exact and as short as it can be without reordering.

For two placed shapes every pair of near convex parts is kept apart by one edge of one of them: the edge that separates
them best now. All those half planes are linear in the places, so the least length under them is a linear programme
(compaction: Li, Milenkovic 1995, EJOR 84; Gomes, Oliveira 2006, EJOR 171). Solving it again from the places found,
with the edges chosen anew, descends to a local minimum.
"""

from __future__ import annotations

import copy
import logging
import threading
from typing import NamedTuple

import highspy
import numpy as np
from numba import njit
from numpy.typing import NDArray

from nesting.packing.kernel.arrays import BDX, BDY, PX, PY, RIDES, STAYS, XCAP, XLO, XR, YHI, YLO, Model, Tables
from nesting.packing.kernel.kernels import CX, CY, HH, HW, RING, State

__all__ = ["Compactor", "Hulls"]

log = logging.getLogger(__name__)
Floats = NDArray[np.float64]
#: parts are kept this far apart, so that rounding never makes them overlap (internal units; the ply is 100 high)
SLACK = 1e-9
#: the least that items may move in one programme
_LEAST_REACH = 0.25
#: overlaps of convex parts up to this are rounding
DEEPEST = 5e-9


class Hulls(NamedTuple):
    """Convex parts of all shapes, then of all obstacles; ``first[s]`` to ``first[s + 1]``: the parts of shape s."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    start: NDArray[np.int64]
    first: NDArray[np.int64]
    box: NDArray[np.float64]  # (parts, 4)


@njit(cache=True, error_model="numpy")
def _apart(H: Hulls, p: int, q: int, dx: float, dy: float, out: Floats) -> None:
    """Best separating edge of part p (at the origin) and q (at dx, dy): normal from p to q and the gap along it."""
    best = -1e300
    for side in range(2):
        a, b = (p, q) if side == 0 else (q, p)
        sx, sy = (dx, dy) if side == 0 else (-dx, -dy)
        a0, a1, b0, b1 = H.start[a], H.start[a + 1], H.start[b], H.start[b + 1]
        for v in range(a0, a1):
            w = v + 1 if v + 1 < a1 else a0
            ex, ey = H.x[w] - H.x[v], H.y[w] - H.y[v]
            length = np.hypot(ex, ey)
            if length == 0.0:
                continue
            nx, ny = ey / length, -ex / length
            base = nx * (H.x[v] - sx) + ny * (H.y[v] - sy)
            low = 1e300
            for u in range(b0, b1):
                low = min(low, nx * H.x[u] + ny * H.y[u] - base)
                if low <= best:
                    break
            if low > best:
                best = low
                out[0] = nx if side == 0 else -nx
                out[1] = ny if side == 0 else -ny
                out[2] = low


@njit(cache=True, error_model="numpy")
def _rows(T: Tables, S: State, H: Hulls, reach: float) -> tuple[NDArray[np.int64], Floats]:
    """One row for each pair of parts that is nearer than ``reach``: (i, j) with j = -1 for obstacles; (nx, ny, gap)."""
    n = len(S.at)
    shapes = len(T.s_hw)
    who = np.empty((256, 2), dtype=np.int64)
    what = np.empty((256, 3))
    count = 0
    out = np.empty(3)
    for i in range(n):
        for jj in range(i + 1, n + len(T.o_mask)):
            if jj < n:
                if S.mask[i] & S.mask[jj] == 0 or (T.i_fixed[i] != 0 and T.i_fixed[i] == T.i_fixed[jj]):
                    continue
                dx, dy = S.at[i, CX] - S.at[jj, CX], S.at[i, CY] - S.at[jj, CY]
                if abs(dx) > S.at[i, HW] + S.at[jj, HW] + reach or abs(dy) > S.at[i, HH] + S.at[jj, HH] + reach:
                    continue
                si = int(S.at[i, RING])
                sj = int(S.at[jj, RING])
            else:
                o = jj - n
                if S.mask[i] & T.o_mask[o] == 0 or T.i_fixed[i]:
                    continue
                v = S.var[i]
                dx, dy = S.at[i, CX] + T.v_lim[v, BDX], S.at[i, CY] + T.v_lim[v, BDY]
                si = int(T.v_body[v])
                sj = shapes + o
            for p in range(H.first[si], H.first[si + 1]):
                for q in range(H.first[sj], H.first[sj + 1]):
                    if (
                        H.box[p, 0] + dx > H.box[q, 2] + reach
                        or H.box[p, 2] + dx < H.box[q, 0] - reach
                        or H.box[p, 1] + dy > H.box[q, 3] + reach
                        or H.box[p, 3] + dy < H.box[q, 1] - reach
                    ):
                        continue
                    _apart(H, p, q, -dx, -dy, out)
                    if out[2] > reach:
                        continue
                    if count == len(who):
                        who2 = np.empty((2 * count, 2), dtype=np.int64)
                        what2 = np.empty((2 * count, 3))
                        who2[:count] = who
                        what2[:count] = what
                        who = who2
                        what = what2
                    who[count, 0] = i
                    who[count, 1] = jj if jj < n else -1
                    what[count] = out
                    count += 1
    return who[:count], what[:count]


@njit(cache=True, error_model="numpy")
def worst(T: Tables, S: State, H: Hulls) -> float:
    """The deepest overlap of two convex parts, 0 if there is none."""
    _, what = _rows(T, S, H, 0.0)
    deepest = 0.0
    for k in range(len(what)):
        deepest = max(deepest, -what[k, 2])
    return deepest


class _Highs(highspy.Highs):
    """The solver without its callbacks: enabling them prints a banner on the standard output."""

    def __init__(self) -> None:
        super(highspy.Highs, self).__init__()
        self.setOptionValue("output_flag", False)
        self.setOptionValue("threads", 1)
        self.setOptionValue("primal_feasibility_tolerance", 1e-9)
        self.setOptionValue("presolve", "off")


_of_thread = threading.local()


def _solver() -> _Highs:
    """This thread's solver: one must not be used by two threads at once."""
    found: _Highs | None = getattr(_of_thread, "solver", None)
    if found is None:
        found = _of_thread.solver = _Highs()
    return found


class Compactor:
    """Linear programmes over one model."""

    def __init__(self, model: Model) -> None:
        self.model = model
        parts = [p for s in (*model.shapes, *model.obstacles) for p in s.parts]
        v = np.vstack(parts)
        self.hulls = Hulls(
            np.ascontiguousarray(v[:, 0]),
            np.ascontiguousarray(v[:, 1]),
            np.cumsum([0, *(len(p) for p in parts)]).astype(np.int64),
            np.cumsum([0, *(len(s.parts) for s in (*model.shapes, *model.obstacles))]).astype(np.int64),
            np.array([[*p.min(axis=0), *p.max(axis=0)] for p in parts]),
        )
        self.solved = 0

    def length(self, state: State) -> float:
        """Extent of the layout; of a window, to the end that its riders move with."""
        fixed = self.model.tables.i_fixed
        right = state.cx + self.model.tables.v_lim[state.var, XR]
        if self.model.riders is not None:
            rides = fixed == RIDES
            if rides.any():
                first = int(rides.argmax())
                return float(state.cx[first] + self.model.riders[first])
            right = right[fixed != STAYS]
        return float(right.max())

    def for_part(self, model: Model) -> Compactor:
        """The same for a part of the model (``arrays.part_of``), which has the same shapes."""
        own = copy.copy(self)
        own.model = model
        return own

    def overlap(self, state: State) -> float:
        """The deepest overlap (internal units)."""
        return float(worst(self.model.tables, state, self.hulls))

    def __call__(self, state: State, *, rounds: int = 12, reach: float = 3.0) -> float | None:
        """Compact the layout in place. The length reached, None (state undefined) if no exact layout was found."""
        length = self.length(state)
        for k in range(rounds):
            before = state.at[:, CX : CY + 1].copy()
            slack = self._solve(state, reach)
            if slack is None:
                return None
            # near the end little moves: with less reach fewer pairs have to be watched
            moved = float(np.abs(state.at[:, CX : CY + 1] - before).max(initial=0.0))
            reach = min(reach, max(_LEAST_REACH, 2.0 * moved))
            new = self.length(state)
            if slack <= 0.0 and k > 0 and new > length - 1e-4:
                break
            length = new
            if slack > 0.0 and k >= 5:
                return None
        if self.overlap(state) > DEEPEST:
            return None
        return self.length(state)

    def _solve(self, state: State, reach: float) -> float | None:
        t = self.model.tables
        n = len(state.cx)
        who, what = _rows(t, state, self.hulls, 2.0 * reach)
        rows = len(who)
        lim = t.v_lim[state.var]
        low = np.maximum(lim[:, XLO] - state.cx, -reach)
        high = np.minimum(lim[:, XCAP] - state.cx, reach)
        ylow = np.maximum(lim[:, YLO] - state.cy, -reach)
        yhigh = np.minimum(lim[:, YHI] - state.cy, reach)
        stay_x = (lim[:, PX] >= 0.0) | (t.i_fixed > 0)
        stay_y = (lim[:, PY] >= 0.0) | (t.i_fixed > 0)
        rides = t.i_fixed == RIDES
        low[stay_x] = high[stay_x] = 0.0
        low[rides], high[rides] = -reach, reach
        ylow[stay_y] = yhigh[stay_y] = 0.0
        np.minimum(low, high, out=low)
        np.minimum(ylow, yhigh, out=ylow)
        elastic = bool(rows) and float(what[:, 2].min()) < -SLACK
        cols = 2 * n + 1 + elastic
        # rows 0..rows-1: n . (move_j - move_i) (+ s) >= slack - gap; then L - move_i >= x_i + right_i
        per = 4 + elastic
        index = np.empty((rows, per), dtype=np.int32)
        value = np.empty((rows, per))
        i, j = who[:, 0], who[:, 1]
        index[:, 0], value[:, 0] = i, -what[:, 0]
        index[:, 1], value[:, 1] = n + i, -what[:, 1]
        against = j < 0
        # an obstacle does not move: its entries fall on the item's own columns with value 0
        index[:, 2], value[:, 2] = np.where(against, 2 * n, j), np.where(against, 0.0, what[:, 0])
        index[:, 3], value[:, 3] = np.where(against, 2 * n, n + j), np.where(against, 0.0, what[:, 1])
        if elastic:
            index[:, 4], value[:, 4] = 2 * n + 1, 1.0
        flat_index, flat_value = index.reshape(-1), value.reshape(-1)
        keep = np.ones(rows * per, dtype=bool)
        keep.reshape(rows, per)[against, 2:4] = False
        counts = np.where(against, per - 2, per)
        ext_index = np.empty((n, 2), dtype=np.int32)
        ext_index[:, 0] = np.arange(n)
        ext_index[:, 1] = 2 * n
        ext_value = np.tile([-1.0, 1.0], n)
        all_index = np.concatenate([flat_index[keep], ext_index.reshape(-1)]).astype(np.int32)
        all_value = np.concatenate([flat_value[keep], ext_value])
        starts = np.concatenate([[0], np.cumsum(np.concatenate([counts, np.full(n, 2)]))]).astype(np.int32)
        # parts that touch within rounding may stay as they are: an exact fit leaves no room to move apart
        gap = what[:, 2]
        apart = np.where(gap > -SLACK, np.minimum(SLACK - gap, 0.0), SLACK - gap)
        right = lim[:, XR].copy()
        if self.model.riders is not None:
            right[rides] = self.model.riders[rides]
            right[t.i_fixed == STAYS] = -1e6  # it may reach past the window: no matter how long that becomes
        lower = np.concatenate([apart, state.cx + right])
        upper = np.full(len(lower), highspy.kHighsInf)
        upper[rows:][rides] = lower[rows:][rides]
        cost = np.zeros(cols)
        cost[2 * n] = 1.0
        col_low = np.concatenate([low, ylow, [0.0], [0.0] * elastic])
        col_high = np.concatenate([high, yhigh, [highspy.kHighsInf], [highspy.kHighsInf] * elastic])
        if elastic:
            cost[2 * n + 1] = 1e3
        solution = self._run(cols, rows + n, cost, col_low, col_high, lower, upper, starts, all_index, all_value)
        if solution is None:
            return None
        x = np.clip(state.cx + solution[:n], lim[:, XLO], np.maximum(lim[:, XCAP], lim[:, XLO]))
        y = np.clip(state.cy + solution[n : 2 * n], lim[:, YLO], lim[:, YHI])
        beside = t.i_fixed > 1
        state.cx[:] = np.where(beside, state.cx + np.where(rides, solution[:n], 0.0), x)
        state.cy[:] = np.where(beside, state.cy, y)
        return float(solution[2 * n + 1]) if elastic and solution[2 * n + 1] > 2.0 * SLACK else 0.0

    def _run(
        self, cols: int, rows: int, cost: Floats, col_low: Floats, col_high: Floats, lower: Floats, upper: Floats,
        starts: NDArray[np.int32], index: NDArray[np.int32], value: Floats,
    ) -> Floats | None:  # fmt: skip
        h = _solver()
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = cols, rows
        lp.col_cost_, lp.col_lower_, lp.col_upper_ = cost, col_low, col_high
        lp.row_lower_, lp.row_upper_ = lower, upper
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_, lp.a_matrix_.index_, lp.a_matrix_.value_ = starts, index, value
        h.passModel(lp)
        h.run()
        self.solved += 1
        status = h.getModelStatus()
        if status != highspy.HighsModelStatus.kOptimal:
            log.debug("the linear programme of %d rows ended as %s", rows, h.modelStatusToString(status))
            return None
        return np.array(h.getSolution().col_value)
