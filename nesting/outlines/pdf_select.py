"""Which pages are the pattern, and what on them is only there for the paper: frames, marks for gluing, page numbers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.outlines.pdf_raster import is_scan
from nesting.outlines.pdf_sheets import PdfLine, PdfText, Sheet, Sheets

__all__ = ["chosen", "runs_of", "without_furniture"]

#: mm. Letters drawn as areas are smaller than this, pieces are not.
_GLYPH_MM = 15.0
#: mm. A frame or a trim line lies this near the page's edge.
_MARGIN_MM = 32.0
#: mm. Marks for gluing, and page numbers drawn as lines, are no larger.
_MARK_MM = 45.0
#: Characters: a page with more of them and few lines is for reading.
_WORDY = 350


def chosen(sheets: Sheets, ctx: Context, *, asked: bool) -> list[Sheet]:
    """The pages with drawings, cleared of what is no line. ``asked``: the pages were named, so none is left out.

    Raises PatternError where no page has a drawing.
    """
    taken: list[Sheet] = []
    pictures: list[int] = []
    reading: list[int] = []
    for sheet in sheets.sheets:
        bare = _only_lines(sheet, ctx)
        if is_scan(sheet) and _long(bare) < 100.0:
            pictures.append(sheet.number)
        elif not asked and _is_reading(bare):
            reading.append(sheet.number)
        else:
            if sheet.pictures:
                count = len(sheet.pictures)
                many = "a picture is" if count == 1 else f"{count} pictures are"
                ctx.note("ignored", f"page {sheet.number}: {many} no line and left out", code="pdf.picture")
            taken.append(bare)
    taken = _without_blank_ends(taken)
    if reading:
        many = f"pages {runs_of(reading)} hold" if len(reading) > 1 else f"page {reading[0]} holds"
        ctx.note(
            "ignored",
            f"{many} text and small pictures, no pieces: left out as instructions. If pieces are among them, name the "
            f'pages in the order (pages = "{runs_of(reading)}")',
            code="pdf.instructions",
        )
    if pictures:
        many = f"pages {runs_of(pictures)} are scanned pictures" if len(pictures) > 1 else (
            f"page {pictures[0]} is a scanned picture"
        )  # fmt: skip
        if not any(sheet.lines for sheet in taken):
            raise ctx.error(
                f"{many}, without lines that could be read: trace it with 'nesting trace X.pdf "
                "--measured …', or get the pattern as a vector PDF",
                code="pdf.scan",
            )
        ctx.note("question", f"{many} and left out: trace it with 'nesting trace' if pieces are on it", code="pdf.scan")
    if not any(sheet.lines for sheet in taken):
        raise ctx.error(
            "no page of the PDF has a drawing, so there is no piece"
            + (f" (pages {runs_of(reading)} hold text only)" if reading else "")
            + ": choose another file, or export the pattern with its lines",
            code="pdf.no-drawing",
        )
    return taken


def runs_of(numbers: Sequence[int]) -> str:
    """1, 2, 3, 7 -> "1-3, 7"."""
    runs: list[list[int]] = []
    for n in sorted(numbers):
        if runs and n == runs[-1][1] + 1:
            runs[-1][1] = n
        else:
            runs.append([n, n])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)


def _size(line: PdfLine) -> tuple[float, float]:
    x0, y0, x1, y1 = outline.box(line.points)
    return x1 - x0, y1 - y0


def _long(sheet: Sheet) -> float:
    """The greatest extent of a line on the sheet."""
    return max((max(_size(line)) for line in sheet.lines), default=0.0)


def _only_lines(sheet: Sheet, ctx: Context) -> Sheet:
    """Without white lines, areas in the page's colour and letters drawn as areas."""
    kept: list[PdfLine] = []
    white = letters = areas = 0
    for line in sheet.lines:
        style = line.style
        if min(style.colour) >= 250:
            white += 1
            continue
        w, h = _size(line)
        if style.filled and not style.stroked and not line.layers:
            if max(w, h) < _GLYPH_MM:
                letters += 1
                continue
            if min(w, h) < 1.0 and max(w, h) > 5.0:
                # a rule drawn as a thin area
                areas += 1
                continue
        elif (style.filled and not style.stroked and max(w, h) < 6.0) or max(w, h) < 0.05:
            letters += 1
            continue
        kept.append(line)
    if white:
        ctx.note(
            "ignored",
            f"page {sheet.number}: {white} white lines or areas cannot be seen and are left out",
            code="pdf.white",
        )
    if letters:
        ctx.note(
            "ignored",
            f"page {sheet.number}: {letters} small filled areas (letters, arrowheads) are left out",
            code="pdf.small-areas",
        )
    if areas:
        ctx.note(
            "ignored",
            f"page {sheet.number}: {areas} thin filled bars are no lines and are left out",
            code="pdf.small-areas",
        )
    frame = [ln for ln in kept if _is_page_edge(ln, sheet)]
    if frame and len(kept) > len(frame):
        ctx.note(
            "ignored", f"page {sheet.number}: a line along the page's edge is taken as its frame", code="drawing.frame"
        )
        kept = [ln for ln in kept if not any(ln is f for f in frame)]
    return replace(sheet, lines=tuple(kept))


