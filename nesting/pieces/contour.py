"""Walking along an outline: arc lengths, places, stretches, corners.

A *place* is an arc length s along the ring, anticlockwise from its first point, 0 <= s < perimeter, in mm.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from shapely import LinearRing

from nesting.model.piece import Line, Point, Ring

__all__ = [
    "BEND_DEG",
    "CORNER_DEG",
    "CORNER_REACH_MM",
    "Contour",
    "along",
    "as_points",
    "cleaned",
    "intersection",
    "length_of",
    "signed_area",
    "unit",
]

#: degrees. The outline has a corner where it turns by at least this much within CORNER_REACH_MM. Curves flattened to
#: 0.01 mm turn by less at each of their points as long as their radius is above some 2 mm.
CORNER_DEG = 25.0
#: mm. Corners that a drawing rounds off within this length still count as one corner.
CORNER_REACH_MM = 1.0
#: degrees. A vertex that turns by more than this is a bend that somebody may want to point at.
BEND_DEG = 10.0
#: degrees. Less is no bend.
_STRAIGHT_DEG = 0.2
#: mm. Chords of a curve flattened to 0.01 mm that turn by a degree or more are shorter than this.
_CHORD_MM = 8.0
#: Beyond corners and bends no more numbers than these: a picture with more of them cannot be read.
MOST_NUMBERED = 30

_SAME = 1e-7

Array = NDArray[np.float64]


def as_points(array: Iterable[Sequence[float]] | Array) -> tuple[Point, ...]:
    """Rows as plain tuples of floats."""
    return tuple((float(p[0]), float(p[1])) for p in array)


def signed_area(ring: Sequence[Point]) -> float:
    """Area in mm², positive if the ring runs anticlockwise (shoelace formula)."""
    a = np.asarray(ring, dtype=float)
    a = a - a[0]  # keeps the sum exact far from the origin
    x, y = a[:, 0], a[:, 1]
    return float(0.5 * (np.dot(x, np.roll(y, -1)) - np.dot(np.roll(x, -1), y)))


def length_of(line: Sequence[Point]) -> float:
    """Length of an open polyline, mm; 0 for fewer than two points."""
    return math.fsum(math.dist(a, b) for a, b in itertools.pairwise(line))


def unit(a: Point, b: Point) -> Point:
    """The direction from a to b; (0, 0) if they coincide."""
    d = math.dist(a, b)
    return ((b[0] - a[0]) / d, (b[1] - a[1]) / d) if d > 0 else (0.0, 0.0)


def along(line: Sequence[Point], s: float) -> tuple[Point, Point]:
    """The point at arc length s of a polyline (mm, clipped to its ends) and the direction of the side it lies on."""
    walked = 0.0
    sides = [(p, q) for p, q in itertools.pairwise(line) if p != q]
    for k, (p, q) in enumerate(sides):
        d = math.dist(p, q)
        if walked + d >= s or k == len(sides) - 1:
            f = min(1.0, max(0.0, (s - walked) / d))
            return (p[0] + f * (q[0] - p[0]), p[1] + f * (q[1] - p[1])), unit(p, q)
        walked += d
    raise ValueError("a line needs two different points")


def intersection(p: Point, u: Point, q: Point, v: Point) -> tuple[float, float] | None:
    """Parameters (t, w) with p + t·u = q + w·v, None if the lines are parallel. t, w in units of u, v."""
    det = u[1] * v[0] - u[0] * v[1]
    if abs(det) < 1e-12:
        return None
    dx, dy = q[0] - p[0], q[1] - p[1]
    return ((v[0] * dy - v[1] * dx) / det, (u[0] * dy - u[1] * dx) / det)


def cleaned(ring: Sequence[Point], *, same: float = _SAME) -> Ring:
    """The ring without doubled neighbours (nearer than ``same`` mm) and without a repeated first point."""
    kept: list[Point] = []
    for p in ring:
        if not kept or math.dist(kept[-1], p) > same:
            kept.append((float(p[0]), float(p[1])))
    while len(kept) > 1 and math.dist(kept[0], kept[-1]) <= same:
        kept.pop()
    return tuple(kept)


class Contour:
    """A ring with its arc lengths, ready to be walked. The ring must be without doubled points (see ``cleaned``)."""

    def __init__(self, ring: Ring) -> None:
        if len(ring) < 3:
            raise ValueError(f"an outline needs three points, this has {len(ring)}")
        self.ring: Ring = ring
        self.points: Array = np.asarray(ring, dtype=float)
        self.steps: Array = np.roll(self.points, -1, axis=0) - self.points
        self.sides: Array = np.hypot(self.steps[:, 0], self.steps[:, 1])
        self.starts: Array = np.concatenate(([0.0], np.cumsum(self.sides)))

    @property
    def perimeter(self) -> float:
        """Length all round, mm."""
        return float(self.starts[-1])

    def locate(self, p: Point) -> tuple[float, float]:
        """The place nearest to ``p`` and its distance from it, mm."""
        rel = np.asarray(p, dtype=float) - self.points
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.einsum("ij,ij->i", rel, self.steps) / (self.sides**2)
        t = np.clip(np.nan_to_num(t), 0.0, 1.0)
        gap = rel - t[:, None] * self.steps
        d2 = np.einsum("ij,ij->i", gap, gap)
        i = int(np.argmin(d2))
        s = float(self.starts[i] + t[i] * self.sides[i])
        return (s if s < self.perimeter else 0.0), float(math.sqrt(d2[i]))

    def index_at(self, s: float) -> tuple[int, float]:
        """The side that holds the place s and how far along it, mm. A vertex belongs to the side it begins."""
        s = s % self.perimeter
        i = int(np.searchsorted(self.starts, s + _SAME, side="right")) - 1
        i = min(max(i, 0), len(self.ring) - 1)
        return i, max(0.0, s - float(self.starts[i]))

    def near_vertex(self, s: float, reach: float = 1e-5) -> float:
        """The place of the vertex that lies within ``reach`` mm of the place s, or s itself."""
        i, ahead = self.index_at(s)
        if ahead <= reach:
            return float(self.starts[i])
        return float(self.starts[i + 1]) % self.perimeter if float(self.sides[i]) - ahead <= reach else s

    def at(self, s: float) -> Point:
        """The point at the place s; vertices come back exactly."""
        i, along = self.index_at(s)
        if along <= _SAME:
            return self.ring[i]
        f = along / float(self.sides[i])
        x, y = self.points[i] + f * self.steps[i]
        return (float(x), float(y))

    def direction(self, s: float, *, before: bool = False) -> Point:
        """Unit tangent just after the place s, or just before it."""
        i, along = self.index_at(s)
        if before and along <= _SAME:
            i -= 1
        x, y = self.steps[i] / self.sides[i]
        return (float(x), float(y))

    def outward(self, s: float) -> Point:
        """Unit normal that points out of an anticlockwise ring; at a vertex the mean of both sides'."""
        (ax, ay), (bx, by) = self.direction(s, before=True), self.direction(s)
        x, y = ay + by, -(ax + bx)
        d = math.hypot(x, y)
        return (x / d, y / d) if d > 1e-9 else (by, -bx)

    def stretch(self, a: float, b: float) -> Line:
        """The polyline from the place a anticlockwise to the place b; the whole ring, closed, if they coincide."""
        span = self.span(a, b)
        first, last = self.at(a), self.at(b)
        i, _ = self.index_at(a)
        n = len(self.ring)
        line = [first]
        for k in range(1, n + 1):
            j = (i + k) % n
            walked = (float(self.starts[j]) - a) % self.perimeter
            if walked <= _SAME:
                walked += self.perimeter
            if walked >= span - _SAME:
                break
            line.append(self.ring[j])
        line.append(last)
        return tuple(line)

    def span(self, a: float, b: float) -> float:
        """Length from the place a anticlockwise to b, mm; the whole perimeter if they coincide."""
        d = (b - a) % self.perimeter
        return d if d > _SAME and self.perimeter - d > _SAME else self.perimeter

    def within(self, s: float, a: float, b: float, *, slack: float = 1e-6) -> bool:
        """Whether the place s lies on the stretch from a to b, ends included."""
        d = (s - a) % self.perimeter
        return d <= self.span(a, b) + slack or self.perimeter - d <= slack

    def with_points(self, places: Iterable[float]) -> Contour:
        """The same contour with vertices at the given places; the first point stays the first."""
        extra = []
        for s in places:
            s = s % self.perimeter
            i, along = self.index_at(s)
            if along > _SAME and float(self.sides[i]) - along > _SAME:
                extra.append(s)
        if not extra:
            return self
        rows = [(float(s), p) for s, p in zip(self.starts[:-1], self.ring, strict=True)]
        rows += [(s, self.at(s)) for s in sorted(set(extra))]
        rows.sort(key=lambda row: row[0])
        return Contour(cleaned([p for _, p in rows]))

    @cached_property
    def turns(self) -> Array:
        """Turn at each vertex in degrees, positive to the left."""
        before = np.roll(self.steps, 1, axis=0)
        cross = before[:, 0] * self.steps[:, 1] - before[:, 1] * self.steps[:, 0]
        dot = np.einsum("ij,ij->i", before, self.steps)
        turns: Array = np.degrees(np.arctan2(cross, dot))
        return turns

    @cached_property
    def bends(self) -> tuple[int, ...]:
        """Indices of the vertices that turn by more than BEND_DEG and belong to no corner, anticlockwise."""
        return tuple(i for i in self._beside_corners() if abs(float(self.turns[i])) > BEND_DEG)

    @cached_property
    def vertices(self) -> tuple[int, ...]:
        """Those of ``drawn_vertices`` that are numbered: all, or where they are too many to be told apart, those that
        shape the outline most (Douglas, Peucker 1973, with as small a tolerance as leaves so few)."""
        found = self.drawn_vertices
        tolerance = 0.05
        while len(found) > MOST_NUMBERED:
            ring = LinearRing(self.points).simplify(tolerance, preserve_topology=False)
            kept = set(ring.coords)
            found = tuple(i for i in found if tuple(map(float, self.points[i])) in kept)
            tolerance *= 1.4
        return found

    @cached_property
    def drawn_vertices(self) -> tuple[int, ...]:
        """Indices of all further vertices that somebody drew, anticlockwise: neither corners nor bends, nor points of a
        flattened curve, which lie close together and turn as much as their neighbours."""
        turns, n = self.turns, len(self.ring)
        bends = set(self.bends)

        def alike(i: int, j: int) -> bool:
            a, b = float(turns[i]), float(turns[j])
            return a * b > 0.0 and abs(a) < 3.0 * abs(b) < 9.0 * abs(a)

        found = []
        for i in self._beside_corners():
            turn = abs(float(turns[i]))
            if i in bends or turn < _STRAIGHT_DEG:
                continue
            far = min(float(self.sides[i - 1]), float(self.sides[i])) > _CHORD_MM and turn >= 1.0
            if far or not (alike(i, i - 1) or alike(i, (i + 1) % n)):
                found.append(i)
        return tuple(found)

    def _beside_corners(self) -> list[int]:
        """The vertices that are no part of a corner."""
        here, total = self.starts[:-1], self.perimeter
        free = np.ones(len(here), dtype=bool)
        free[list(self._sharp)] = False
        places = np.sort(here[list(self.corners)])
        if len(places):
            # over the first point, too
            around = np.concatenate(([places[-1] - total], places, [places[0] + total]))
            after = np.clip(np.searchsorted(around, here), 1, len(around) - 1)
            free &= np.minimum(around[after] - here, here - around[after - 1]) > CORNER_REACH_MM / 2
        found: list[int] = np.flatnonzero(free).tolist()
        return found

    @cached_property
    def _sharp(self) -> frozenset[int]:
        """The vertices within CORNER_REACH_MM of which the outline turns by CORNER_DEG."""
        n = len(self.ring)
        half = CORNER_REACH_MM / 2
        total = self.perimeter
        # prefix sums over two laps, so that a window may run over the first point
        s = np.concatenate((self.starts[:-1] - total, self.starts[:-1], self.starts[:-1] + total))
        sums = np.concatenate(([0.0], np.cumsum(np.tile(self.turns, 3))))
        here = self.starts[:-1]
        window = sums[np.searchsorted(s, here + half, "right")] - sums[np.searchsorted(s, here - half, "left")]
        return frozenset(i for i in range(n) if abs(window[i]) >= CORNER_DEG and abs(self.turns[i]) > 1e-9)

    @cached_property
    def corners(self) -> tuple[int, ...]:
        """Indices of the vertices that are corners (see CORNER_DEG), anticlockwise."""
        half = CORNER_REACH_MM / 2
        total = self.perimeter
        sharp = sorted(self._sharp)
        if not sharp:
            return ()
        groups: list[list[int]] = [[sharp[0]]]
        for i in sharp[1:]:
            if float(self.starts[i] - self.starts[groups[-1][-1]]) <= half:
                groups[-1].append(i)
            else:
                groups.append([i])
        last, first = groups[-1][-1], groups[0][0]
        if len(groups) > 1 and total - float(self.starts[last]) + float(self.starts[first]) <= half:
            groups[0] = groups.pop() + groups[0]
        picked = []
        for group in groups:
            most = max(abs(float(self.turns[i])) for i in group)
            best = [i for i in group if abs(float(self.turns[i])) > 0.9 * most]
            picked.append(best[len(best) // 2])
        return tuple(sorted(picked))
