"""Joining lines that were cut at the borders of pages, once it is known where each page lies. All lengths mm.

Where pages overlap, both draw the same strip; each keeps its half of it. What only one of them draws there stays.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from nesting.model.piece import Point
from nesting.outlines.pdf_layout import MEETS_MM, Layout, turn
from nesting.outlines.pdf_sheets import Box, PdfLine, Sheet

__all__ = ["PageJoin", "stitch"]

#: mm. Parts of a strip that the neighbour draws as well lie this near its lines.
_COVERED_MM = 0.8
_ON_BORDER_MM = 0.02


@dataclass(frozen=True)
class PageJoin:
    """How the lines of two neighbouring pages meet: how many, how far the worst is out, and how many end there."""

    pages: tuple[int, int]
    lines: int
    worst: float
    open: tuple[Point, ...] = ()


@dataclass
class _Piece:
    """A part of a line on one page's own half; ``ends`` tells for each end the neighbour on whose border it lies."""

    line: PdfLine
    points: list[Point]
    ends: list[int | None]
    page: int


def stitch(sheets: Sequence[Sheet], layout: Layout) -> tuple[list[PdfLine], list[PageJoin]]:
    """All lines of the pages in one frame, joined over the borders, and how well they met."""
    from shapely import LineString, MultiLineString, box, unary_union

    assert layout.cells is not None and layout.clip is not None and layout.pitch is not None
    by_number = {s.number: s for s in sheets}
    where = {cell: page for page, cell in layout.cells.items()}
    moved: dict[int, list[PdfLine]] = {}
    for page, (dx, dy) in layout.at.items():
        moved[page] = [
            replace(line, points=tuple((x + dx, y + dy) for x, y in line.points)) for line in by_number[page].lines
        ]
    pieces: list[_Piece] = []
    result: list[PdfLine] = []
    for page, (row, column) in layout.cells.items():
        near = {
            "right": where.get((row, column + 1)), "left": where.get((row, column - 1)),
            "bottom": where.get((row + 1, column)), "top": where.get((row - 1, column)),
        }  # fmt: skip
        cell, borders = _cell(layout, page, near)
        area = box(*cell)
        others = [line for other in near.values() if other is not None for line in moved[other]]
        for line in moved[page]:
            points = line.points if not line.closed else (*line.points, line.points[0])
            shape = LineString(points)
            x0, y0, x1, y1 = shape.bounds
            inside = x0 > cell[0] and y0 > cell[1] and x1 < cell[2] and y1 < cell[3]
            if inside:
                result.append(line) if line.closed else pieces.append(_Piece(line, list(points), [None, None], page))
                continue
            kept: list[Any] = _parts(shape.intersection(area))
            rest = shape.difference(area)
            if not rest.is_empty and rest.length > 0.05:
                close = unary_union([LineString(o.points if not o.closed else (*o.points, o.points[0])) for o in others
                                     if _near(o, rest.bounds)])  # fmt: skip
                only = rest.difference(close.buffer(_COVERED_MM)) if not close.is_empty else rest
                if only.length > 2.0:
                    if not kept and only.length > rest.length - 0.01 and line.closed:
                        result.append(line)
                        continue
                    kept = _parts(MultiLineString([*kept, *_parts(only)]))
            if line.closed:
                kept = _round_again(kept, points[0])
            if len(kept) == 1 and line.closed and kept[0].length >= shape.length - 0.01:
                result.append(line)
                continue
            for part in kept:
                run = [(float(x), float(y)) for x, y in part.coords]
                if part.length <= 1e-6:
                    continue
                pieces.append(_Piece(line, run, [_border(run[0], borders), _border(run[-1], borders)], page))
    joined, joins = _join(pieces)
    return result + joined, joins


def _near(line: PdfLine, bounds: Box) -> bool:
    xs, ys = [p[0] for p in line.points], [p[1] for p in line.points]
    return not (
        max(xs) < bounds[0] - 2 or min(xs) > bounds[2] + 2 or max(ys) < bounds[1] - 2 or min(ys) > bounds[3] + 2
    )


def _parts(shape: Any) -> list[Any]:
    from shapely import LineString

    return [g for g in getattr(shape, "geoms", [shape]) if isinstance(g, LineString) and not g.is_empty]


def _round_again(parts: list[Any], start: Point) -> list[Any]:
    """A closed line's parts, the two that meet at its first point made one."""
    from shapely import LineString

    first = next((p for p in parts if math.dist(p.coords[0], start) < 1e-9), None)
    last = next((p for p in parts if math.dist(p.coords[-1], start) < 1e-9), None)
    if first is None or last is None or first is last:
        return parts
    whole = LineString([*last.coords, *list(first.coords)[1:]])
    return [whole, *(p for p in parts if p is not first and p is not last)]


