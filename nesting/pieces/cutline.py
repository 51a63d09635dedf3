"""The cut outline put together from the cut lines of its spans, and the refusal of one that collapses.

The lines are joined corner by corner into one ring. Wherever a bend is tighter than its offset that ring has small
loops; they wind clockwise, so filling what winds anticlockwise drops them (the usual argument for offset curves, as in
Chen and McMains, "Polygon offsetting by computing winding numbers", ASME DETC 2005). What a filling drops must be
small: a neck that closes, a slot that fills up or an edge that vanishes is an error, never a silent change.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pyclipper
import shapely
from shapely.geometry import LinearRing, Polygon
from shapely.ops import nearest_points

from nesting.model.errors import PatternError
from nesting.model.piece import Line, Point, Ring
from nesting.pieces.contour import Contour, along, cleaned, intersection, length_of, signed_area, unit
from nesting.pieces.edges import ring_of
from nesting.pieces.offset import SMOOTH_DEG, meet, mirror_meet, right_of
from nesting.pieces.wishes import Corner

__all__ = ["Course", "CutOutline", "cut_outline", "own_part"]

#: steps per mm in the integer arithmetic of the polygon filling.
_SCALE = 1e6
#: mm². What the filling leaves over below this is rounding.
_SPECK_MM2 = 0.05


@dataclass(frozen=True)
class Course:
    """How the cut line runs along one span.

    ``line``: the cut line; ``offset`` its distance from the seam line (mm; for a drawn line the mean); ``drawn``: it is
    kept as drawn; ``folded``: it has loops to be dropped; ``named``: people gave this edge a name, so it must not
    vanish. ``fold``: the fold edge, which is never moved and never cut short of its neighbours by a limit.
    """

    seam: Line
    line: Line
    offset: float = 0.0
    corner: Corner = "mitre"
    limit: float = 4.0
    fold: bool = False
    drawn: bool = False
    folded: bool = False
    named: bool = False


@dataclass(frozen=True)
class CutOutline:
    """The ring, and for each course the part of the ring that is its own (a corner's squared end or mirrored tip
    belongs to the course before it)."""

    ring: Ring
    lines: tuple[Line, ...]


def own_part(line: Line, seam: Line, *, start: bool, end: bool) -> Line:
    """The drawn cut line without what lies beyond the square through the seam line's start or end."""
    pts = list(line)
    if end:
        pts = _clipped(pts, seam[-1], unit(seam[-2], seam[-1]))
    if start:
        pts = _clipped(pts[::-1], seam[0], unit(seam[1], seam[0]))[::-1]
    return tuple(pts)


def _clipped(pts: list[Point], corner: Point, u: Point) -> list[Point]:
    def ahead(p: Point) -> float:
        return (p[0] - corner[0]) * u[0] + (p[1] - corner[1]) * u[1]

    k = len(pts)
    while k > 0 and ahead(pts[k - 1]) > 1e-9:
        k -= 1
    if k == len(pts) or k == 0:
        return pts
    p, q = pts[k - 1], pts[k]
    f = ahead(p) / (ahead(p) - ahead(q))
    x = (p[0] + f * (q[0] - p[0]), p[1] + f * (q[1] - p[1]))
    kept = pts[:k]
    if math.dist(kept[-1], x) > 1e-7 or len(kept) == 1:
        kept.append(x)
    return kept


