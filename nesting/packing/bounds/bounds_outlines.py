"""What of a problem's outlines counts for a proof: never more than any layout that passes has to keep apart.

Every outline is taken in by the problem's tolerance, and finely drawn ones to few corners inside themselves. Around it
lies half the gap (``Pose.ring``), never too wide; beyond a fold edge that lies on the cloth's edge there is none.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from nesting.packing.problem import Pose, Problem, RingArray

__all__ = ["understated"]

#: outlines with more corners than this are drawn anew, with fewer, inside themselves
_CORNERS = 96
#: share of its extent by which an outline drawn anew may be smaller
_COARSE = 2e-5
#: GEOS smooths its input by up to a hundredth of the distance: growth by this share less is never too much
_SURE = 0.98
#: share of its extent by which a fold edge may be off the cloth's edge (arithmetic)
_ON_EDGE = 1e-6


def understated(problem: Problem) -> Problem:
    """The problem with rings and bodies (see ``Pose``) that lie inside what its outlines keep free; no outlines."""
    if all(pose.outline is None for item in problem.items for pose in item.poses):
        return problem
    known: dict[int, Pose] = {}
    items = []
    for item in problem.items:
        poses = []
        for pose in item.poses:
            if id(pose) not in known:
                known[id(pose)] = pose if pose.outline is None else _understated(pose, problem)
            poses.append(known[id(pose)])
        items.append(replace(item, poses=tuple(poses)))
    return replace(problem, items=tuple(items), gap=0.0, tolerance=0.0)


def _understated(pose: Pose, problem: Problem) -> Pose:
    outline = np.ascontiguousarray(pose.outline, dtype=np.float64)
    low, high = outline.min(axis=0), outline.max(axis=0)
    near = _ON_EDGE * float((high - low).max())
    # where a tied outline lies on the cloth's edge nothing beyond that edge is its own
    cut = [-np.inf, -np.inf, np.inf, np.inf]
    regions = [problem.plies[p].outline for p in pose.plies]
    if pose.tilt == 0.0 and pose.y is not None and pose.y.period == 0.0:
        bottom = max(float(r[:, 1].min()) for r in regions) - pose.y.offset
        top = min(float(r[:, 1].max()) for r in regions) - pose.y.offset
        cut[1] = bottom if abs(low[1] - bottom) <= near else cut[1]
        cut[3] = top if abs(high[1] - top) <= near else cut[3]
    if pose.tilt == 0.0 and pose.x is not None and pose.x.period == 0.0 and abs(low[0] + pose.x.offset) <= near:
        cut[0] = -pose.x.offset
    ring, body = _shrunk(outline.tobytes(), problem.gap, problem.tolerance, tuple(cut))
    return replace(pose, ring=ring, body=None if ring is body else body, outline=None)


@lru_cache(maxsize=1024)
def _shrunk(data: bytes, gap: float, tolerance: float, cut: tuple[float, ...]) -> tuple[RingArray, RingArray]:
    outline = np.frombuffer(data, dtype=np.float64).reshape(-1, 2)
    body = _fewer(_taken_in(shapely.Polygon(outline), tolerance))
    inside = _array(body)
    if gap <= 0.0:
        return inside, inside
    # a convex outline has nothing that smoothing could fill; nothing is ever less than the body itself
    convex = body.convex_hull.area <= body.area * (1.0 + 1e-12)
    grown: Any = body.buffer(gap / 2 * (1.0 if convex else _SURE), quad_segs=8)
    if any(np.isfinite(cut)):
        x0, y0, x1, y1 = grown.bounds
        frame = shapely.box(max(cut[0], x0 - 1), max(cut[1], y0 - 1), min(cut[2], x1 + 1), min(cut[3], y1 + 1))
        grown = shapely.Polygon(grown.exterior).intersection(frame)
    grown = _largest(grown)
    return _array(shapely.Polygon(grown.exterior)), inside


def _taken_in(shape: Any, tolerance: float) -> Any:
    """The shape less a border; of one that is slimmer than the border, next to nothing."""
    if tolerance <= 0.0:
        return shape
    less = _largest(shape.buffer(-tolerance, join_style="mitre"))
    if less.geom_type == "Polygon" and less.area > 0.0:
        return shapely.Polygon(less.exterior)
    middle = shape.representative_point()
    e = 1e-3 * tolerance
    return shapely.Polygon([(middle.x - e, middle.y - e), (middle.x + e, middle.y - e), (middle.x, middle.y + e)])


def _fewer(shape: Any) -> Any:
    """A shape with fewer corners inside this one, if it has many."""
    if len(shape.exterior.coords) <= _CORNERS:
        return shape
    slack = _COARSE * max(shape.bounds[2] - shape.bounds[0], shape.bounds[3] - shape.bounds[1])
    less = _largest(_largest(shape.buffer(-1.05 * slack, join_style="mitre")).simplify(slack))
    if less.geom_type == "Polygon" and less.is_valid and less.area > 0.0 and shape.covers(less):
        return shapely.Polygon(less.exterior)
    return shape


def _largest(shape: Any) -> Any:
    return max(getattr(shape, "geoms", [shape]), key=lambda part: part.area, default=shape)


def _array(shape: Any) -> RingArray:
    return np.array(orient(shape).exterior.coords)[:-1]
