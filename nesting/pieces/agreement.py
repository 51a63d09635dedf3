"""Whether two pieces can be cut together: a follower at the leader's place, and how far their shared edges differ.

The follower is put on the leader by trying the places that a person would try, in this order, and keeping the first
that does best: both grainlines in the same place; equal names of notches and edges on one another; corner on corner.
Two halves on a fold keep their fold edges on one line. The grain of both stays parallel. What does best covers most of
the leader's outline with the follower's while it lies inside; a last shift by least squares settles what no corner
settles.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LinearRing, Polygon

from nesting.model.piece import Piece, Point, mapped
from nesting.model.tolerances import TOGETHER_MM
from nesting.pieces.contour import Contour, cleaned

__all__ = ["Agreement", "Stretch", "agreement", "along_leader", "put"]

#: degrees. Outlines run together only where they are this nearly parallel.
PARALLEL_DEG = 10.0
#: mm. Shorter stretches side by side are chance.
SHORTEST_MM = 15.0
#: mm. Outlines that come this near are meant to be the same edge, whatever the tolerance: what is found does not
#: depend on what is allowed.
NEAR_MM = 4.0
#: mm. A follower's edge that lies outside the leader, or goes on from where it was near, still runs along the leader's
#: edge up to this far.
OUTSIDE_MM = 25.0
#: mm. Differences above this are worth another shift.
SETTLE_MM = 0.05
#: share of the follower's outline that a turned or flipped place must gain over the place as drawn.
GAIN = 0.05

Array = NDArray[np.float64]
_Keys = list[tuple[str | None, Point]]


@dataclass(frozen=True)
class Stretch:
    """A stretch of the follower's outline that runs along the leader's. Points in the leader's grain frame, mm."""

    start: Point
    end: Point
    length: float
    largest: float
    at: Point


@dataclass(frozen=True)
class Agreement:
    """How the follower lies on the leader.

    The follower (grain frame) is flipped first if ``flipped``, then turned by ``turn`` degrees, then moved by
    ``shift``: that puts it in the leader's grain frame. ``largest`` is the largest difference where both outlines run
    together, mm, at the point ``at``; ``outside_area`` mm² of the follower lies outside the leader. ``agrees``: it
    may be cut together.
    """

    shift: Point
    turn: float
    flipped: bool
    agrees: bool
    largest: float
    at: Point | None
    inside: bool
    outside_area: float
    stretches: tuple[Stretch, ...]
    messages: tuple[str, ...]


def put(piece: Piece, shift: Point, turn: float, flipped: bool) -> Piece:
    """The piece flipped across its grain, then turned by 0 or 180 degrees, then moved."""
    sign = 1.0 if turn % 360.0 == 0.0 else -1.0
    f = -1.0 if flipped else 1.0
    return mapped(
        piece, lambda p: (sign * p[0] + shift[0], sign * f * p[1] + shift[1]), turn_deg=turn, mirrored=flipped
    )


def _samples(contour: Contour, step: float) -> tuple[Array, Array, Array]:
    """Points along a ring, at most ``step`` mm apart, with unit tangents and places."""
    points, tangents, places = [], [], []
    for i, (side, length) in enumerate(zip(contour.steps, contour.sides, strict=True)):
        k = max(1, math.ceil(float(length) / step))
        f = (np.arange(k) + 0.5) / k
        points.append(contour.points[i] + f[:, None] * side)
        tangents.append(np.repeat([side / length], k, axis=0))
        places.append(contour.starts[i] + f * length)
    return np.concatenate(points), np.concatenate(tangents), np.concatenate(places)


def _key_points(piece: Piece) -> _Keys:
    contour = Contour(cleaned(piece.outline))
    points: _Keys = [(f"notch {n.name}", n.at) for n in piece.notches if n.name]
    for edge in piece.edges:
        if edge.name != "fold" and not edge.name.replace("-", "").isdigit():
            points += [(f"start {edge.name}", edge.start), (f"end {edge.name}", edge.end)]
    return points + [(None, contour.ring[i]) for i in contour.corners]


def _fold_side(piece: Piece) -> tuple[int, float, float] | None:
    """(axis across the fold, its level, +1 or -1 for the side on which the piece lies); None without a fold."""
    if piece.fold is None:
        return None
    (ax, ay), (bx, by) = piece.fold
    axis = 1 if abs(by - ay) < abs(bx - ax) else 0
    level = (ay + by) / 2 if axis == 1 else (ax + bx) / 2
    middle = sum(p[axis] for p in piece.outline) / len(piece.outline)
    return axis, level, math.copysign(1.0, middle - level)