def _fold_meeting(line: Line, fold: Line, n: Point, *, reach: float, limit: float) -> tuple[Line, Line]:
    """Join a cut line to the fold edge that follows it: it ends exactly on the fold line, produced if need be.

    ``n``: unit normal of the fold line, out of the piece.
    """
    origin, along = fold[0], unit(fold[0], fold[-1])

    def off(p: Point) -> float:  # > 0 outside, beyond the fold
        return (p[0] - origin[0]) * n[0] + (p[1] - origin[1]) * n[1]

    def on(p: Point) -> Point:
        t = (p[0] - origin[0]) * along[0] + (p[1] - origin[1]) * along[1]
        return (origin[0] + t * along[0], origin[1] + t * along[1])

    pts = list(line)
    if off(pts[-1]) > -1e-9:
        k = len(pts) - 1
        while k > 0 and off(pts[k - 1]) > -1e-9:
            k -= 1
        if k > 0:
            p, q = pts[k - 1], pts[k]
            f = off(p) / (off(p) - off(q))
            x = on((p[0] + f * (q[0] - p[0]), p[1] + f * (q[1] - p[1])))
            return (*pts[:k], x), (x, fold[-1])
        return tuple(pts), fold
    u = unit(pts[-2], pts[-1])
    hit = intersection(pts[-1], u, origin, along)
    if hit is not None and hit[0] > 0:
        x = on((origin[0] + hit[1] * along[0], origin[1] + hit[1] * along[1]))
        if math.dist(x, origin) <= limit * reach + 1e-9:
            return (*pts, x), (x, fold[-1])
        # beyond the limit: square to the fold, which is the bisector of the opened piece
        t = math.copysign(limit * reach, hit[1])
        edge = (origin[0] + t * along[0], origin[1] + t * along[1])
        square = intersection(pts[-1], u, edge, n)
        if square is not None and square[0] > 0:
            y = (pts[-1][0] + square[0] * u[0], pts[-1][1] + square[0] * u[1])
            return (*pts, y, edge), (edge, fold[-1])
    x = on(pts[-1])
    return (*pts, x), (x, fold[-1])


def _joined(courses: Sequence[Course]) -> tuple[list[Line], list[Line]]:
    """Each course's line after joining, and what lies between it and the next."""
    n = len(courses)
    lines = [c.line for c in courses]
    between: list[Line] = [()] * n
    for i in range(n):
        j = (i + 1) % n
        one, two = courses[i], courses[j]
        corner = one.seam[-1]
        if math.dist(lines[i][-1], lines[j][0]) < 1e-7:
            continue
        reach = max(abs(one.offset), abs(two.offset))
        limit = min(one.limit, two.limit)
        if two.fold:
            out = right_of(unit(two.seam[0], two.seam[-1]))
            lines[i], lines[j] = _fold_meeting(lines[i], lines[j], out, reach=reach, limit=limit)
            continue
        if one.fold:
            out = right_of(unit(one.seam[0], one.seam[-1]))
            a, b = _fold_meeting(lines[j][::-1], lines[i][::-1], out, reach=reach, limit=limit)
            lines[j], lines[i] = a[::-1], b[::-1]
            continue
        a_dir, b_dir = unit(one.seam[-2], one.seam[-1]), unit(two.seam[0], two.seam[1])
        # an edge is turned back onto its neighbour at an outer corner only, and where the two cut lines come near it
        outer = a_dir[0] * b_dir[1] - a_dir[1] * b_dir[0] > math.sin(math.radians(SMOOTH_DEG))
        if outer and two.corner == "mirror" and one.corner != "mirror" and two.offset > 0:
            met = mirror_meet(lines[i], lines[j], corner, b_dir, right_of(b_dir), two.offset)
            if met is not None and math.dist(met.first[-1], corner) <= limit * reach + 1e-9:
                lines[i], between[i], lines[j] = met
                continue
        elif outer and one.corner == "mirror" and two.corner != "mirror" and one.offset > 0:
            back = (-a_dir[0], -a_dir[1])
            met = mirror_meet(lines[j][::-1], lines[i][::-1], corner, back, right_of(a_dir), one.offset)
            if met is not None and math.dist(met.first[-1], corner) <= limit * reach + 1e-9:
                lines[j], between[i], lines[i] = met.first[::-1], met.between[::-1], met.second[::-1]
                continue
        kind: Corner = "square" if "square" in (one.corner, two.corner) else "mitre"
        lines[i], between[i], lines[j] = meet(lines[i], lines[j], (one.seam, two.seam), reach, kind=kind, limit=limit)
    return lines, between


