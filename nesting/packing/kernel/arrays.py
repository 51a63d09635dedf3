"""A problem prepared for the kernels: arrays only, lengths scaled so that the tallest ply is 100 high.

Glossary
    *shape*     a ring up to translation, in the frame of its bounding box's middle (see ``geometry``)
    *variant*   one pose of an item at one tilt, with the limits of its centre; interchangeable items share variants
    *obstacle*  what is not cloth: a hole of a ply, or the part of the ply's box outside its outline
    *centre*    of a placed variant: the middle of its ring's bounding box; the reference point is that minus an offset
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.packing.kernel import geometry
from nesting.packing.kernel.convex import keep_new, parts_of
from nesting.packing.problem import Axis, NeverFits, PackingError, Place, Pose, Problem, Region, RingArray, outline_of

__all__ = [
    "FIXED", "RIDES", "SIDE", "STAYS", "Model", "Shape", "Tables", "Variant", "part_of", "prepare", "repeated",
    "tilts_of",
]  # fmt: skip

#: The height of the tallest ply in internal units.
SIDE = 100.0
#: Limits may be missed by this much (internal units) when a pose is just as large as the cloth.
FIT_EPS = 1e-7
_FREE = -1.0
#: how far beside the first period the search may lay what repeats itself, before it is seen as its copy within it
_BESIDE = 25.0
#: kinds of ``i_fixed``: where the problem says; beside a window, before it; beside a window, moving with its end
FIXED, STAYS, RIDES = 1, 2, 3


class Tables(NamedTuple):
    """What the kernels read and never write. V variants, n items, S shapes, m obstacles, F fields."""

    v_ring: NDArray[np.int32]  # (V,) shape of the ring
    v_body: NDArray[np.int32]  # (V,) shape of the body
    v_lim: NDArray[np.float64]  # (V, 12) see LIM
    v_mask: NDArray[np.int64]  # (V,) bit per ply
    v_state: NDArray[np.int32]  # (V,) or -1
    i_v0: NDArray[np.int32]  # (n,) first variant
    i_v1: NDArray[np.int32]  # (n,) one past the last
    i_group: NDArray[np.int32]  # (n,) or -1
    i_fixed: NDArray[np.uint8]  # (n,) 0, FIXED, STAYS or RIDES
    i_size: NDArray[np.float64]  # (n,) square root of the ring's area
    i_kind: NDArray[np.int32]  # (n,) equal for interchangeable items
    s_hw: NDArray[np.float64]  # (S,) half width of the box
    s_hh: NDArray[np.float64]  # (S,) half height
    o_shape: NDArray[np.int32]  # (m,)
    o_mask: NDArray[np.int64]  # (m,)


# columns of v_lim: x of the centre is at least XLO and at most min(XCAP, L - XR); y between YLO and YHI; the lattices'
# offsets and periods (period -1: free, 0: only the offset); the body's centre relative to the ring's; the least L
XLO, XR, XCAP, YLO, YHI, LX, PX, LY, PY, BDX, BDY, LMIN = range(12)


@dataclass(eq=False)
class Shape:
    """A ring in its own frame, its convex parts, and the shape that is its half turn (if that is known)."""

    ring: RingArray
    parts: list[NDArray[np.float64]]
    area: float
    half_turn: int = -1

    @property
    def half_width(self) -> float:
        """Half of the bounding box's x extent."""
        return float(self.ring[:, 0].max())

    @property
    def half_height(self) -> float:
        """Half of the bounding box's y extent."""
        return float(self.ring[:, 1].max())


@dataclass(frozen=True)
class Variant:
    """Which pose and tilt a row of the variant tables stands for. ``dx, dy``: centre minus reference point."""

    pose: int
    tilt: float
    dx: float
    dy: float


