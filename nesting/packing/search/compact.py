"""The exact finish: a linear programme makes a nearly free layout exact and as short as it can be without reordering.

For two placed shapes every pair of near convex parts is kept apart along one direction: the one that separates them
best now (square to a side of one of them or, where a gap is asked for, from corner to corner). Whatever keeps the gap
along that direction keeps it. All those half planes are linear in the places, so the least length under them is a
linear programme (compaction: Li, Milenkovic 1995, EJOR 84; Gomes, Oliveira 2006, EJOR 171). Solving it again from the
places found, with the directions chosen anew, descends to a local minimum.
"""

from __future__ import annotations

import copy
import logging
import threading
from collections.abc import Callable, Sequence
from typing import NamedTuple

import highspy
import numpy as np
from numba import njit
from numpy.typing import NDArray

from nesting.packing.kernel import geometry
from nesting.packing.kernel.arrays import BDX, BDY, PX, PY, RIDES, STAYS, XCAP, XLO, XR, YHI, YLO, Model, Tables
from nesting.packing.kernel.kernels import CX, CY, HH, HW, State
from nesting.packing.search.outlines import parts_along_all, poses_of

__all__ = ["Compactor", "Hulls"]

log = logging.getLogger(__name__)
Floats = NDArray[np.float64]
#: parts are kept this far apart, so that rounding never makes them overlap (internal units; the ply is 100 high)
SLACK = 1e-9
#: how far items may move in the first programme, in later ones at least, and at most. Farther means more pairs to
#: keep apart: at 3.0 the programmes of 55 pieces had 10,000 rows and took a third of the search, at 0.4 they have 1,000
REACH = 0.4
_LEAST_REACH = 0.25
_MOST_REACH = 1.6
#: overlaps of convex parts up to this are rounding
DEEPEST = 5e-9
#: share of the problem's unit by which a gap may fall short: a fifth of what ``check`` lets pass
_SHORT = 2e-7
#: internal units: boxes that are this far apart may still be nearer than the gap (boxes are of the steering rings)
_BOXES = 0.1


