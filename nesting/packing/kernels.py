"""The inner loops of the separation (numba): scores, moves, weights.

An overlap counts ``weight * penetration * sqrt(size_i * size_j)``, summed over the pairs (size: square root of the area). Weights grow on
stubborn pairs and decay elsewhere, which leads the search out of its local minima (guided local search on pair weights: Umetani et
al. 2009, ITOR 16, 661-683; Egeblad, Nielsen, Odgaard 2007, EJOR 183, 1249-1266). ``S`` is a :class:`State`, ``T`` the model's tables, ``F`` its fields.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from nesting.packing.fields import FieldTables
from nesting.packing.model import BDX, BDY, LMIN, LX, LY, PX, PY, XCAP, XLO, XR, YHI, YLO, Tables

__all__ = ["State", "new_state", "put", "refresh", "separate", "uniform"]

Floats = NDArray[np.float64]

#: a pair that penetrates less than this is free (internal units; the exact finish removes the rest)
TOUCH = 0.005
_BIG = 1e300


class State(NamedTuple):
    """Where everything lies. n items, m obstacles; row i of ``pen`` and ``weight``: items, then obstacles."""

    cx: NDArray[np.float64]  # (n,)
    cy: NDArray[np.float64]
    var: NDArray[np.int32]
    group: NDArray[np.int32]  # (g,) state of each group
    ring: NDArray[np.int32]  # (n,) shape, mask and half box of the present variant
    mask: NDArray[np.int64]
    hw: NDArray[np.float64]
    hh: NDArray[np.float64]
    root: NDArray[np.float64]  # (n,) sqrt(size)
    pen: NDArray[np.float64]  # (n, n + m)
    weight: NDArray[np.float64]
    rng: NDArray[np.uint64]  # (1,)


def new_state(tables: Tables, obstacles: int, seed: int) -> State:
    """A state with nothing placed and all weights 1."""
    n = len(tables.i_v0)
    groups = int(tables.i_group.max()) + 1 if n else 0
    return State(
        np.zeros(n), np.zeros(n), tables.i_v0.copy(), np.full(max(1, groups), -1, dtype=np.int32),
        np.zeros(n, dtype=np.int32), np.zeros(n, dtype=np.int64), np.zeros(n), np.zeros(n), np.sqrt(tables.i_size),
        np.zeros((n, n + obstacles)), np.ones((n, n + obstacles)), np.array([seed * 2 + 1], dtype=np.uint64),
    )  # fmt: skip


@njit(cache=True, error_model="numpy")
def uniform(rng: NDArray[np.uint64]) -> float:
    """A random number in [0, 1) (splitmix64: Steele, Lea, Flood 2014)."""
    rng[0] += np.uint64(0x9E3779B97F4A7C15)
    z = rng[0]
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    z = z ^ (z >> np.uint64(31))
    return float(z >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@njit(cache=True, error_model="numpy")
def _on(value: float, low: float, high: float, offset: float, period: float) -> float:
    """The allowed value nearest to ``value``."""
    if period == 0.0:
        return offset
    if period > 0.0:
        k = np.round((value - offset) / period)
        k = min(k, np.floor((high + 1e-7 - offset) / period))
        k = max(k, np.ceil((low - 1e-7 - offset) / period))
        return offset + k * period
    return max(low, min(high, value))


@njit(cache=True, error_model="numpy")
def fit_x(T: Tables, v: int, x: float, length: float) -> float:
    """The allowed x of variant v nearest to x."""
    r = T.v_lim[v]
    return _on(x, r[XLO], min(r[XCAP], length - r[XR]), r[LX], r[PX])


@njit(cache=True, error_model="numpy")
def fit_y(T: Tables, v: int, y: float) -> float:
    """The allowed y of variant v nearest to y."""
    r = T.v_lim[v]
    return _on(y, r[YLO], r[YHI], r[LY], r[PY])


@njit(cache=True, error_model="numpy")
def depth(F: FieldTables, f: int, dx: float, dy: float) -> float:
    """Penetration at displacement (dx, dy): bilinear, then clamped, so that straight edges stay sharp."""
    m = F.meta[f]
    u = (dx - m[0]) * m[2]
    v = (dy - m[1]) * m[3]
    if u < 0.0 or v < 0.0 or u >= m[4] or v >= m[5]:
        return 0.0
    i = int(u)
    j = int(v)
    row = int(m[5]) + 1
    k = int(m[6]) + i * row + j
    u -= i
    v -= j
    a = F.data[k] + v * (F.data[k + 1] - F.data[k])
    b = F.data[k + row] + v * (F.data[k + row + 1] - F.data[k + row])
    value = a + u * (b - a)
    return value if value > 0.0 else 0.0


@njit(cache=True, error_model="numpy")
def score(
    T: Tables, F: FieldTables, S: State, i: int, v: int, x: float, y: float, near: NDArray[np.int64], count: int, limit: float
) -> float:
    """Weighted overlap of item i, as variant v at (x, y), with the items in ``near`` and the obstacles.

    Gives up, with a number of at least ``limit``, as soon as that is reached.
    """
    s = T.v_ring[v]
    a = T.s_hw[s]
    b = T.s_hh[s]
    mask = T.v_mask[v]
    root = S.root[i]
    total = 0.0
    for c in range(count):
        j = near[c]
        dx = x - S.cx[j]
        if abs(dx) >= a + S.hw[j]:
            continue
        dy = y - S.cy[j]
        if abs(dy) >= b + S.hh[j] or j == i or S.mask[j] & mask == 0:
            continue
        q = S.ring[j]
        sign = F.sign[q, s]
        total += S.weight[i, j] * S.root[j] * root * depth(F, F.pair[q, s], sign * dx, sign * dy)
        if total >= limit:
            return total
    n = len(S.cx)
    for o in range(len(T.o_mask)):
        if T.o_mask[o] & mask:
            f = F.body[T.v_body[v], o]
            r = T.v_lim[v]
            total += S.weight[i, n + o] * T.i_size[i] * depth(F, f, x + r[BDX], y + r[BDY])
            if total >= limit:
                return total
    return total


@njit(cache=True, error_model="numpy")
def put(T: Tables, S: State, i: int, v: int, x: float, y: float) -> None:
    """Lay item i as variant v with its centre at (x, y)."""
    S.cx[i] = x
    S.cy[i] = y
    S.var[i] = v
    s = T.v_ring[v]
    S.ring[i] = s
    S.mask[i] = T.v_mask[v]
    S.hw[i] = T.s_hw[s]
    S.hh[i] = T.s_hh[s]


@njit(cache=True, error_model="numpy")
def refresh(T: Tables, F: FieldTables, S: State, i: int) -> None:
    """Recompute row (and column) i of the penetrations."""
    n = len(S.cx)
    s = S.ring[i]
    for j in range(n):
        p = 0.0
        if j != i and S.mask[i] & S.mask[j] and not (T.i_fixed[i] and T.i_fixed[j]):
            dx = S.cx[i] - S.cx[j]
            dy = S.cy[i] - S.cy[j]
            if abs(dx) < S.hw[i] + S.hw[j] and abs(dy) < S.hh[i] + S.hh[j]:
                q = S.ring[j]
                sign = F.sign[q, s]
                p = depth(F, F.pair[q, s], sign * dx, sign * dy)
                if p < TOUCH:
                    p = 0.0
        S.pen[i, j] = p
        S.pen[j, i] = p
    v = S.var[i]
    for o in range(len(T.o_mask)):
        p = 0.0
        if T.o_mask[o] & S.mask[i] and not T.i_fixed[i]:
            p = depth(F, F.body[T.v_body[v], o], S.cx[i] + T.v_lim[v, BDX], S.cy[i] + T.v_lim[v, BDY])
            if p < TOUCH:
                p = 0.0
        S.pen[i, n + o] = p


@njit(cache=True, error_model="numpy")
def _around(S: State, T: Tables, v: int, x: float, y: float, reach: float, near: NDArray[np.int64]) -> int:
    s = T.v_ring[v]
    a = T.s_hw[s] + reach
    b = T.s_hh[s] + reach
    count = 0
    for j in range(len(S.cx)):
        if abs(S.cx[j] - x) < a + S.hw[j] and abs(S.cy[j] - y) < b + S.hh[j]:
            near[count] = j
            count += 1
    return count


@njit(cache=True, error_model="numpy")
def _descend(
    T: Tables, F: FieldTables, S: State, i: int, v: int, x: float, y: float, value: float, length: float,
    first: float, last: float, near: NDArray[np.int64], found: Floats,
) -> None:
    """Pattern search from (x, y); leaves x, y and the score in ``found``."""
    reach = 4.0 * first
    count = _around(S, T, v, x, y, reach, near)
    x0, y0 = x, y
    step = first
    px, py = T.v_lim[v, PX], T.v_lim[v, PY]
    while step > last and value > 0.0:
        way = uniform(S.rng)
        sx = step
        sy = step
        if way < 0.25:
            sy = 0.0
        elif way < 0.5:
            sx = 0.0
        elif way < 0.75:
            sy = -step
        if px > 0.0 and sx != 0.0:
            sx = max(sx, px)
        if py > 0.0 and sy != 0.0:
            sy = max(sy, py) if sy > 0.0 else min(sy, -py)
        better = False
        for side in range(2):
            sign = 1.0 - 2.0 * side
            nx = fit_x(T, v, x + sign * sx, length)
            ny = fit_y(T, v, y + sign * sy)
            if abs(nx - x0) > reach or abs(ny - y0) > reach:
                continue
            new = score(T, F, S, i, v, nx, ny, near, count, value)
            if new < value:
                value = new
                x = nx
                y = ny
                better = True
                break
        step *= 1.1 if better else 0.5
    found[0] = x
    found[1] = y
    found[2] = value


@njit(cache=True, error_model="numpy")
def _allowed(T: Tables, S: State, i: int, v: int, length: float) -> bool:
    if T.v_lim[v, LMIN] > length + 1e-9:
        return False
    g = T.i_group[i]
    return g < 0 or T.v_state[v] < 0 or S.group[g] < 0 or T.v_state[v] == S.group[g]


@njit(cache=True, error_model="numpy")
def best_move(
    T: Tables, F: FieldTables, S: State, i: int, length: float, whole: int, local: int, contact: int, present: bool,
    everyone: NDArray[np.int64], near: NDArray[np.int64], found: Floats,
) -> None:
    """The best place for item i that sampling and descent find: variant, x, y, score in ``found``.

    Samples per variant: ``whole`` over all the cloth, ``local`` around the present place, ``contact`` at vertices of no-fit regions.
    """
    n = len(S.cx)
    keep = 3
    top = np.full((keep, 4), _BIG)
    size = T.i_size[i]
    now = S.var[i]
    if present:
        value = score(T, F, S, i, now, S.cx[i], S.cy[i], everyone, n, _BIG)
        top[0, 0] = value
        top[0, 1] = now
        top[0, 2] = S.cx[i]
        top[0, 3] = S.cy[i]
    v0, v1 = T.i_v0[i], T.i_v1[i]
    choices = v1 - v0
    tries = min(choices, 4)
    for t in range(tries):
        v = v0 + t
        if choices > 4:
            v = now if t == 0 else v0 + int(uniform(S.rng) * choices)
        if not _allowed(T, S, i, v, length):
            continue
        r = T.v_lim[v]
        xlo, xhi = r[XLO], min(r[XCAP], length - r[XR])
        ylo, yhi = r[YLO], r[YHI]
        for k in range(whole + local + contact):
            if k < whole:
                x = xlo + uniform(S.rng) * (xhi - xlo)
                y = ylo + uniform(S.rng) * (yhi - ylo)
            elif k < whole + local:
                x = S.cx[i] + (uniform(S.rng) * 1.2 - 0.6) * size
                y = S.cy[i] + (uniform(S.rng) * 1.2 - 0.6) * size
            else:
                j = int(uniform(S.rng) * n)
                if j == i:
                    continue
                q = S.ring[j]
                s = T.v_ring[v]
                if S.mask[j] & T.v_mask[v] == 0:
                    continue
                f = F.pair[q, s]
                c0, c1 = F.corner[f, 0], F.corner[f, 1]
                c = c0 + int(uniform(S.rng) * (c1 - c0))
                x = S.cx[j] + F.sign[q, s] * F.corners[c, 0]
                y = S.cy[j] + F.sign[q, s] * F.corners[c, 1]
            x = fit_x(T, v, x, length)
            y = fit_y(T, v, y)
            value = score(T, F, S, i, v, x, y, everyone, n, top[keep - 1, 0])
            if value >= top[keep - 1, 0]:
                continue
            # a better sample near a kept one takes its place
            slot = keep - 1
            for c in range(keep):
                if top[c, 1] == v and abs(top[c, 2] - x) + abs(top[c, 3] - y) < 0.1 * size:
                    slot = c
                    break
            if value >= top[slot, 0]:
                continue
            while slot > 0 and top[slot - 1, 0] > value:
                for c in range(4):
                    top[slot, c] = top[slot - 1, c]
                slot -= 1
            top[slot, 0] = value
            top[slot, 1] = v
            top[slot, 2] = x
            top[slot, 3] = y
    best = 0
    for c in range(keep):
        if top[c, 0] >= _BIG:
            continue
        _descend(T, F, S, i, int(top[c, 1]), top[c, 2], top[c, 3], top[c, 0], length, 0.15 * size, 0.01 * size, near, found)
        top[c, 2], top[c, 3], top[c, 0] = found[0], found[1], found[2]
        if top[c, 0] < top[best, 0]:
            best = c
    if top[best, 0] < _BIG:
        _descend(T, F, S, i, int(top[best, 1]), top[best, 2], top[best, 3], top[best, 0], length,
                 0.01 * size, 0.0003 * size, near, found)  # fmt: skip
        found[3] = top[best, 1]
    else:
        found[2] = _BIG


@njit(cache=True, error_model="numpy")
def separate(
    T: Tables, F: FieldTables, S: State, length: float, passes: int, patience: int, control: Floats,
    best_x: Floats, best_y: Floats, best_v: NDArray[np.int32],
) -> int:
    """Up to ``passes`` passes over the items that overlap; the layout of least overlap is kept in ``best_*``.

    ``control``: [least overlap so far, passes since it fell by 2 %, moves made, reference]. Start with [big, 0, 0, big].
    Returns 1 if free of overlap, 2 if ``patience`` passes brought nothing, else 0.
    """
    n = len(S.cx)
    everyone = np.arange(n)
    near = np.empty(n, dtype=np.int64)
    found = np.zeros(4)
    order = np.empty(n, dtype=np.int64)
    width = S.pen.shape[1]
    for i in range(n):
        refresh(T, F, S, i)
    for _ in range(passes + 1):
        total = 0.0
        highest = 0.0
        count = 0
        for i in range(n):
            bad = False
            for j in range(width):
                p = S.pen[i, j]
                if p > 0.0:
                    bad = True
                    highest = max(highest, p)
                    if j >= n:
                        total += p * T.i_size[i]
                    elif j > i:
                        total += p * S.root[i] * S.root[j]
            if bad and not T.i_fixed[i]:
                order[count] = i
                count += 1
        if total < control[0]:
            control[0] = total
            best_x[:] = S.cx
            best_y[:] = S.cy
            best_v[:] = S.var
        if total < 0.98 * control[3]:
            control[3] = total
            control[1] = 0.0
        else:
            control[1] += 1.0
        if total == 0.0:
            return 1
        if control[1] > patience:
            return 2
        for i in range(n):
            for j in range(width):
                p = S.pen[i, j]
                if p > 0.0:
                    S.weight[i, j] *= 1.05 + 0.15 * p / highest
                else:
                    S.weight[i, j] = max(1.0, S.weight[i, j] * 0.97)
        for k in range(count - 1, 0, -1):
            c = int(uniform(S.rng) * (k + 1))
            order[k], order[c] = order[c], order[k]
        for k in range(count):
            i = order[k]
            bad = False
            for j in range(width):
                if S.pen[i, j] > 0.0:
                    bad = True
                    break
            if not bad:
                continue
            before = score(T, F, S, i, S.var[i], S.cx[i], S.cy[i], everyone, n, _BIG)
            best_move(T, F, S, i, length, 6, 6, 3, True, everyone, near, found)
            if found[2] < before:
                put(T, S, i, int(found[3]), found[0], found[1])
                refresh(T, F, S, i)
                control[2] += 1.0
    return 0
