"""Plane geometry of outlines while they are read: cleaning, judging, finding places on them. All lengths mm."""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from nesting.model.piece import Line, Point, Ring

__all__ = [
    "DOUBLED_MM",
    "LEAST_AREA_MM2",
    "Place",
    "area",
    "box",
    "clean",
    "crossing",
    "half_way",
    "inward",
    "is_flat",
    "length",
    "nearest",
    "side_along",
]

Floats = NDArray[np.float64]

#: mm. Points nearer than this are one point drawn twice: it is the last digit that drawings carry.
DOUBLED_MM = 0.001
#: mm². Nothing that is sewn is smaller; an outline below it encloses nothing.
LEAST_AREA_MM2 = 1.0


def length(points: Sequence[Point], closed: bool = False) -> float:
    """Length of a line, or around a closed one."""
    total = sum(math.dist(a, b) for a, b in pairwise(points))
    return total + (math.dist(points[-1], points[0]) if closed and len(points) > 1 else 0.0)


def area(ring: Sequence[Point]) -> float:
    """Signed area, mm², positive anticlockwise (taken from the first point, so that far-off drawings lose nothing)."""
    x0, y0 = ring[0]
    total = 0.0
    for (ax, ay), (bx, by) in zip(ring, (*ring[1:], ring[0]), strict=True):
        total += (ax - x0) * (by - y0) - (bx - x0) * (ay - y0)
    return total / 2


def box(points: Sequence[Point]) -> tuple[float, float, float, float]:
    """Least and greatest x and y: (x0, y0, x1, y1)."""
    xs = [p[0] for p in points]
    ys = [p[1] for p in points]
    return min(xs), min(ys), max(xs), max(ys)


def half_way(points: Sequence[Point], closed: bool = False) -> Point:
    """The point half-way along a line; the middle of the box of a closed one."""
    if closed or len(points) < 2:
        x0, y0, x1, y1 = box(points)
        return ((x0 + x1) / 2, (y0 + y1) / 2)
    left = length(points) / 2
    for a, b in pairwise(points):
        step = math.dist(a, b)
        if step >= left and step > 0:
            t = left / step
            return (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]))
        left -= step
    return points[-1]


def clean(points: Sequence[Point], closed: bool = True) -> tuple[Line, list[str]]:
    """The line without doubled points, spikes of no width and second rounds, and what was done about them."""
    done: list[str] = []
    ring: list[Point] = []
    doubled = 0
    for p in points:
        if ring and math.dist(ring[-1], p) <= DOUBLED_MM:
            doubled += 1
            continue
        ring.append(p)
    if closed:
        # The closing point given again is a common way of writing, not a fault.
        if len(ring) > 1 and math.dist(ring[0], ring[-1]) <= DOUBLED_MM:
            ring.pop()
        spikes = _drop_spikes(ring)
        half = len(ring) // 2
        if (
            len(ring) % 2 == 0
            and half >= 3
            and all(math.dist(ring[i], ring[i + half]) <= 10 * DOUBLED_MM for i in range(half))
        ):
            ring = ring[:half]
            done.append("the outline goes round twice; one round kept")
        if spikes:
            done.append(f"{spikes} spike{'s' if spikes > 1 else ''} of no width removed from the outline")
    if doubled:
        done.append(f"{doubled} doubled point{'s' if doubled > 1 else ''} removed")
    return tuple(ring), done


def _drop_spikes(ring: list[Point]) -> int:
    """Remove points at which the ring turns back on itself (a → b → a), in place."""
    count = 0
    i = 0
    while len(ring) > 3 and i < len(ring):
        a, b, c = ring[i - 1], ring[i], ring[(i + 1) % len(ring)]
        ux, uy, vx, vy = a[0] - b[0], a[1] - b[1], c[0] - b[0], c[1] - b[1]
        lu, lv = math.hypot(ux, uy), math.hypot(vx, vy)
        # distance of the nearer neighbour from the other leg
        off = abs(ux * vy - uy * vx) / max(lu, lv)
        if off <= DOUBLED_MM and ux * vx + uy * vy > 0:
            del ring[i]
            count += 1
            # the neighbours may now be one point
            while len(ring) > 3 and math.dist(ring[(i - 1) % len(ring)], ring[i % len(ring)]) <= DOUBLED_MM:
                del ring[i % len(ring)]
            i = max(0, i - 2)
        else:
            i += 1
    return count


def is_flat(ring: Sequence[Point], least: float = LEAST_AREA_MM2) -> bool:
    """Whether all of the outline lies so near a line that it could not enclose ``least`` mm²."""
    from shapely import multipoints

    return bool(multipoints(np.asarray(ring, dtype=np.float64).reshape(-1, 2)).convex_hull.area < least)