class Hulls(NamedTuple):
    """Convex parts, whole by whole: ``first[w]`` to ``first[w + 1]`` are the parts of whole w.

    ``ring[v]``: the whole that variant v keeps from others, ``gap`` apart; ``body[v]``: the one that it keeps from
    obstacles, at ``at[v]`` from the middle of the variant's ring; ``obstacle[o]``: the whole of obstacle o.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    start: NDArray[np.int64]
    first: NDArray[np.int64]
    box: NDArray[np.float64]  # (parts, 4)
    ring: NDArray[np.int64]
    body: NDArray[np.int64]
    at: NDArray[np.float64]  # (variants, 2)
    obstacle: NDArray[np.int64]
    gap: float


@njit(cache=True, error_model="numpy")
def _apart(H: Hulls, p: int, q: int, dx: float, dy: float, out: Floats) -> None:
    """Best separating side of part p (at the origin) and q (at dx, dy): normal from p to q and the gap along it."""
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
def _along(H: Hulls, p: int, q: int, dx: float, dy: float, out: Floats) -> None:
    """From the best side to the best direction of all, where corners of both are nearest: as ``_apart``."""
    p0, p1, q0, q1 = H.start[p], H.start[p + 1], H.start[q], H.start[q + 1]
    for _ in range(8):
        nx, ny = out[0], out[1]
        far, near = -1e300, 1e300
        for v in range(p0, p1):
            far = max(far, nx * H.x[v] + ny * H.y[v])
        for u in range(q0, q1):
            near = min(near, nx * (H.x[u] + dx) + ny * (H.y[u] + dy))
        # of the corners that this direction comes first to, the two nearest each other
        least, mx, my = 1e300, 0.0, 0.0
        for v in range(p0, p1):
            if nx * H.x[v] + ny * H.y[v] < far - 1e-9:
                continue
            for u in range(q0, q1):
                if nx * (H.x[u] + dx) + ny * (H.y[u] + dy) > near + 1e-9:
                    continue
                ex, ey = H.x[u] + dx - H.x[v], H.y[u] + dy - H.y[v]
                d = ex * ex + ey * ey
                if d < least:
                    least, mx, my = d, ex, ey
        length = np.sqrt(least)
        if length < 1e-12:
            return
        mx, my = mx / length, my / length
        far, near = -1e300, 1e300
        for v in range(p0, p1):
            far = max(far, mx * H.x[v] + my * H.y[v])
        for u in range(q0, q1):
            near = min(near, mx * (H.x[u] + dx) + my * (H.y[u] + dy))
        if near - far <= out[2] + 1e-12:
            return
        out[0], out[1], out[2] = mx, my, near - far


@njit(cache=True, error_model="numpy")
def _rows(T: Tables, S: State, H: Hulls, reach: float) -> tuple[NDArray[np.int64], Floats]:
    """One row for each pair of parts with less than ``reach`` to spare: (i, j, how many periods j's nearest copy lies
    behind it) with j = -1 for obstacles; (nx, ny, what there is to spare along it)."""
    n = len(S.at)
    reach += H.gap
    around = reach + _BOXES
    who = np.empty((256, 3), dtype=np.int64)
    what = np.empty((256, 3))
    count = 0
    out = np.empty(3)
    for i in range(n):
        for jj in range(i + 1, n + len(T.o_mask)):
            # of what repeats itself: j's nearest copy, then the nearest one on the other side of i
            for image in range(2 if jj < n and S.around[0] > 0.0 else 1):
                turns = 0.0
                if jj < n:
                    if S.mask[i] & S.mask[jj] == 0 or (T.i_fixed[i] != 0 and T.i_fixed[i] == T.i_fixed[jj]):
                        continue
                    dx, dy = S.at[i, CX] - S.at[jj, CX], S.at[i, CY] - S.at[jj, CY]
                    turns = np.rint(dx * S.around[1])
                    dx -= S.around[0] * turns
                    if image == 1:
                        side = 1.0 if dx > 0.0 else -1.0
                        turns += side
                        dx -= S.around[0] * side
                    if abs(dx) > S.at[i, HW] + S.at[jj, HW] + around or abs(dy) > S.at[i, HH] + S.at[jj, HH] + around:
                        continue
                    si = H.ring[S.var[i]]
                    sj = H.ring[S.var[jj]]
                    gap = H.gap
                else:
                    o = jj - n
                    if S.mask[i] & T.o_mask[o] == 0 or T.i_fixed[i]:
                        continue
                    v = S.var[i]
                    dx, dy = S.at[i, CX] + H.at[v, 0], S.at[i, CY] + H.at[v, 1]
                    si = H.body[v]
                    sj = H.obstacle[o]
                    gap = 0.0
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
                        if gap > 0.0 and out[2] > 0.0:
                            _along(H, p, q, -dx, -dy, out)
                        out[2] -= gap
                        if count == len(who):
                            who2 = np.empty((2 * count, 3), dtype=np.int64)
                            what2 = np.empty((2 * count, 3))
                            who2[:count] = who
                            what2[:count] = what
                            who = who2
                            what = what2
                        who[count, 0] = i
                        who[count, 1] = jj if jj < n else -1
                        who[count, 2] = int(turns)
                        what[count] = out
                        count += 1
    return who[:count], what[:count]


@njit(cache=True, error_model="numpy")
def worst(T: Tables, S: State, H: Hulls) -> float:
    """The deepest overlap of two convex parts, or the most that they lack of their gap; 0 if there is none."""
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


def _hulls(model: Model, *, fine: bool = False) -> tuple[Hulls, float]:
    """The convex parts of a model's outlines, or of its rings and bodies where it has none, and how far the parts
    reach across hollows at most (internal units)."""
    wholes: list[Sequence[Floats]] = [s.parts for s in (*model.shapes, *model.obstacles)]
    t, shapes = model.tables, len(model.shapes)
    ring, body = t.v_ring.astype(np.int64), t.v_body.astype(np.int64)
    at = np.ascontiguousarray(t.v_lim[:, [BDX, BDY]])
    known: dict[tuple[bytes, float, float], int] = {}
    reach = 0.0
    poses = [(v, *own) for v, own in enumerate(poses_of(model)) if own[0].outline is not None]
    outlines = [geometry.rotated(np.asarray(pose.outline, dtype=np.float64), tilt) for _, pose, tilt, _, _ in poses]
    divided = parts_along_all(outlines, fine=fine)
    for (v, _, _, dx, dy), outline, (own, cut) in zip(poses, outlines, divided, strict=True):
        key = (outline.tobytes(), dx, dy)
        if key not in known:
            known[key] = len(wholes)
            wholes.append([p * model.scale - (dx, dy) for p in own])
            reach = max(reach, cut * model.scale)
        ring[v] = body[v] = known[key]
        at[v] = 0.0
    parts = [p for whole in wholes for p in whole]
    corners = np.vstack(parts)
    return Hulls(
        np.ascontiguousarray(corners[:, 0]),
        np.ascontiguousarray(corners[:, 1]),
        np.cumsum([0, *(len(p) for p in parts)]).astype(np.int64),
        np.cumsum([0, *(len(whole) for whole in wholes)]).astype(np.int64),
        np.array([[*p.min(axis=0), *p.max(axis=0)] for p in parts]),
        ring,
        body,
        at,
        np.arange(shapes, shapes + len(model.obstacles), dtype=np.int64),
        float(model.problem.gap * model.scale),
    ), reach


class Compactor:
    """Linear programmes over one model."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.hulls, self._hollow = _hulls(model)
        self.deepest = max(DEEPEST, _SHORT * model.scale) if model.problem.gap > 0.0 else DEEPEST
        self._fine: Hulls | None = None
        self.solved = 0

    def fine(self) -> Hulls:
        """The same with parts that hardly reach across a hollow (built when first asked for)."""
        if self._fine is None:
            self._fine = _hulls(self.model, fine=True)[0] if self._hollow > 0.0 else self.hulls
        return self._fine

    def length(self, state: State) -> float:
        """Extent of the layout, or the period at which it repeats itself; of a window, to the end that its riders
        move with."""
        if state.around[0] > 0.0:
            return float(state.around[0])
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
        self.fine()  # once, for all parts
        own = copy.copy(self)
        own.model = model
        return own

    def overlap(self, state: State) -> float:
        """The deepest overlap, or the most that is lacking of a gap (internal units)."""
        return float(worst(self.model.tables, state, self.hulls))

    def __call__(
        self, state: State, *, rounds: int = 16, reach: float = REACH, ended: Callable[[], bool] | None = None
    ) -> float | None:
        """Compact the layout in place. The length reached, None (state undefined) if no exact layout was found.

        ``ended`` is asked after each programme: an exact layout is then taken as it is.
        """
        length, left = self._compact(state, self.hulls, rounds, reach, ended)
        # what is left may be no more than what the parts reach across hollows on either side
        if length is None and 0.0 < left < 2.0 * self._hollow:
            length, _ = self._compact(state, self.fine(), rounds, _LEAST_REACH, ended)
        return length

    def _compact(
        self, state: State, hulls: Hulls, rounds: int, reach: float, ended: Callable[[], bool] | None
    ) -> tuple[float | None, float]:
        """The length reached, None if the layout is not exact, and the overlap left by the programmes."""
        length, slack = self.length(state), None
        for k in range(rounds):
            before = state.at[:, CX : CY + 1].copy()
            slack = self._solve(state, hulls, reach)
            if slack is None:
                return None, 0.0
            # near the end little moves: with less reach fewer pairs have to be watched
            moved = float(np.abs(state.at[:, CX : CY + 1] - before).max(initial=0.0))
            reach = min(reach, max(_LEAST_REACH, 2.0 * moved))
            new = self.length(state)
            if length - new > 0.9 * reach:  # as far as it could: it is a loose layout
                reach = min(_MOST_REACH, 2.0 * reach)
            if slack <= 0.0 and k > 0 and new > length - 1e-4:
                break
            length = new
            if slack > 0.0 and k >= 5:
                return None, slack
            if ended is not None and ended():
                break
        if float(worst(self.model.tables, state, hulls)) > self.deepest:
            return None, slack or 0.0
        return self.length(state), 0.0

