"""A PDF pattern as strokes and texts in groups, as any other drawing: chosen, put together, told apart by size."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.sketch import Group
from nesting.model.findings import FindingKind
from nesting.outlines.pdf_child import read_guarded
from nesting.outlines.pdf_dashes import with_dashes_joined
from nesting.outlines.pdf_groups import groups_of
from nesting.outlines.pdf_layout import Layout, by_cut_lines, by_whole_lines, same_shape
from nesting.outlines.pdf_prepare import Refused
from nesting.outlines.pdf_select import chosen, runs_of, without_furniture
from nesting.outlines.pdf_sheets import PdfLine, PdfText, Sheet, Sheets
from nesting.outlines.pdf_squares import take_squares
from nesting.outlines.pdf_stitch import PageJoin, stitch

__all__ = ["read_pdf"]

#: mm. Lines of two pages that meet worse than this are a question: a hand that glues them is not that far out.
DOUBTFUL_MM = 1.0
#: mm between pages that do not belong together, in the drawing that all of them make.
_APART_MM = 100.0


def read_pdf(
    data: bytes, ctx: Context, pages: Sequence[int] | None = None, layers: Sequence[str] | None = None
) -> Group:
    """All that a PDF's pattern pages draw, put together, as a group of groups.

    ``pages``: numbers from 1; None for all that are no instructions. ``layers``: read as if only these were switched
    on. Raises PatternError for what cannot be read, is encrypted, cut short, scripted or far too large, and where there
    is no drawing in it.
    """
    try:
        sheets = read_guarded(data, 0.5 * ctx.chord, pages, layers)
    except Refused as error:
        raise ctx.error(str(error), code="pdf.refused") from None
    kinds: dict[str, FindingKind] = {"note": "note", "ignored": "ignored", "warning": "warning"}
    for kind, message in sheets.notes:
        ctx.note(kinds.get(kind, "note"), message, code="pdf.reading")
    for sheet in sheets.sheets:
        if abs(sheet.user_unit - 1) > 1e-9:
            ctx.note(
                "note",
                f"page {sheet.number} has units of {sheet.user_unit:g} points; its lengths are read so",
                code="pdf.user-unit",
            )
    sheets = replace(sheets, sheets=tuple(map(with_dashes_joined, sheets.sheets)))
    taken = chosen(sheets, ctx, asked=pages is not None)
    squares, taken = take_squares(taken, ctx)
    lines, texts = _together(taken, sheets, ctx)
    return groups_of(lines, texts, squares, ctx)


def _together(given: Sequence[Sheet], sheets: Sheets, ctx: Context) -> tuple[list[PdfLine], list[PdfText]]:
    """The lines and texts of all pages in one frame."""
    if len(given) == 1:
        _tell_cut_off(given[0], ctx)
        return list(given[0].lines), list(given[0].texts)
    lines: list[PdfLine] = []
    texts: list[PdfText] = []
    left = list(given)
    at: dict[int, tuple[float, float]] = {}
    edge = 0.0
    for layout in by_whole_lines(given):
        mine = [s for s in given if s.number in layout.at]
        left = [s for s in left if s.number not in layout.at]
        _tell_whole(layout, ctx)
        part = _once(without_furniture(mine, ctx), layout, ctx)
        edge = _place(part, layout, mine, edge, lines, texts, at)
    by_size: dict[tuple[int, int], list[Sheet]] = defaultdict(list)
    for sheet in left:
        by_size[(round(sheet.width), round(sheet.height))].append(sheet)
    for same in by_size.values():
        bare = without_furniture(same, ctx) if len(same) > 1 else same
        found = by_cut_lines(bare)
        if found is None:
            for sheet in same:
                layout = Layout({sheet.number: (0.0, 0.0)})
                if not sheet.lines:
                    continue
                _tell_cut_off(sheet, ctx)
                edge = _place(list(sheet.lines), layout, [sheet], edge, lines, texts, at)
            if len([s for s in same if s.lines]) > 1:
                numbers = runs_of([s.number for s in same if s.lines])
                ctx.note(
                    "note",
                    f"nothing joins pages {numbers}; each is read by itself, at full size",
                    code="pdf.pages-apart",
                )
            continue
        mine = [s for s in bare if s.number in found.at]
        alone = [s for s in bare if s.number not in found.at and s.lines]
        part, joins = stitch(mine, found)
        _tell_cut(found, joins, ctx)
        edge = _place_joined(part, found, mine, edge, lines, texts)
        for sheet in alone:
            ctx.note(
                "question",
                f"page {sheet.number} fits none of the others; it is read by itself. Does it belong?",
                code="pdf.page-alone",
            )
            edge = _place(list(sheet.lines), Layout({sheet.number: (0.0, 0.0)}), [sheet], edge, lines, texts, at)
    return lines, texts


def _tell_whole(layout: Layout, ctx: Context) -> None:
    kind: FindingKind = "question" if layout.spread > DOUBTFUL_MM else "note"
    ctx.note(
        kind,
        f"pages {runs_of(list(layout.at))} are one drawing, put together by {layout.how}; these agree to within "
        f"{layout.spread:.2f} mm" + (". Is that the pattern?" if kind == "question" else ""),
        code="pdf.joined",
    )


def _tell_cut(layout: Layout, joins: Sequence[PageJoin], ctx: Context) -> None:
    assert layout.cells is not None and layout.clip is not None and layout.pitch is not None
    rows = 1 + max(r for r, _ in layout.cells.values())
    columns = 1 + max(c for _, c in layout.cells.values())
    over = layout.clip[2] - layout.clip[0] - layout.pitch[0], layout.clip[3] - layout.clip[1] - layout.pitch[1]
    overlap = f"{over[0] if columns > 1 else over[1]:.1f}"
    if rows > 1 and columns > 1 and abs(over[0] - over[1]) > 0.05:
        overlap = f"{over[0]:.1f} and {over[1]:.1f}"
    worst = max((j.worst for j in joins), default=0.0)
    count = sum(j.lines for j in joins)
    apart: dict[str, Any] = {f"pages_{j.pages[0]}_{j.pages[1]}_mm": j.worst for j in joins if j.lines}
    each = [f"{j.pages[0]} to {j.pages[1]} {j.worst:.2f}" for j in joins if j.lines]
    told = f" (pages {', '.join(each[:12])}{', …' if len(each) > 12 else ''} mm)" if len(each) > 1 else ""
    ctx.note(
        "note",
        f"pages {runs_of(list(layout.at))} are put together by {layout.how}: {rows} × {columns} (down × across), "
        f"overlapping by {overlap} mm; {count} lines go on from page to page, at most {worst:.2f} mm apart{told}",
        code="pdf.joined",
        **apart,
    )
    for join in joins:
        a, b = join.pages
        if join.worst > DOUBTFUL_MM:
            ctx.note(
                "question",
                f"lines of pages {a} and {b} meet {join.worst:.1f} mm apart where they are joined, more than "
                f"{DOUBTFUL_MM:g} mm: is a page missing, or printed at another scale?",
                code="pdf.join-error",
            )
        if join.open:
            x, y = join.open[0]
            many = "line ends" if len(join.open) == 1 else "lines end"
            ctx.note(
                "question" if not join.lines else "ambiguous",
                f"{len(join.open)} {many} at the border of pages {a} and {b} (first at ({x:.1f}, {y:.1f}) mm) and do "
                "not go on there",
                code="pdf.line-ends",
            )


def _tell_cut_off(sheet: Sheet, ctx: Context) -> None:
    """Lines that reach out of what the page shows are read whole, and that is told."""
    count = 0
    for line in sheet.lines:
        x0, y0, x1, y1 = outline.box(line.points)
        if min(x0, y0) < -1 or x1 > sheet.width + 1 or y1 > sheet.height + 1:
            count += 1
    if count:
        many = "line reaches" if count == 1 else "lines reach"
        ctx.note(
            "note",
            f"page {sheet.number}: {count} {many} out of the page; read whole, as the file holds them",
            code="pdf.beyond-page",
        )


def _move(line: PdfLine, dx: float, dy: float) -> PdfLine:
    return replace(line, points=tuple((x + dx, y + dy) for x, y in line.points))


def _once(sheets: Sequence[Sheet], layout: Layout, ctx: Context) -> list[PdfLine]:
    """The lines of pages that draw them whole, in the layout's frame, each once. What no page shows is left out."""
    kept: list[PdfLine] = []
    by_length: dict[int, list[PdfLine]] = defaultdict(list)
    windows = []
    for sheet in sheets:
        dx, dy = layout.at[sheet.number]
        x0, y0, x1, y1 = sheet.clip or (0.0, 0.0, sheet.width, sheet.height)
        windows.append((x0 + dx, y0 + dy, x1 + dx, y1 + dy))
    unseen = 0
    for sheet in sheets:
        dx, dy = layout.at[sheet.number]
        for given in sheet.lines:
            line = _move(given, dx, dy)
            length = outline.length(line.points, line.closed)
            near = [o for k in (-1, 0, 1) for o in by_length[int(length) + k]]
            if any(
                o.page != line.page and (s := same_shape(o, line)) is not None and math.hypot(*s) <= 0.25 for o in near
            ):
                continue
            x0, y0, x1, y1 = outline.box(line.points)
            if not any(x0 <= w[2] and x1 >= w[0] and y0 <= w[3] and y1 >= w[1] for w in windows):
                unseen += 1
                continue
            by_length[int(length)].append(line)
            kept.append(line)
    if unseen:
        ctx.note(
            "ignored", f"{unseen} lines lie where none of the pages shows them, and are left out", code="pdf.unseen"
        )
    return kept