def crossing(ring: Ring) -> Point | None:
    """A place where the outline crosses or touches itself, None if it is simple."""
    from shapely import Polygon, is_valid_reason

    shape = Polygon(np.asarray(ring))
    if shape.is_valid:
        return None
    reason: str = is_valid_reason(shape)
    inside = reason[reason.find("[") + 1 : reason.find("]")].split()
    if len(inside) >= 2:
        return (float(inside[0]), float(inside[1]))
    return half_way(ring)


@dataclass(frozen=True)
class Place:
    """A place on a ring: the point, the index of the side it is on, the distance along the ring from its first
    point, and how far the asked point was from it."""

    at: Point
    side: int
    along: float
    away: float


def nearest(ring: Sequence[Point], point: Point, closed: bool = True) -> Place:
    """The place on the ring that is nearest to a point."""
    if len(ring) < 2:
        return Place(ring[0], 0, 0.0, math.dist(ring[0], point))
    begin, end, step, square, along = _sides_of(ring, closed)
    t = np.clip(((np.asarray(point) - begin) * step).sum(axis=1) / np.where(square > 0.0, square, 1.0), 0.0, 1.0)
    # a corner is one point, whichever of its sides it is taken for: the first of them has it
    at = np.where(t[:, None] == 1.0, end, begin + t[:, None] * step)
    i = int(np.argmin(((at - point) ** 2).sum(axis=1)))
    found = (float(at[i, 0]), float(at[i, 1]))
    return Place(found, i, float(along[i] + t[i] * math.sqrt(square[i])), math.dist(found, point))


Sides = tuple[Floats, Floats, Floats, Floats, Floats]
#: sides of the rings that were asked about last, with the rings themselves: they are told apart by identity
_known: OrderedDict[tuple[int, bool], tuple[Sequence[Point], Sides]] = OrderedDict()
_KNOWN = 16


def _sides_of(ring: Sequence[Point], closed: bool) -> Sides:
    """Of each side of a ring or line: its ends (n, 2) and the way between, its length squared, the length before it."""
    key = (id(ring), closed)
    known = _known.get(key)
    if known is not None:
        return known[1]
    points = np.array(ring, dtype=np.float64)
    begin = points if closed else points[:-1]
    end = np.roll(points, -1, axis=0)[: len(begin)]
    step = end - begin
    square = (step**2).sum(axis=1)
    sides = (begin, end, step, square, np.concatenate([[0.0], np.cumsum(np.sqrt(square))[:-1]]))
    if isinstance(ring, tuple):  # it will not change
        _known[key] = (ring, sides)
        while len(_known) > _KNOWN:
            _known.popitem(last=False)
    return sides


def inward(ring: Ring, place: Place) -> float:
    """Direction into an anticlockwise ring at a place on it, degrees: the left normal, halved between both sides
    where the place is a corner (or a point of a flattened curve)."""
    n = len(ring)

    def left(i: int) -> tuple[float, float]:
        a, b = ring[i % n], ring[(i + 1) % n]
        size = math.dist(a, b) or 1.0
        return (-(b[1] - a[1]) / size, (b[0] - a[0]) / size)

    x, y = left(place.side)
    for corner, other in ((place.side, place.side - 1), (place.side + 1, place.side + 1)):
        if math.dist(ring[corner % n], place.at) <= DOUBLED_MM:
            ox, oy = left(other)
            if math.hypot(x + ox, y + oy) > 1e-6:
                x, y = x + ox, y + oy
            break
    return math.degrees(math.atan2(y, x)) % 360.0


def side_along(ring: Ring, a: Point, b: Point, within: float) -> tuple[int, int] | None:
    """The side of the ring that runs along the line through ``a`` and ``b``: indices of its first and last point.

    All points of the side lie within ``within`` of that line; of several such sides, the one that shares the greatest
    length with the stretch from a to b is taken. None if no side shares any.
    """
    size = math.dist(a, b)
    n = len(ring)
    if size == 0:
        return None
    ux, uy = (b[0] - a[0]) / size, (b[1] - a[1]) / size
    along = [(p[0] - a[0]) * ux + (p[1] - a[1]) * uy for p in ring]
    near = [abs((p[1] - a[1]) * ux - (p[0] - a[0]) * uy) <= within for p in ring]
    if all(near):
        return None
    start = near.index(False)
    best: tuple[float, int, int] | None = None
    i = start
    while i < start + n:
        if not near[i % n]:
            i += 1
            continue
        first = i
        while near[(i + 1) % n]:
            i += 1
        low, high = sorted((along[first % n], along[i % n]))
        shared = min(high, size) - max(low, 0.0)
        if i > first and shared > 0 and (best is None or shared > best[0]):
            best = (shared, first % n, i % n)
        i += 1
    return None if best is None else (best[1], best[2])
