"""From the seam outline to the cut outline, edge by edge, and from a cut outline back to the seam outline.

Each edge has a finish, and the finish sets how far the cut edge lies outside the seam or finished edge: what is turned
in or sewn in is added, a raw or bound edge adds nothing, and where a trim builds out beyond the cloth (lace, a wide
elastic) the cloth ends that much short. The fold edge is never moved.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace

from shapely.geometry import LineString
from shapely.geometry import Point as ShapelyPoint

from nesting.model.errors import OrderError, PatternError
from nesting.model.findings import Finding
from nesting.model.piece import Line, Notch, Point
from nesting.pieces.body import Body
from nesting.pieces.contour import Contour, along
from nesting.pieces.cutline import Course, cut_outline, own_part
from nesting.pieces.edges import Span
from nesting.pieces.offset import offset_line, right_of
from nesting.pieces.wishes import Finish

__all__ = ["finished", "mean_offset", "on_ray", "recut", "seam_from_allowance"]

#: mm. A drawn allowance that varies by less over an edge is meant to be even.
EVEN_MM = 0.4

_NO_SEAM = (
    "the drawing has one outline and the order gives no allowance for it, so it was taken as the seam or finished edge"
)


def _known(names: Sequence[str], body: Body, key: str) -> None:
    have = {name for span in body.spans for name in span.names}
    for name in names:
        if name != "*" and name not in have:
            raise OrderError(
                f"there is no edge '{name}' on this piece; its edges are {', '.join(sorted(have))}",
                file=body.file,
                piece=body.label,
                key=key,
                code="edge.unknown",
            )


def seam_from_allowance(body: Body, allowance: Sequence[tuple[str, float]]) -> Body:
    """The body with its seam outline laid inside the drawn cut outline by what that already includes.

    Raises OrderError for an unknown edge or two allowances for one edge, PatternError where the seam outline collapses.
    """
    given = dict(allowance)
    _known(tuple(given), body, "allowance")
    courses = []
    for span in body.spans:
        d = 0.0 if span.fold else _chosen(span, given, body, "allowance", 0.0)
        line, folded = offset_line(span.line, -d)
        courses.append(Course(span.line, line, -d, fold=span.fold, folded=folded, limit=10.0, named=_is_named(span)))
    result = cut_outline(courses, say=body.place, piece=body.label, file=body.file)
    spans = tuple(replace(s, line=line, cut=s.line) for s, line in zip(body.spans, result.lines, strict=True))
    return replace(body, spans=spans, seam_known=True)


def _chosen(span: Span, given: dict[str, float], body: Body, key: str, other: float) -> float:
    values = {given[name] for name in span.names if name in given}
    if len(values) > 1:
        raise OrderError(
            f"the edges {', '.join(n for n in span.names if n in given)} overlap but are given different values",
            file=body.file,
            piece=body.label,
            key=key,
            code="finish.overlap",
        )
    return values.pop() if values else given.get("*", other)


def _is_named(span: Span) -> bool:
    return any(not name.replace("-", "").isdigit() for name in span.names)


def _finish_of(span: Span, given: dict[str, Finish], body: Body) -> Finish | None:
    named = {name: given[name] for name in span.names if name in given}
    if len({(f.offset, f.corner, f.mitre_limit) for f in named.values()}) > 1:
        raise OrderError(
            f"the edges {' and '.join(named)} overlap but have different finishes: give one of them",
            file=body.file,
            piece=body.label,
            key="finish",
            code="finish.overlap",
        )
    if named:
        return next(iter(named.values()))
    return None if span.fold else given.get("*")


def finished(
    body: Body, finishes: Sequence[tuple[str, Finish]], trim_short: Sequence[tuple[str, float]]
) -> tuple[Body, tuple[Finding, ...]]:
    """The body with its cut lines moved to where the finishes want them; edges without a finish stay as drawn.

    ``trim_short``: at these edges the cut line lies that much inside the finished edge (a lining cut short of the edge
    that is turned back over it). Raises OrderError for unknown edges, a finish on the fold edge or two finishes for one
    edge; PatternError where the outline collapses.
    """
    if not finishes and not trim_short:
        return body, ()
    given = _given(body, dict(finishes), dict(trim_short))
    findings: list[Finding] = []
    if not body.seam_known:
        findings.append(
            Finding(
                "ambiguous",
                _NO_SEAM + '; say allowance = { "*" = … } if it is the cut edge',
                body.file,
                body.label,
                code="seam-line.missing",
            )
        )
    chosen = [_finish_of(span, given, body) for span in body.spans]
    for span, finish in zip(body.spans, chosen, strict=True):
        if span.fold and finish is not None and finish.offset != 0.0:
            raise OrderError(
                "this edge lies on the fold and cannot have a finish: take it out",
                file=body.file,
                piece=body.label,
                key=f"finish '{next(n for n in span.names if n in given)}'",
                code="finish.on-fold",
            )
    courses = [_course(body.spans, chosen, i) for i in range(len(body.spans))]
    result = cut_outline(courses, say=body.place, piece=body.label, file=body.file, keep_edges=False)
    changed = [f is not None and not s.fold for f, s in zip(chosen, body.spans, strict=True)]
    notches = _moved_notches(body, [c.offset for c in courses], changed, Contour(result.ring))
    return replace(body, seam_known=True, notches=notches, finished=result.ring), tuple(findings)


def _given(body: Body, finishes: dict[str, Finish], short: dict[str, float]) -> dict[str, Finish]:
    """The finish of each edge by its name; an edge that is trimmed short is one that is moved inwards."""
    _known(tuple(finishes), body, "finish")
    _known(tuple(short), body, "trim_short")
    for name in short:
        if name in finishes:
            raise OrderError(
                "this edge has a finish and is trimmed short as well: give one of them",
                file=body.file,
                piece=body.label,
                key=f"finish '{name}'",
                code="finish.twice",
            )
    return finishes | {name: Finish("custom", -length) for name, length in short.items()}


def _course(spans: Sequence[Span], chosen: Sequence[Finish | None], i: int) -> Course:
    """The cut line of one span: moved by its finish, or what is left of it as drawn between its neighbours'."""
    span, finish = spans[i], chosen[i]
    if finish is not None and not span.fold:
        line, folded = offset_line(span.line, finish.offset)
        return Course(
            span.line, line, finish.offset, finish.corner, finish.mitre_limit, folded=folded, named=_is_named(span)
        )
    after = (i + 1) % len(spans)
    kept = own_part(
        span.cut,
        span.line,
        start=chosen[i - 1] is not None and not spans[i - 1].fold,
        end=chosen[after] is not None and not spans[after].fold,
    )
    return Course(span.line, kept, mean_offset(span), fold=span.fold, drawn=True, named=_is_named(span))


