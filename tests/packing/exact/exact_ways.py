"""Poses on a grid: where each may stand, what collides, and a first layout."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, affinity, box, covers, prepare
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from nesting.packing.problem import Axis, Pose, Problem
from tests.packing.exact.exact_tables import DEPTH, Window, collisions, trapezoids

__all__ = ["Flags", "Tables", "Way", "all_ways", "cut", "greedy_layout", "longest_of"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Way:
    """A pose on the grid: reference point at (``x`` + i · step, ``y`` + j · step) wherever ``free[i, j]``."""

    pose: int
    shape: Pose
    parts: Floats
    x: float
    y: float
    free: Flags
    tilt: float = 0.0

    @property
    def end(self) -> float:
        """The body's right end at i = 0."""
        return self.x + float(body_of(self.shape)[:, 0].max())


def body_of(pose: Pose) -> Floats:
    return pose.ring if pose.body is None else pose.body


def longest_of(problem: Problem, step: float) -> float:
    """A length within which all items fit: behind all flaws and whatever is held in place, one behind the other."""
    start = max((float(hole[:, 0].max()) for ply in problem.plies for hole in ply.holes), default=0.0)
    run = 0.0
    for item in problem.items:
        if item.fixed is not None:
            start = max(start, item.fixed.x + float(np.ptp(item.poses[item.fixed.pose].ring, axis=0).sum()))
            continue
        start = max([start, *(p.x.offset + float(np.ptp(p.ring[:, 0])) for p in item.poses if p.x is not None)])
        period = max((abs(p.x.period) for p in item.poses if p.x is not None), default=0.0)
        run += max(float(np.ptp(p.ring[:, 0])) for p in item.poses) + period + 2 * step
    return max(start, 0.0) + run


def _cloth(problem: Problem, ply: int, longest: float) -> tuple[BaseGeometry | None, tuple[float, float, float, float]]:
    """(what of a ply may be covered, None if it is simply its box; the box)."""
    region = problem.plies[ply]
    (x0, y0), (x1, y1) = region.outline.min(axis=0), region.outline.max(axis=0)
    outline: BaseGeometry = Polygon(region.outline)
    odd = outline.area < (x1 - x0) * (y1 - y0) * (1 - 1e-12)
    if problem.length is None and not odd:
        x0, x1 = 0.0, longest
        outline = box(x0, y0, x1, y1)
    elif problem.length is not None:
        x1 = min(float(x1), problem.length)
        outline = outline.intersection(box(x0, y0, x1, y1))
    bounds = (float(x0), float(y0), float(x1), float(y1))
    if not region.holes and not odd:
        return None, bounds
    return outline.difference(unary_union([Polygon(hole) for hole in region.holes])), bounds


def _along(axis: Axis | None, low: float, high: float, step: float) -> list[tuple[float, int, int]]:
    """(first place, number of places, every how many steps) of one coordinate between two limits."""
    room = DEPTH * max(high - low, step)
    if high < low - room:
        return []
    if axis is None:
        return [(low, math.floor((high - low + room) / step) + 1, 1)]
    if axis.period == 0:
        return [(axis.offset, 1, 1)] if low - room <= axis.offset <= high + room else []
    period = abs(axis.period)
    first = axis.offset + math.ceil((low - room - axis.offset) / period) * period
    count = math.floor((high + room - first) / period) + 1
    if count <= 0:
        return []
    every = round(period / step)
    if every >= 1 and abs(every * step - period) <= 1e-12 * period:
        return [(first, (count - 1) * every + 1, every)]
    return [(first + k * period, 1, 1) for k in range(count)]


def all_ways(problem: Problem, step: float, longest: float) -> list[list[Way]]:
    """Of each item, its poses on the grid."""
    cloths = [_cloth(problem, ply, longest) for ply in range(len(problem.plies))]
    known: dict[int, list[Way]] = {}
    ways: list[list[Way]] = []
    for item in problem.items:
        if item.fixed is not None:
            place, pose = item.fixed, item.poses[item.fixed.pose]
            shape = _tilted(pose, place.tilt)
            free = np.ones((1, 1), dtype=bool)
            ways.append([Way(place.pose, shape, trapezoids(shape.ring), place.x, place.y, free, place.tilt)])
            continue
        if item.kind is not None and item.kind in known:
            ways.append(known[item.kind])
            continue
        own = [way for n, pose in enumerate(item.poses) for way in _ways_of(n, pose, cloths, step)]
        if item.kind is not None:
            known[item.kind] = own
        ways.append(own)
    return ways


def _tilted(pose: Pose, degrees: float) -> Pose:
    if degrees == 0.0:
        return pose
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    turn = np.array([[c, s], [-s, c]])
    return Pose(pose.ring @ turn, pose.plies, None if pose.body is None else pose.body @ turn, state=pose.state)