def _is_page_edge(line: PdfLine, sheet: Sheet) -> bool:
    if len(line.points) > 5:
        return False
    x0, y0, x1, y1 = outline.box(line.points)
    page = (0.0, 0.0, sheet.width, sheet.height)
    return line.closed and all(abs(p - q) <= 0.5 for p, q in zip((x0, y0, x1, y1), page, strict=True))


def _is_reading(sheet: Sheet) -> bool:
    """Whether a page is for reading: text and no lines, or much text with small drawings or a table."""
    words = sum(len(t.text) for t in sheet.texts)
    if not sheet.lines:
        # blank pages within a tiled pattern stay, as their place counts
        return words > 60
    small = 0.45 * min(sheet.width, sheet.height)
    if words > _WORDY:
        inner = [ln for ln in sheet.lines if not _is_rule(ln, sheet)]
        return all(max(_size(ln)) < small for ln in inner)
    return False


def _is_rule(line: PdfLine, sheet: Sheet) -> bool:
    """A straight level or upright line, or a rectangle: a table or a frame around text."""
    x0, y0, x1, y1 = outline.box(line.points)
    if len(line.points) == 2:
        return min(x1 - x0, y1 - y0) < 0.2
    return len(line.points) <= 5 and abs(abs(outline.area(line.points)) - (x1 - x0) * (y1 - y0)) < 1.0


def _without_blank_ends(sheets: list[Sheet]) -> list[Sheet]:
    """Blank pages before the first and after the last drawing go; those between may be places of a tiled pattern."""
    full = [i for i, s in enumerate(sheets) if s.lines]
    return sheets[full[0] : full[-1] + 1] if full else []


def without_furniture(sheets: Sequence[Sheet], ctx: Context) -> list[Sheet]:
    """Pages of one size without what stands at the same place on several of them: frames, marks for gluing, headers."""
    count = len([s for s in sheets if s.lines or s.texts])
    where: dict[tuple[object, ...], set[int]] = defaultdict(set)
    said: dict[tuple[str, int, int], set[int]] = defaultdict(set)
    for sheet in sheets:
        for line in sheet.lines:
            for key in _keys(line):
                where[key].add(sheet.number)
        for text in sheet.texts:
            for dx in (0, 1):
                for dy in (0, 1):
                    key2 = (text.text, int(text.at[0] + dx) // 2, int(text.at[1] + dy) // 2)
                    said[key2].add(sheet.number)
    result = []
    dropped = 0
    for sheet in sheets:
        lines = []
        for line in sheet.lines:
            pages = max((where[key] for key in _keys(line)), key=len)
            if len(pages) >= 2 and _is_furniture(line, sheet, len(pages), count):
                dropped += 1
            else:
                lines.append(line)
        texts = [t for t in sheet.texts if not _is_header(t, said, count)]
        result.append(replace(sheet, lines=tuple(lines), texts=tuple(texts)))
    if dropped:
        ctx.note(
            "ignored",
            f"{dropped} lines stand at the same place on several pages (frames, marks for gluing); they are no pieces",
            code="pdf.furniture",
        )
    return result


def _keys(line: PdfLine) -> list[tuple[object, ...]]:
    """Keys under which the same line on another page is found, whatever its last digits."""
    x0, y0, x1, y1 = outline.box(line.points)
    return [
        (line.closed, *(int(v * 5 + shift) for v in (x0, y0, x1, y1)), round(outline.length(line.points, line.closed)))
        for shift in (0.0, 0.5)
    ]


def _is_furniture(line: PdfLine, sheet: Sheet, pages: int, count: int) -> bool:
    x0, y0, x1, y1 = outline.box(line.points)
    w, h = x1 - x0, y1 - y0
    if max(w, h) <= _MARK_MM:
        return pages >= 2 and (pages >= 3 or count <= 4)
    near = [x0 < _MARGIN_MM, y0 < _MARGIN_MM, sheet.width - x1 < _MARGIN_MM, sheet.height - y1 < _MARGIN_MM]
    if all(near):
        return len(line.points) <= 12
    straight = min(w, h) < 0.3
    if straight and h < w:
        return w > 0.5 * sheet.width and (near[1] or near[3])
    if straight:
        return h > 0.5 * sheet.height and (near[0] or near[2])
    return pages >= max(3, count - 1) and min(w, h) <= _MARGIN_MM and any(near)


def _is_header(text: PdfText, said: dict[tuple[str, int, int], set[int]], count: int) -> bool:
    pages = len(said[(text.text, int(text.at[0]) // 2, int(text.at[1]) // 2)])
    return pages >= 2 and pages >= min(3, count)