def _place(
    part: list[PdfLine], layout: Layout, sheets: Sequence[Sheet], edge: float,
    lines: list[PdfLine], texts: list[PdfText], at: dict[int, tuple[float, float]],
) -> float:  # fmt: skip
    """Set lines that are in the layout's frame beside what is there; returns where the next may begin."""
    moved = len(layout.at) == 1
    left = min(x for x, _ in layout.at.values())
    reach = [p[0] for line in part for p in line.points] or [0.0]
    shift = edge - min(left, min(reach)) if edge or not moved else 0.0
    lines += [_move(line, shift, 0.0) for line in part]
    seen: set[tuple[str, int, int]] = set()
    for sheet in sheets:
        dx, dy = layout.at[sheet.number]
        at[sheet.number] = (dx + shift, dy)
        for text in sheet.texts:
            there = (text.at[0] + dx + shift, text.at[1] + dy)
            key = (text.text, round(there[0]), round(there[1]))
            if len(sheets) > 1 and key in seen:
                continue
            seen.add(key)
            texts.append(replace(text, at=there))
    width = max(s.width + layout.at[s.number][0] for s in sheets)
    return shift + max(width, max(reach)) + _APART_MM


def _place_joined(
    part: list[PdfLine], layout: Layout, sheets: Sequence[Sheet], edge: float,
    lines: list[PdfLine], texts: list[PdfText],
) -> float:  # fmt: skip
    return _place(part, layout, sheets, edge, lines, texts, {})
