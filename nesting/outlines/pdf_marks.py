"""Notches and grainlines of a PDF that no layer names, told by where and how they are drawn. Lengths mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.vocabulary import Role, read_role
from nesting.outlines.pdf_sheets import PdfLine, PdfText

__all__ = ["Named", "told_by_place"]

#: A role, the name that it belongs to, the kind of notch.
Named = tuple[Role, str | None, Any]

#: Lines as long as this are edges that a notch can stand on.
_EDGE_MM = 40.0
#: A notch is so long, begins this near the edge, and stands off everything else by its clear distance.
_NOTCH_MM, _ON_MM, _CLEAR_MM = (2.0, 12.5), 0.3, 1.0
#: A grainline is at least so long, clear of the edges, and no more bent than this.
_GRAIN_MM, _GRAIN_CLEAR_MM, _BENT_MM = 30.0, 2.0, 0.5
#: Its words stand this near; the lines of an arrowhead are at most so long.
_WORD_MM, _HEAD_MM = 10.0, 40.0
#: More small lines than this are a hatching or letters.
_MOST = 400


def told_by_place(
    lines: Sequence[PdfLine], roles: Sequence[Named | None], texts: Sequence[PdfText], ctx: Context
) -> list[Named | None]:
    """The roles, with those of notches and grainlines filled in where the file names none of that kind; told.

    A short line that stands upright on an edge and touches nothing else is a notch, a small angle with both ends on
    the edge a v notch. A straight line clear of all edges is the grainline where a word for it stands beside it, or an
    arrowhead at its end.
    """
    known = {role[0] for role in roles if role is not None}
    found = list(roles)
    edges = [
        k for k, line in enumerate(lines)
        if (roles[k] is None or roles[k][0] == "cut")  # type: ignore[index]
        and line.style.stroked and outline.length(line.points, line.closed) > _EDGE_MM
    ]  # fmt: skip
    if not edges:
        return found
    if "grain" not in known:
        for k in _grains(lines, found, texts, edges):
            found[k] = ("grain", None, None)
    if "notch" not in known:
        left = [k for k in edges if (role := found[k]) is None or role[0] == "cut"]
        notches = _notches(lines, found, left)
        if 0 < len(notches) <= _MOST:
            for k, kind in notches.items():
                found[k] = ("notch", None, kind)
            count = len(notches)
            many = "a short line that stands" if count == 1 else f"{count} short lines that stand"
            ctx.note(
                "ambiguous",
                f"{many} upright on an edge: taken for {'a notch' if count == 1 else 'notches'}, as no layer says what",
                code="pdf.notches-guessed",
                notches=count,
            )
    return found


def _run(line: PdfLine) -> Any:
    from shapely import LineString

    return LineString([*line.points, line.points[0]] if line.closed else line.points)


def _notches(lines: Sequence[PdfLine], roles: Sequence[Named | None], edges: Sequence[int]) -> dict[int, str | None]:
    from shapely import Point, STRtree

    shapes = [_run(lines[k]) for k in edges]
    tree = STRtree(shapes)
    found: dict[int, str | None] = {}
    for k, line in enumerate(lines):
        size = outline.length(line.points)
        if roles[k] is not None or line.closed or not line.style.stroked or k in edges:
            continue
        if not 2 <= len(line.points) <= 3 or not _NOTCH_MM[0] <= size <= 2 * _NOTCH_MM[1]:
            continue
        ends = [Point(line.points[0]), Point(line.points[-1])]
        near = [[int(j) for j in tree.query(end, predicate="dwithin", distance=_ON_MM)] for end in ends]
        if any(_at_end(lines[edges[j]], end) for end, own in zip(ends, near, strict=True) for j in own):
            continue
        if len(line.points) == 3:
            tip = Point(line.points[1])
            deep = shapes[near[0][0]].distance(tip) if near[0] else 0.0
            if near[0] and near[1] and near[0][0] == near[1][0] and _NOTCH_MM[0] <= deep <= _NOTCH_MM[1]:
                found[k] = "v"
            continue
        if bool(near[0]) == bool(near[1]) or size > _NOTCH_MM[1]:
            continue
        edge, far = (near[0][0], ends[1]) if near[0] else (near[1][0], ends[0])
        if shapes[edge].distance(far) < 0.85 * size:
            continue
        if not len(tree.query(far, predicate="dwithin", distance=_CLEAR_MM)):
            found[k] = None
    return found


def _at_end(edge: PdfLine, point: Any) -> bool:
    """Whether a point is where an open line ends: what begins there goes on with it."""
    return not edge.closed and any(
        math.dist(end, (point.x, point.y)) < _CLEAR_MM for end in (edge.points[0], edge.points[-1])
    )


def _grains(
    lines: Sequence[PdfLine], roles: Sequence[Named | None], texts: Sequence[PdfText], edges: Sequence[int]
) -> list[int]:
    from shapely import LineString, Point

    words = [t for t in texts if (role := read_role(t.text)) is not None and role[0] == "grain"]
    heads = [
        line for line in lines
        if 2 <= len(line.points) <= 4 and outline.length(line.points, line.closed) <= _HEAD_MM
    ]  # fmt: skip
    found = []
    for k in edges:
        line = lines[k]
        if roles[k] is not None or line.closed or len(line.points) < 2:
            continue
        a, b = line.points[0], line.points[-1]
        chord = LineString([a, b])
        if chord.length < _GRAIN_MM or max(chord.distance(Point(p)) for p in line.points) > _BENT_MM:
            continue
        run = _run(line)
        if any(run.distance(_run(lines[j])) < _GRAIN_CLEAR_MM for j in edges if j != k):
            continue
        worded = any(chord.distance(Point(t.at)) <= _WORD_MM for t in words)
        pointed = any(
            head is not line and math.dist(p, end) < 0.5 for head in heads for p in head.points for end in (a, b)
        )
        if worded or (pointed and not words):
            found.append(k)
    return found