def _namesakes(ours: _Keys, theirs: _Keys) -> list[tuple[Point, Point]]:
    """Places of leader and follower that bear the same name."""
    named = {name: p for name, p in ours if name}
    return [(named[name], p) for name, p in theirs if name and name in named]


def _shifts(leader: Piece, follower: Piece) -> Iterator[Point]:
    """Shifts to try for a follower that has been turned already, likeliest first."""
    yield (0.0, 0.0)
    ours, theirs = _key_points(leader), _key_points(follower)
    shared = _namesakes(ours, theirs)
    for q, p in shared:
        yield (q[0] - p[0], q[1] - p[1])
    if shared:
        return  # what bears the same name belongs together, however badly it fits
    for (_, p), (_, q) in itertools.product([k for k in ours if not k[0]], [k for k in theirs if not k[0]]):
        yield (p[0] - q[0], p[1] - q[1])
    a, b = Polygon(leader.outline).centroid, Polygon(follower.outline).centroid
    yield (a.x - b.x, a.y - b.y)


@dataclass(frozen=True)
class _Try:
    shift: Point
    turn: float
    flipped: bool
    shared: float
    outside: float


def _fit(leader: Piece, follower: Piece, turn: float, flipped: bool, near: float) -> _Try | None:
    """The best place for the follower in this turn, None if the fold edges forbid the turn."""
    turned = put(follower, (0.0, 0.0), turn, flipped)
    fold, other = _fold_side(leader), _fold_side(turned)
    if fold is not None and other is not None and (fold[0] != other[0] or fold[2] != other[2]):
        return None
    ring = LinearRing(leader.outline)
    body = Polygon(leader.outline)
    shapely.prepare(ring)
    shapely.prepare(body)
    points, _, _ = _samples(Contour(cleaned(turned.outline)), 6.0)
    weight = 1.0 / len(points)
    shared_names = _namesakes(_key_points(leader), _key_points(turned))
    best: _Try | None = None
    seen: set[tuple[int, int]] = set()
    for x, y in _shifts(leader, turned):
        if fold is not None and other is not None:
            if fold[0] == 1:
                y = fold[1] - other[1]
            else:
                x = fold[1] - other[1]
        if (round(x * 100), round(y * 100)) in seen:
            continue
        seen.add((round(x * 100), round(y * 100)))
        moved = shapely.points(points + np.array((x, y)))
        gaps = shapely.distance(ring, moved)
        out = ~shapely.covers(body, moved) & (gaps > near)
        # being near counts, being exactly on the line counts more; lying outside costs more than either
        shared = float(np.sum(np.clip(1.0 - gaps / near, 0.0, 1.0)) * weight)
        if shared_names:
            # a follower that does not fit still belongs where the names say
            met = sum(math.hypot(q[0] - p[0] - x, q[1] - p[1] - y) <= 2 * near for q, p in shared_names)
            shared += 3.0 * met / len(shared_names)
        outside = float(np.sum(out) * weight)
        if best is None or shared - 4 * outside > best.shared - 4 * best.outside + 1e-3:
            best = _Try((x, y), turn, flipped, shared, outside)
    return best


def _settled(leader: Piece, follower: Piece, start: _Try, near: float, free: tuple[bool, bool]) -> Point:
    """The shift after least squares over the points that lie near the leader's outline, along the free axes."""
    ring = LinearRing(leader.outline)
    shapely.prepare(ring)
    turned = put(follower, (0.0, 0.0), start.turn, start.flipped)
    points, tangents, _ = _samples(Contour(cleaned(turned.outline)), 4.0)
    normals = np.column_stack((tangents[:, 1], -tangents[:, 0]))
    shift: Array = np.array(start.shift)
    axes = [k for k in (0, 1) if free[k]]
    for _ in range(12):
        moved = points + shift
        spots = shapely.points(moved)
        gaps: Array = np.asarray(shapely.distance(ring, spots), dtype=float)
        use = gaps < near
        if use.sum() < 3:
            break
        feet = shapely.get_coordinates(
            shapely.line_interpolate_point(ring, shapely.line_locate_point(ring, np.asarray(spots)[use]))
        )
        n = normals[use]
        residual = np.einsum("ij,ij->i", feet - moved[use], n)
        step: Array = np.atleast_1d(np.linalg.lstsq(n[:, axes], residual, rcond=1e-3)[0])
        for k, axis in enumerate(axes):
            shift[axis] += step[k]
        if float(np.abs(step).max(initial=0.0)) < 1e-6:
            break
    x, y = float(shift[0]), float(shift[1])
    # settling is for what the corners leave open; a slide to another part of the leader is no settling
    return (x, y) if math.hypot(x - start.shift[0], y - start.shift[1]) <= near else start.shift


