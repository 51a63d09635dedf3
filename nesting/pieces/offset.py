"""Lines beside lines: the line at a distance from a polyline, and how two such lines meet at a corner.

    seam line    ────────────●  C           a, b: directions of the two edges at the corner C
    cut line   ──────────────┼───╮ X        X: where the cut lines meet (mitre); beyond the limit the corner is cut
                             │   │             square to its bisector

All lines run anticlockwise round the piece, so outside is to the right. Offsets in mm, positive outward.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString
from shapely.geometry import Point as ShapelyPoint
from shapely.ops import substring

from nesting.model.piece import Line, Point
from nesting.model.tolerances import CHORD_MM
from nesting.pieces.contour import as_points, cleaned, intersection, unit
from nesting.pieces.wishes import Corner

__all__ = ["SMOOTH_DEG", "Meeting", "extended", "meet", "mirror_meet", "offset_line", "right_of"]

#: degrees. Edges that meet at less than this run smoothly into each other: no corner to mitre.
SMOOTH_DEG = 10.0

#: mm. If sides that meet at a shallow bend were chords of a curve, the curve would leave them by more than this, which
#: no flattening does: the bend is drawn as a bend, so its cut lines are mitred, not rounded.
DRAWN_BEND_MM = 0.05

#: Loops are looked for among all pairs of sides of lines up to this long.
_MOST_POINTS = 3000

Array = NDArray[np.float64]

_MITRED = math.radians(60.0)
_TINY = 1e-9


def right_of(u: Point) -> Point:
    """The unit normal to the right of the direction u."""
    return (u[1], -u[0])


def _turn(a: Point, b: Point) -> float:
    return math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])


def offset_line(line: Sequence[Point], d: float, *, closed: bool = False) -> tuple[Line, bool]:
    """The line at the distance d to the right of a polyline, and whether it folds back on itself somewhere.

    Curves are rounded on their outer side by arcs of radius d (error below 0.01 mm). On the inner side, and at bends
    between straight sides, the neighbouring lines are intersected, so straight sides stay exactly at d. Where a bend is
    tighter than d the line runs over its vertex instead. The loops that this makes wind clockwise; those that an open
    line closes by itself are cut off here, as nothing must meet them, the others when the outline is put together.
    """
    pts = cleaned(line) if closed else _open_cleaned(line)
    if abs(d) < _TINY:
        return ((*pts, pts[0]) if closed else tuple(pts)), False
    n = len(pts)
    sides = n if closed else n - 1
    dirs = [unit(pts[i], pts[(i + 1) % n]) for i in range(sides)]
    lengths = [math.dist(pts[i], pts[(i + 1) % n]) for i in range(sides)]
    arc_step = 2 * math.acos(max(0.0, 1 - CHORD_MM / abs(d))) if abs(d) > CHORD_MM else math.pi / 2

    def corner_points(v: Point, a: Point, b: Point, room: float, shorter: float) -> tuple[list[Point], bool]:
        turn = _turn(a, b)
        na, nb = right_of(a), right_of(b)
        if abs(turn) < 1e-12:
            return [(v[0] + d * nb[0], v[1] + d * nb[1])], False
        bent = shorter * abs(turn) / 8 > DRAWN_BEND_MM and abs(turn) < _MITRED
        steps = math.ceil(abs(turn) / arc_step)
        # one step of the arc differs from the mitre by less than a chord may; the mitre is what the way back undoes
        if turn * d > 0 and steps > 1 and not bent:  # outer side of a curve
            start = math.atan2(na[1], na[0])
            angles = [start + turn * i / steps for i in range(steps + 1)]
            return [(v[0] + d * math.cos(t), v[1] + d * math.sin(t)) for t in angles], False
        back = abs(d) * abs(math.tan(turn / 2)) if turn * d < 0 else 0.0
        if back <= room:
            k = d / (1 + na[0] * nb[0] + na[1] * nb[1])
            return [(v[0] + k * (na[0] + nb[0]), v[1] + k * (na[1] + nb[1]))], False
        return [(v[0] + d * na[0], v[1] + d * na[1]), v, (v[0] + d * nb[0], v[1] + d * nb[1])], True

    # an inner bend may take at most half of each neighbouring side, or that side would be turned round
    out: list[Point] = []
    folded = False
    for i in range(n):
        if not closed and i in (0, n - 1):
            u = right_of(dirs[0] if i == 0 else dirs[-1])
            out.append((pts[i][0] + d * u[0], pts[i][1] + d * u[1]))
            continue
        shorter = min(lengths[i - 1], lengths[i % sides])
        room = shorter / 2
        if not closed:
            # the ends give their sides away whole
            before = lengths[i - 1] if i == 1 else lengths[i - 1] / 2
            after = lengths[i] if i == n - 2 else lengths[i] / 2
            room = min(before, after)
        found, loop = corner_points(pts[i], dirs[i - 1], dirs[i % sides], room, shorter)
        out.extend(found)
        folded = folded or loop
    if closed:
        out.append(out[0])
    elif folded:
        out = _unlooped(out)
    return tuple(out), folded


def _unlooped(line: list[Point]) -> list[Point]:
    """The open line without the clockwise loops that it makes with itself."""
    if len(line) > _MOST_POINTS:
        return line  # left to the filling of the whole outline
    p = np.asarray(line) - line[0]
    steps = np.diff(p, axis=0)
    sides = np.asarray(shapely.linestrings(np.stack([p[:-1], p[1:]], axis=1)))
    i, j = shapely.STRtree(sides).query(sides)
    i, j = i[i < j - 1], j[i < j - 1]
    u, v, gap = steps[i], steps[j], p[j] - p[i]
    det = _cross(u, v)
    with np.errstate(divide="ignore", invalid="ignore"):
        t, w = _cross(gap, v) / det, _cross(gap, u) / det
    crossing = (t > 0) & (t < 1) & (w > 0) & (w < 1)
    i, j, x = i[crossing], j[crossing], (p[i] + t[:, None] * u)[crossing]
    # twice the area of the loop from the crossing by the points i + 1 to j and back (shoelace formula in prefix sums)
    walked = np.concatenate(([0.0], np.cumsum(_cross(p[:-1], p[1:]))))
    clockwise = walked[j] - walked[i + 1] + _cross(p[j], x) + _cross(x, p[i + 1]) < 0
    i, j, x = i[clockwise], j[clockwise], x[clockwise] + line[0]
    out: list[Point] = []
    begin = 0
    for k in np.lexsort((-j, i)):  # from the start on, each time the loop that leads farthest
        if i[k] >= begin:
            out += [*line[begin : int(i[k]) + 1], (float(x[k, 0]), float(x[k, 1]))]
            begin = int(j[k]) + 1
    return out + line[begin:]


def _cross(a: Array, b: Array) -> Array:
    product: Array = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return product


def _open_cleaned(line: Sequence[Point]) -> list[Point]:
    kept = [line[0]]
    for p in line[1:]:
        if math.dist(p, kept[-1]) > 1e-7:
            kept.append(p)
    if len(kept) == 1:
        raise ValueError("a line needs two different points")
    return kept


def extended(line: Sequence[Point], before: float, after: float) -> Line:
    """The line made longer along its first and last side, mm."""
    pts = list(line)
    if before > 0:
        u = unit(pts[1], pts[0])
        pts.insert(0, (pts[0][0] + before * u[0], pts[0][1] + before * u[1]))
    if after > 0:
        u = unit(pts[-2], pts[-1])
        pts.append((pts[-1][0] + after * u[0], pts[-1][1] + after * u[1]))
    return tuple(pts)


class Meeting(NamedTuple):
    """Two lines after they have been joined: the first up to the corner, what lies between, the second from there."""

    first: Line
    between: Line
    second: Line


def _end_cut(line: Line, x: Point) -> Line:
    """The line with its last point put at x, which lies on its last side or on that side's extension."""
    return (*line[:-1], x)