# long: one linear programme, put together column by column
    def _solve(self, state: State, hulls: Hulls, reach: float) -> float | None:
        t = self.model.tables
        n = len(state.cx)
        repeats = bool(state.around[0] > 0.0)
        who, what = _rows(t, state, hulls, (2.0 + repeats) * reach)
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
        if repeats:
            low[0] = high[0] = 0.0  # or all could move together
        ylow[stay_y] = yhigh[stay_y] = 0.0
        np.minimum(low, high, out=low)
        np.minimum(ylow, yhigh, out=ylow)
        elastic = bool(rows) and float(what[:, 2].min()) < -SLACK
        cols = 2 * n + 1 + elastic
        # rows 0..rows-1: n . (move_j - move_i) (+ s) >= slack - gap; then L - move_i >= x_i + right_i
        per = 4 + elastic + repeats
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
        if repeats:
            # a copy of j that lies t periods behind it moves by t times what the period gains
            index[:, -1], value[:, -1] = 2 * n, what[:, 0] * who[:, 2]
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
        if repeats:
            right[:] = -1e6  # there is no end to reach past
            apart += what[:, 0] * who[:, 2] * state.around[0]
        lower = np.concatenate([apart, state.cx + right])
        upper = np.full(len(lower), highspy.kHighsInf)
        upper[rows:][rides] = lower[rows:][rides]
        cost = np.zeros(cols)
        cost[2 * n] = 1.0
        least = state.around[0] - reach if repeats else 0.0
        col_low = np.concatenate([low, ylow, [least], [0.0] * elastic])
        col_high = np.concatenate([high, yhigh, [highspy.kHighsInf], [highspy.kHighsInf] * elastic])
        if elastic:
            cost[2 * n + 1] = 1e3
        solution = self._run(cols, rows + n, cost, col_low, col_high, lower, upper, starts, all_index, all_value)
        if solution is None:
            return None
        x = np.clip(state.cx + solution[:n], lim[:, XLO], np.maximum(lim[:, XCAP], lim[:, XLO]))
        y = np.clip(state.cy + solution[n : 2 * n], lim[:, YLO], lim[:, YHI])
        if repeats:
            state.around[:] = solution[2 * n], 1.0 / solution[2 * n]
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
