"""The ways in which items may lie, reduced to what proofs need.

A *lie* is one pose of one item (or, of a pose that may be tilted, one narrow cell of its tilts) about the middle of
its box: shapes that are inside it whatever the tilt in the cell, how far it reaches, and where its middle may be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, box, distance, points
from shapely.ops import unary_union

from nesting.packing.bounds_shapes import (
    Profile,
    box_range,
    edges_of,
    eroded,
    polygon_of,
    profile_of,
    rectangles_in,
    ring_area,
    turned,
)
from nesting.packing.problem import Axis, Item, NeverFits, Place, Pose, Problem, RingArray

__all__ = ["Lie", "Ply", "lies_of", "plies_of"]

Floats = NDArray[np.float64]
_CELL = 0.5  # degrees: half the width of a tilt cell, while there are few enough of them
_CELLS = 12
_ROOM = 1e-6  # share of its size by which a piece may be too deep for a ply before that is held against it


@dataclass(frozen=True, eq=False)
class Ply:
    """A ply as a box: y from ``low`` to ``high``, x from ``left``; ``flaws`` is what of the box may not be covered."""

    low: float
    high: float
    left: float
    right: float
    flaws: Polygon | MultiPolygon

    @property
    def width(self) -> float:
        """Extent in y."""
        return self.high - self.low


@dataclass(frozen=True, eq=False)
class Lie:
    """One way for an item to lie. Shapes are about the middle, reaches and margins from it; lengths as in the problem.

    ``area``: of what lies inside the plies and meets nothing else. ``kernel`` is inside the body in every tilt of the
    cell, ``ring_kernel`` likewise inside the ring. ``left`` to ``right`` and ``down`` to ``up`` are the innermost
    reaches of the body; ``low`` to ``high`` where the middle's y may be, ``x`` the only places of its x (None: any).
    ``margins`` (left, bottom, right, top) is how far at most the ring sticks out of the body's box; ``guard`` are the
    pose's ``low`` and ``high``; ``pair`` is body and ring at the middle of the cell. ``placed``: it lies
    there and nowhere else; ``tied``: to one height, as on a fold; ``flaw``: no item but a flaw in the cloth.
    """

    plies: tuple[int, ...]
    state: int | None
    area: float
    ring_area: float
    kernel: Polygon | MultiPolygon
    ring_kernel: Polygon | MultiPolygon
    left: float
    right: float
    down: float
    up: float
    low: float
    high: float
    x: Axis | None
    margins: tuple[float, float, float, float]
    guard: tuple[float, float]
    pair: tuple[Polygon | MultiPolygon, Polygon | MultiPolygon]
    placed: bool = False
    tied: bool = False
    flaw: bool = False

    @cached_property
    def edges(self) -> Floats:
        """Edges of the kernel."""
        return edges_of(self.kernel)

    @cached_property
    def ring_edges(self) -> Floats:
        """Edges of the ring's kernel."""
        return self.edges if self.ring_kernel is self.kernel else edges_of(self.ring_kernel)

    @cached_property
    def bars(self) -> tuple[Profile, Profile]:
        """Vertical and horizontal profiles of the kernel."""
        return profile_of(self.edges), profile_of(self.edges, along="y")

    @cached_property
    def ring_bars(self) -> tuple[Profile, Profile]:
        """Vertical and horizontal profiles of the ring's kernel."""
        if self.ring_kernel is self.kernel:
            return self.bars
        return profile_of(self.ring_edges), profile_of(self.ring_edges, along="y")

    @cached_property
    def rectangles(self) -> Floats:
        """Sizes (n, 2) of rectangles inside the ring's kernel."""
        return rectangles_in(self.ring_edges)

    @cached_property
    def stick(self) -> float:
        """A distance within which all of the ring lies from the body."""
        body, ring = self.pair
        if ring is body or body.covers(ring):
            return 0.0
        vertices = np.vstack([np.asarray(p.exterior.coords) for p in getattr(ring, "geoms", [ring])])
        reach = 1.01 * float(distance(body, points(vertices)).max())
        while not body.buffer(reach).covers(ring):  # between its vertices a ring may be farther off
            reach *= 1.1
        return reach

    def first(self, left: float) -> float:
        """Least x of the right end of an item that lies so, on cloth that begins at x = ``left``."""
        least = left - self.left
        if self.x is not None:
            least = axis_from(self.x, least, _ROOM * (self.right - self.left))
        return least + self.right


def axis_from(axis: Axis, least: float, room: float) -> float:
    """The first place of an axis at or beyond ``least`` (less ``room``); inf if its only place is before that."""
    if axis.period == 0:
        return axis.offset if axis.offset >= least - room else math.inf
    period = abs(axis.period)
    return axis.offset + math.ceil((least - room - axis.offset) / period) * period


def plies_of(problem: Problem) -> tuple[Ply, ...]:
    """The plies as boxes with flaws; the flaws of cloth that is as drawn include what its outline leaves of its box."""
    plies = []
    drawn = problem.length is not None
    for region in problem.plies:
        (x0, y0), (x1, y1) = region.outline.min(axis=0), region.outline.max(axis=0)
        flaws = unary_union([polygon_of(hole) for hole in region.holes]) if region.holes else Polygon()
        odd = ring_area(region.outline) < (x1 - x0) * (y1 - y0) * (1 - 1e-12)
        end = math.inf
        if not flaws.is_empty:
            flaws = flaws.intersection(box(0.0 if not drawn else x0, y0, max(x1, flaws.bounds[2] + 1), y1))
        if drawn or odd:
            frame = box(x0, y0, x1, y1)
            flaws = frame.difference(polygon_of(region.outline)).union(flaws).intersection(frame)
            end = float(x1)
        plies.append(Ply(float(y0), float(y1), float(x0) if drawn or odd else 0.0, end, flaws))
    return tuple(plies)