def _cell(layout: Layout, page: int, near: dict[str, int | None]) -> tuple[Box, dict[int, tuple[str, float]]]:
    """The part of the drawing that is this page's own, and the borders it shares: neighbour -> (axis, place)."""
    assert layout.clip is not None and layout.pitch is not None
    dx, dy = layout.at[page]
    x0, y0, x1, y1 = layout.clip
    half_x = (x1 - x0 - layout.pitch[0]) / 2
    half_y = (y1 - y0 - layout.pitch[1]) / 2
    far = 1.0e6
    cell = [-far, -far, far, far]
    borders: dict[int, tuple[str, float]] = {}
    for side, index, place, axis in (
        ("left", 0, x0 + dx + half_x, "x"),
        ("bottom", 1, y0 + dy + half_y, "y"),
        ("right", 2, x1 + dx - half_x, "x"),
        ("top", 3, y1 + dy - half_y, "y"),
    ):
        other = near[side]
        if other is not None:
            cell[index] = place
            borders[other] = (axis, place)
    return (cell[0], cell[1], cell[2], cell[3]), borders


def _border(at: Point, borders: dict[int, tuple[str, float]]) -> int | None:
    """The neighbour on whose border a point lies, None if it lies on none. At a corner the nearer border counts."""
    best, away = None, _ON_BORDER_MM + 0.06
    for other, (axis, place) in borders.items():
        off = abs((at[0] if axis == "x" else at[1]) - place)
        if off < away:
            best, away = other, off
    return best


def _way(piece: _Piece, end: int) -> float:
    """The direction in which a part runs out at one of its ends, over half a millimetre."""
    points = piece.points if end == 1 else piece.points[::-1]
    tip = points[-1]
    back = next((p for p in reversed(points[:-1]) if math.dist(p, tip) >= 0.5), points[0])
    return math.degrees(math.atan2(tip[1] - back[1], tip[0] - back[0]))


def _join(pieces: list[_Piece]) -> tuple[list[PdfLine], list[PageJoin]]:
    ends = [(i, k) for i, piece in enumerate(pieces) for k in (0, 1) if piece.ends[k] is not None]
    by_pages: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
    for i, k in ends:
        other = pieces[i].ends[k]
        assert other is not None
        key = (min(pieces[i].page, other), max(pieces[i].page, other))
        by_pages[key].append((i, k))
    at = {(i, k): pieces[i].points[0 if k == 0 else -1] for i, k in ends}
    partner: dict[tuple[int, int], tuple[int, int]] = {}
    joins = []
    for pages, mine in sorted(by_pages.items()):
        pairs = []
        for a, one in enumerate(mine):
            for other_end in mine[a + 1 :]:
                same_page = pieces[one[0]].page == pieces[other_end[0]].page
                gap = math.dist(at[one], at[other_end])
                # two halves of one page's own line that meet on the border are joined where they were cut
                if gap > MEETS_MM or (
                    same_page and (gap > 1e-6 or pieces[one[0]].line is not pieces[other_end[0]].line)
                ):
                    continue
                bend = turn(_way(pieces[one[0]], one[1]), _way(pieces[other_end[0]], other_end[1]) + 180.0)
                if bend > 40.0 and gap > 0.1:
                    continue
                unlike = pieces[one[0]].line.style != pieces[other_end[0]].line.style
                unlike = unlike or pieces[one[0]].line.layers != pieces[other_end[0]].line.layers
                pairs.append((unlike, gap + 0.01 * bend, gap, one, other_end))
        worst, count = 0.0, 0
        for unlike, _, gap, one, other_end in sorted(pairs):
            if one in partner or other_end in partner or (unlike and gap > 0.3):
                continue
            partner[one], partner[other_end] = other_end, one
            if pieces[one[0]].page != pieces[other_end[0]].page:
                worst, count = max(worst, gap), count + 1
        left = tuple(at[end] for end in mine if end not in partner)
        joins.append(PageJoin(pages, count, worst, left))
    return _chains(pieces, partner), joins


def _chains(pieces: list[_Piece], partner: dict[tuple[int, int], tuple[int, int]]) -> list[PdfLine]:
    """Parts joined end to end into whole lines."""
    used: set[int] = set()
    result = []
    for start in range(len(pieces)):
        if start in used:
            continue
        # walk back to a loose end, or once around
        i, k = start, 0
        seen = {start}
        while (i, k) in partner:
            j, m = partner[(i, k)]
            if j in seen:
                break
            seen.add(j)
            i, k = j, 1 - m
        closed = (i, k) in partner
        run: list[Point] = []
        head = (i, k)
        while True:
            used.add(i)
            points = pieces[i].points if k == 0 else pieces[i].points[::-1]
            if run:
                middle = ((run[-1][0] + points[0][0]) / 2, (run[-1][1] + points[0][1]) / 2)
                run[-1:] = [middle, *points[1:]]
            else:
                run = list(points)
            tail = (i, 1 - k)
            following = partner.get(tail)
            if following is None or following[0] in used:
                closed = closed and following is not None and following == head
                break
            i, k = following
        line = pieces[start].line
        if closed and len(run) > 3:
            middle = ((run[-1][0] + run[0][0]) / 2, (run[-1][1] + run[0][1]) / 2)
            run = [middle, *run[1:-1]]
        else:
            closed = False
        result.append(replace(line, points=tuple(run), closed=closed))
    return result
