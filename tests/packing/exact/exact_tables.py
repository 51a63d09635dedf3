"""Which places on a grid collide: no-fit relations of polygons, exact but for rounding, tabulated.

Polygons are cut into trapezoids between the heights of their vertices. Two interiors meet if and only if those of some
pair of trapezoids do, and for a pair of convex shapes the differences of place at which they meet are the interior of
a convex polygon, their Minkowski difference. Nothing is rasterised: each row of the grid meets it in an interval.
Dotted-board model: Toledo, Carravilla, Ribeiro, Oliveira, Gomes (2013), Int. J. Production Economics 145, 478-487.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from nesting.packing.problem import RingArray

__all__ = ["DEPTH", "Window", "collisions", "trapezoids"]

Floats = NDArray[np.float64]

#: share of the larger extent. Shapes that enter each other by less than this only touch (rounding of coordinates).
DEPTH = 1e-7


@dataclass(frozen=True, eq=False)
class Window:
    """Colliding differences of grid place: ``hit[p, q]`` for (dx, dy) = (``dx`` + p, ``dy`` + q); none beyond it."""

    dx: int
    dy: int
    hit: NDArray[np.bool_]


def trapezoids(ring: RingArray) -> Floats:
    """Convex parts (n, 4, 2), anticlockwise, that together are the ring's inside (some corners may coincide)."""
    a, b = ring, np.roll(ring, -1, axis=0)
    levels = np.unique(ring[:, 1])
    parts: list[list[tuple[float, float]]] = []
    for low, high in pairwise(levels):
        spans = (np.minimum(a[:, 1], b[:, 1]) <= low) & (np.maximum(a[:, 1], b[:, 1]) >= high)
        p, q = a[spans], b[spans]
        rise = q[:, 1] - p[:, 1]
        below = p[:, 0] + (q[:, 0] - p[:, 0]) * (low - p[:, 1]) / rise
        above = p[:, 0] + (q[:, 0] - p[:, 0]) * (high - p[:, 1]) / rise
        order = np.lexsort((above, below + above))
        for s, t in zip(order[0::2], order[1::2], strict=True):
            parts.append([(below[s], low), (below[t], low), (above[t], high), (above[s], high)])
    return np.array(parts, dtype=np.float64).reshape(-1, 4, 2)


def _sides(parts: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Unit outward normals (n, 4, 2) of the parts' sides, and which sides have a length."""
    along = np.roll(parts, -1, axis=1) - parts
    size = np.linalg.norm(along, axis=2)
    real = size > 1e-12 * max(float(np.abs(parts).max()), 1.0)
    return np.stack([along[..., 1], -along[..., 0]], axis=2) / np.where(real, size, 1.0)[..., None], real


def collisions(first: Floats, second: Floats, offset: tuple[float, float], step: float) -> Window:
    """Grid differences at which two shapes (as trapezoids) collide.

    The second shape stands at ``offset`` + (dx, dy) · ``step`` from the first. Touching is no collision.
    """
    low = first.min(axis=(0, 1)) - second.max(axis=(0, 1))
    high = first.max(axis=(0, 1)) - second.min(axis=(0, 1))
    begin = np.floor((low - offset) / step).astype(int)
    shape = np.ceil((high - offset) / step).astype(int) - begin + 1
    depth = DEPTH * float(max(np.ptp(first, axis=(0, 1)).max(), np.ptp(second, axis=(0, 1)).max()))
    rows = offset[1] + (begin[1] + np.arange(shape[1])) * step
    hit = np.zeros((shape[0] + 1, shape[1]), dtype=np.int32)  # starts and ends of intervals, summed up below
    side_one, real_one = _sides(first)
    side_two, real_two = _sides(second)
    for part, sides, real in zip(first, side_one, real_one, strict=True):
        # d · n < max(first · n) − min(second · n) for the sides n of the first ...
        most = (part @ sides.T).max(axis=0)
        reach = most[None, :] - np.einsum("pvk,sk->pvs", second, sides).min(axis=1) - depth
        reach[:, ~real] = np.inf
        # ... and d · (−m) < max(second · m) − min(first · m) for the sides m of the second
        back = np.einsum("psk,pvk->psv", side_two, second).max(axis=2) - np.einsum("psk,vk->psv", side_two, part).min(
            axis=2
        )
        back = np.where(real_two, back - depth, np.inf)
        normals = np.concatenate([np.broadcast_to(sides, (len(second), 4, 2)), -side_two], axis=1)
        limits = np.concatenate([reach, back], axis=1)
        rest = limits[:, :, None] - normals[:, :, 1, None] * rows[None, None, :]
        nx = normals[:, :, 0, None]
        level = np.abs(nx) < 1e-12
        bound = rest / np.where(level, 1.0, nx)
        right = np.where(nx >= 1e-12, bound, np.inf).min(axis=1)
        left = np.where(nx <= -1e-12, bound, -np.inf).max(axis=1)
        empty = (level & (rest <= 0)).any(axis=1) | (right <= left)
        lo = np.ceil((left - offset[0]) / step - 1e-9).astype(int) - begin[0]
        hi = np.floor((right - offset[0]) / step + 1e-9).astype(int) - begin[0]
        part_at, row_at = np.nonzero(~empty & (lo <= hi))
        np.add.at(hit, (lo[part_at, row_at], row_at), 1)
        np.add.at(hit, (hi[part_at, row_at] + 1, row_at), -1)
    return Window(int(begin[0]), int(begin[1]), np.cumsum(hit, axis=0)[:-1] > 0)