def _filled(ring: Ring) -> tuple[list[Ring], list[Ring]]:
    """Outer rings and holes of what the ring winds round anticlockwise, specks left out."""
    clipper = pyclipper.Pyclipper()
    try:
        clipper.AddPath([(round(x * _SCALE), round(y * _SCALE)) for x, y in ring], pyclipper.PT_SUBJECT, True)
        paths = clipper.Execute(pyclipper.CT_UNION, pyclipper.PFT_POSITIVE, pyclipper.PFT_POSITIVE)
    except pyclipper.ClipperException:
        return [], []
    rings = [cleaned([(x / _SCALE, y / _SCALE) for x, y in path], same=2e-6) for path in paths]
    rings = [r for r in rings if len(r) >= 3 and abs(signed_area(r)) > _SPECK_MM2]
    outer = sorted((r for r in rings if signed_area(r) > 0), key=signed_area, reverse=True)
    return outer, [r for r in rings if signed_area(r) < 0]


def cut_outline(
    courses: Sequence[Course],
    *,
    say: Callable[[Point], str],
    piece: str,
    file: str | None,
    keep_edges: bool = True,
) -> CutOutline:
    """Join the courses into one outline.

    ``say`` tells a person where a point is. ``keep_edges``: every course must keep a line of its own, because more is
    to be done with the edges. Raises PatternError where the outline breaks apart, closes up or loses an edge, naming
    the place.
    """

    def refuse(message: str, *, code: str) -> PatternError:
        return PatternError(
            message + ": ask for narrower finishes there, or change the drawing", file=file, piece=piece, code=code
        )

    lines, between = _joined(courses)
    raw = ring_of([line for pair in zip(lines, between, strict=True) for line in pair if line])
    if len(raw) < 3:
        raise refuse("nothing is left of the piece once its finishes are taken off", code="finish.nothing-left")
    simple = Polygon(raw).is_valid and signed_area(raw) > 0
    if simple and not any(c.folded for c in courses):
        ring = raw
    else:
        outer, holes = _filled(raw)
        if not outer:
            x = Polygon(ring_of([c.seam for c in courses])).representative_point()
            raise refuse(
                f"nothing is left of the piece once its finishes are taken off ({say((x.x, x.y))})",
                code="finish.nothing-left",
            )
        if len(outer) > 1:
            p, q = nearest_points(Polygon(outer[0]), Polygon(outer[1]))
            place = ((p.x + q.x) / 2, (p.y + q.y) / 2)
            raise refuse(
                f"the cut outline breaks apart {say(place)}: the neck is narrower than what its finishes take off",
                code="finish.breaks",
            )
        if holes:
            p, _ = nearest_points(Polygon(holes[0]), LinearRing(ring_of([c.seam for c in courses])))
            raise refuse(
                f"the allowances on both sides of a slot run into each other {say((p.x, p.y))}", code="finish.slot"
            )
        ring = _with_fold_exact(outer[0], courses)
    _refuse_losses(ring, courses, lines, say=say, refuse=refuse)
    if ring is raw:
        own = tuple((*line, *mid) if mid else line for line, mid in zip(lines, between, strict=True))
        return CutOutline(ring, own)
    contour = Contour(ring)
    starts = [contour.near_vertex(contour.locate(line[0])[0]) for line in lines]
    walked = math.fsum(contour.span(a, b) for a, b in zip(starts, starts[1:] + starts[:1], strict=True))
    if keep_edges and walked > contour.perimeter + 1e-3:
        shortest = min(courses, key=lambda c: length_of(c.seam))
        raise refuse(
            f"an edge vanishes {say(along(shortest.seam, length_of(shortest.seam) / 2)[0])}",
            code="finish.edge-vanishes",
        )
    own = tuple(contour.stretch(a, b) for a, b in zip(starts, starts[1:] + starts[:1], strict=True))
    return CutOutline(ring, own)


def _with_fold_exact(ring: Ring, courses: Sequence[Course]) -> Ring:
    """Points that rounding has put beside the fold line, put back on it."""
    fold = next((c.line for c in courses if c.fold), None)
    if fold is None:
        return ring
    u = unit(fold[0], fold[-1])
    out: list[Point] = []
    for p in ring:
        dx, dy = p[0] - fold[0][0], p[1] - fold[0][1]
        if abs(u[0] * dy - u[1] * dx) < 5e-6:
            t = dx * u[0] + dy * u[1]
            p = (fold[0][0] + t * u[0], fold[0][1] + t * u[1])
        out.append(p)
    return cleaned(out)