def _ways_of(
    number: int,
    pose: Pose,
    cloths: list[tuple[BaseGeometry | None, tuple[float, float, float, float]]],
    step: float,
) -> list[Way]:
    body = body_of(pose)
    bx0, by0, bx1, by1 = (float(v) for v in (*body.min(axis=0), *body.max(axis=0)))
    boxes = np.array([cloths[ply][1] for ply in pose.plies])
    xs = _along(pose.x, float(boxes[:, 0].max()) - bx0, float(boxes[:, 2].min()) - bx1, step)
    ys = _along(pose.y, float(boxes[:, 1].max()) + pose.low - by0, float(boxes[:, 3].min()) - pose.high - by1, step)
    found = []
    parts = trapezoids(pose.ring)
    for x, across, every_x in xs:
        for y, up, every_y in ys:
            free = np.zeros((across, up), dtype=bool)
            free[::every_x, ::every_y] = True
            for ply in pose.plies:
                cloth = cloths[ply][0]
                if cloth is not None:
                    roomy = cloth.buffer(DEPTH * float(np.ptp(body, axis=0).max()), join_style="mitre")
                    prepare(roomy)
                    i, j = np.nonzero(free)
                    shape = Polygon(body)
                    placed = [affinity.translate(shape, x + p * step, y + q * step) for p, q in zip(i, j, strict=True)]
                    free[i, j] = covers(roomy, np.array(placed, dtype=object)) if len(placed) else True
            if free.any():
                found.append(Way(number, pose, parts, x, y, free))
    return found


def cut(way: Way, length: float, step: float) -> Way:
    """The same, only as far as the body ends before ``length``."""
    count = math.floor((length - way.end) / step + 1e-6) + 1
    return Way(way.pose, way.shape, way.parts, way.x, way.y, way.free[: max(count, 0)], way.tilt)


class Tables:
    """Collision tables of pairs of ways, each worked out once."""

    def __init__(self, step: float) -> None:
        self.step = step
        self._known: dict[tuple[int, int, float, float], Window] = {}
        self._kept: list[Floats] = []

    def of(self, one: Way, two: Way) -> Window | None:
        """The differences (two − one) of grid place that collide; None if they share no ply."""
        if not set(one.shape.plies) & set(two.shape.plies):
            return None
        offset = (two.x - one.x, two.y - one.y)
        key = (id(one.parts), id(two.parts), *offset)
        if key not in self._known:
            self._kept += [one.parts, two.parts]  # an id stays a shape's own only while the shape is alive
            self._known[key] = collisions(one.parts, two.parts, offset, self.step)
        return self._known[key]


def greedy_layout(
    problem: Problem, ways: list[list[Way]], tables: Tables, step: float
) -> tuple[float, list[tuple[int, int, int]]] | None:
    """A layout by placing each item, large ones first, where it ends soonest: (length, [(way, i, j) of each item])."""
    order = sorted(range(len(ways)), key=lambda n: (problem.items[n].fixed is None, -_size(ways[n][0])))
    done: dict[int, tuple[int, int, int]] = {}
    state: dict[int, int] = {}
    length = 0.0
    for n in order:
        group = problem.items[n].group
        best: tuple[float, int, int, int] | None = None
        for w, way in enumerate(ways[n]):
            if (
                group is not None
                and way.shape.state is not None
                and state.get(group, way.shape.state) != way.shape.state
            ):
                continue
            free = way.free.copy()
            for m, (v, i, j) in done.items():
                window = tables.of(ways[m][v], way)
                if window is not None:
                    _stamp(free, window, i, j)
            open_columns = np.flatnonzero(free.any(axis=1))
            if len(open_columns):
                i = int(open_columns[0])
                end = way.end + i * step
                if best is None or end < best[0] - 1e-12:
                    best = (end, w, i, int(np.argmax(free[i])))
        if best is None:
            return None
        length = max(length, best[0])
        done[n] = best[1:]
        chosen = ways[n][best[1]].shape.state
        if group is not None and chosen is not None:
            state[group] = chosen
    return length, [done[n] for n in range(len(ways))]


def _size(way: Way) -> float:
    return float(np.prod(np.ptp(body_of(way.shape), axis=0)))


def _stamp(free: Flags, window: Window, i: int, j: int) -> None:
    """Clear the places that collide with a shape at (i, j)."""
    left, low = i + window.dx, j + window.dy
    a, b = max(left, 0), min(left + window.hit.shape[0], free.shape[0])
    c, d = max(low, 0), min(low + window.hit.shape[1], free.shape[1])
    if a < b and c < d:
        free[a:b, c:d] &= ~window.hit[a - left : b - left, c - low : d - low]