def _pinned(leader: Piece, placed: Piece) -> bool:
    """Whether two corners, or two places of one name, of both lie on one another (for halves, whose fold edges already
    lie on one line, one of them): then nothing is left to settle, and a person would lay them so."""
    ours, theirs = _key_points(leader), _key_points(placed)
    named = {q for q, p in _namesakes(ours, theirs) if math.dist(q, p) <= SETTLE_MM}
    corners = [(p, q) for (name, p), (other, q) in itertools.product(ours, theirs) if not name and not other]
    met = {p for p, q in corners if math.dist(p, q) <= SETTLE_MM}
    if leader.fold is not None and placed.fold is not None:
        return bool(named | met)
    return any(math.dist(a, b) > SHORTEST_MM for a, b in itertools.combinations(named | met, 2))


def _running(leader: Piece, follower: Piece) -> tuple[Contour, Array, Array, Array, NDArray[np.bool_]]:
    """Points along the follower (already in the leader's frame), their places, their distances from the leader, and
    which of them run along the leader's outline."""
    ours = Contour(cleaned(leader.outline))
    ring = LinearRing(ours.ring)
    shapely.prepare(ring)
    theirs = Contour(cleaned(follower.outline))
    points, tangents, places = _samples(theirs, 1.0)
    spots = shapely.points(points)
    gaps: Array = np.asarray(shapely.distance(ring, spots), dtype=float)
    where = np.asarray(shapely.line_locate_point(ring, spots), dtype=float)
    n = len(ours.ring)
    side = np.clip(np.searchsorted(ours.starts, where, side="right") - 1, 0, n - 1)
    limit = math.sin(math.radians(PARALLEL_DEG))
    parallel = np.zeros(len(points), dtype=bool)
    # a foot at a corner lies on both of its sides; a point straight ahead of one is beside neither
    at_begin = np.abs(where - ours.starts[side]) < 1e-6
    at_end = np.abs(ours.starts[side + 1] - where) < 1e-6
    feet = shapely.get_coordinates(shapely.line_interpolate_point(ring, where))
    away = points - feet
    for one in (side, np.where(at_begin, (side - 1) % n, np.where(at_end, (side + 1) % n, side))):
        dirs = ours.steps[one] / ours.sides[one][:, None]
        cross = np.abs(tangents[:, 0] * dirs[:, 1] - tangents[:, 1] * dirs[:, 0])
        dot = np.einsum("ij,ij->i", tangents, dirs)
        ahead = np.abs(np.einsum("ij,ij->i", away, dirs)) > limit * gaps + 1e-9
        parallel |= (cross <= limit) & (dot > 0) & ~(ahead & (gaps > SETTLE_MM))
    # what lies outside the leader is wrong however far it is; inside, far off means that it is meant to be shorter,
    # unless it is the continuation of what was near
    body = Polygon(ours.ring)
    shapely.prepare(body)
    inside = np.asarray(shapely.covers(body, spots), dtype=bool)
    far = parallel & (gaps <= OUTSIDE_MM)
    along = far & ((gaps <= NEAR_MM) | ~inside)
    seeds = np.flatnonzero(along)
    for step in (1, -1):
        for k in seeds:
            j = (int(k) + step) % len(points)
            while far[j] and not along[j]:
                along[j] = True
                j = (j + step) % len(points)
    return theirs, points, places, gaps, along


def along_leader(leader: Piece, follower: Piece) -> tuple[Array, NDArray[np.bool_]]:
    """Places along the follower's outline (already in the leader's frame), mm, and whether it runs along the leader's
    there."""
    _, _, places, _, along = _running(leader, follower)
    return places, along


def _stretches(leader: Piece, follower: Piece) -> tuple[Stretch, ...]:
    """Where the follower (already in the leader's frame) runs along the leader, and how far it is off there."""
    theirs, points, places, gaps, along = _running(leader, follower)
    n = len(points)
    if not along.any():
        return ()
    if along.all():
        runs = [list(range(n))]
    else:
        first = int(np.argmin(along))
        order = [(first + k) % n for k in range(n)]
        runs = [list(group) for on, group in itertools.groupby(order, key=lambda k: bool(along[k])) if on]
    found = []
    for run in runs:
        length = (float(places[run[-1]]) - float(places[run[0]])) % theirs.perimeter
        if len(run) == n:
            length = theirs.perimeter
        if length < SHORTEST_MM:
            continue
        worst = max(run, key=lambda k: float(gaps[k]))
        ends = [(float(points[k][0]), float(points[k][1])) for k in (run[0], run[-1], worst)]
        found.append(Stretch(ends[0], ends[1], length, float(gaps[worst]), ends[2]))
    return tuple(found)


