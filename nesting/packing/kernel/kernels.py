"""The inner loops of the separation (numba): scores, moves, weights.

An overlap counts ``weight * penetration * sqrt(size_i * size_j)``, summed over the pairs (size: square root of the
area). Weights grow on stubborn pairs and decay elsewhere, which leads the search out of its local minima (guided
local search on pair weights: Umetani et al. 2009, ITOR 16, 661-683; Egeblad, Nielsen, Odgaard 2007, EJOR 183,
1249-1266). ``S`` is a :class:`State`, ``T`` the model's tables, ``F`` its fields.

What is called for every sample gets few arrays and plain numbers: passing all tables costs more than the sums.

A layout may repeat itself along x (``State.around``): then every item stands for copies of it one period apart, and
what two items have to do with each other is what the nearest copies have. A period is at least one and a half longest
items.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from nesting.packing.kernel.arrays import BDX, BDY, LMIN, LX, LY, PX, PY, XCAP, XLO, XR, YHI, YLO, Tables
from nesting.packing.kernel.fields import FieldTables

__all__ = [
    "CX", "CY", "HH", "HW", "RING", "ROOT", "State", "fit_x", "fit_y", "new_state", "on_lattice", "put", "separate",
    "uniform",
]  # fmt: skip

Floats = NDArray[np.float64]

#: a pair that penetrates less than this is free (internal units; the exact finish removes the rest)
TOUCH = 0.005
_BIG = 1e300
# columns of State.at: centre, half box, square root of the size, number of the ring's shape
CX, CY, HW, HH, ROOT, RING = range(6)


class State(NamedTuple):
    """Where everything lies. n items, m obstacles; row i of ``pen`` and ``weight``: items, then obstacles."""

    at: NDArray[np.float64]  # (n, 6)
    mask: NDArray[np.int64]  # (n,) plies of the present variant
    var: NDArray[np.int32]  # (n,)
    group: NDArray[np.int32]  # (g,) state of each group
    pen: NDArray[np.float64]  # (n, n + m)
    weight: NDArray[np.float64]
    rng: NDArray[np.uint64]  # (1,)
    around: NDArray[np.float64]  # (2,) the period at which the layout repeats itself and 1 / period; zeros: it does not

    @property
    def cx(self) -> NDArray[np.float64]:
        """x of the centres (a view)."""
        return self.at[:, CX]

    @property
    def cy(self) -> NDArray[np.float64]:
        """y of the centres (a view)."""
        return self.at[:, CY]


def new_state(tables: Tables, obstacles: int, seed: int) -> State:
    """A state with nothing placed and all weights 1."""
    n = len(tables.i_v0)
    groups = int(tables.i_group.max()) + 1 if n else 0
    at = np.zeros((n, 6))
    at[:, ROOT] = np.sqrt(tables.i_size)
    return State(
        at, np.zeros(n, dtype=np.int64), tables.i_v0.copy(), np.full(max(1, groups), -1, dtype=np.int32),
        np.zeros((n, n + obstacles)), np.ones((n, n + obstacles)), np.array([seed * 2 + 1], dtype=np.uint64),
        np.zeros(2),
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
def on_lattice(value: float, low: float, high: float, offset: float, period: float) -> float:
    """The allowed value nearest to ``value``."""
    if period < 0.0:
        return max(low, min(high, value))
    if period == 0.0:
        return offset
    k = np.round((value - offset) / period)
    k = min(k, np.floor((high + 1e-7 - offset) / period))
    k = max(k, np.ceil((low - 1e-7 - offset) / period))
    return offset + k * period  # type: ignore[no-any-return]


@njit(cache=True, error_model="numpy")
def fit_x(T: Tables, v: int, x: float, length: float) -> float:
    """The allowed x of variant v nearest to x."""
    r = T.v_lim[v]
    return on_lattice(x, r[XLO], min(r[XCAP], length - r[XR]), r[LX], r[PX])


@njit(cache=True, error_model="numpy")
def fit_y(T: Tables, v: int, y: float) -> float:
    """The allowed y of variant v nearest to y."""
    r = T.v_lim[v]
    return on_lattice(y, r[YLO], r[YHI], r[LY], r[PY])


@njit(cache=True, error_model="numpy", inline="always")
def _between(data: NDArray[np.float32], begin: int, u: float, v: float, lines: float) -> float:
    """The value at (u, v), in cells, of the grid that begins at ``begin`` and has ``lines`` cells in a column.

    Bilinear, then clamped, so that straight edges stay sharp.
    """
    i = int(u)
    j = int(v)
    row = int(lines) + 1
    k = begin + i * row + j
    u -= i
    v -= j
    a = data[k] + v * (data[k + 1] - data[k])
    b = data[k + row] + v * (data[k + row + 1] - data[k + row])
    value = a + u * (b - a)
    return value if value > 0.0 else 0.0


@njit(cache=True, error_model="numpy")
def depth(meta: Floats, data: NDArray[np.float32], f: int, dx: float, dy: float) -> float:
    """Penetration at displacement (dx, dy)."""
    u = (dx - meta[f, 0]) * meta[f, 2]
    v = (dy - meta[f, 1]) * meta[f, 3]
    if u < 0.0 or v < 0.0 or u >= meta[f, 4] or v >= meta[f, 5]:
        return 0.0
    return _between(data, int(meta[f, 6]), u, v, meta[f, 5])


@njit(cache=True, error_model="numpy", inline="always")
def score(
    at: Floats, mask: NDArray[np.int64], weight: Floats, pair: NDArray[np.int32], meta: Floats,
    data: NDArray[np.float32], i: int, s: int, plies: int, hw: float, hh: float, x: float, y: float,
    near: NDArray[np.int64], begin: int, end: int, limit: float, period: float = 0.0, inverse: float = 0.0,
) -> float:  # fmt: skip
    """Weighted overlap of item i, as shape s at (x, y), with the items ``near[begin:end]``; ``hw, hh``: its half box;
    ``period, inverse``: as in ``State.around``.

    Gives up, with a number of at least ``limit``, as soon as that is reached.
    """
    limit /= at[i, ROOT]
    total = 0.0
    for c in range(begin, end):
        j = near[c]
        dx = x - at[j, CX]
        dx -= period * np.rint(dx * inverse)
        dy = y - at[j, CY]
        # one branch that is nearly always taken, rather than two that cannot be foretold
        if min(hw + at[j, HW] - abs(dx), hh + at[j, HH] - abs(dy)) <= 0.0:
            continue
        if j == i or mask[j] & plies == 0:
            continue
        f = pair[int(at[j, RING]), s]
        if f & 1:
            dx = -dx
            dy = -dy
        p = depth(meta, data, f >> 1, dx, dy)
        if p > 0.0:
            total += weight[i, j] * at[j, ROOT] * p
            if total >= limit:
                break
    return total * at[i, ROOT]  # type: ignore[no-any-return]


@njit(cache=True, error_model="numpy")
def _on_obstacles(T: Tables, F: FieldTables, S: State, i: int, v: int, x: float, y: float) -> float:
    n = len(S.at)
    total = 0.0
    for o in range(len(T.o_mask)):
        if T.o_mask[o] & T.v_mask[v]:
            f = F.body[T.v_body[v], o]
            p = depth(F.meta, F.data, f, x + T.v_lim[v, BDX], y + T.v_lim[v, BDY])
            total += S.weight[i, n + o] * T.i_size[i] * p
    return total


@njit(cache=True, error_model="numpy")
def put(T: Tables, S: State, i: int, v: int, x: float, y: float) -> None:
    """Lay item i as variant v with its centre at (x, y)."""
    s = T.v_ring[v]
    S.var[i] = v
    S.mask[i] = T.v_mask[v]
    S.at[i, CX] = x
    S.at[i, CY] = y
    S.at[i, HW] = T.s_hw[s]
    S.at[i, HH] = T.s_hh[s]
    S.at[i, RING] = s


@njit(cache=True, error_model="numpy")
def _refresh(T: Tables, F: FieldTables, S: State, i: int) -> None:
    """Recompute row (and column) i of the penetrations."""
    n = len(S.at)
    s = int(S.at[i, RING])
    for j in range(n):
        p = 0.0
        if j != i and S.mask[i] & S.mask[j] and (T.i_fixed[i] == 0 or T.i_fixed[i] != T.i_fixed[j]):
            dx = S.at[i, CX] - S.at[j, CX]
            dx -= S.around[0] * np.rint(dx * S.around[1])
            dy = S.at[i, CY] - S.at[j, CY]
            if abs(dx) < S.at[i, HW] + S.at[j, HW] and abs(dy) < S.at[i, HH] + S.at[j, HH]:
                f = F.pair[int(S.at[j, RING]), s]
                sign = -1.0 if f & 1 else 1.0
                p = depth(F.meta, F.data, f >> 1, sign * dx, sign * dy)
                if p < TOUCH:
                    p = 0.0
        S.pen[i, j] = p
        S.pen[j, i] = p
    v = S.var[i]
    for o in range(len(T.o_mask)):
        p = 0.0
        if T.o_mask[o] & S.mask[i] and not T.i_fixed[i]:
            f = F.body[T.v_body[v], o]
            p = depth(F.meta, F.data, f, S.at[i, CX] + T.v_lim[v, BDX], S.at[i, CY] + T.v_lim[v, BDY])
            if p < TOUCH:
                p = 0.0
        S.pen[i, n + o] = p


@njit(cache=True, error_model="numpy", inline="always")
def _within(x: float, period: float, inverse: float) -> float:
    """The same place, of a layout that repeats itself, in the first period; else x as it is."""
    return x - period * np.floor(x * inverse)  # type: ignore[no-any-return]


@njit(cache=True, error_model="numpy")
def _sort(
    at: Floats, order: NDArray[np.int64], heads: NDArray[np.int64], grid: Floats, period: float = 0.0,
    inverse: float = 0.0,
) -> None:  # fmt: skip
    """Items by columns of equal width: column c holds ``order[heads[c]:heads[c + 1]]``.

    ``grid``: [columns per unit length (given), the widest half box]. Where the layout repeats itself the columns of a
    period are listed twice, one after the other, and a whole number of them makes the period.
    """
    n = len(at)
    columns = len(heads) - 1
    if period > 0.0:
        columns //= 2
    heads[:] = 0
    widest = 0.0
    for i in range(n):
        c = min(columns - 1, max(0, int(_within(at[i, CX], period, inverse) * grid[0])))
        heads[c + 1] += 1
        widest = max(widest, at[i, HW])
    for c in range(columns):
        heads[c + 1] += heads[c]
    for i in range(n - 1, -1, -1):
        c = min(columns - 1, max(0, int(_within(at[i, CX], period, inverse) * grid[0])))
        # the heads move back while they are filled, and end where the next column's began
        heads[c + 1] -= 1
        order[heads[c + 1]] = i
    for c in range(columns):
        heads[c] = heads[c + 1]
    heads[columns] = n
    if period > 0.0:
        order[n : 2 * n] = order[:n]
        for c in range(1, columns + 1):
            heads[columns + c] = heads[c] + n
    grid[1] = widest


@njit(cache=True, error_model="numpy")
def _reach(heads: NDArray[np.int64], grid: Floats, x: float, half: float, period: float = 0.0) -> tuple[int, int]:
    """The range in the sorted order of all items that a box of this half width at x may meet."""
    columns = len(heads) - 1
    reach = half + grid[1]
    if period > 0.0:
        columns //= 2
        first = int(np.floor((x - reach) * grid[0]))
        count = int(np.floor((x + reach) * grid[0])) - first + 1
        if count >= columns:
            return heads[0], heads[columns]
        first %= columns
        return heads[first], heads[first + count]
    left = min(columns - 1, max(0, int((x - reach) * grid[0])))
    right = min(columns - 1, max(0, int((x + reach) * grid[0])))
    return heads[left], heads[right + 1]


@njit(cache=True, error_model="numpy")
def _gather(
    T: Tables, F: FieldTables, S: State, i: int, v: int, x: float, y: float, reach: float,
    order: NDArray[np.int64], begin: int, end: int, close: Floats,
) -> int:  # fmt: skip
    """What item i, as variant v, may meet within ``reach`` of (x, y), of the items ``order[begin:end]`` and obstacles.

    Fills one row of ``close`` for each: a, b, nx, c, d, ny, offset of its field's grid, weight. The item's centre
    (x, y) lies in the field at column a x + b and line c y + d. Returns how many there are.
    """
    n = len(S.at)
    s = T.v_ring[v]
    plies = T.v_mask[v]
    hw, hh = T.s_hw[s] + reach, T.s_hh[s] + reach
    root = S.at[i, ROOT]
    count = 0
    for c in range(begin, end):
        j = order[c]
        there = S.at[j, CX]
        there += S.around[0] * np.rint((x - there) * S.around[1])
        if min(hw + S.at[j, HW] - abs(there - x), hh + S.at[j, HH] - abs(S.at[j, CY] - y)) <= 0.0:
            continue
        if j == i or S.mask[j] & plies == 0:
            continue
        f = F.pair[int(S.at[j, RING]), s]
        sign = -1.0 if f & 1 else 1.0
        _row(close, count, F.meta, f >> 1, sign, there, S.at[j, CY], S.weight[i, j] * S.at[j, ROOT] * root)
        count += 1
    for o in range(len(T.o_mask)):
        if T.o_mask[o] & plies:
            f = F.body[T.v_body[v], o]
            _row(close, count, F.meta, f, 1.0, -T.v_lim[v, BDX], -T.v_lim[v, BDY], S.weight[i, n + o] * T.i_size[i])
            count += 1
    return count


@njit(cache=True, error_model="numpy")
def _row(close: Floats, k: int, meta: Floats, f: int, sign: float, x: float, y: float, weight: float) -> None:
    close[k, 0] = sign * meta[f, 2]
    close[k, 1] = (-sign * x - meta[f, 0]) * meta[f, 2]
    close[k, 2] = meta[f, 4]
    close[k, 3] = sign * meta[f, 3]
    close[k, 4] = (-sign * y - meta[f, 1]) * meta[f, 3]
    close[k, 5] = meta[f, 5]
    close[k, 6] = meta[f, 6]
    close[k, 7] = weight


@njit(cache=True, error_model="numpy", inline="always")
def _score_close(close: Floats, count: int, data: NDArray[np.float32], x: float, y: float, limit: float) -> float:
    """What ``score`` says, of what ``_gather`` found. Gives up as soon as ``limit`` is reached."""
    total = 0.0
    for k in range(count):
        u = x * close[k, 0] + close[k, 1]
        if not 0.0 <= u < close[k, 2]:
            continue
        v = y * close[k, 3] + close[k, 4]
        if not 0.0 <= v < close[k, 5]:
            continue
        value = _between(data, int(close[k, 6]), u, v, close[k, 5])
        if value > 0.0:
            total += close[k, 7] * value
            if total >= limit:
                break
    return total


@njit(cache=True, error_model="numpy")
def _descend(
    T: Tables, F: FieldTables, S: State, i: int, v: int, x: float, y: float, value: float, length: float,
    first: float, last: float, order: NDArray[np.int64], heads: NDArray[np.int64], grid: Floats,
    close: Floats, found: Floats,
) -> None:  # fmt: skip
    """Pattern search from (x, y); leaves x, y and the score in ``found``. ``close`` is room for what is near."""
    reach = 4.0 * first
    begin, end = _reach(heads, grid, x, T.s_hw[T.v_ring[v]] + reach, S.around[0])
    count = _gather(T, F, S, i, v, x, y, reach, order, begin, end, close)
    r = T.v_lim[v]
    xlo, xhi, ylo, yhi = r[XLO], min(r[XCAP], length - r[XR]), r[YLO], r[YHI]
    lx, px, ly, py = r[LX], r[PX], r[LY], r[PY]
    x0, y0 = x, y
    step = first
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
            nx = on_lattice(x + sx if side == 0 else x - sx, xlo, xhi, lx, px)
            ny = on_lattice(y + sy if side == 0 else y - sy, ylo, yhi, ly, py)
            if abs(nx - x0) > reach or abs(ny - y0) > reach:
                continue
            new = _score_close(close, count, F.data, nx, ny, value)
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
    return bool(g < 0 or T.v_state[v] < 0 or S.group[g] < 0 or T.v_state[v] == S.group[g])


# long: one compiled loop; what it shares would have to be handed on in every step
@njit(cache=True, error_model="numpy")
def _best_move(
    T: Tables, F: FieldTables, S: State, i: int, length: float, samples: NDArray[np.int64],
    order: NDArray[np.int64], heads: NDArray[np.int64], grid: Floats, close: Floats, found: Floats,
) -> float:  # fmt: skip
    """The best place for item i that sampling and descent find; returns its present score.

    ``found``: x, y, score, variant. ``samples`` per variant: over all the cloth, around the present place, at vertices
    of no-fit regions.
    """
    n = len(S.at)
    whole, local, contact = samples[0], samples[1], samples[2]
    keep = 3
    top = np.full((keep, 4), _BIG)
    size = T.i_size[i]
    now = S.var[i]
    obstacles = len(T.o_mask) > 0
    s = T.v_ring[now]
    here_x, here_y = S.at[i, CX], S.at[i, CY]
    period, inverse = S.around[0], S.around[1]
    begin, end = _reach(heads, grid, here_x, T.s_hw[s], period)
    present = score(S.at, S.mask, S.weight, F.pair, F.meta, F.data, i, s, T.v_mask[now], T.s_hw[s], T.s_hh[s],
                    here_x, here_y, order, begin, end, _BIG, period, inverse)  # fmt: skip
    if obstacles:
        present += _on_obstacles(T, F, S, i, now, here_x, here_y)
    if _allowed(T, S, i, now, length):
        top[0, 0] = present
        top[0, 1] = now
        top[0, 2] = here_x
        top[0, 3] = here_y
    v0, v1 = T.i_v0[i], T.i_v1[i]
    choices = v1 - v0
    for t in range(min(choices, 4)):
        v = v0 + t
        if choices > 4:
            v = now if t == 0 else v0 + int(uniform(S.rng) * choices)
        if not _allowed(T, S, i, v, length):
            continue
        s = T.v_ring[v]
        hw, hh, plies = T.s_hw[s], T.s_hh[s], T.v_mask[v]
        r = T.v_lim[v]
        xlo, xhi, ylo, yhi = r[XLO], min(r[XCAP], length - r[XR]), r[YLO], r[YHI]
        for k in range(whole + local + contact):
            if k < whole:
                x = xlo + uniform(S.rng) * (xhi - xlo)
                y = ylo + uniform(S.rng) * (yhi - ylo)
            elif k < whole + local:
                x = here_x + (uniform(S.rng) * 1.2 - 0.6) * size
                y = here_y + (uniform(S.rng) * 1.2 - 0.6) * size
            else:
                j = int(uniform(S.rng) * n)
                if j == i or S.mask[j] & plies == 0:
                    continue
                f = F.pair[int(S.at[j, RING]), s]
                c0, c1 = F.corner[f >> 1, 0], F.corner[f >> 1, 1]
                c = c0 + int(uniform(S.rng) * (c1 - c0))
                sign = -1.0 if f & 1 else 1.0
                x = S.at[j, CX] + sign * F.corners[c, 0]
                y = S.at[j, CY] + sign * F.corners[c, 1]
            x = on_lattice(_within(x, period, inverse), xlo, xhi, r[LX], r[PX])
            y = on_lattice(y, ylo, yhi, r[LY], r[PY])
            limit = top[keep - 1, 0]
            value = 0.0
            if obstacles:
                value = _on_obstacles(T, F, S, i, v, x, y)
            if value < limit:
                begin, end = _reach(heads, grid, x, hw, period)
                value += score(S.at, S.mask, S.weight, F.pair, F.meta, F.data, i, s, plies, hw, hh, x, y,
                               order, begin, end, limit - value, period, inverse)  # fmt: skip
            if value >= limit:
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
        _descend(T, F, S, i, int(top[c, 1]), top[c, 2], top[c, 3], top[c, 0], length,
                 0.15 * size, 0.01 * size, order, heads, grid, close, found)  # fmt: skip
        top[c, 2], top[c, 3], top[c, 0] = found[0], found[1], found[2]
        if top[c, 0] < top[best, 0]:
            best = c
    found[2] = _BIG
    if top[best, 0] < _BIG:
        _descend(T, F, S, i, int(top[best, 1]), top[best, 2], top[best, 3], top[best, 0], length,
                 0.01 * size, 0.0003 * size, order, heads, grid, close, found)  # fmt: skip
        found[3] = top[best, 1]
    return present


@njit(cache=True, error_model="numpy")
def _whole_score(
    T: Tables, F: FieldTables, S: State, i: int, order: NDArray[np.int64], heads: NDArray[np.int64], grid: Floats
) -> float:
    begin, end = _reach(heads, grid, S.at[i, CX], S.at[i, HW], S.around[0])
    s = int(S.at[i, RING])
    total = score(S.at, S.mask, S.weight, F.pair, F.meta, F.data, i, s, S.mask[i], S.at[i, HW], S.at[i, HH],
                  S.at[i, CX], S.at[i, CY], order, begin, end, _BIG, S.around[0], S.around[1])  # fmt: skip
    if len(T.o_mask) > 0:
        total += _on_obstacles(T, F, S, i, S.var[i], S.at[i, CX], S.at[i, CY])
    return total


@njit(cache=True, error_model="numpy")
def _exchange(
    T: Tables, F: FieldTables, S: State, i: int, length: float, order: NDArray[np.int64], heads: NDArray[np.int64],
    grid: Floats, close: Floats, found: Floats, samples: NDArray[np.int64],
) -> bool:  # fmt: skip
    """Try item i at the place of another of about its size, and that one at the place of i; keep it if it is better."""
    n = len(S.at)
    j = -1
    for _ in range(8):
        c = int(uniform(S.rng) * n)
        ratio = T.i_size[c] / T.i_size[i]
        if c != i and not T.i_fixed[c] and T.i_kind[c] != T.i_kind[i] and 0.6 < ratio < 1.7:
            j = c
            break
    if j < 0:
        return False
    xi, yi, vi = S.at[i, CX], S.at[i, CY], S.var[i]
    xj, yj, vj = S.at[j, CX], S.at[j, CY], S.var[j]
    shared = S.weight[i, j] * S.at[i, ROOT] * S.at[j, ROOT] * S.pen[i, j]
    before = _whole_score(T, F, S, i, order, heads, grid) + _whole_score(T, F, S, j, order, heads, grid) - shared
    S.mask[j] = 0
    put(T, S, i, vi, fit_x(T, vi, xj, length), fit_y(T, vi, yj))
    _best_move(T, F, S, i, length, samples[1], order, heads, grid, close, found)
    after = found[2]
    ok = after < before
    if ok:
        put(T, S, i, int(found[3]), _within(found[0], S.around[0], S.around[1]), found[1])
        put(T, S, j, vj, fit_x(T, vj, xi, length), fit_y(T, vj, yi))
        _sort(S.at, order, heads, grid, S.around[0], S.around[1])
        _best_move(T, F, S, j, length, samples[2], order, heads, grid, close, found)
        after += found[2]
        ok = after < before
    if ok:
        put(T, S, j, int(found[3]), _within(found[0], S.around[0], S.around[1]), found[1])
        _refresh(T, F, S, i)
        _refresh(T, F, S, j)
    else:
        put(T, S, i, vi, xi, yi)
        put(T, S, j, vj, xj, yj)
    _sort(S.at, order, heads, grid, S.around[0], S.around[1])
    return bool(ok)


# long: one compiled loop; what it shares would have to be handed on in every step
@njit(cache=True, error_model="numpy")
def separate(
    T: Tables, F: FieldTables, S: State, length: float, passes: int, patience: int, control: Floats,
    best_x: Floats, best_y: Floats, best_v: NDArray[np.int32],
) -> int:  # fmt: skip
    """Up to ``passes`` passes over the items that overlap; the layout of least overlap is kept in ``best_*``.

    ``control``: [least overlap so far, passes since it fell by 2 %, moves made, reference, samples over all the cloth,
    samples around, samples at contacts, share of exchanges]; start with [big, 0, 0, big, ...]. Returns 1 if free of
    overlap, 2 if ``patience`` passes brought nothing, else 0.
    """
    n = len(S.at)
    # columns about as wide as a piece
    grid = np.array([1.0 / max(1e-9, float(np.mean(T.i_size))), 0.0])
    columns = min(4 * n, int(length * grid[0]) + 1)
    if S.around[0] > 0.0:
        grid[0] = columns * S.around[1]
        columns *= 2
    heads = np.zeros(columns + 1, dtype=np.int64)
    order = np.empty(2 * n, dtype=np.int64)
    _sort(S.at, order, heads, grid, S.around[0], S.around[1])
    close = np.empty((n + len(T.o_mask), 8))
    found = np.zeros(4)
    turn = np.empty(n, dtype=np.int64)
    width = S.pen.shape[1]
    # of a move; of an exchange: the item at the other's place, then the other at its place. An array, as numba compiles
    # a function anew for every number written out in a call
    samples = np.array([[int(control[4]), int(control[5]), int(control[6])], [0, 6, 3], [3, 6, 3]])
    for i in range(n):
        _refresh(T, F, S, i)
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
                        total += p * S.at[i, ROOT] * S.at[j, ROOT]
            if bad and not T.i_fixed[i]:
                turn[count] = i
                count += 1
        if total < control[0]:
            control[0] = total
            best_x[:] = S.at[:, CX]
            best_y[:] = S.at[:, CY]
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
            turn[k], turn[c] = turn[c], turn[k]
        for k in range(count):
            i = turn[k]
            bad = False
            for j in range(width):
                if S.pen[i, j] > 0.0:
                    bad = True
                    break
            if not bad:
                continue
            if control[7] > 0.0 and uniform(S.rng) < control[7]:
                _exchange(T, F, S, i, length, order, heads, grid, close, found, samples)
                continue
            before = _best_move(T, F, S, i, length, samples[0], order, heads, grid, close, found)
            if found[2] < before:
                put(T, S, i, int(found[3]), _within(found[0], S.around[0], S.around[1]), found[1])
                _sort(S.at, order, heads, grid, S.around[0], S.around[1])
                _refresh(T, F, S, i)
                control[2] += 1.0
    return 0
