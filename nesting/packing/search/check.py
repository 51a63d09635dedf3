"""The exact check of a layout, in the problem's own units, on the raw rings (shapely; nothing of the fields)."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.packing.kernel.geometry import rotated
from nesting.packing.problem import Place, Pose, Problem, RingArray, outline_of

__all__ = ["extent", "faults", "lies"]

#: share of the smaller ring's area that may overlap: rounding only, a tenth of what the proof of a lay accepts
OVERLAP_SHARE = 1e-7
#: share of the tallest ply by which arithmetic may miss a limit, or the gap
ROUNDING = 2e-9


def lies(ring: RingArray, place: Place) -> RingArray:
    """The ring as it lies."""
    moved: RingArray = rotated(np.asarray(ring, dtype=np.float64), place.tilt) + np.array([place.x, place.y])
    return moved


def _apart(pose: Pose) -> RingArray:
    """What is kept from other pieces."""
    return pose.ring if pose.outline is None else pose.outline


def extent(problem: Problem, places: tuple[Place, ...]) -> float:
    """The farthest x of any outline; 0 without items."""
    poses = [problem.items[p.item].poses[p.pose] for p in places]
    return max((float(lies(outline_of(q), p)[:, 0].max()) for q, p in zip(poses, places, strict=True)), default=0.0)


# long: one rule that a layout must keep after another
def faults(problem: Problem, places: tuple[Place, ...], *, length: float | None = None) -> list[str]:
    """Everything that is wrong with a layout; empty if nothing is. ``length``: what it may reach."""
    found: list[str] = []
    poses = [problem.items[p.item].poses[p.pose] for p in places]
    names = [problem.items[p.item].name for p in places]
    rings = np.array([shapely.Polygon(lies(_apart(q), p)) for q, p in zip(poses, places, strict=True)], dtype=object)
    size = max((float(np.ptp(r.outline[:, 1])) for r in problem.plies), default=1.0)
    eps = ROUNDING * size
    found += _pairs(poses, names, rings)
    if problem.gap > 0.0:
        found += _near(poses, names, rings, problem.gap, eps)
    odd = problem.length is not None or any(
        not np.isclose(shapely.Polygon(r.outline).area, np.prod(np.ptp(r.outline, axis=0)), rtol=1e-12)
        for r in problem.plies
    )
    for pose, place, name in zip(poses, places, names, strict=True):
        item = problem.items[place.item]
        if item.fixed is not None:
            if item.fixed != place:
                found.append(f"{name} is fixed but has moved")
            continue
        body = lies(outline_of(pose), place)
        if not odd and body[:, 0].min() < pose.left - eps:
            found.append(f"{name} begins before x = {pose.left:.9g}")
        limit = problem.length if problem.length is not None else length
        if limit is not None and body[:, 0].max() > limit + eps:
            found.append(f"{name} ends at {body[:, 0].max():.9g}, beyond {limit:.9g}")
        if abs(place.tilt) > pose.tilt + 1e-12:
            found.append(f"{name} is tilted too far")
        for axis, value, label in ((pose.x, place.x, "x"), (pose.y, place.y, "y")):
            if axis is not None:
                off = value - axis.offset
                off -= round(off / axis.period) * axis.period if axis.period > 0.0 else 0.0
                if abs(off) > eps:
                    found.append(f"{name} is {abs(off):.3g} off its line in {label}")
        for ply in pose.plies:
            region = problem.plies[ply]
            if odd and pose.left > 0.0 and body[:, 0].min() < region.outline[:, 0].min() + pose.left - eps:
                found.append(f"{name} is too near the beginning of ply {ply}")
            low, high = region.outline[:, 1].min() + pose.low, region.outline[:, 1].max() - pose.high
            if body[:, 1].min() < low - eps or body[:, 1].max() > high + eps:
                found.append(f"{name} leaves the width of ply {ply}")
            poly = shapely.Polygon(body)
            share = OVERLAP_SHARE * poly.area
            if odd and poly.difference(shapely.Polygon(region.outline)).area > share:
                found.append(f"{name} leaves ply {ply}")
            for hole in region.holes:
                if poly.intersection(shapely.Polygon(hole)).area > share:
                    found.append(f"{name} lies on a hole of ply {ply}")
    found += _states(problem, places)
    return found


def _pairs(poses: list[Pose], names: list[str], rings: NDArray[np.object_]) -> list[str]:
    if len(rings) < 2:
        return []
    tree = shapely.STRtree(rings)
    a, b = tree.query(rings)
    keep = a < b
    a, b = a[keep], b[keep]
    share = np.array([bool(set(poses[i].plies) & set(poses[j].plies)) for i, j in zip(a, b, strict=True)], dtype=bool)
    a, b = a[share], b[share]
    over = shapely.area(shapely.intersection(rings[a], rings[b]))
    # GEOS 3.14 can answer "nothing" where edges of both run along one line; on a fine grid it does not.
    size = float(np.abs(shapely.total_bounds(rings)).max()) or 1.0
    lost = np.flatnonzero((over <= 0.0) & shapely.intersects(rings[a], rings[b]) & ~shapely.touches(rings[a], rings[b]))
    over[lost] = shapely.area(shapely.intersection(rings[a[lost]], rings[b[lost]], grid_size=1e-9 * size))
    least = np.minimum(shapely.area(rings[a]), shapely.area(rings[b]))
    return [f"{names[i]} and {names[j]} overlap by {o:.3g}"
            for i, j, o, m in zip(a, b, over, least, strict=True) if o > OVERLAP_SHARE * m]  # fmt: skip


def _near(poses: list[Pose], names: list[str], outlines: NDArray[np.object_], gap: float, eps: float) -> list[str]:
    """Pairs on one ply that are nearer than the gap."""
    if len(outlines) < 2:
        return []
    shapely.prepare(outlines)
    a, b = shapely.STRtree(outlines).query(outlines, predicate="dwithin", distance=gap - eps)
    keep = a < b
    pairs = [(i, j) for i, j in zip(a[keep].tolist(), b[keep].tolist(), strict=True)
             if set(poses[i].plies) & set(poses[j].plies)]  # fmt: skip
    return [f"{names[i]} and {names[j]} are {shapely.distance(outlines[i], outlines[j]):.9g} apart, not {gap:.9g}"
            for i, j in pairs]  # fmt: skip


def _states(problem: Problem, places: tuple[Place, ...]) -> list[str]:
    states: dict[int, set[int]] = {}
    for p in places:
        item = problem.items[p.item]
        state = item.poses[p.pose].state
        if item.group is not None and state is not None:
            states.setdefault(item.group, set()).add(state)
    return [f"group {g} has several states {sorted(s)}" for g, s in states.items() if len(s) > 1]
