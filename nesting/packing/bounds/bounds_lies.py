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
from shapely import Polygon, box, distance, points
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from nesting.packing.bounds.bounds_shapes import (
    Profile,
    box_range,
    edges_of,
    eroded,
    polygon_of,
    profile_of,
    rectangles_in,
    ring_area,
    rotated,
)
from nesting.packing.problem import Axis, Item, NeverFits, Place, Pose, Problem

__all__ = ["Known", "Lie", "Ply", "Shape", "axis_from", "lies_of", "plies_of"]

Floats = NDArray[np.float64]
_CELL = 0.5  # degrees: half the width of a tilt cell, while there are few enough of them
_CELLS = 12
_ROOM = 1e-6  # share of its size by which a piece may be too deep for a ply before that is held against it


#: Shapes met so far, by their coordinates and cell of tilts.
Known = dict[tuple[bytes, bytes, bool, tuple[float, float]], "Shape"]


@dataclass(frozen=True, eq=False)
class Ply:
    """A ply as a box: y from ``low`` to ``high``, x from ``left``; ``flaws`` is what of the box may not be covered."""

    low: float
    high: float
    left: float
    right: float
    flaws: BaseGeometry

    @property
    def width(self) -> float:
        """Extent in y."""
        return self.high - self.low


@dataclass(frozen=True, eq=False)
class Shape:
    """Body and ring of a pose about the middle of the body's box, over one cell of tilts.

    ``body`` and ``ring`` are those at the middle of the cell; ``spread`` is how far a point of them moves within it.
    ``left`` to ``right`` and ``down`` to ``up`` are the innermost reaches of the body in the cell. ``area`` is of what
    lies inside the plies and meets nothing else; ``margins`` (left, bottom, right, top) is how far at most the ring
    sticks out of the body's box.
    """

    body: BaseGeometry
    ring: BaseGeometry
    spread: float
    area: float
    ring_area: float
    left: float
    right: float
    down: float
    up: float
    margins: tuple[float, float, float, float]

    @cached_property
    def kernel(self) -> BaseGeometry:
        """What is inside the body at every tilt of the cell."""
        return eroded(self.body, self.spread)

    @cached_property
    def ring_kernel(self) -> BaseGeometry:
        """What is inside the ring at every tilt of the cell."""
        return self.kernel if self.ring is self.body else eroded(self.ring, self.spread)

    @property
    def gapped(self) -> bool:
        """Whether ring and body differ."""
        return self.ring is not self.body

    @cached_property
    def edges(self) -> Floats:
        """Edges of the kernel."""
        return edges_of(self.kernel)

    @cached_property
    def ring_edges(self) -> Floats:
        """Edges of the ring's kernel."""
        return edges_of(self.ring_kernel) if self.gapped else self.edges

    @cached_property
    def bars(self) -> Profile:
        """Vertical profile of the kernel."""
        return profile_of(self.edges)

    @cached_property
    def ring_bars(self) -> Profile:
        """Vertical profile of the ring's kernel."""
        return profile_of(self.ring_edges) if self.gapped else self.bars

    @cached_property
    def rectangles(self) -> Floats:
        """Sizes (n, 2) of rectangles inside the ring's kernel."""
        return rectangles_in(self.ring_edges)

    @cached_property
    def stick(self) -> float:
        """A distance within which all of the ring lies from the body."""
        if not self.gapped or self.body.covers(self.ring):
            return 0.0
        vertices = np.vstack([np.asarray(p.exterior.coords) for p in getattr(self.ring, "geoms", [self.ring])])
        reach = 1.01 * float(distance(self.body, points(vertices)).max())
        while not self.body.buffer(reach).covers(self.ring):  # between its vertices a ring may be farther off
            reach *= 1.1
        return 1.02 * reach  # GEOS smooths its input by up to 1 % of the distance


@dataclass(frozen=True, eq=False)
class Lie:
    """One way for an item to lie: a shape, with its middle's y from ``low`` to ``high``, on all of ``plies``.

    ``x``: the only places of the middle's x (None: any). ``guard``: the pose's ``low`` and ``high``; ``back``: how far
    it keeps from the beginning of the plies. ``placed``: it
    lies there and nowhere else; ``tied``: to one height, as on a fold; ``flaw``: no item but a flaw in the cloth.
    """

    shape: Shape
    plies: tuple[int, ...]
    state: int | None
    low: float
    high: float
    x: Axis | None = None
    guard: tuple[float, float] = (0.0, 0.0)
    placed: bool = False
    tied: bool = False
    flaw: bool = False
    back: float = 0.0

    def first(self, left: float) -> float:
        """Least x of the right end of an item that lies so, on cloth that begins at x = ``left``."""
        least = left + self.back - self.shape.left
        if self.x is not None:
            least = axis_from(self.x, least, _ROOM * (self.shape.right - self.shape.left))
        return least + self.shape.right


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