def _start_cut(line: Line, x: Point) -> Line:
    return (x, *line[1:])


def _crossing(first: Line, second: Line) -> tuple[Line, Line] | None:
    """Both lines cut at the crossing that takes least of them away, None if they do not cross."""
    a, b = LineString(first), LineString(second)
    hit = a.intersection(b)
    points = [ShapelyPoint(c) for g in getattr(hit, "geoms", [hit]) if not g.is_empty for c in g.coords]
    if not points:
        return None
    sa, sb = min(((a.project(p), b.project(p)) for p in points), key=lambda pair: a.length - pair[0] + pair[1])
    if sa < 1e-9 or b.length - sb < 1e-9:
        return None  # one of them would vanish
    return as_points(substring(a, 0.0, sa).coords), as_points(substring(b, sb, b.length).coords)


def meet(
    first: Line,
    second: Line,
    seams: tuple[Line, Line],
    reach: float,
    *,
    kind: Corner = "mitre",
    limit: float = 4.0,
) -> Meeting:
    """Join two cut lines at a corner of the seam outline.

    ``seams``: the seam lines that end and begin there; ``reach`` the larger of both offsets (mm, positive). A mitre
    longer than ``limit`` · reach is cut off square to the bisector of the corner at that distance; kind "square" cuts
    it at the distance ``reach``. Where the lines do not meet near the corner, the first ends and the second begins
    square to its edge, with a step between.
    """
    gap = math.dist(first[-1], second[0])
    if gap < 1e-6:
        return Meeting(first, (), second)
    corner = seams[0][-1]
    a, b = unit(seams[0][-2], corner), unit(corner, seams[1][1])
    turn = _turn(a, b)
    na, nb = right_of(a), right_of(b)
    da = (first[-1][0] - corner[0]) * na[0] + (first[-1][1] - corner[1]) * na[1]
    db = (second[0][0] - corner[0]) * nb[0] + (second[0][1] - corner[1]) * nb[1]
    # convex corners are stepped from end to start; at concave ones that would cross, so over the corner itself
    step = Meeting(first, () if turn > 0 else (corner,), second)
    if abs(turn) < math.radians(SMOOTH_DEG) and abs(da - db) > 0.05:
        return step
    u, v = unit(first[-2], first[-1]), unit(second[0], second[1])
    hit = intersection(first[-1], u, second[0], v)
    if hit is None:
        return step
    t, w = hit
    # a line that lies inside the seam line has to cross the other edge's when it is produced, one outside must not
    produced = (first[-1] if t > 0 and da > -1e-9 else None, second[0] if w < 0 and db > -1e-9 else None)
    x = (first[-1][0] + t * u[0], first[-1][1] + t * u[1])
    if t >= -math.dist(first[-2], first[-1]) and w <= math.dist(second[0], second[1]):
        far = math.dist(corner, x)
        outer = t > 0 and w < 0
        if outer and far > (reach if kind == "square" else limit * reach + 1e-9):
            squared = _squared(first, second, corner, (u, v), (a, b), reach if kind == "square" else limit * reach)
            if squared is not None:
                return squared
        elif far <= limit * reach + 1e-9 and _clear(produced, x, seams, corner):
            return Meeting(_end_cut(first, x), (), _start_cut(second, x))
    longer = limit * reach
    crossed = _crossing(extended(first, 0.0, longer if t > 0 else 0.0), extended(second, longer if w < 0 else 0.0, 0.0))
    if crossed is not None and _clear(produced, crossed[0][-1], seams, corner):
        return Meeting(crossed[0], (), crossed[1])
    return step


