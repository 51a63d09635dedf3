"""Shapes seen from inside, for proofs: chords, bands and inscribed rectangles of polygons.

Glossary
    *profile*: the total length of a shape's cross-section by the line at each x, piecewise linear between vertices.
    *band*: a rectangle inside a shape that spans a whole horizontal slab; a *chain* is one band a slab, neighbours
    overlapping, so that the chain is one connected shape inside the first.

Everything here under-states: a band or a rectangle always lies inside the shape, so what it rules out is ruled out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, convex_hull
from shapely.geometry.base import BaseGeometry

from nesting.packing.problem import RingArray

__all__ = [
    "Chain",
    "Profile",
    "box_range",
    "chain_of",
    "edges_of",
    "eroded",
    "polygon_of",
    "profile_of",
    "rectangles_in",
    "ring_area",
    "rotated",
]

Floats = NDArray[np.float64]
_GAPS = 6  # gaps kept per slab; a shape with more arms than that at one height is only understated


@dataclass(frozen=True, eq=False)
class Profile:
    """Cross-sections of a shape: slabs from ``start`` of width ``step``, chord ``first`` to ``last`` in each."""

    start: Floats
    step: Floats
    first: Floats
    last: Floats

    @property
    def area(self) -> float:
        """Area under the profile: that of the shape."""
        return float(np.sum(self.step * (self.first + self.last)) / 2)

    def up_to(self, end: float) -> Profile:
        """Only the part left of x = ``end``."""
        share = np.clip((end - self.start) / self.step, 0.0, 1.0)
        kept = share > 0
        last = self.first + (self.last - self.first) * share
        return Profile(self.start[kept], (self.step * share)[kept], self.first[kept], last[kept])


@dataclass(frozen=True, eq=False)
class Chain:
    """Bands ``[low[k], high[k]]`` (in x) over the slabs ``(first + k) · height <= y <= (first + k + 1) · height``."""

    first: int
    low: Floats
    high: Floats


def ring_area(ring: RingArray) -> float:
    """Area of a simple ring (n, 2), whichever way round (exact for whole-number coordinates)."""
    x, y = ring[:, 0], ring[:, 1]
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def rotated(ring: RingArray, degrees: float) -> RingArray:
    """``ring`` rotated anticlockwise about the origin."""
    if degrees == 0.0:
        return ring
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    rotated: RingArray = ring @ np.array([[c, s], [-s, c]])
    return rotated


def polygon_of(ring: RingArray) -> BaseGeometry:
    """The shape of a ring; a ring that touches itself is mended by even-odd filling."""
    shape = Polygon(ring)
    return shape if shape.is_valid else shape.buffer(0)


def eroded(shape: BaseGeometry, depth: float) -> BaseGeometry:
    """A shape that stays inside ``shape`` when moved by up to ``depth``; never too large.

    GEOS draws arcs as chords of up to one and a half times the angle asked for, and smooths its input by up to 1 % of
    the depth; 2 % more depth than asked for makes up for both.
    """
    return shape if depth <= 0 else shape.buffer(-1.02 * depth, quad_segs=16)


def edges_of(shape: BaseGeometry) -> Floats:
    """Edges (n, 4) as x0, y0, x1, y1, outer rings anticlockwise and holes clockwise."""
    rows: list[Floats] = []
    for part in getattr(shape, "geoms", [shape]):
        if part.geom_type != "Polygon" or part.is_empty:
            continue
        for ring, sign in [(part.exterior, 1.0)] + [(hole, -1.0) for hole in part.interiors]:
            points = np.asarray(ring.coords, dtype=np.float64)[:, :2]
            if (1.0 if ring.is_ccw else -1.0) != sign:
                points = points[::-1]
            rows.append(np.hstack([points[:-1], points[1:]]))
    return np.vstack(rows) if rows else np.zeros((0, 4))


def profile_of(edges: Floats) -> Profile:
    """Profile of a shape: its vertical cross-sections by x."""
    if not len(edges):
        empty = np.zeros(0)
        return Profile(empty, empty, empty, empty)
    cuts = np.unique(edges[:, [0, 2]])
    left, right = np.minimum(edges[:, 0], edges[:, 2]), np.maximum(edges[:, 0], edges[:, 2])
    upright = left == right
    edges, left, right = edges[~upright], left[~upright], right[~upright]
    # each edge with each slab that it crosses: a handful for every slab, however many edges there are
    enters, leaves = np.searchsorted(cuts, left), np.searchsorted(cuts, right)
    edge = np.repeat(np.arange(len(edges)), leaves - enters)
    slab = np.arange(len(edge)) - np.repeat(np.cumsum(leaves - enters) - leaves, leaves - enters)
    x0, y0, run, rise = edges[:, 0], edges[:, 1], edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 1]
    upper, slope = -np.sign(run), rise / run  # of an anticlockwise shape, the upper edges run to the left

    def heights(at: Floats) -> Floats:
        height = (y0[edge] + slope[edge] * (at[slab] - x0[edge])) * upper[edge]
        return np.maximum(np.bincount(slab, height, len(cuts) - 1), 0.0)

    start, end = cuts[:-1], cuts[1:]
    return Profile(start, end - start, heights(start), heights(end))


def box_range(ring: RingArray, middle: float, half: float) -> tuple[float, float, float, float]:
    """Innermost reach of ``ring`` about its own origin, over all rotations of ``middle`` ± ``half`` degrees.

    Returns (left, bottom, right, top): whatever the rotation, the ring reaches at least that far from the origin to
    each side, in that sense (left and bottom as coordinates, so the largest of the least coordinates). For ``half`` 0
    this is the ring's box. The origin must lie in the ring's convex hull (the middle of its box does): then the reach
    to one side, a support function, is a positive sinusoid, so concave, between the rotations at which a hull edge lies
    square to that side, hence least at one of those rotations or at an end.
    """
    if half == 0.0:
        points = rotated(ring, middle)
        return (*points.min(axis=0), *points.max(axis=0))
    hull = np.asarray(convex_hull(Polygon(ring)).boundary.coords)[:-1]
    step = np.roll(hull, -1, axis=0) - hull
    heading = np.degrees(np.arctan2(step[:, 1], step[:, 0]))
    ends = [middle - half, middle + half]
    critical = [a + q - h for h in heading for q in (0.0, 90.0, 180.0, 270.0) for a in (-360.0, 0.0, 360.0, 720.0)]
    rotations = ends + [t for t in critical if ends[0] < t < ends[1]]
    boxes = np.array([np.concatenate([p.min(axis=0), p.max(axis=0)]) for p in (rotated(hull, t) for t in rotations)])
    return (*boxes[:, :2].max(axis=0), *boxes[:, 2:].min(axis=0))


# long: one compiled loop
@numba.njit(cache=True)
def _gaps(edges: Floats, bottom: Floats, top: Floats) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """The x ranges inside a shape that no edge enters between ``bottom[k]`` and ``top[k]`` (the widest _GAPS)."""
    slabs, n = len(bottom), len(edges)
    low = np.zeros((slabs, _GAPS))
    high = np.zeros((slabs, _GAPS))
    count = np.zeros(slabs, np.int64)
    begin = np.empty(n)
    end = np.empty(n)
    for k in range(slabs):
        b, t = bottom[k], top[k]
        middle = (b + t) / 2
        m = 0
        for e in range(n):
            x0, y0, x1, y1 = edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3]
            if y0 > y1:
                x0, y0, x1, y1 = x1, y1, x0, y0
            if y1 <= b or y0 >= t:
                continue
            xa, xb = x0, x1
            if y0 < b:
                xa = x0 + (x1 - x0) * (b - y0) / (y1 - y0)
            if y1 > t:
                xb = x0 + (x1 - x0) * (t - y0) / (y1 - y0)
            begin[m] = min(xa, xb)
            end[m] = max(xa, xb)
            m += 1
        order = np.argsort(begin[:m])
        reach = -np.inf
        for q in range(m):
            e = order[q]
            if reach > -np.inf and begin[e] > reach:
                probe = (begin[e] + reach) / 2
                odd = False
                for f in range(n):
                    ya, yb = edges[f, 1], edges[f, 3]
                    if (ya > middle) != (yb > middle):
                        cross = edges[f, 0] + (edges[f, 2] - edges[f, 0]) * (middle - ya) / (yb - ya)
                        if cross < probe:
                            odd = not odd
                if odd:
                    if count[k] < _GAPS:
                        low[k, count[k]] = reach
                        high[k, count[k]] = begin[e]
                        count[k] += 1
                    else:
                        least = 0
                        for g in range(1, _GAPS):
                            if high[k, g] - low[k, g] < high[k, least] - low[k, least]:
                                least = g
                        if begin[e] - reach > high[k, least] - low[k, least]:
                            for g in range(least, _GAPS - 1):
                                low[k, g] = low[k, g + 1]
                                high[k, g] = high[k, g + 1]
                            low[k, _GAPS - 1] = reach
                            high[k, _GAPS - 1] = begin[e]
            reach = max(reach, end[e])
    return low, high, count


def chain_of(edges: Floats, height: float) -> Chain | None:
    """The chain of bands of the largest area over slabs of ``height``; None if no slab has a band."""
    if not len(edges):
        return None
    ys = edges[:, [1, 3]]
    first, last = math.floor(ys.min() / height), math.ceil(ys.max() / height)
    slabs = np.arange(first, last, dtype=np.float64)
    low, high, count = _gaps(np.ascontiguousarray(edges), slabs * height, (slabs + 1) * height)
    best: tuple[float, int, int] = (0.0, -1, -1)
    total, back = np.zeros(low.shape), np.full(low.shape, -1)
    for k in range(len(slabs)):
        for g in range(int(count[k])):
            before = 0.0
            for p in range(int(count[k - 1]) if k else 0):
                touching = min(high[k, g], high[k - 1, p]) > max(low[k, g], low[k - 1, p])
                if touching and total[k - 1, p] > before:
                    before, back[k, g] = float(total[k - 1, p]), p
            total[k, g] = before + high[k, g] - low[k, g]
            if total[k, g] > best[0]:
                best = (float(total[k, g]), k, g)
    _, k, g = best
    if k < 0:
        return None
    lows, highs, here = [low[k, g]], [high[k, g]], k
    while (g := int(back[here, g])) >= 0:
        here -= 1
        lows.append(low[here, g])
        highs.append(high[here, g])
    return Chain(first + here, np.array(lows[::-1]), np.array(highs[::-1]))


def rectangles_in(edges: Floats, *, cuts: int = 14) -> Floats:
    """Sizes (n, 2) of rectangles inside a shape, as (x extent, y extent), none inside another of the list."""
    if not len(edges):
        return np.zeros((0, 2))
    ys = edges[:, [1, 3]]
    levels = np.linspace(ys.min(), ys.max(), cuts)
    pairs = [(a, b) for i, a in enumerate(levels) for b in levels[i + 1 :]]
    corners = np.unique(ys)
    if len(corners) <= cuts:
        pairs += [(a, b) for i, a in enumerate(corners) for b in corners[i + 1 :]]
    bottom, top = np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])
    low, high, _ = _gaps(np.ascontiguousarray(edges), bottom, top)
    sizes = np.column_stack([(high - low).max(axis=1), top - bottom])
    sizes = sizes[sizes[:, 0] > 0]
    order = np.lexsort((-sizes[:, 0], -sizes[:, 1]))
    kept: list[Floats] = []
    widest = 0.0
    for w, h in sizes[order]:
        if w > widest:
            widest = float(w)
            kept.append(np.array([w, h]))
    return np.array(kept) if kept else np.zeros((0, 2))