@dataclass(eq=False)
class Model:
    """A prepared problem. ``length`` is the fixed length in internal units, None if it is to be found.

    ``riders`` (n,): of a window into a longer layout, how far from its end the items lie that move with the end.
    ``whole``: the model that this one is a part of. ``repeats``: the layout has no ends, it goes on with copies of
    itself one period apart, and the period is what is to be short."""

    problem: Problem
    scale: float
    tables: Tables
    shapes: list[Shape]
    variants: list[Variant]
    obstacles: list[Shape]
    length: float | None
    num_states: list[tuple[int, ...]]
    area: float
    alias: dict[tuple[int, int, float], tuple[int, float, float]] = field(default_factory=dict)
    riders: NDArray[np.float64] | None = None
    whole: Model | None = None
    repeats: bool = False

    @property
    def n(self) -> int:
        """Number of items."""
        return len(self.problem.items)

    def place(self, item: int, variant: int, cx: float, cy: float) -> Place:
        """The place, in the problem's units, of an item whose centre lies at (cx, cy)."""
        v = self.variants[variant]
        return Place(item, v.pose, (cx - v.dx) / self.scale, (cy - v.dy) / self.scale, v.tilt)

    def find(self, place: Place) -> tuple[int, float, float] | None:
        """The variant and the centre of a place; None if no variant has the place's tilt."""
        found = self.alias.get((int(self.tables.i_v0[place.item]), place.pose, place.tilt))
        if found is None:
            return None
        variant, dx, dy = found
        return variant, place.x * self.scale + dx, place.y * self.scale + dy


def part_of(model: Model, items: Sequence[int] | NDArray[np.int64]) -> Model:
    """The model of some of a model's items, with the same shapes and variants, so that the same fields serve it."""
    t, index = model.tables, np.asarray(items, dtype=np.int64)
    groups = sorted({int(g) for g in t.i_group[index]} - {-1})
    number = np.full(len(model.num_states) + 1, -1, dtype=np.int32)  # the last one stands for no group
    number[groups] = np.arange(len(groups), dtype=np.int32)
    tables = t._replace(
        i_v0=t.i_v0[index], i_v1=t.i_v1[index], i_group=number[t.i_group[index]], i_fixed=t.i_fixed[index],
        i_size=t.i_size[index], i_kind=t.i_kind[index],
    )  # fmt: skip
    area = sum(
        model.shapes[t.v_ring[v]].area * int(t.v_mask[v]).bit_count() for v in (int(t.i_v0[i]) for i in index)
    )
    problem = replace(model.problem, items=tuple(model.problem.items[i] for i in index))
    states = [model.num_states[g] for g in groups]
    return replace(model, problem=problem, tables=tables, num_states=states, area=area, riders=None,
                   whole=model.whole or model)  # fmt: skip


def repeated(model: Model) -> Model:
    """The model of a layout that repeats itself along x (no lattice along x, no obstacles): nothing bounds x there."""
    lim = model.tables.v_lim.copy()
    # the kernels lay in the first period and a little beside it, so that it has no border for them
    lim[:, XLO], lim[:, XCAP], lim[:, XR] = -_BESIDE, math.inf, -_BESIDE
    return replace(model, tables=model.tables._replace(v_lim=lim), repeats=True)


def tilts_of(pose: Pose) -> tuple[float, ...]:
    """The tilts that the search tries."""
    return (0.0, -pose.tilt, pose.tilt) if pose.tilt > 0.0 else (0.0,)


def prepare(problem: Problem) -> Model:
    """The problem as arrays.

    Raises NeverFits if an item has no pose that fits into its empty plies, and PackingError for a problem that
    contradicts itself.
    """
    made = _Builder(problem).model()
    keep_new()
    return made


def _rectangle(region: Region) -> bool:
    x0, y0, x1, y1 = geometry.bounds(region.outline)
    return math.isclose(abs(geometry.ring_area(region.outline)), (x1 - x0) * (y1 - y0), rel_tol=1e-12)