def _gaps(span: Span) -> list[float]:
    """Signed distances of the drawn cut line from the seam line at five places of the span's middle, sorted, mm."""
    if span.cut is span.line or span.cut == span.line or span.fold:
        return [0.0]
    line, cut = LineString(span.line), LineString(span.cut)
    gaps = []
    beside = []
    for share in (0.25, 0.375, 0.5, 0.625, 0.75):
        p, u = along(span.line, share * line.length)
        place = cut.project(ShapelyPoint(p))
        c = cut.interpolate(place)
        n = right_of(u)
        side = (c.x - p[0]) * n[0] + (c.y - p[1]) * n[1]
        gaps.append(math.copysign(math.dist(p, (c.x, c.y)), side) if abs(side) > 1e-9 else 0.0)
        beside.append(1e-6 < place < cut.length - 1e-6)
    # where a neighbour in a hollow corner has cut the line off, its end says nothing about the allowance
    if any(beside):
        gaps = [gap for gap, good in zip(gaps, beside, strict=True) if good]
    return sorted(gaps)


def mean_offset(span: Span) -> float:
    """How far the drawn cut line lies outside the seam line, mm: the median over the middle of the span."""
    gaps = _gaps(span)
    return gaps[len(gaps) // 2]


def recut(old: Body, new: Body, changed: Collection[int]) -> Body:
    """The altered body ``new`` with cut lines as far from its seam lines as they were before.

    ``changed``: numbers of the spans whose seam line has a new shape. Where the drawn allowance is even the cut line is
    drawn anew at that distance; elsewhere the moved line stays.
    """
    if not new.seam_known:
        return new
    n = len(new.spans)
    courses = []
    for k, (before, after) in enumerate(zip(old.spans, new.spans, strict=True)):
        gaps = _gaps(before)
        d = gaps[len(gaps) // 2]
        if k in changed and not after.fold and gaps[-1] - gaps[0] < EVEN_MM:
            line, folded = offset_line(after.line, d)
            courses.append(Course(after.line, line, d, folded=folded, limit=10.0, named=_is_named(after)))
            continue
        kept = after.cut
        if not after.fold:
            starts = (k - 1) % n in changed and not new.spans[k - 1].fold
            ends = (k + 1) % n in changed and not new.spans[(k + 1) % n].fold
            kept = own_part(kept, after.line, start=starts or k in changed, end=ends or k in changed)
            if gaps[-1] - gaps[0] < EVEN_MM:
                kept = _completed(kept, after.line, d, start=starts, end=ends)
        courses.append(Course(after.line, kept, d, limit=10.0, fold=after.fold, drawn=True))
    result = cut_outline(courses, say=new.place, piece=new.label, file=new.file)
    spans = tuple(replace(s, cut=line) for s, line in zip(new.spans, result.lines, strict=True))
    return replace(new, spans=spans)


#: mm. A cut line that stops this much before the end of its seam line was cut off by its neighbour's.
_SHORT_MM = 0.5


def _completed(cut: Line, seam: Line, d: float, *, start: bool, end: bool) -> Line:
    """A drawn cut line with what its neighbour's cut line took off it in a hollow corner put back, beside the seam
    line: once the neighbour has moved, they may meet farther in."""
    path = LineString(seam)
    feet = [path.project(ShapelyPoint(p)) for p in (cut[0], cut[-1])]
    begins = start and feet[0] > _SHORT_MM
    stops = end and path.length - feet[1] > _SHORT_MM
    if not begins and not stops:
        return cut
    beside, _ = offset_line(seam, d)
    dots = [ShapelyPoint(p) for p in beside]
    # loops of the line beside a tight curve are no part of an allowance
    true = [(p, path.project(dot)) for p, dot in zip(beside, dots, strict=True) if path.distance(dot) > abs(d) - 0.1]
    head = [p for p, s in true if begins and s < feet[0] - _SHORT_MM / 10]
    tail = [p for p, s in true if stops and s > feet[1] + _SHORT_MM / 10]
    return (*head, *cut, *tail)


def _moved_notches(
    body: Body, offsets: Sequence[float], changed: Sequence[bool], outline: Contour
) -> tuple[Notch, ...]:
    """Notches on changed edges go to the new cut edge along the normal of the seam line; the others stay."""
    seam = Contour(body.seam_ring)
    spans = [(seam.locate(s.line[0])[0], seam.locate(s.line[-1])[0]) for s in body.spans]
    moved = []
    for notch in body.notches:
        s, _ = seam.locate(notch.at)
        here = [k for k, (a, b) in enumerate(spans) if seam.within(s, a, b, slack=1e-6)]
        if here and not any(changed[k] for k in here) and outline.locate(notch.at)[1] < 1e-3:
            moved.append(notch)
            continue
        foot = seam.at(s)
        if len(here) == 1:
            n = seam.outward(s)
        else:  # at a corner: along its own direction
            a = math.radians(notch.direction)
            n = (-math.cos(a), -math.sin(a))
        d = max((offsets[k] for k in here), key=abs, default=0.0)
        at = on_ray(foot, n, d, outline)
        if at is None:
            raise PatternError(
                f"the notch {body.place(notch.at)} finds no cut edge beside it: move the notch in the drawing",
                file=body.file,
                piece=body.label,
                code="notch.no-edge",
            )
        moved.append(replace(notch, at=at))
    return tuple(moved)


def on_ray(foot: Point, n: Point, d: float, outline: Contour) -> Point | None:
    """Where the line through the foot along n meets the outline nearest to the distance d."""
    want = (foot[0] + d * n[0], foot[1] + d * n[1])
    best: tuple[float, Point] | None = None
    pts, steps = outline.points, outline.steps
    for p, step in zip(pts, steps, strict=True):
        det = n[0] * -step[1] + n[1] * step[0]
        if abs(det) < 1e-12:
            continue
        dx, dy = p[0] - foot[0], p[1] - foot[1]
        t = (dx * -step[1] + dy * step[0]) / det
        w = (n[0] * dy - n[1] * dx) / det
        if -1e-9 <= w <= 1 + 1e-9:
            gap = abs(t - d)
            if best is None or gap < best[0]:
                best = (gap, (float(foot[0] + t * n[0]), float(foot[1] + t * n[1])))
    s, gap = outline.locate(want)
    if best is None or best[0] > gap + 2 * abs(d) + 1.0:
        return outline.at(s) if gap < abs(d) + 1.0 else None
    return best[1]