def _refuse_losses(
    ring: Ring,
    courses: Sequence[Course],
    lines: Sequence[Line],
    *,
    say: Callable[[Point], str],
    refuse: Callable[..., PatternError],
) -> None:
    """Raise where the outline has lost more than a corner may lose.

    No point of the seam outline may be farther from the cut outline than the mitre limit allows for the offsets round
    about, and no named edge, nor one much longer than its offset, may have lost its whole cut line.
    """
    if all(abs(c.offset) < 1e-9 for c in courses):
        return
    boundary = LinearRing(ring)
    shapely.prepare(boundary)
    n = len(courses)
    lengths = [length_of(c.seam) for c in courses]
    starts = [math.fsum(lengths[:i]) for i in range(n)]
    total = math.fsum(lengths)
    samples: list[tuple[float, Point]] = []
    own: list[float] = []
    for c, s in zip(courses, starts, strict=True):
        if c.fold:
            continue
        samples += _sampled(c.seam, s, max(1.0, abs(c.offset)))
        own += [abs(c.offset)] * (len(samples) - len(own))
    points = shapely.points([p for _, p in samples])
    gaps = shapely.distance(boundary, points)
    for (s, p), gap, d0 in zip(samples, gaps, own, strict=True):
        if gap <= 1.02 * d0 + 0.1:
            continue
        allowed = 0.0
        for k, c in enumerate(courses):
            d = abs(c.offset)
            ahead = (s - starts[k]) % total
            beyond = 0.0 if ahead <= lengths[k] else min(ahead - lengths[k], total - ahead)
            if beyond <= c.limit * d + 1e-6:
                allowed = max(allowed, d * max(c.limit, _sharpness(courses, k, s, starts, total)))
        if gap > 1.02 * allowed + 0.1:
            raise refuse(
                f"the cut line no longer follows the outline {say(p)}: it ends up {gap:.1f} mm away, because the "
                "finishes of its two sides meet there",
                code="finish.not-beside",
            )
    for k, c in enumerate(courses):
        d = max(abs(courses[k - 1].offset), abs(c.offset), abs(courses[(k + 1) % n].offset))
        if c.fold or not (c.named or lengths[k] > 2 * d):
            continue
        image = shapely.points([p for _, p in _sampled(lines[k], 0.0, max(0.5, length_of(lines[k]) / 50))])
        if float(shapely.distance(boundary, image).min()) > 0.05:
            middle, _ = along(c.seam, lengths[k] / 2)
            raise refuse(f"a whole edge vanishes {say(middle)}", code="finish.edge-vanishes")


def _sampled(line: Line, start: float, step: float) -> list[tuple[float, Point]]:
    out: list[tuple[float, Point]] = []
    s = start
    for p, q in itertools.pairwise(line):
        d = math.dist(p, q)
        k = max(1, math.ceil(d / step))
        out += [(s + d * i / k, (p[0] + (q[0] - p[0]) * i / k, p[1] + (q[1] - p[1]) * i / k)) for i in range(k)]
        s += d
    return [*out, (s, line[-1])]


def _sharpness(courses: Sequence[Course], k: int, s: float, starts: Sequence[float], total: float) -> float:
    """How many offsets a sharp corner at an end of course k takes off near it: 1 / sin of half its angle."""
    worst = 1.0
    n = len(courses)
    for one, two in ((courses[k - 1], courses[k]), (courses[k], courses[(k + 1) % n])):
        a, b = unit(one.seam[-2], one.seam[-1]), unit(two.seam[0], two.seam[1])
        cosine = math.sqrt(max(0.0, (1 + a[0] * b[0] + a[1] * b[1]) / 2))
        natural = 1 / max(cosine, 0.05)
        at = starts[(k + 1) % n] if two is courses[(k + 1) % n] and one is courses[k] else starts[k]
        apart = abs(s - at) % total
        if min(apart, total - apart) <= natural * max(abs(one.offset), abs(two.offset)) + 1.0:
            worst = max(worst, natural)
    return worst