def _shape(pose: Pose, centre: Floats, middle: float, half: float) -> Shape:
    """Body and ring of a pose about ``centre``, tilted by ``middle`` ± ``half`` degrees."""
    ring = pose.ring - centre
    body = ring if pose.body is None else pose.body - centre
    left, down, right, up = box_range(body, middle, half)
    turned_ring, turned_body = rotated(ring, middle), rotated(body, middle)
    ring_shape = polygon_of(turned_ring)
    shape = ring_shape if pose.body is None else polygon_of(turned_body)
    area = ring_area(body)
    if shape is not ring_shape and not ring_shape.covers(shape):
        shape = shape.intersection(ring_shape)  # only this much meets nothing else
        area = float(shape.area)
    margins = (0.0, 0.0, 0.0, 0.0)
    if pose.body is not None and half == 0.0:
        below, beyond = (
            turned_body.min(axis=0) - turned_ring.min(axis=0),
            turned_ring.max(axis=0) - turned_body.max(axis=0),
        )
        margins = (float(below[0]), float(below[1]), float(beyond[0]), float(beyond[1]))
    elif pose.body is not None:  # whatever the rotation, the ring lies within that distance of the body's hull
        margins = (float(distance(shape.convex_hull, points(turned_ring)).max()),) * 4
    spread = math.radians(half) * float(np.linalg.norm(np.vstack([ring, body]), axis=1).max())
    return Shape(shape, ring_shape, spread, area, ring_area(ring), left, right, down, up, margins)


def _lie(
    pose: Pose, cell: tuple[float, float], plies: tuple[Ply, ...], placed: Place | None, known: Known
) -> Lie | None:
    """The lie of a pose over a cell of tilts (middle, half) degrees; None if it fits no ply in that way."""
    body = pose.ring if pose.body is None else pose.body
    centre = (body.min(axis=0) + body.max(axis=0)) / 2
    key = (pose.ring.tobytes(), body.tobytes(), pose.body is None, cell)
    if key not in known:
        known[key] = _shape(pose, centre, *cell)
    shape, (middle, half) = known[key], cell
    # where the middle may be: at the reference point plus the rotated centre
    rotations = [middle] if half == 0.0 else list(np.linspace(middle - half, middle + half, 9))
    offsets = np.array([rotated(centre[None, :], t)[0] for t in rotations])
    fuzz = 0.0 if half == 0.0 else math.radians(half / 8) * float(np.linalg.norm(centre))
    from_, to = offsets.min(axis=0) - fuzz, offsets.max(axis=0) + fuzz
    if placed is not None:
        x, y = placed.x + float(offsets[0][0]), placed.y + float(offsets[0][1])
        return Lie(shape, pose.plies, pose.state, y, y, Axis(x), (pose.low, pose.high), placed=True)
    low = max(plies[ply].low for ply in pose.plies) + pose.low - shape.down
    high = min(plies[ply].high for ply in pose.plies) - pose.high - shape.up
    room = _ROOM * max(shape.up - shape.down, shape.right - shape.left)
    if pose.y is None:
        if low > high + room:
            return None
        low, high = min(low, high), max(low, high)  # a piece as deep as the cloth, give or take the arithmetic
    else:
        reach = _axis_range(pose.y, low - float(to[1]), high - float(from_[1]), room)
        if reach is None:
            return None
        low, high = reach[0] + float(from_[1]), reach[1] + float(to[1])
    x_axis = None if pose.x is None or half else Axis(pose.x.offset + float(from_[0]), pose.x.period)
    tied = pose.y is not None and pose.y.period == 0
    lie = Lie(shape, pose.plies, pose.state, low, high, x_axis, (pose.low, pose.high), tied=tied, back=pose.left)
    start = max(plies[ply].left for ply in pose.plies)
    end = min(plies[ply].right for ply in pose.plies)
    return None if lie.first(start) > end + room else lie


def lies_of(item: Item, number: int, plies: tuple[Ply, ...], known: Known | None = None) -> tuple[Lie, ...]:
    """All ways in which an item may lie; ``known`` keeps shapes that several poses or items have in common.

    Raises
    ------
    NeverFits
        if no pose fits into the plies' boxes.
    """
    known = {} if known is None else known
    if item.fixed is not None:
        lie = _lie(item.poses[item.fixed.pose], (item.fixed.tilt, 0.0), plies, item.fixed, known)
        return () if lie is None else (lie,)
    lies: list[Lie] = []
    for pose in item.poses:
        cells = [(0.0, 0.0)]
        if pose.tilt > 0:
            count = min(_CELLS, math.ceil(pose.tilt / _CELL))
            half = pose.tilt / count
            cells = [(-pose.tilt + (2 * k + 1) * half, half) for k in range(count)]
        lies += [lie for cell in cells if (lie := _lie(pose, cell, plies, None, known)) is not None]
    if not lies:
        raise NeverFits(number, item.name, "it is larger than the cloth in every way it may lie")
    return tuple(lies)