def _clear(produced: tuple[Point | None, Point | None], x: Point, seams: tuple[Line, Line], corner: Point) -> bool:
    """Whether the cut lines, produced from those ends to x, stay clear of the other edge's seam line."""
    for end, seam in zip(produced, (seams[1], seams[0]), strict=True):
        if end is None or math.dist(end, x) < 1e-6:
            continue
        hit = LineString([end, x]).intersection(LineString(seam))
        for part in getattr(hit, "geoms", [hit]):
            if any(math.dist(c, corner) > 1e-6 for c in part.coords):
                return False
    return True


def _squared(
    first: Line,
    second: Line,
    corner: Point,
    cuts: tuple[Point, Point],
    edges: tuple[Point, Point],
    distance: float,
) -> Meeting | None:
    (u, v), (a, b) = cuts, edges
    m = (a[0] - b[0], a[1] - b[1])  # along the bisector, away from the piece at an outer corner
    size = math.hypot(*m)
    if size < 1e-9:
        return None
    m = (m[0] / size, m[1] / size)
    base = (corner[0] + distance * m[0], corner[1] + distance * m[1])
    hit_a = intersection(first[-1], u, base, right_of(m))
    hit_b = intersection(second[0], v, base, right_of(m))
    if hit_a is None or hit_b is None:
        return None
    pa = (first[-1][0] + hit_a[0] * u[0], first[-1][1] + hit_a[0] * u[1])
    pb = (second[0][0] + hit_b[0] * v[0], second[0][1] + hit_b[0] * v[1])
    if hit_a[0] < -math.dist(first[-2], first[-1]) or hit_b[0] > math.dist(second[0], second[1]):
        return None
    return Meeting(_end_cut(first, pa), (), _start_cut(second, pb))


