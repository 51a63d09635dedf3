"""A judge of layouts for the tests: shapely on the raw rings, by another route than the optimiser's own check."""

from __future__ import annotations

import math
import zlib

import numpy as np
from shapely import affinity
from shapely.geometry import Polygon, box

from nesting.packing.problem import Item, Place, Pose, Problem, Region, Result

SHARE = 1e-6


def rect(width: float, height: float, x: float = 0.0, y: float = 0.0) -> np.ndarray:
    """A rectangle with its lower left corner at (x, y)."""
    return np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])


def ell(width: float, height: float, arm: float) -> np.ndarray:
    """An L."""
    return np.array([[0, 0], [width, 0], [width, arm], [arm, arm], [arm, height], [0, height]], dtype=float)


def ply(height: float = 100.0, *holes: np.ndarray, length: float = 1.0) -> Region:
    """A rectangular ply."""
    return Region(rect(length, height), holes)


def either_way(ring: np.ndarray, **more: object) -> tuple[Pose, ...]:
    """A pose and its half turn."""
    return Pose(ring, **more), Pose(-ring, **more)  # type: ignore[arg-type]


def copies(ring: np.ndarray, count: int, name: str = "p", **more: object) -> tuple[Item, ...]:
    """``count`` interchangeable items, either way up."""
    poses = either_way(ring, **more)
    kind = zlib.crc32(name.encode() + ring.tobytes())
    return tuple(Item(f"{name}{k}", poses, kind=kind) for k in range(count))


def lying(ring: np.ndarray, place: Place) -> Polygon:
    """The ring where it lies."""
    return affinity.translate(affinity.rotate(Polygon(ring), place.tilt, origin=(0, 0)), place.x, place.y)


def judge(problem: Problem, places: tuple[Place, ...], *, some: bool = False) -> list[str]:
    """What is wrong with a layout. ``some``: not all items need be there."""
    wrong = []
    items = sorted(p.item for p in places)
    if not some and items != list(range(len(problem.items))):
        wrong.append(f"items {items}")
    rings, bodies, poses = [], [], []
    for place in places:
        pose = problem.items[place.item].poses[place.pose]
        poses.append(pose)
        rings.append(lying(pose.ring, place))
        bodies.append(lying(pose.ring if pose.body is None else pose.body, place))
    for i, (a, pa) in enumerate(zip(rings, poses, strict=True)):
        for b, pb in zip(rings[i + 1 :], poses[i + 1 :], strict=True):
            if set(pa.plies) & set(pb.plies) and a.intersection(b).area > SHARE * min(a.area, b.area):
                wrong.append(f"overlap of {a.intersection(b).area:.3g} at {a.intersection(b).centroid}")
    drawn = [Polygon(r.outline) for r in problem.plies]
    as_drawn = problem.length is not None or any(d.symmetric_difference(box(*d.bounds)).area > 1e-9 for d in drawn)
    for place, pose, body in zip(places, poses, bodies, strict=True):
        item = problem.items[place.item]
        if item.fixed is not None:
            if item.fixed != place:
                wrong.append("a fixed item moved")
            continue
        for number in pose.plies:
            region = problem.plies[number]
            _x0, y0, _x1, y1 = Polygon(region.outline).bounds
            room = Polygon(region.outline) if as_drawn else box(0.0, y0, 1e9, y1)
            if problem.length is not None:
                room = room.intersection(box(-1e9, y0, problem.length, y1))
            room = room.intersection(box(-1e9, y0 + pose.low, 1e9, y1 - pose.high))
            for hole in region.holes:
                room = room.difference(Polygon(hole))
            if body.difference(room).area > SHARE * body.area:
                wrong.append(f"{item.name} leaves ply {number} by {body.difference(room).area:.3g}")
        for axis, value in ((pose.x, place.x), (pose.y, place.y)):
            if axis is not None:
                steps = 0 if axis.period == 0.0 else round((value - axis.offset) / axis.period)
                if abs(value - axis.offset - steps * axis.period) > 1e-7:
                    wrong.append(f"{item.name} off its line")
        if abs(place.tilt) > pose.tilt:
            wrong.append(f"{item.name} tilted by {place.tilt}")
    states: dict[int, int] = {}
    for place, pose in zip(places, poses, strict=True):
        group = problem.items[place.item].group
        if group is not None and pose.state is not None and states.setdefault(group, pose.state) != pose.state:
            wrong.append(f"group {group} has two states")
    return wrong


def holds(problem: Problem, result: Result) -> bool:
    """The layout holds and the length is its extent."""
    far = max((lying(q.ring if q.body is None else q.body, p).bounds[2]
               for p in result.places for q in [problem.items[p.item].poses[p.pose]]), default=0.0)  # fmt: skip
    return judge(problem, result.places) == [] and math.isclose(far, result.length, rel_tol=1e-9, abs_tol=1e-9)
