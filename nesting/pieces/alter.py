"""Alterations after a fitting: lengthen, shorten, add or take at an edge, take a strip out of the middle.

What is added or taken at an edge fades to nothing at an end that is held (see ``shift``). An end that is not held moves
with the edge; the neighbouring edge is produced, or cut short, to meet it.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import replace

from shapely.geometry import Polygon

from nesting.model.errors import OrderError, PatternError
from nesting.model.findings import Figure, Finding
from nesting.model.order import AlteredStep
from nesting.model.piece import Line, Notch, Point, Ring
from nesting.pieces.body import Body
from nesting.pieces.contour import Contour, cleaned, signed_area, unit
from nesting.pieces.cutline import Course, cut_outline
from nesting.pieces.edges import Span, anchor_point
from nesting.pieces.finishes import recut
from nesting.pieces.lengthen import opened_along_grain
from nesting.pieces.offset import offset_line
from nesting.pieces.shift import Shift, dense
from nesting.pieces.wishes import Alteration, Anchor

__all__ = ["altered", "altered_in_steps"]

#: "start of waist", "waist end": an end of an edge by its name, as the outline runs anticlockwise.
_END = re.compile(r"(?:(start|end) of (.+))|(?:(.+?)[ .](start|end))|(start|end)", re.I)

#: mm. An anchor to hold that lies this near to an end of the edge means that end.
_HELD_MM = 1.0
#: mm. A held end that has moved by more has not been held.
_LOST_MM = 0.05
#: mm. A line that lies beside the piece by less, as sums are rounded, lies at its end.
_HAIR_MM = 1e-6
#: An alteration by more than this share of the piece's largest measure may be meant in another unit.
_LARGE = 0.4
#: degrees. An outline that turns by more at the old corner of a moved edge has a step there.
_STEP_DEG = 20.0


def altered(body: Body, alterations: Sequence[Alteration]) -> tuple[Body, tuple[Finding, ...]]:
    """The body after all alterations, in their order, and a note for each with the change in area.

    Raises OrderError where an alteration names something that is not there or cannot be done, PatternError where the
    outline would cross itself.
    """
    return altered_in_steps(body, alterations)[:2]


def altered_in_steps(
    body: Body, alterations: Sequence[Alteration]
) -> tuple[Body, tuple[Finding, ...], tuple[AlteredStep, ...]]:
    """As ``altered``, and what each alteration does, to be drawn: before, after, and where."""
    findings: list[Finding] = []
    steps: list[AlteredStep] = []
    for number, change in enumerate(alterations, 1):
        key = f"alter {number} ({change.kind})"
        before = abs(signed_area(body.cut_ring))
        if change.by <= 0.0 or not math.isfinite(change.by):
            raise OrderError(
                f"by = {change.by:g} mm, but a length above 0 was expected; the kind tells the direction",
                file=body.file,
                piece=body.label,
                key=key,
                code="alter.by",
            )
        findings += _doubted(body, change, key)
        was = body
        if change.kind in ("add", "take"):
            body, found = _moved_edge(body, change, key)
            steps.append(_edge_step(number, change, was, body, key))
        else:
            d = change.by if change.kind == "lengthen" else -change.by
            u0, told = _height(body, change, key)
            findings += told
            for name in change.true_edges or ():
                _spans_of(body, name, key)
            body, found = opened_along_grain(body, u0, d, change.true_edges, key=key)
            steps.append(_line_step(number, change, was, body, u0, d))
        findings += found
        if not Polygon(body.cut_ring).is_valid or not Polygon(body.seam_ring).is_valid:
            raise PatternError(
                f"after {key} the outline crosses itself: ask for less, or for another place",
                file=body.file,
                piece=body.label,
                code="alter.crosses",
            )
        after = abs(signed_area(body.cut_ring))
        findings.append(
            Finding(
                "note",
                f"{_words(change)}: the piece as drawn goes from {before / 100:.1f} to {after / 100:.1f} cm² "
                f"({(after - before) / 100:+.1f} cm²)",
                body.file,
                body.label,
                code="alter.area",
            )
        )
    return body, tuple(findings), tuple(steps)


def _doubted(body: Body, change: Alteration, key: str) -> list[Finding]:
    """A question of units where an alteration asks for a large share of the piece."""
    xs, ys = zip(*body.seam_ring, strict=True)
    size = max(max(xs) - min(xs), max(ys) - min(ys))
    if change.by <= _LARGE * size:
        return []
    words = (
        f"{key} asks for {change.by:g} mm on a piece that is {size:.0f} mm at its largest: is the unit right? A bare "
        "number is in the order's units; a length may carry its own"
    )
    figures: dict[str, Figure] = {"by": change.by, "size": size}
    return [Finding("warning", words, body.file, body.label, code="alter.large", figures=figures)]


def _line_step(number: int, change: Alteration, was: Body, now: Body, u0: float, d: float) -> AlteredStep:
    """The line across the grain, and the second one that it opens to or closes from, with both its ends in words."""
    assert was.piece.grainline is not None
    g = unit(*was.piece.grainline)
    low = min(q[0] * g[0] + q[1] * g[1] for q in was.seam_ring)

    def across(ring: Ring, u: float) -> Line:
        """From end to end of the outline at the height u, the left end of the drawing first."""
        found: list[Point] = []
        for p, q in itertools.pairwise((*ring, ring[0])):
            up, uq = (x[0] * g[0] + x[1] * g[1] - low for x in (p, q))
            if (up - u) * (uq - u) <= 0.0:
                f = 0.5 if up == uq else (u - up) / (uq - up)
                found.append((p[0] + f * (q[0] - p[0]), p[1] + f * (q[1] - p[1])))
        if not found:
            return ()
        found.sort(key=lambda p: g[0] * p[1] - g[1] * p[0])
        return tuple(sorted((found[0], found[-1])))

    before = [across(was.seam_ring, u) for u in ((u0,) if d > 0 else (u0, u0 - d))]
    after = [across(now.seam_ring, u) for u in ((u0, u0 + d) if d > 0 else (u0,))]
    line = before[0] or ((0.0, 0.0), (0.0, 0.0))
    return AlteredStep(
        number,
        _words(change),
        was.seam_ring,
        now.seam_ring,
        tuple(x for x in before if x),
        tuple(x for x in after if x),
        (line[0], line[-1]),
        (_spot(was, line[0]), _spot(was, line[-1])),
    )


def _edge_step(number: int, change: Alteration, was: Body, now: Body, key: str) -> AlteredStep:
    assert change.edge is not None
    lines = []
    for body in (was, now):
        points: list[Point] = []
        for k in _spans_of(body, change.edge, key):
            points += body.spans[k].line
        lines.append(tuple(points))
    ends = (lines[0][0], lines[0][-1])
    words = []
    for old, new in zip(ends, (lines[1][0], lines[1][-1]), strict=True):
        stays = math.dist(old, new) <= _LOST_MM
        beside = next(iter(_meeting(was, old, change.edge)), None)
        words.append(f"{'held' if stays else 'moves'}{f', at {beside}' if beside else ''}")
    return AlteredStep(
        number, _words(change), was.seam_ring, now.seam_ring, (lines[0],), (lines[1],), ends, (words[0], words[1])
    )


def _meeting(body: Body, end: Point, edge: str) -> list[str]:
    """Named edges that meet the edge at that end; those that bear numbers where there is no other."""
    found = [
        name
        for span in body.spans
        for name in span.names
        if edge not in span.names and min(math.dist(end, p) for p in (span.line[0], span.line[-1])) < 1e-3
    ]
    return sorted(dict.fromkeys(found), key=lambda name: name.replace("-", "").isdigit())


def _spot(body: Body, p: Point) -> str:
    """Where a place of the outline is, for people: its edge, and how far along from the nearer end."""
    contour = Contour(cleaned(body.seam_ring))
    s = contour.locate(p)[0]
    best: tuple[bool, float, str] | None = None
    for name in dict.fromkeys(n for span in body.spans for n in span.names):
        mine = [span for span in body.spans if name in span.names]
        a, b = contour.locate(mine[0].line[0])[0], contour.locate(mine[-1].line[-1])[0]
        if not contour.within(s, a, b):
            continue
        walked, whole = (s - a) % contour.perimeter, contour.span(a, b)
        near_start = walked <= whole / 2
        beside = next(iter(_meeting(body, mine[0].line[0] if near_start else mine[-1].line[-1], name)), None)
        words = f"on {name}, {walked if near_start else whole - walked:.0f} mm from {beside or 'its end'}"
        numbers = name.replace("-", "").isdigit()
        if best is None or (numbers, whole) < best[:2]:
            best = (numbers, whole, words)
    return best[2] if best is not None else ""


def _since(change: Alteration) -> str:
    """How far from where the line of an alteration lies, as the order says it."""
    since = {None: "the tail of the grain arrow", "tail": "the tail of the grain arrow"}
    since |= {"head": "the head of the grain arrow"}
    return f"{change.at:g} mm from {since.get(change.start, f'the middle of {change.start}')}"


def _words(change: Alteration) -> str:
    where = f" at {change.edge}" if change.edge else ""
    if change.at_is_distance and isinstance(change.at, float):
        where = f", {_since(change)}"
    return f"{change.kind} {change.by:g} mm{where}"


def _height(body: Body, change: Alteration, key: str) -> tuple[float, list[Finding]]:
    """Where the line across the grain lies, as a distance along the grain from the lowest end of the outline (that of
    the arrow's tail), and what is to be told about that."""
    if change.at is None:
        raise OrderError(
            "says no place: give at = a distance along the grain from the lowest end, a notch or a corner",
            file=body.file,
            piece=body.label,
            key=key,
            code="alter.place",
        )
    assert body.piece.grainline is not None
    g = unit(*body.piece.grainline)
    us = [q[0] * g[0] + q[1] * g[1] for q in body.seam_ring]
    height = max(us) - min(us)
    if change.at_is_distance:
        u0, told = _measured(body, change, key)
        strip = change.by if change.kind != "lengthen" else 0.0
        if u0 < -_HAIR_MM or u0 + strip > height + _HAIR_MM:
            raise OrderError(
                f"the line {_since(change)} {'with its strip ' if strip else ''}is not on the piece, which measures "
                f"{height:.1f} mm along the grain: give a place within it",
                file=body.file,
                piece=body.label,
                key=key,
                code="alter.place",
            )
        return min(max(u0, 0.0), height - strip), told
    anchor = int(change.at) if isinstance(change.at, float) else change.at
    p = _anchor_now(body, anchor, key)
    return p[0] * g[0] + p[1] * g[1] - min(us), []


def _side(g: Point) -> str:
    """On which side of the drawing the tail of a grain arrow along ``g`` is."""
    if abs(g[1]) >= abs(g[0]):
        return "lower" if g[1] > 0.0 else "upper"
    return "left" if g[0] > 0.0 else "right"


def _measured(body: Body, change: Alteration, key: str) -> tuple[float, list[Finding]]:
    """The place of a distance from where the alteration says: an edge, or the tail or head of the grain arrow."""
    assert body.piece.grainline is not None and isinstance(change.at, float)
    g = unit(*body.piece.grainline)
    us = [q[0] * g[0] + q[1] * g[1] for q in body.seam_ring]
    low, high = min(us), max(us)
    strip = change.by if change.kind != "lengthen" else 0.0
    if change.start is None:
        figures: dict[str, Figure] = {"at": change.at, "choices": ("tail", "head", *edges_known(body))}
        if g[1] >= -math.sin(math.radians(10.0)):
            told = (
                f"at = {change.at:g} mm of '{change.kind}' is measured from the tail of the grain arrow, the "
                f'{_side(g)} end of the drawing; from = "tail", "head" or a named edge says it'
            )
            return change.at, [Finding("note", told, body.file, body.label, code="alter.from", figures=figures)]
        asks = Finding(
            "question",
            f"at = {change.at:g} mm of '{change.kind}' is measured from the tail of the grain arrow, which points down "
            'the drawing, so from its upper end: is that meant? from = "tail", "head" or a named edge says it',
            body.file,
            body.label,
            code="alter.from",
            figures=figures,
            forbids=True,
        )
        return change.at, [asks]
    if change.start in ("tail", "head"):
        return (change.at if change.start == "tail" else high - low - change.at - strip), []
    numbers = _spans_of(body, change.start, key)
    line = [p for k in numbers for p in body.spans[k].line]
    along = [p[0] * g[0] + p[1] * g[1] - low for p in line]
    if max(along) - min(along) > 0.5 * (high - low):
        raise OrderError(
            f"from = '{change.start}' runs along the grain, so no distance is measured from it: name an edge across "
            'the grain, or "tail" or "head"',
            file=body.file,
            piece=body.label,
            key=key,
            code="alter.from",
        )
    run = Contour(body.seam_ring)
    start, end = (run.locate(p)[0] for p in (line[0], line[-1]))
    middle = run.at((start + run.span(start, end) / 2) % run.perimeter)
    u = middle[0] * g[0] + middle[1] * g[1] - low
    return (u - change.at - strip if u > (high - low) / 2 else u + change.at), []


def edges_known(body: Body) -> tuple[str, ...]:
    """The names of the piece's edges, each once."""
    return tuple(sorted({name for span in body.spans for name in span.names}))


def _anchor_now(body: Body, anchor: int | str, key: str) -> Point:
    """Where an anchor of the drawing is after the alterations so far."""
    p = anchor_point(anchor, body.anchors, key, file=body.file, piece=body.label)
    for k, (_, at) in enumerate(body.anchors.notches):
        if at == p and not isinstance(anchor, int) and k < len(body.notches):
            return body.notches[k].at
    return body.moved_corners.get(p, p)


def _spans_of(body: Body, name: str, key: str) -> list[int]:
    found = [k for k, span in enumerate(body.spans) if name in span.names]
    if not found:
        have = sorted({n for span in body.spans for n in span.names})
        raise OrderError(
            f"there is no edge '{name}' on this piece; its edges are {', '.join(have)}",
            file=body.file,
            piece=body.label,
            key=key,
            code="edge.unknown",
        )
    n = len(body.spans)
    if len(found) < n:
        first = next(k for k in found if (k - 1) % n not in found)
        run = [first]
        while (run[-1] + 1) % n in found:
            run.append((run[-1] + 1) % n)
        if len(run) != len(found):
            raise OrderError(
                f"there are several edges '{name}' on this piece: give them different names",
                file=body.file,
                piece=body.label,
                key=key,
                code="edge.name-twice",
            )
        return run
    return found


def _named_end(body: Body, anchor: Anchor, edge: str, key: str) -> Point | None:
    """The place of an end of an edge that is named: "start", "end", "start of waist", "waist end"; None if the anchor
    is something else. Notches and edges that are called so come first."""
    found = _END.fullmatch(anchor.strip()) if isinstance(anchor, str) else None
    known = {n for span in body.spans for n in span.names} | {n for n, _ in body.anchors.notches}
    if found is None or anchor in known:
        return None
    which = (found[1] or found[4] or found[5]).casefold()
    name = found[2] or found[3] or edge
    run = _spans_of(body, name, key)
    return body.spans[run[0]].line[0] if which == "start" else body.spans[run[-1]].line[-1]


def _held_ends(
    body: Body, change: Alteration, edge: str, numbers: Sequence[int], key: str
) -> tuple[tuple[Point, Point], list[bool]]:
    """The two ends of an edge that is moved, and which of them are held. OrderError for what is no end of it."""

    def refuse(message: str, *, code: str) -> OrderError:
        return OrderError(message, file=body.file, piece=body.label, key=key, code=code)

    ends = (body.spans[numbers[0]].line[0], body.spans[numbers[-1]].line[-1])
    held = [False, False]
    for anchor in change.hold:
        by_name = _named_end(body, anchor, edge, key)
        if by_name is not None:
            is_end = [math.dist(e, by_name) <= _HELD_MM for e in ends]
            if not any(is_end):
                raise refuse(
                    f"hold = {anchor!r} is not an end of the edge '{edge}': its ends are where it meets "
                    f"{' and '.join(n for e in ends for n in _meeting(body, e, edge)[:1]) or 'itself'}; write "
                    'one of these, or "start" or "end" (as the outline runs anticlockwise)',
                    code="alter.hold",
                )
            held = [held[k] or is_end[k] for k in (0, 1)]
            continue
        # an end may be named by the edge that meets there
        meeting = [s.line for k, s in enumerate(body.spans) if anchor in s.names and k not in numbers]
        at = [any(math.dist(e, q) <= _HELD_MM for line in meeting for q in (line[0], line[-1])) for e in ends]
        if any(at):
            held = [held[k] or at[k] for k in (0, 1)]
            continue
        p = _anchor_now(body, anchor, key)
        seam = Contour(body.seam_ring)
        p = seam.at(seam.locate(p)[0])
        near = [math.dist(p, e) <= _HELD_MM for e in ends]
        if not any(near):
            raise refuse(
                f"hold = {anchor!r} is not an end of the edge '{edge}': hold one of its ends, or name the "
                "stretch up to the held point as an edge",
                code="alter.hold",
            )
        for k in (0, 1):
            held[k] = held[k] or near[k]
    return ends, held


# long: seam line, cut line, marks and corners move by the same shift, one after the other
def _moved_edge(body: Body, change: Alteration, key: str) -> tuple[Body, tuple[Finding, ...]]:
    def refuse(message: str, *, code: str) -> OrderError:
        return OrderError(message, file=body.file, piece=body.label, key=key, code=code)

    if change.edge is None:
        raise refuse('says no edge: give edge = "…"', code="alter.no-edge")
    numbers = _spans_of(body, change.edge, key)
    by = change.by if change.kind == "add" else -change.by
    ends, held = _held_ends(body, change, change.edge, numbers, key)
    if all(held) and math.dist(*ends) <= _HELD_MM:
        held = [True, True]
    fold = any(body.spans[k].fold for k in numbers)
    if fold and (any(held) or len(numbers) > 1):
        raise refuse("the fold edge stays straight: it can only be moved as a whole, without hold", code="alter.fold")
    shift = Shift(body, numbers, by, held[0], held[1])
    courses = []
    for k, span in enumerate(body.spans):
        if k not in numbers:
            courses.append(Course(span.line, span.line, 0.0, fold=span.fold))
        elif fold or not any(held):
            line, folded = offset_line(span.line, by)
            courses.append(Course(span.line, line, by, fold=span.fold, folded=folded))
        else:
            courses.append(Course(span.line, shift.moved(dense(span.line)), by))
    seam_now = cut_outline(courses, say=body.place, piece=body.label, file=body.file)
    for end, stays in zip(ends, held, strict=True):
        if stays and Contour(seam_now.ring).locate(end)[1] > _LOST_MM:
            raise refuse(
                f"the held end {body.place(end)} would be cut off, as the corner there is too sharp: take less, or do "
                "not hold it",
                code="alter.hold",
            )
    steps = _steps(body, numbers, held, seam_now.ring)
    cuts = []
    for k, (span, line) in enumerate(zip(body.spans, seam_now.lines, strict=True)):
        if k not in numbers or not body.seam_known or span.fold:
            cuts.append(line if span.fold or not body.seam_known else span.cut)
        else:
            cuts.append(shift.moved(dense(span.cut)) if any(held) else offset_line(span.cut, by)[0])
    spans = tuple(
        Span(line, cut, span.names, span.fold) for span, line, cut in zip(body.spans, seam_now.lines, cuts, strict=True)
    )
    piece = body.piece
    if fold:
        line = spans[numbers[0]].line
        piece = replace(piece, fold=(line[0], line[-1]))
    moved = recut(body, replace(body, piece=piece, spans=spans), numbers)
    notches, lost = _followed(body, moved, shift)
    corners = dict(body.moved_corners)
    for p in (*body.anchors.bends, *body.anchors.others):
        place, gap = shift.seam.locate(corners.get(p, p))
        if gap < 1e-3 and shift.on_edge(place):
            here, way = shift.seam.at(place), shift.vector(shift.seam.at(place))
            corners[p] = (here[0] + way[0], here[1] + way[1])
    for old, new in zip(body.spans, spans, strict=True):
        first = next((k for k, v in corners.items() if v == old.line[0]), old.line[0])
        corners[first] = new.line[0]
    return replace(moved, notches=notches, moved_corners=corners), (*steps, *lost)


def _steps(body: Body, numbers: Sequence[int], held: Sequence[bool], ring: Ring) -> list[Finding]:
    """A warning for each end of the moved edge where the new outline still turns at the old corner: there the edge and
    its neighbour do not meet."""
    n = len(body.spans)
    if len(numbers) == n:
        return []
    contour = Contour(ring)
    found = []
    for stays, corner in zip(held, (body.spans[numbers[0]].line[0], body.spans[numbers[-1]].line[-1]), strict=True):
        s, gap = contour.locate(corner)
        vertex, ahead = contour.index_at(contour.near_vertex(s, 1e-3))
        if not stays and gap < 1e-3 and ahead < 1e-6 and abs(float(contour.turns[vertex])) > _STEP_DEG:
            message = (
                f"the moved edge does not meet its neighbour {body.place(corner)}, so there is a step: hold that end, "
                "or move the neighbour as well"
            )
            found.append(Finding("warning", message, body.file, body.label, code="alter.look"))
    return found


def _followed(old: Body, new: Body, shift: Shift) -> tuple[tuple[Notch, ...], tuple[Finding, ...]]:
    """The notches of the moved edge go with it; notches on what was cut off a neighbour are told."""
    cut = Contour(new.cut_ring)
    seam = Contour(new.seam_ring)
    notches, lost = [], []
    for k, notch in enumerate(old.notches):
        s, _ = shift.seam.locate(notch.at)
        if shift.on_edge(s):
            v = shift.vector(shift.seam.at(s))
            at = (notch.at[0] + v[0], notch.at[1] + v[1])
            place, _ = cut.locate(at)
            before, after = shift.seam.outward(s), seam.outward(seam.locate(at)[0])
            turn = math.degrees(
                math.atan2(before[0] * after[1] - before[1] * after[0], before[0] * after[0] + before[1] * after[1])
            )
            notches.append(replace(notch, at=cut.at(place), direction=(notch.direction + turn) % 360.0))
            continue
        place, gap = cut.locate(notch.at)
        if gap > 0.1:
            lost.append(
                Finding(
                    "warning",
                    f"notch '{old.anchors.notches[k][0]}' lay on what was taken off and now lies at the "
                    f"nearest place of the new edge, {gap:.1f} mm away",
                    old.file,
                    old.label,
                    code="alter.notch-moved",
                )
            )
        notches.append(replace(notch, at=cut.at(place)))
    return tuple(notches), tuple(lost)
