"""Penetration fields of pairs of shapes (numba).

For shapes A and B the *no-fit region* is the set of displacements d = (place of B) - (place of A) at which their
interiors meet: the Minkowski sum of A and -B (Bennell, Oliveira 2008, EJOR 184, 397-415). With A and B tiled by convex
parts it is the union of the sums of all pairs of parts. Its boundary consists of those pieces of the sums' edges that
lie in the interior of no other sum; taking the interiors open keeps exact-fit slits and single points, which a closed
union would lose.

The *field* of the pair is the signed distance to that boundary, positive inside, sampled at the nodes of a grid over
the region's bounding box: how far one shape must move to be free of the other (the raster idea: Sato, Martins, Tsuzuki
2019, Computers & Operations Research).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["boundary", "field", "sums"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@njit(cache=True, error_model="numpy", nogil=True)
def _lowest(x: Floats, y: Floats, start: int, end: int) -> int:
    best = start
    for k in range(start + 1, end):
        if y[k] < y[best] or (y[k] == y[best] and x[k] < x[best]):
            best = k
    return best


@njit(cache=True, error_model="numpy", nogil=True)
def sums(ax: Floats, ay: Floats, apart: Ints, bx: Floats, by: Floats, bpart: Ints) -> tuple[Floats, Floats, Ints]:
    """Convex Minkowski sums of every part of A with every part of -B.

    Parts are anticlockwise; ``apart`` (p + 1,) holds the first vertex of each part and the end. Returns vertices and
    the sums' starts.
    """
    pa, pb = len(apart) - 1, len(bpart) - 1
    room = 0
    for p in range(pa):
        for q in range(pb):
            room += apart[p + 1] - apart[p] + bpart[q + 1] - bpart[q]
    ox = np.empty(room)
    oy = np.empty(room)
    start = np.zeros(pa * pb + 1, dtype=np.int64)
    nx = -bx
    ny = -by
    n = 0
    k = 0
    for p in range(pa):
        a0, a1 = apart[p], apart[p + 1]
        na = a1 - a0
        ia0 = _lowest(ax, ay, a0, a1) - a0
        for q in range(pb):
            b0, b1 = bpart[q], bpart[q + 1]
            nb = b1 - b0
            ib0 = _lowest(nx, ny, b0, b1) - b0
            i = 0
            j = 0
            while i < na or j < nb:
                i0 = a0 + (ia0 + i) % na
                i1 = a0 + (ia0 + i + 1) % na
                j0 = b0 + (ib0 + j) % nb
                j1 = b0 + (ib0 + j + 1) % nb
                ox[n] = ax[i0] + nx[j0]
                oy[n] = ay[i0] + ny[j0]
                n += 1
                cross = (ax[i1] - ax[i0]) * (ny[j1] - ny[j0]) - (ay[i1] - ay[i0]) * (nx[j1] - nx[j0])
                if j >= nb:
                    i += 1
                elif i >= na:
                    j += 1
                elif cross > 0.0:
                    i += 1
                elif cross < 0.0:
                    j += 1
                else:
                    i += 1
                    j += 1
            k += 1
            start[k] = n
    return ox[:n].copy(), oy[:n].copy(), start


# long: one compiled loop; what it shares would have to be handed on in every step
@njit(cache=True, error_model="numpy", nogil=True)
def boundary(px: Floats, py: Floats, start: Ints, eps: float) -> Floats:
    """Segments (m, 4) of the polygons' edges that lie in the open interior (by more than ``eps``) of no polygon."""
    count = len(start) - 1
    box = np.empty((count, 4))
    for k in range(count):
        x0 = px[start[k]]
        x1 = x0
        y0 = py[start[k]]
        y1 = y0
        for v in range(start[k], start[k + 1]):
            x0 = min(x0, px[v])
            x1 = max(x1, px[v])
            y0 = min(y0, py[v])
            y1 = max(y1, py[v])
        box[k, 0] = x0
        box[k, 1] = y0
        box[k, 2] = x1
        box[k, 3] = y1
    out = np.empty((64, 4))
    n = 0
    lo = np.empty(count * 2 + 8)
    hi = np.empty(count * 2 + 8)
    for k in range(count):
        for v in range(start[k], start[k + 1]):
            w = v + 1 if v + 1 < start[k + 1] else start[k]
            x0, y0, x1, y1 = px[v], py[v], px[w], py[w]
            length = np.hypot(x1 - x0, y1 - y0)
            if length < eps:
                continue
            ex0, ex1 = min(x0, x1), max(x0, x1)
            ey0, ey1 = min(y0, y1), max(y0, y1)
            lo[0] = 0.0
            hi[0] = 1.0
            left = 1
            for m in range(count):
                if left == 0:
                    break
                if m == k or ex0 > box[m, 2] or ex1 < box[m, 0] or ey0 > box[m, 3] or ey1 < box[m, 1]:
                    continue
                t0 = 0.0
                t1 = 1.0
                inside = True
                for a in range(start[m], start[m + 1]):
                    b = a + 1 if a + 1 < start[m + 1] else start[m]
                    ux, uy = px[b] - px[a], py[b] - py[a]
                    ulen = np.hypot(ux, uy)
                    if ulen < eps:
                        continue
                    d0 = (ux * (y0 - py[a]) - uy * (x0 - px[a])) / ulen - eps
                    d1 = (ux * (y1 - py[a]) - uy * (x1 - px[a])) / ulen - eps
                    if d0 <= 0.0 and d1 <= 0.0:
                        inside = False
                        break
                    if d0 < 0.0:
                        t0 = max(t0, d0 / (d0 - d1))
                    elif d1 < 0.0:
                        t1 = min(t1, d0 / (d0 - d1))
                    if t0 >= t1:
                        inside = False
                        break
                if not inside:
                    continue
                s = 0
                end = left
                while s < end:
                    if t1 <= lo[s] or t0 >= hi[s]:
                        s += 1
                    elif t0 > lo[s] and t1 < hi[s]:
                        lo[left] = t1
                        hi[left] = hi[s]
                        left += 1
                        hi[s] = t0
                        s += 1
                    elif t0 > lo[s]:
                        hi[s] = t0
                        s += 1
                    elif t1 < hi[s]:
                        lo[s] = t1
                        s += 1
                    else:
                        left -= 1
                        end = min(end, left)
                        lo[s] = lo[left]
                        hi[s] = hi[left]
            for s in range(left):
                if (hi[s] - lo[s]) * length > 2.0 * eps:
                    if n == len(out):
                        more = np.empty((2 * n, 4))
                        more[:n] = out
                        out = more
                    out[n, 0] = x0 + lo[s] * (x1 - x0)
                    out[n, 1] = y0 + lo[s] * (y1 - y0)
                    out[n, 2] = x0 + hi[s] * (x1 - x0)
                    out[n, 3] = y0 + hi[s] * (y1 - y0)
                    n += 1
    return out[:n].copy()


