"""Opening and closing a piece along a line across its grain, with the edges that the line cuts trued.

A person slashes the pattern, spreads or overlaps it by d along the grain, and draws the cut edges anew from end to end.
So here: everything above the line moves by d along the grain; an edge that crosses the line is stretched evenly along
the grain between its ends, which leaves a straight edge straight, keeps a curve smooth, keeps both its ends and its
tangents along and across the grain, and adds exactly d. Marks keep their distance along the grain from their own end of
the piece and are put on the trued edge.

    u: distance along the grain, mm, from the lowest point of the seam outline (or of the one outline drawn)
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from nesting.model.errors import OrderError
from nesting.model.findings import Finding
from nesting.model.piece import Line, Notch, Piece, Point
from nesting.pieces.body import Body
from nesting.pieces.contour import CORNER_DEG, Contour, length_of, unit
from nesting.pieces.edges import Span
from nesting.pieces.finishes import on_ray, recut

__all__ = ["opened_along_grain"]

_EPS = 1e-6
#: mm. Ups and downs along the grain smaller than this are the flattening of a curve, not a turn of the outline.
_WAVE_MM = 0.05
#: An edge that rises by less than this many times the length put in or taken out, or that runs more than twice as far
#: across the grain as along it, changes its look when it is trued: that is reported.
_TRUED_TIMES = 2.0


@dataclass(frozen=True)
class _Cut:
    """``d`` > 0 opens at ``u0``; ``d`` < 0 takes out what lies between u0 and u0 - d."""

    origin: Point
    along: Point
    u0: float
    d: float

    @property
    def top(self) -> float:
        return self.u0 + max(0.0, -self.d)

    def u(self, p: Point) -> float:
        return (p[0] - self.origin[0]) * self.along[0] + (p[1] - self.origin[1]) * self.along[1]

    def moved(self, p: Point, by: float) -> Point:
        return (p[0] + by * self.along[0], p[1] + by * self.along[1])

    def rigid(self, u: float) -> float:
        """How far a mark at u moves: what lies in a strip that is taken out goes to the line."""
        if u <= self.u0 + _EPS:
            return 0.0
        if u >= self.top - _EPS:
            return self.d
        return self.u0 - u


@dataclass(frozen=True)
class _Climb:
    """A part of a run between two turning points along the grain. ``a`` and ``b`` are vertex numbers of the run."""

    a: int
    b: int
    low: float
    high: float
    trued: bool


class _Run:
    """Spans that follow one another smoothly, from corner to corner."""

    def __init__(self, spans: Sequence[Span], cut: _Cut, true_it: bool) -> None:
        self.spans = spans
        self.cut = cut
        points: list[Point] = [spans[0].line[0]]
        self.breaks = [0]
        for span in spans:
            points += span.line[1:]
            self.breaks.append(len(points) - 1)
        self.points = points
        self.us = [cut.u(p) for p in points]
        self.climbs = self._climbs(true_it)

    def _climbs(self, true_it: bool) -> list[_Climb]:
        us = self.us
        turns = [0]
        direction = 0
        far = 0
        for i in range(1, len(us)):
            step = us[i] - us[far]
            if direction == 0:
                if abs(us[i] - us[0]) > _WAVE_MM:
                    direction = 1 if us[i] > us[0] else -1
                    far = i
            elif step * direction >= 0:
                far = i
            elif abs(step) > _WAVE_MM:
                turns.append(far)
                direction, far = -direction, i
        turns.append(len(us) - 1)
        climbs = []
        for a, b in itertools.pairwise(turns):
            low, high = min(us[a : b + 1]), max(us[a : b + 1])
            c = self.cut
            crosses = low <= c.u0 + _EPS and high > c.u0 + _EPS and high >= c.top - _EPS
            climbs.append(_Climb(a, b, low, high, crosses and true_it))
        return climbs

    def across(self, climb: _Climb) -> float:
        """How far the outline runs across the grain on that climb, mm."""
        gx, gy = self.cut.along
        vs = [gx * y - gy * x for x, y in self.points[climb.a : climb.b + 1]]
        return max(vs) - min(vs)

    def climb_of(self, vertex: float) -> _Climb:
        return next(c for c in self.climbs if vertex <= c.b + 1e-9)

    def shift(self, vertex: float, u: float) -> float:
        """How far the outline itself moves along the grain at (fractional) vertex number and height u."""
        climb = self.climb_of(vertex)
        if not climb.trued:
            return self.cut.rigid(u)
        # from turning point to turning point, so that neighbouring runs stay together
        low, high = sorted((self.us[climb.a], self.us[climb.b]))
        if high - low < _EPS:
            return self.cut.rigid(u)
        return self.cut.d * min(1.0, max(0.0, (u - low) / (high - low)))

    def moved(self) -> list[Point]:
        return [self.cut.moved(p, self.shift(i, u)) for i, (p, u) in enumerate(zip(self.points, self.us, strict=True))]

    def mark_vertex(self, vertex: float) -> float:
        """Where a mark at that (fractional) vertex goes on the trued run, as a fractional vertex number.

        Its height follows the rigid part that it belongs to; the trued edge has that height somewhere else along it.
        """
        climb = self.climb_of(vertex)
        if not climb.trued:
            return vertex
        i = min(int(vertex), len(self.points) - 2)
        u = self.us[i] + (vertex - i) * (self.us[i + 1] - self.us[i])
        want = u + self.cut.rigid(u)
        new = [x + self.shift(k, x) for k, x in enumerate(self.us)]
        best = (math.inf, vertex)
        for k in range(climb.a, climb.b):
            p, q = new[k], new[k + 1]
            f = 0.0 if p == q else min(1.0, max(0.0, (want - p) / (q - p)))
            gap = abs(p + f * (q - p) - want)
            if gap < best[0] - 1e-12:
                best = (gap, k + f)
        return best[1]


def _runs(body: Body, cut: _Cut, true_edges: tuple[str, ...] | None) -> list[_Run]:
    spans = body.spans
    n = len(spans)

    # the first span begins at a corner wherever there is one, so runs need not wrap
    groups: list[list[Span]] = [[spans[0]]]
    for k in range(1, n):
        if _smooth(spans[k - 1], spans[k]):
            groups[-1].append(spans[k])
        else:
            groups.append([spans[k]])
    runs = []
    for group in groups:
        names = {name for span in group for name in span.names}
        runs.append(_Run(group, cut, true_edges is None or bool(names & set(true_edges))))
    return runs


def _smooth(one: Span, two: Span) -> bool:
    a, b = unit(one.line[-2], one.line[-1]), unit(two.line[0], two.line[1])
    turn = math.degrees(abs(math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])))
    return turn < CORNER_DEG and not one.fold and not two.fold


def _begun_lowest(body: Body, cut: _Cut) -> Body:
    """An outline without corners, begun at its lowest point, so that its one run turns there and not halfway up."""
    spans = body.spans
    if not all(_smooth(spans[k - 1], spans[k]) for k in range(len(spans))):
        return body
    k = min(range(len(spans)), key=lambda k: min(cut.u(p) for p in spans[k].line))
    span = spans[k]
    i = min(range(len(span.line)), key=lambda i: cut.u(span.line[i]))
    if i in (0, len(span.line) - 1):
        first = k if i == 0 else (k + 1) % len(spans)
        return replace(body, spans=spans[first:] + spans[:first])
    lowest = span.line[i]
    if span.cut == span.line:
        cuts = (span.line[: i + 1], span.line[i:])
    else:
        stop = _stops_on(span.cut, (span.cut[0], lowest, span.cut[-1]))[1]
        cuts = (_between(span.cut, 0.0, stop), _between(span.cut, stop, float(len(span.cut) - 1)))
    head = replace(span, line=span.line[: i + 1], cut=cuts[0])
    tail = replace(span, line=span.line[i:], cut=cuts[1])
    return replace(body, spans=(tail, *spans[k + 1 :], *spans[:k], head))


def _with_jogs(line: Line, cut: _Cut) -> Line:
    """A line that is not trued: opened by a straight piece along the grain, or what lies in the strip left out."""
    out: list[Point] = []
    levels = (cut.u0,) if cut.d > 0 else (cut.u0, cut.top)
    for p, q in itertools.pairwise((*line, line[-1])):
        up, uq = cut.u(p), cut.u(q)
        if up <= cut.u0 + _EPS or up >= cut.top - _EPS:
            out.append(cut.moved(p, cut.rigid(up)))
        crossed = [(c - up) / (uq - up) for c in levels if (c - up) * (c - uq) < -1e-12]
        for f in sorted(crossed):
            x = (p[0] + f * (q[0] - p[0]), p[1] + f * (q[1] - p[1]))
            ux = up + f * (uq - up)
            if cut.d > 0:
                ends = [x, cut.moved(x, cut.d)]
                out += ends if uq > up else ends[::-1]
            else:
                out.append(x if abs(ux - cut.u0) < abs(ux - cut.top) else cut.moved(x, cut.d))
    kept = [out[0]] if out else [line[0], line[-1]]
    for p in out[1:]:
        if math.dist(p, kept[-1]) > 1e-9:
            kept.append(p)
    return tuple(kept)


def opened_along_grain(
    body: Body, u0: float, d: float, true_edges: tuple[str, ...] | None, *, key: str
) -> tuple[Body, tuple[Finding, ...]]:
    """The body opened by d at the height u0, or, for negative d, without the strip from u0 to u0 - d.

    Raises OrderError where the line misses the piece, a corner lies in the strip, or the fold edge lies askew to the
    grain.
    """
    assert body.piece.grainline is not None
    along = unit(*body.piece.grainline)
    seam = Contour(body.seam_ring)
    lowest = min(seam.ring, key=lambda p: p[0] * along[0] + p[1] * along[1])
    cut = _Cut(lowest, along, u0, d)
    height = max(cut.u(p) for p in seam.ring)

    def refuse(message: str, *, code: str) -> OrderError:
        return OrderError(message, file=body.file, piece=body.label, key=key, code=code)

    if u0 < 0.0 or cut.top > height:
        raise refuse(
            f"the line at {u0:.1f} mm {'with its strip ' if d < 0 else ''}is not on the piece, which measures "
            f"{height:.1f} mm along the grain: give a place within it",
            code="alter.place",
        )
    findings: list[Finding] = []
    body = _begun_lowest(body, cut)
    runs = _runs(body, cut, true_edges)
    for run in runs:
        for climb in run.climbs:
            for v in (climb.a, climb.b):
                if cut.u0 + _EPS < run.us[v] < cut.top - _EPS:
                    raise refuse(
                        f"the strip from {u0:.1f} to {cut.top:.1f} mm holds a corner or a turn of the outline "
                        f"{body.place(run.points[v])}: move it where only plain edges cross it",
                        code="alter.corner",
                    )
            rise, across = climb.high - climb.low, run.across(climb)
            if climb.trued and rise < max(_TRUED_TIMES * abs(d), across / 2) and not run.spans[0].fold:
                findings.append(
                    Finding(
                        "warning",
                        f"the line for the alteration crosses an edge that rises only {rise:.0f} mm "
                        f"along the grain ({body.place(run.points[(climb.a + climb.b) // 2])}): look at its new shape",
                        body.file,
                        body.label,
                        code="alter.look",
                    )
                )
        if run.spans[0].fold:
            rise = abs(run.us[-1] - run.us[0])
            if _EPS * 100 < rise < length_of(run.points) - 1e-3:
                raise refuse(
                    "the fold edge lies askew to the grain, so the piece cannot be opened across it", code="alter.fold"
                )
    new_spans: list[Span] = []
    changed: set[int] = set()
    for run in runs:
        if any(c.trued for c in run.climbs):
            changed |= set(range(len(new_spans), len(new_spans) + len(run.spans)))
        new_spans += _moved_run(run, seam, cut)
    opened = recut(body, replace(body, piece=_moved_rest(body, cut), spans=tuple(new_spans)), changed)
    marks = _moved_marks(body, opened, runs, cut)
    corners = {p: body.moved_corners.get(p, p) for p in body.anchors.numbered}
    corners = {p: cut.moved(q, cut.rigid(cut.u(q))) for p, q in corners.items()}
    return replace(opened, notches=marks, moved_corners=corners), tuple(findings)


def _moved_run(run: _Run, seam: Contour, cut: _Cut) -> list[Span]:
    trued = any(c.trued for c in run.climbs)
    crossing = any(c.low <= cut.u0 + _EPS and c.high > cut.u0 + _EPS for c in run.climbs)
    if not trued and crossing:
        return [replace(s, line=_with_jogs(s.line, cut), cut=_with_jogs(s.cut, cut)) for s in run.spans]
    new = run.moved()
    stops = [0.0] + [run.mark_vertex(v) for v in run.breaks[1:-1]] + [float(len(new) - 1)]
    cut_points: list[Point] = [run.spans[0].cut[0]]
    for span in run.spans:
        cut_points += span.cut[1:]
    same = all(span.cut == span.line for span in run.spans)
    moved_cut = new if same else [cut.moved(p, run.shift(*_foot(run, p))) for p in cut_points]
    spans = []
    cut_walk = _stops_on(moved_cut, [_vertex_point(new, v) for v in stops])
    for k, span in enumerate(run.spans):
        line = _between(new, stops[k], stops[k + 1])
        spans.append(replace(span, line=line, cut=line if same else _between(moved_cut, cut_walk[k], cut_walk[k + 1])))
    return spans


def _nearest(points: Sequence[Point], p: Point) -> float:
    """Fractional vertex number of the place on a polyline nearest to p."""
    best = (math.inf, 0.0)
    for k, (a, b) in enumerate(itertools.pairwise(points)):
        dx, dy = b[0] - a[0], b[1] - a[1]
        size = dx * dx + dy * dy
        t = 0.0 if size == 0 else min(1.0, max(0.0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / size))
        gap = math.dist(p, (a[0] + t * dx, a[1] + t * dy))
        if gap < best[0]:
            best = (gap, k + t)
    return best[1]


def _foot(run: _Run, p: Point) -> tuple[float, float]:
    """Fractional vertex number and height of the point of the run nearest to p."""
    v = _nearest(run.points, p)
    i = min(int(v), len(run.points) - 2)
    return v, run.us[i] + (v - i) * (run.us[i + 1] - run.us[i])


def _vertex_point(points: Sequence[Point], v: float) -> Point:
    i = min(int(v), len(points) - 2)
    f = v - i
    (ax, ay), (bx, by) = points[i], points[i + 1]
    return (ax + f * (bx - ax), ay + f * (by - ay))


def _stops_on(points: Sequence[Point], stops: Sequence[Point]) -> list[float]:
    """Fractional vertex numbers nearest to the stops; the first and last are the ends."""
    return [0.0, *(_nearest(points, p) for p in stops[1:-1]), float(len(points) - 1)]


def _between(points: Sequence[Point], a: float, b: float) -> Line:
    inner = [points[i] for i in range(math.floor(a) + 1, math.ceil(b))]
    line = [_vertex_point(points, a), *inner, _vertex_point(points, b)]
    kept = [line[0]]
    for p in line[1:]:
        if math.dist(p, kept[-1]) > 1e-7:
            kept.append(p)
    return tuple(kept)


def _moved_marks(old: Body, new: Body, runs: Sequence[_Run], cut: _Cut) -> tuple[Notch, ...]:
    old_seam = Contour(old.seam_ring)
    new_cut = Contour(new.cut_ring)
    new_seam = Contour(new.seam_ring)
    moved = []
    for notch in old.notches:
        s, _ = old_seam.locate(notch.at)
        foot = old_seam.at(s)
        run = min(runs, key=lambda r: _gap(r, foot))
        v, u = _foot(run, foot)
        if any(c.trued for c in run.climbs):
            target = _vertex_point(run.moved(), run.mark_vertex(v))
        else:
            target = cut.moved(foot, cut.rigid(u))
        t, _ = new_seam.locate(target)
        before, after = old_seam.outward(s), new_seam.outward(t)
        turn = math.degrees(
            math.atan2(before[0] * after[1] - before[1] * after[0], before[0] * after[0] + before[1] * after[1])
        )
        d = (notch.at[0] - foot[0]) * before[0] + (notch.at[1] - foot[1]) * before[1]
        at = on_ray(new_seam.at(t), after, d, new_cut)
        if at is None or any(math.dist(foot, span.line[0]) < 1e-3 for span in old.spans):
            # at a corner no normal tells the way: the notch goes with the corner
            turn = 0.0
            want = (notch.at[0] + target[0] - foot[0], notch.at[1] + target[1] - foot[1])
            at = new_cut.at(new_cut.locate(want)[0])
        moved.append(replace(notch, at=at, direction=(notch.direction + turn) % 360.0))
    return tuple(moved)


def _gap(run: _Run, p: Point) -> float:
    v, _ = _foot(run, p)
    return math.dist(p, _vertex_point(run.points, v))


def _moved_rest(body: Body, cut: _Cut) -> Piece:
    piece = body.piece

    def move(p: Point) -> Point:
        return cut.moved(p, cut.rigid(cut.u(p)))

    assert piece.grainline is not None
    return replace(
        piece,
        inside=tuple(_with_jogs(line, cut) if len(line) > 1 else line for line in piece.inside),
        cutouts=tuple(_with_jogs((*c, c[0]), cut)[:-1] for c in piece.cutouts),
        drills=tuple(replace(d, at=move(d.at)) for d in piece.drills),
        grainline=(move(piece.grainline[0]), move(piece.grainline[1])),
        fold=(move(piece.fold[0]), move(piece.fold[1])) if piece.fold is not None else None,
    )