class _Builder:
    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        if not problem.plies:
            raise PackingError("the problem has no ply")
        if len(problem.plies) > 62:
            raise PackingError(f"the problem has {len(problem.plies)} plies; 62 is the most")
        boxes = [geometry.bounds(r.outline) for r in problem.plies]
        self.odd = [not _rectangle(r) for r in problem.plies]
        self.open = problem.length is None and not any(self.odd)
        tallest = max(b[3] - b[1] for b in boxes)
        if not tallest > 0.0:
            raise PackingError("the plies have no height")
        self.scale = SIDE / tallest
        self.boxes = [tuple(c * self.scale for c in b) for b in boxes]
        self.length = None if problem.length is None else problem.length * self.scale
        self.shapes: list[Shape] = []
        self.shape_of: dict[Hashable, int] = {}
        self.variants: list[Variant] = []
        self.lim: list[list[float]] = []
        self.rings: list[int] = []
        self.bodies: list[int] = []
        self.masks: list[int] = []
        self.states: list[int] = []
        # (first variant of the item, pose, tilt) -> variant that stands for it, centre minus reference point
        self.alias: dict[tuple[int, int, float], tuple[int, float, float]] = {}

    def shape(self, ring: RingArray) -> tuple[int, float, float]:
        """Number of the ring's shape and the middle of its box."""
        if len(ring) < 3:
            raise PackingError("a ring needs at least three points")
        if not np.isfinite(ring).all():
            raise PackingError("a ring has coordinates that are not numbers")
        pts, mx, my, key, half_turned = _framed(np.ascontiguousarray(ring, dtype=np.float64).tobytes())
        number = self.shape_of.get(key)
        if number is None:
            number = len(self.shapes)
            self.shapes.append(Shape(pts, parts_of(pts, self.scale), abs(geometry.ring_area(pts))))
            self.shape_of[key] = number
            other = self.shape_of.get(half_turned)
            if other is not None:
                self.shapes[number].half_turn = other
                self.shapes[other].half_turn = number
        return number, mx, my

    def model(self) -> Model:
        problem = self.problem
        ranges: dict[Hashable, tuple[int, int]] = {}
        v0, v1 = [], []
        for index, item in enumerate(problem.items):
            # interchangeable items share their variants; so do items that were given the same poses
            key: Hashable = ("fixed", index) if item.fixed else (item.kind, *(id(p) for p in item.poses))
            if key not in ranges:
                ranges[key] = self._variants_of(index)
            v0.append(ranges[key][0])
            v1.append(ranges[key][1])
        obstacles, o_mask = self._obstacles()
        groups = sorted({i.group for i in problem.items if i.group is not None})
        number = {g: k for k, g in enumerate(groups)}
        kinds: dict[Hashable, int] = {}
        kind = [
            kinds.setdefault(("fixed", i) if it.fixed else (a, it.group), len(kinds))
            for i, (it, a) in enumerate(zip(problem.items, v0, strict=True))
        ]
        tables = Tables(
            v_ring=np.array(self.rings, dtype=np.int32),
            v_body=np.array(self.bodies, dtype=np.int32),
            v_lim=np.array(self.lim, dtype=np.float64).reshape(-1, 12),
            v_mask=np.array(self.masks, dtype=np.int64),
            v_state=np.array(self.states, dtype=np.int32),
            i_v0=np.array(v0, dtype=np.int32),
            i_v1=np.array(v1, dtype=np.int32),
            i_group=np.array([-1 if i.group is None else number[i.group] for i in problem.items], dtype=np.int32),
            i_fixed=np.array([i.fixed is not None for i in problem.items], dtype=np.uint8),
            i_size=np.array([math.sqrt(self.shapes[self.rings[v]].area) for v in v0], dtype=np.float64),
            i_kind=np.array(kind, dtype=np.int32),
            s_hw=np.array([s.half_width for s in self.shapes], dtype=np.float64),
            s_hh=np.array([s.half_height for s in self.shapes], dtype=np.float64),
            o_shape=np.arange(len(obstacles), dtype=np.int32),
            o_mask=np.array(o_mask, dtype=np.int64),
        )
        length = self.length
        if not self.open and length is None:
            length = max(b[2] for b in self.boxes)
        area = sum(self.shapes[self.rings[v]].area * bin(self.masks[v]).count("1") for v in v0)
        return Model(
            problem, self.scale, tables, self.shapes, self.variants, obstacles, length,
            self._group_states(groups), area, self.alias,
        )  # fmt: skip

    def _group_states(self, groups: list[int]) -> list[tuple[int, ...]]:
        """The states in which every item of a group has a pose that fits; -1 alone if its poses name no state."""
        states = []
        for g in groups:
            members = [(k, i) for k, i in enumerate(self.problem.items) if i.group == g]
            named = sorted({p.state for _, i in members for p in i.poses if p.state is not None})
            fixed = {i.poses[i.fixed.pose].state for _, i in members if i.fixed} - {None}
            allowed = [s for s in named if not fixed or fixed == {s}]
            good = [s for s in allowed if all(self._has_state(k, s) for k, _ in members)]
            if named and not good:
                k, i = members[0]
                raise NeverFits(k, i.name, "its group has no state in which all of the group's items fit")
            states.append(tuple(good) if good else (-1,))
        return states

    def _has_state(self, index: int, state: int) -> bool:
        item = self.problem.items[index]
        if item.fixed:
            return item.poses[item.fixed.pose].state in (None, state)
        return any(pose.state in (None, state) and self._limits(pose, tilt) is not None
                   for pose in item.poses for tilt in tilts_of(pose))  # fmt: skip

    def _variants_of(self, index: int) -> tuple[int, int]:
        item = self.problem.items[index]
        first = len(self.variants)
        if item.fixed:
            self._add(item.poses[item.fixed.pose], item.fixed.pose, item.fixed.tilt, item.fixed)
            own = self.variants[first]
            self.alias[first, item.fixed.pose, item.fixed.tilt] = (first, own.dx, own.dy)
            return first, first + 1
        if not item.poses:
            raise NeverFits(index, item.name, "it has no pose")
        seen: dict[Hashable, int] = {}
        for number, pose in enumerate(item.poses):
            for tilt in tilts_of(pose):
                key = self._add(pose, number, tilt, None)
                if key is None:
                    continue
                added = self.variants[-1]
                if key in seen:
                    # the same by symmetry as one that is there
                    for rows in (self.variants, self.lim, self.rings, self.bodies, self.masks, self.states):
                        rows.pop()
                else:
                    seen[key] = len(self.variants) - 1
                self.alias[first, number, tilt] = (seen[key], added.dx, added.dy)
        if len(self.variants) == first:
            raise NeverFits(index, item.name, self._why_not(item.poses))
        return first, len(self.variants)

    def _add(self, pose: Pose, number: int, tilt: float, fixed: Place | None) -> Hashable:
        """Append a variant; returns what makes it different from others, None if it does not fit."""
        for ply in pose.plies:
            if not 0 <= ply < len(self.problem.plies):
                raise PackingError(f"a pose names ply {ply}, but there are {len(self.problem.plies)}")
        if not pose.plies:
            raise PackingError("a pose names no ply")
        ring = geometry.rotated(np.asarray(pose.ring, dtype=np.float64), tilt) * self.scale
        body = (
            ring if pose.body is None else geometry.rotated(np.asarray(pose.body, dtype=np.float64), tilt) * self.scale
        )
        r, rx, ry = self.shape(ring)
        b, bx, by = (r, rx, ry) if pose.body is None else self.shape(body)
        if fixed:
            cx, cy = fixed.x * self.scale + rx, fixed.y * self.scale + ry
            outline = geometry.rotated(np.asarray(outline_of(pose), dtype=np.float64), tilt) * self.scale
            right = float(outline[:, 0].max()) + fixed.x * self.scale
            row = [cx, right - cx, cx, cy, cy, cx, 0.0, cy, 0.0, bx - rx, by - ry, right]
        else:
            limits = self._limits(pose, tilt)
            if limits is None:
                return None
            xlo, xr, xcap, ylo, yhi, lmin = limits
            lx, px = (0.0, _FREE) if pose.x is None else (pose.x.offset * self.scale + rx, pose.x.period * self.scale)
            ly, py = (0.0, _FREE) if pose.y is None else (pose.y.offset * self.scale + ry, pose.y.period * self.scale)
            row = [xlo + rx, xr - rx, xcap + rx, ylo + ry, max(ylo, yhi) + ry, lx, px, ly, py, bx - rx, by - ry, lmin]
        mask = 0
        for ply in pose.plies:
            mask |= 1 << ply
        self.variants.append(Variant(number, tilt, rx, ry))
        self.lim.append(row)
        self.rings.append(r)
        self.bodies.append(b)
        self.masks.append(mask)
        self.states.append(-1 if pose.state is None else pose.state)
        own: Hashable = None
        if pose.outline is not None:  # what steers may be alike where the outlines are not
            own = _key(geometry.rotated(np.asarray(pose.outline, dtype=np.float64), tilt) * self.scale - (rx, ry))
        return (r, b, own, mask, pose.state, *(round(c, 7) for c in row))

    def _limits(self, pose: Pose, tilt: float) -> tuple[float, float, float, float, float, float] | None:
        """Limits of the *reference point*: (xlo, xr, xcap, ylo, yhi, least length), internal units; None: never."""
        outline = np.asarray(outline_of(pose), dtype=np.float64)
        x0, y0, x1, y1 = geometry.bounds(geometry.rotated(outline, tilt) * self.scale)
        xlo, xcap, ylo, yhi = -math.inf, math.inf, -math.inf, math.inf
        for ply in pose.plies:
            bx0, by0, bx1, by1 = self.boxes[ply]
            xlo = max(xlo, (0.0 if self.open else max(0.0, bx0)) + pose.left * self.scale - x0)
            if not self.open:
                xcap = min(xcap, (bx1 if self.length is None else min(bx1, self.length)) - x1)
            ylo = max(ylo, by0 + pose.low * self.scale - y0)
            yhi = min(yhi, by1 - pose.high * self.scale - y1)
        if yhi < ylo - FIT_EPS or xcap < xlo - FIT_EPS:
            return None
        first = _first(xlo, pose.x, self.scale)
        if first is None or first > xcap + FIT_EPS:
            return None
        low = _first(ylo, pose.y, self.scale)
        if low is None or low > yhi + FIT_EPS:
            return None
        return xlo, x1, max(xcap, xlo), ylo, max(yhi, ylo), first + x1

    def _why_not(self, poses: Sequence[Pose]) -> str:
        unit = 1.0 / self.scale
        told = []
        for pose in poses:
            x0, y0, x1, y1 = geometry.bounds(np.asarray(outline_of(pose), dtype=np.float64))
            room = min(self.boxes[p][3] - self.boxes[p][1] for p in pose.plies) * unit - pose.low - pose.high
            text = f"{x1 - x0:.6g} long and {y1 - y0:.6g} wide where the cloth is {room:.6g} wide"
            if not self.open:
                long = min(self.boxes[p][2] - max(0.0, self.boxes[p][0]) for p in pose.plies) * unit
                long = long if self.problem.length is None else min(long, self.problem.length)
                text += f" and {long:.6g} long"
            if (pose.x is not None or pose.y is not None) and y1 - y0 <= room:
                text += ", and it may lie only on certain lines"
            if text not in told:
                told.append(text)
        return "in none of its positions does it fit: it is " + "; or ".join(told[:3])

    def _obstacles(self) -> tuple[list[Shape], list[int]]:
        """Holes of the plies and what their boxes hold outside odd outlines (in the container's own frame)."""
        found: list[Shape] = []
        masks: list[int] = []
        for number, region in enumerate(self.problem.plies):
            mask = 1 << number
            for hole in region.holes:
                ring = geometry.clean(np.asarray(hole, dtype=np.float64) * self.scale)
                found.append(Shape(ring, geometry.convex_parts(ring), abs(geometry.ring_area(ring))))
                masks.append(mask)
            if self.odd[number]:
                # wide enough that no shape can pass through to its far side
                pad = 2.0 * max(max(s.half_width, s.half_height) for s in self.shapes)
                x0, y0, x1, y1 = self.boxes[number]
                outer = shapely.box(x0 - pad, y0 - pad, x1 + pad, y1 + pad)
                inner = shapely.Polygon(np.asarray(region.outline, dtype=np.float64) * self.scale)
                found.append(Shape(np.array(outer.exterior.coords)[:-1], geometry.complement_parts(outer, inner), 0.0))
                masks.append(mask)
        return found, masks


def _first(low: float, axis: Axis | None, scale: float) -> float | None:
    """The least value on the lattice at or above ``low``."""
    if axis is None:
        return low
    offset, period = axis.offset * scale, axis.period * scale
    if period <= 0.0:
        return offset if offset >= low - FIT_EPS else None
    return offset + math.ceil((low - FIT_EPS - offset) / period) * period


@lru_cache(maxsize=8192)
def _framed(data: bytes) -> tuple[RingArray, float, float, Hashable, Hashable]:
    """A ring (n, 2) about the middle of its box, that middle, and what tells it and its half turn from other rings.
    Spreads of one order ask for the same rings again and again."""
    pts = geometry.clean(np.frombuffer(data, dtype=np.float64).reshape(-1, 2))
    mx, my = geometry.middle(pts)
    pts = pts - (mx, my)
    return pts, mx, my, _key(pts), _key(-pts)


def _key(pts: RingArray) -> Hashable:
    start = int(np.lexsort((pts[:, 1].round(7), pts[:, 0].round(7)))[0])
    return (np.roll(pts, -start, axis=0).round(7) + 0.0).tobytes()