@njit(cache=True, error_model="numpy", nogil=True)
def _within(x: float, y: float, px: Floats, py: Floats, start: Ints, which: Ints, count: int) -> bool:
    for c in range(count):
        k = which[c]
        inside = True
        for a in range(start[k], start[k + 1]):
            b = a + 1 if a + 1 < start[k + 1] else start[k]
            if (px[b] - px[a]) * (y - py[a]) - (py[b] - py[a]) * (x - px[a]) <= 0.0:
                inside = False
                break
        if inside:
            return True
    return False


@njit(cache=True, error_model="numpy", nogil=True)
def _distance2(x: float, y: float, seg: Floats, k: int) -> float:
    dx, dy = seg[k, 2] - seg[k, 0], seg[k, 3] - seg[k, 1]
    t = (x - seg[k, 0]) * dx + (y - seg[k, 1]) * dy
    den = dx * dx + dy * dy
    t = min(1.0, max(0.0, t / den)) if den > 0.0 else 0.0
    ux, uy = x - seg[k, 0] - t * dx, y - seg[k, 1] - t * dy
    return ux * ux + uy * uy  # type: ignore[no-any-return]


@njit(cache=True, error_model="numpy", nogil=True)
def field(
    px: Floats,
    py: Floats,
    start: Ints,
    seg: Floats,
    x0: float,
    y0: float,
    hx: float,
    hy: float,
    out: NDArray[np.float32],
) -> None:
    """Fill ``out`` (nodes along x, nodes along y) with the signed distance to ``seg``, positive inside the polygons.

    Node (i, j) lies at (x0 + i hx, y0 + j hy). Far outside the value is only a bound, which is all that is asked.
    """
    nx, ny = out.shape
    count = len(start) - 1
    m = len(seg)
    block = 8
    near = np.empty(m, dtype=np.int64)
    which = np.empty(count, dtype=np.int64)
    dist = np.empty(m)
    for bi in range(0, nx, block):
        ei = min(nx, bi + block)
        for bj in range(0, ny, block):
            ej = min(ny, bj + block)
            left, right = x0 + bi * hx, x0 + (ei - 1) * hx
            low, high = y0 + bj * hy, y0 + (ej - 1) * hy
            mx, my = (left + right) / 2.0, (low + high) / 2.0
            r = np.hypot(right - left, high - low) / 2.0
            dmin = 1e300
            for k in range(m):
                dist[k] = np.sqrt(_distance2(mx, my, seg, k))
                dmin = min(dmin, dist[k])
            kept = 0
            for k in range(m):
                if dist[k] <= dmin + 2.0 * r:
                    near[kept] = k
                    kept += 1
            touched = 0
            for k in range(count):
                bx0 = px[start[k]]
                bx1 = bx0
                by0 = py[start[k]]
                by1 = by0
                for v in range(start[k], start[k + 1]):
                    bx0 = min(bx0, px[v])
                    bx1 = max(bx1, px[v])
                    by0 = min(by0, py[v])
                    by1 = max(by1, py[v])
                if bx0 <= right and bx1 >= left and by0 <= high and by1 >= low:
                    which[touched] = k
                    touched += 1
            whole = dmin > r
            middle_in = _within(mx, my, px, py, start, which, touched)
            for i in range(bi, ei):
                x = x0 + i * hx
                for j in range(bj, ej):
                    y = y0 + j * hy
                    inside = middle_in if whole else _within(x, y, px, py, start, which, touched)
                    if whole and not inside:
                        out[i, j] = -dmin + r
                        continue
                    best = 1e300
                    for c in range(kept):
                        best = min(best, _distance2(x, y, seg, near[c]))
                    best = np.sqrt(best)
                    out[i, j] = best if inside else -best
