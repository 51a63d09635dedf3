"""How far each point of an edge goes when something is added or taken there.

The whole of it where the edge moves freely; towards an end that is held it fades to nothing along a raised cosine,
(1 - cos)/2, so that it leaves the held point along the old edge's own tangent.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from nesting.model.piece import Line, Point
from nesting.pieces.body import Body
from nesting.pieces.contour import Contour, intersection, length_of, unit
from nesting.pieces.offset import right_of

__all__ = ["Shift", "dense"]

#: mm. Moved edges are drawn with points this close, so that the fading curve is true to some 0.01 mm.
_STEP_MM = 1.0
#: A mitre reaches at most four offsets from its corner: that far sideways per mm.
_LEAN = math.sqrt(15.0)
#: Two sides meet in a corner if that is no farther off than so many times they are long together.
_FAR = 4.0
#: Sides that turn to one another by less (sine) have no corner.
_SAME_WAY = 1e-3


def _profile(share: float, *, start: bool, end: bool) -> float:
    if start and end:
        return (1 - math.cos(2 * math.pi * share)) / 2
    if start:
        return (1 - math.cos(math.pi * share)) / 2
    if end:
        return (1 + math.cos(math.pi * share)) / 2
    return 1.0


def dense(line: Line) -> Line:
    """The line with points at most _STEP_MM apart."""
    out = [line[0]]
    for p, q in itertools.pairwise(line):
        k = max(1, math.ceil(math.dist(p, q) / _STEP_MM))
        out += [(p[0] + (q[0] - p[0]) * i / k, p[1] + (q[1] - p[1]) * i / k) for i in range(1, k)]
        out.append(q)
    return tuple(out)


class Shift:
    """How far each point of the moved edge goes: the spans of these ``numbers``, out ``by`` mm (in, if negative), held
    at its ``start`` and its ``end`` or not."""

    def __init__(self, body: Body, numbers: Sequence[int], by: float, start: bool, end: bool) -> None:
        self.by, self.start, self.end = by, start, end
        self.seam = Contour(body.seam_ring)
        self.first = self.seam.locate(body.spans[numbers[0]].line[0])[0]
        self.length = math.fsum(length_of(body.spans[k].line) for k in numbers)
        self.whole = len(numbers) == len(body.spans)

    def on_edge(self, s: float) -> bool:
        """Whether the place s of the old seam outline lies on the edge."""
        return self.whole or (s - self.first) % self.seam.perimeter <= self.length + 1e-6

    def vector(self, p: Point) -> Point:
        """How far the point of the edge nearest to p goes, mm."""
        s, _ = self.seam.locate(p)
        walked = (s - self.first) % self.seam.perimeter
        if walked > self.length + (self.seam.perimeter - self.length) / 2:
            walked = 0.0
        share = min(1.0, walked / self.length)
        n = self._way(s, share)
        size = self.by * _profile(share, start=self.start, end=self.end)
        return (size * n[0], size * n[1])

    def _way(self, s: float, share: float) -> Point:
        """Where a point of the edge goes per mm that it moves: always 1 mm away from the side on which it lies.

        Along a side this changes evenly between the mitres of its bends, so that neighbouring points never cross before
        the mitred line beside the edge would. At the ends of the edge its own normal counts, not its neighbour's.
        """
        if share < 1e-9:
            return right_of(self.seam.direction(self.first))
        if share > 1 - 1e-9:
            return right_of(self.seam.direction(self.first + self.length, before=True))
        i, ahead = self.seam.index_at(s)
        begin = float(self.seam.starts[i])
        f = min(1.0, ahead / float(self.seam.sides[i]))
        a, b = self._lean(i, begin), self._lean((i + 1) % len(self.seam.ring), begin + float(self.seam.sides[i]))
        u = self.seam.direction(begin)
        n, lean = right_of(u), (1 - f) * -a + f * b
        return (n[0] + lean * u[0], n[1] + lean * u[1])

    def _lean(self, vertex: int, s: float) -> float:
        """Tangent of half the turn at a vertex inside the edge, limited as mitres are; 0 at its ends."""
        inside = (s - self.first) % self.seam.perimeter
        if not self.whole and not 1e-6 < inside < self.length - 1e-6:
            return 0.0
        half = math.radians(float(self.seam.turns[vertex])) / 2
        return max(-_LEAN, min(_LEAN, math.tan(half)))

    def moved(self, line: Line) -> Line:
        """The line, each point moved as the point of the edge nearest to it."""
        out = []
        for p in line:
            v = self.vector(p)
            out.append((p[0] + v[0], p[1] + v[1]))
        return _forward(line, out)


def _forward(line: Line, moved: Sequence[Point]) -> Line:
    """The moved line without what would run backwards along the old one: where a curve of short sides ends in a bend,
    sides shorter than the bend's mitre vanish, and those on either side of them are cut at each other."""
    ways = [(q[0] - p[0], q[1] - p[1]) for p, q in itertools.pairwise(line)]
    points = list(moved)
    k = 0
    while k < len(ways):
        if _along(ways[k], points[k], points[k + 1]) >= 0.0 or len(ways) < 3 or not 0 < k < len(ways) - 1:
            k += 1
            continue
        corner = _meeting(points[k - 1], points[k], points[k + 1], points[k + 2])
        if corner is None or math.dist(corner, points[k]) > _FAR * math.dist(points[k - 1], points[k + 2]):
            k += 1
            continue
        # the side k is gone; the one before it may now be the one that runs backwards
        points[k : k + 2] = [corner]
        del ways[k]
        k = max(0, k - 1)
    return tuple(points)


def _along(way: Point, p: Point, q: Point) -> float:
    return way[0] * (q[0] - p[0]) + way[1] * (q[1] - p[1])


def _meeting(p: Point, q: Point, r: Point, s: Point) -> Point | None:
    """Where the lines pq and rs meet; None where they hardly turn to one another."""
    u, v = unit(p, q), unit(r, s)
    hit = intersection(p, u, r, v)
    if hit is None or abs(u[0] * v[1] - u[1] * v[0]) < _SAME_WAY:
        return None
    return (p[0] + hit[0] * u[0], p[1] + hit[0] * u[1])