def _axis_range(axis: Axis | None, low: float, high: float, room: float) -> tuple[float, float] | None:
    """Least and greatest place of an axis within a range, None if there is none."""
    if axis is None:
        return (low, high) if low <= high + room else None
    first = axis_from(axis, low, room)
    if first > high + room:
        return None
    if axis.period == 0:
        return first, first
    period = abs(axis.period)
    return first, first + math.floor((high + room - first) / period) * period


def _lie(pose: Pose, middle: float, half: float, plies: tuple[Ply, ...], placed: Place | None) -> Lie | None:
    """The lie of a pose about tilt ``middle`` ± ``half`` degrees; None if it fits no ply in that way."""
    ring = pose.ring
    body = ring if pose.body is None else pose.body
    centre = (body.min(axis=0) + body.max(axis=0)) / 2
    low_ring, low_body = turned(ring - centre, middle), turned(body - centre, middle)
    left, down, right, up = box_range(body - centre, middle, half)
    ring_shape = polygon_of(low_ring)
    shape = ring_shape if pose.body is None else polygon_of(low_body)
    if shape is not ring_shape and not ring_shape.covers(shape):
        shape = shape.intersection(ring_shape)
        area = float(shape.area)
    else:
        area = ring_area(body)
    if pose.body is None:
        margins = (0.0, 0.0, 0.0, 0.0)
    elif half == 0.0:
        inner, outer = (low_body.min(axis=0), low_body.max(axis=0)), (low_ring.min(axis=0), low_ring.max(axis=0))
        margins = (*(inner[0] - outer[0]), *(outer[1] - inner[1]))
    else:  # whatever the turn, the ring lies within that distance of the body's hull
        hull = shape.convex_hull
        margins = (float(distance(hull, points(low_ring)).max()),) * 4
    spread = math.radians(half) * float(np.linalg.norm(np.vstack([ring, body]) - centre, axis=1).max())
    kernel = eroded(shape, spread)
    ring_kernel = kernel if shape is ring_shape else eroded(ring_shape, spread)
    # where the middle may be: the reference point plus the turned centre
    turns = [middle] if half == 0.0 else list(np.linspace(middle - half, middle + half, 9))
    offsets = np.array([turned(centre[None, :], t)[0] for t in turns])
    fuzz = 0.0 if half == 0.0 else math.radians(half / 8) * float(np.hypot(*centre))
    from_, to = offsets.min(axis=0) - fuzz, offsets.max(axis=0) + fuzz
    low, high = -math.inf, math.inf
    room = _ROOM * max(up - down, right - left)
    for ply in pose.plies:
        low = max(low, plies[ply].low + pose.low - down)
        high = min(high, plies[ply].high - pose.high - up)
    x = pose.x
    if placed is not None:
        low = high = placed.y + float(offsets[0][1])
        x = Axis(placed.x + float(offsets[0][0]))
    else:
        reach = _axis_range(pose.y, low - to[1], high - from_[1], room) if pose.y is not None else (low, high)
        if reach is None or reach[0] > reach[1] + room:
            return None
        if pose.y is not None:
            low, high = max(low, reach[0] + from_[1]) - room, min(high, reach[1] + to[1]) + room
            if pose.y.period == 0 and half == 0.0:
                low = high = reach[0] + float(from_[1])
        elif low > high:  # a piece as deep as the cloth, give or take the arithmetic
            low, high = high, low
        if x is not None:
            x = Axis(x.offset + float(from_[0]), x.period) if half == 0.0 else None
    lie = Lie(
        plies=pose.plies,
        state=pose.state,
        area=area,
        ring_area=ring_area(ring),
        kernel=kernel,
        ring_kernel=ring_kernel,
        left=left,
        right=right,
        down=down,
        up=up,
        low=low,
        high=high,
        x=x,
        margins=margins,
        guard=(pose.low, pose.high),
        pair=(shape, ring_shape),
        placed=placed is not None,
        tied=pose.y is not None and pose.y.period == 0,
    )
    start = max(plies[ply].left for ply in pose.plies)
    end = min(plies[ply].right for ply in pose.plies)
    if placed is None and lie.first(start) > end + room:
        return None
    return lie


def lies_of(item: Item, number: int, plies: tuple[Ply, ...]) -> tuple[Lie, ...]:
    """All ways in which an item may lie.

    Raises
    ------
    NeverFits
        if no pose fits into the plies' boxes.
    """
    if item.fixed is not None:
        pose = item.poses[item.fixed.pose]
        lie = _lie(pose, item.fixed.tilt, 0.0, plies, item.fixed)
        return (lie,) if lie is not None else ()
    lies: list[Lie] = []
    for pose in item.poses:
        if pose.tilt <= 0:
            cells = [(0.0, 0.0)]
        else:
            count = min(_CELLS, max(1, math.ceil(pose.tilt / _CELL)))
            half = pose.tilt / count
            cells = [(-pose.tilt + (2 * k + 1) * half, half) for k in range(count)]
        lies += [lie for cell in cells if (lie := _lie(pose, *cell, plies, None)) is not None]
    if not lies:
        raise NeverFits(number, item.name, "it is larger than the cloth in every way it may lie")
    return tuple(lies)