def mirror_meet(side: Line, turned: Line, corner: Point, along: Point, outward: Point, depth: float) -> Meeting | None:
    """Join the cut line of a side to that of an edge that is turned back, so that it lies flush when turned.

    Beyond the finished edge (the line through ``corner`` in the direction ``along``, away from the side) the side goes
    on as its own mirror image in that line, up to ``depth``. ``side`` ends and ``turned`` begins at the corner; reverse
    both lines for the other end of the edge. For a curved finished edge its tangent at the corner is the mirror. None
    where the side has no mirror image of that depth.
    """

    def height(p: Point) -> float:  # positive outside the finished edge
        return (p[0] - corner[0]) * outward[0] + (p[1] - corner[1]) * outward[1]

    def run(p: Point) -> float:
        return (p[0] - corner[0]) * along[0] + (p[1] - corner[1]) * along[1]

    longer = extended(side, 0.0, 4 * depth)
    inside = [i for i, p in enumerate(longer) if height(p) < -1e-9]
    if not inside or inside[-1] == len(longer) - 1:
        return None
    i = inside[-1]
    p, q = longer[i], longer[i + 1]
    f = height(p) / (height(p) - height(q))
    foot = (p[0] + f * (q[0] - p[0]), p[1] + f * (q[1] - p[1]))
    tip = [foot]
    for r in reversed(longer[: i + 1]):
        h = height(r)
        m = (r[0] - 2 * h * outward[0], r[1] - 2 * h * outward[1])
        before = height(tip[-1])
        if -h <= before:
            return None  # the side turns back within the depth of the hem
        if -h >= depth - 1e-9:
            g = (depth - before) / (-h - before)
            tip.append((tip[-1][0] + g * (m[0] - tip[-1][0]), tip[-1][1] + g * (m[1] - tip[-1][1])))
            break
        tip.append(m)
    else:
        return None
    rest = list(turned)
    while len(rest) > 2 and run(rest[1]) <= run(tip[-1]):
        rest.pop(0)
    if run(rest[0]) <= run(tip[-1]):
        rest[0] = tip[-1]
    return Meeting((*longer[: i + 1], foot), tuple(tip[1:]), tuple(rest))