def agreement(leader: Piece, follower: Piece, tolerance: float | None = None) -> Agreement:
    """Put the follower on the leader and tell how well they agree. Both are in their grain frames, both halves on the
    fold or both whole. ``tolerance`` in mm (default TOGETHER_MM).

    The follower is turned or flipped only if that fits clearly better than as it is drawn.
    """
    allowed = TOGETHER_MM if tolerance is None else tolerance
    near = NEAR_MM
    tries = []
    for turn, flipped in ((0.0, False), (0.0, True), (180.0, False), (180.0, True)):
        found = _fit(leader, follower, turn, flipped, near)
        if found is not None:
            tries.append(found)
    messages: list[str] = []
    if (leader.fold is None) != (follower.fold is None):
        half, whole = (leader, follower) if leader.fold is not None else (follower, leader)
        messages.append(
            f"'{half.label}' is a half on the fold and '{whole.label}' is a whole piece: draw both as halves or "
            "both whole, or cut them apart"
        )
    if not tries:
        messages.append("their fold edges cannot lie on one line with the grain of both running the same way")
        return Agreement((0.0, 0.0), 0.0, False, False, math.inf, None, False, 0.0, (), tuple(messages))
    best = tries[0]
    for other in tries[1:]:
        if other.shared - 4 * other.outside > best.shared - 4 * best.outside + GAIN:
            best = other
    placed = put(follower, best.shift, best.turn, best.flipped)
    stretches = _stretches(leader, placed)
    largest = max((s.largest for s in stretches), default=0.0)
    if (largest > SETTLE_MM or not stretches) and not _pinned(leader, placed):
        fold = _fold_side(leader) if follower.fold is not None else None
        free = (fold is None or fold[0] == 1, fold is None or fold[0] == 0)
        settled = replace(best, shift=_settled(leader, follower, best, near, free))
        moved = put(follower, settled.shift, settled.turn, settled.flipped)
        again = _stretches(leader, moved)
        if (
            again
            and max(s.largest for s in again) < largest - 1e-6
            and sum(s.length for s in again) > 0.9 * sum(s.length for s in stretches)
        ):
            best, placed, stretches = settled, moved, again
            largest = max(s.largest for s in stretches)
    at = max(stretches, key=lambda s: s.largest).at if stretches else None
    inner, outer = Polygon(placed.outline), Polygon(leader.outline)
    # on a grid: where both outlines run along one line, the plain overlay is known to lose its way
    beyond = shapely.difference(inner, outer, grid_size=1e-6)
    far = inner.difference(outer.buffer(allowed))
    inside = far.area < 1e-3
    if not inside:
        spot = max(getattr(far, "geoms", [far]), key=lambda g: g.area).representative_point()
        messages.append(
            f"'{follower.label}' lies outside '{leader.label}' by up to {_reach(far, outer):.1f} mm, "
            f"{_near(leader, (spot.x, spot.y))}"
        )
    if largest > allowed:
        assert at is not None
        messages.append(
            f"where their outlines run together they differ by up to {largest:.1f} mm (allowed {allowed:.1f} mm), "
            f"{_near(leader, at)}"
        )
    if not stretches:
        messages.append("their outlines run together nowhere; the follower only lies inside the leader")
    agrees = inside and largest <= allowed and (leader.fold is None) == (follower.fold is None)
    return Agreement(
        best.shift, best.turn, best.flipped, agrees, largest, at, inside, float(beyond.area), stretches, tuple(messages)
    )


def _reach(far: shapely.Geometry, outer: Polygon) -> float:
    """How far the points of ``far`` lie from the leader, mm."""
    return float(shapely.distance(outer, shapely.points(shapely.get_coordinates(far))).max(initial=0.0))


def _near(piece: Piece, p: Point) -> str:
    """Where that is on the leader: by edge, and by the distance from its nearer end."""
    contour = Contour(cleaned(piece.seam if piece.seam is not None else piece.outline))
    s, _ = contour.locate(p)
    for edge in piece.edges:
        a, b = contour.locate(edge.start)[0], contour.locate(edge.end)[0]
        if not contour.within(s, a, b):
            continue
        walked = (s - a) % contour.perimeter
        left = contour.span(a, b) - walked
        end = edge.start if walked <= left else edge.end
        beside = next((o.name for o in piece.edges if o.name != edge.name and end in (o.start, o.end)), None)
        if beside is not None:
            return f"on its edge '{edge.name}', {min(walked, left):.0f} mm from edge '{beside}'"
        return f"on its edge '{edge.name}'"
    return f"at ({p[0]:.0f}, {p[1]:.0f}) mm from the middle of its grainline"
