"""Rings, convex parts and their canonical frames (numpy and shapely; used while a problem is prepared).

A *shape* is a ring up to translation: its frame has the middle of the ring's bounding box at the origin. With that
choice a half turn of a shape is the shape with every point negated, and the no-fit region of two shapes has a
bounding box centred on the origin.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.packing.problem import PackingError, RingArray

__all__ = ["bounds", "clean", "complement_parts", "convex_parts", "middle", "polygon", "ring_area", "rotated"]

Part = NDArray[np.float64]


def ring_area(ring: RingArray) -> float:
    """Signed area of a ring (n, 2); positive if anticlockwise."""
    x, y = ring[:, 0], ring[:, 1]
    return float(np.dot(x, np.concatenate((y[1:], y[:1]))) - np.dot(y, np.concatenate((x[1:], x[:1])))) / 2.0


def bounds(ring: RingArray) -> tuple[float, float, float, float]:
    """(xmin, ymin, xmax, ymax)."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def middle(ring: RingArray) -> tuple[float, float]:
    """The middle of the bounding box."""
    x0, y0, x1, y1 = bounds(ring)
    return (x0 + x1) / 2.0, (y0 + y1) / 2.0


def rotated(ring: RingArray, deg: float) -> RingArray:
    """The ring rotated anticlockwise about the origin by ``deg`` degrees."""
    if deg == 0.0:
        return ring
    a = np.radians(deg)
    c, s = np.cos(a), np.sin(a)
    return np.asarray(ring @ np.array([[c, s], [-s, c]]), dtype=np.float64)


def clean(ring: RingArray) -> RingArray:
    """The ring anticlockwise, without repeated points and points on the straight line between their neighbours."""
    pts = np.asarray(ring, dtype=np.float64)
    if ring_area(pts) < 0.0:
        pts = pts[::-1]
    size = float(np.ptp(pts, axis=0).max()) or 1.0
    while len(pts) > 3:
        before, after = np.roll(pts, 1, axis=0), np.roll(pts, -1, axis=0)
        a, b = pts - before, after - pts
        cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        straight = (np.abs(cross) <= 1e-12 * size * size) & ((a * b).sum(axis=1) >= 0.0)
        straight |= np.hypot(a[:, 0], a[:, 1]) <= 1e-12 * size
        if not straight.any():
            break
        # one of two neighbours at a time, so that a whole run is not lost at once
        drop = np.flatnonzero(straight)
        keep = np.ones(len(pts), dtype=bool)
        keep[drop[:1]] = False
        for a_, b_ in pairwise(drop):
            if b_ - a_ > 1:
                keep[b_] = False
        pts = pts[keep]
    return np.ascontiguousarray(pts)


def polygon(ring: RingArray, holes: Sequence[RingArray] = ()) -> shapely.Polygon:
    """The shapely polygon of a ring with holes."""
    return shapely.Polygon(ring, list(holes))


def convex_parts(ring: RingArray) -> list[Part]:
    """Convex polygons (anticlockwise) that tile the ring; their vertices are vertices of the ring."""
    pts = clean(ring)
    if ring_area(pts) == 0.0 or len(np.unique(pts, axis=0)) < 3:
        raise PackingError("a ring has no area")
    if len(pts) == 3 or _is_convex(pts):
        return [pts]
    poly = polygon(pts)
    if not poly.is_valid:
        raise PackingError(f"a ring crosses or touches itself: {shapely.is_valid_reason(poly)}")
    return _merged(_triangles(poly))


def complement_parts(outer: shapely.Polygon, inner: shapely.Polygon) -> list[Part]:
    """Convex polygons that tile ``outer`` without ``inner``."""
    rest = outer.difference(inner)
    parts: list[Part] = []
    for geom in getattr(rest, "geoms", [rest]):
        if geom.geom_type == "Polygon" and geom.area > 1e-12 * outer.area:
            parts.extend(_merged(_triangles(geom)))
    return parts


def _is_convex(pts: Part) -> bool:
    # plain numbers: the rings that are asked about most have a handful of corners
    ring = pts.tolist()
    turn = 0.0
    (x0, y0), (x1, y1) = ring[-2], ring[-1]
    for x2, y2 in ring:
        ax, ay, bx, by = x1 - x0, y1 - y0, x2 - x1, y2 - y1
        cross = ax * by - ay * bx
        if not cross > 0.0:
            return False
        turn += math.atan2(cross, ax * bx + ay * by)
        x0, y0, x1, y1 = x1, y1, x2, y2
    return turn < 3.0 * math.pi


def _triangles(poly: shapely.Polygon) -> list[Part]:
    found = []
    for tri in shapely.constrained_delaunay_triangles(poly).geoms:
        pts = np.asarray(shapely.get_coordinates(tri), dtype=np.float64)[:3]
        area = ring_area(pts)
        if area < 0.0:
            pts = pts[::-1]
        if area != 0.0:
            found.append(np.ascontiguousarray(pts))
    if not found:
        raise PackingError("a ring could not be divided into triangles; it must be simple and have an area")
    return found


def _merged(triangles: list[Part]) -> list[Part]:
    """Triangles joined over their longest common sides as long as the union is convex (Hertel, Mehlhorn 1983)."""
    parts: dict[int, list[tuple[float, float]]] = {i: [tuple(p) for p in t.tolist()] for i, t in enumerate(triangles)}
    owner: dict[tuple[tuple[float, float], tuple[float, float]], int] = {}
    for i, part in parts.items():
        for k, p in enumerate(part):
            owner[(p, part[(k + 1) % len(part)])] = i
    sides = sorted(
        (s for s in owner if s < (s[1], s[0]) and (s[1], s[0]) in owner),
        key=lambda s: ((s[0][0] - s[1][0]) ** 2 + (s[0][1] - s[1][1]) ** 2, s),
        reverse=True,
    )
    for a, b in sides:
        i, j = owner[(a, b)], owner[(b, a)]
        if i == j:
            continue
        one, two = parts[i], parts[j]
        k, m = one.index(a), two.index(b)
        union = one[k + 1 :] + one[: k + 1]  # from b round to a
        rest = two[m + 1 :] + two[: m + 1]  # from a round to b
        joined = union + rest[1:-1]
        if len(set(joined)) == len(joined) and _is_convex(np.array(joined)):
            parts[i] = joined
            for n, p in enumerate(joined):
                owner[(p, joined[(n + 1) % len(joined)])] = i
            del parts[j]
    return [np.array(part) for part in parts.values()]
