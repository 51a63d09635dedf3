"""What a PDF holds, to choose from: its pages in small, which of them are read as pattern, and its layers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from nesting.files.drawn.context import Context
from nesting.model.errors import PatternError
from nesting.model.tolerances import CHORD_MM, JOIN_GAP_MM
from nesting.outlines.pdf_child import read_guarded
from nesting.outlines.pdf_prepare import Refused
from nesting.outlines.pdf_select import chosen
from nesting.outlines.pdf_sheets import Sheet, Sheets

__all__ = ["LayerShown", "PageShown", "PdfContents", "pdf_contents"]

#: mm. What is smaller cannot be told on a page that is drawn in small.
_SMALLEST_MM = 4.0
#: Points that a page in small has at most.
_MOST_POINTS = 2500
#: Characters of a page's text that are told.
_MOST_TEXT = 60


@dataclass(frozen=True)
class PageShown:
    """A page: ``number`` from 1, ``width`` and ``height`` mm, ``read``: taken as pattern where nobody chooses.
    ``words``: how its text begins. ``lines``: its longer lines, points in mm from its lower left corner."""

    number: int
    width: float
    height: float
    read: bool
    words: str
    lines: tuple[tuple[tuple[float, float], ...], ...]


@dataclass(frozen=True)
class LayerShown:
    """A layer: ``shown`` when the file is opened; ``count`` of the lines and texts in it, 0 where it is not shown."""

    name: str
    shown: bool
    count: int


@dataclass(frozen=True)
class PdfContents:
    """All pages, also those that are not read, and all layers."""

    pages: tuple[PageShown, ...]
    layers: tuple[LayerShown, ...]


def pdf_contents(path: Path) -> PdfContents:
    """The pages and layers of a PDF as it shows itself when it is opened.

    Raises PatternError for what cannot be opened or is no PDF.
    """
    ctx = Context(path.name, CHORD_MM, JOIN_GAP_MM)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ctx.error(f"the file cannot be read ({error.strerror or error})", code="file.unreadable") from None
    if b"%PDF-" not in data[:1024]:
        raise ctx.error("pages and layer choose from a PDF file, and this is none; remove these keys", code="pdf.keys")
    try:
        sheets = read_guarded(data, 0.5 * ctx.chord, None, None)
    except Refused as error:
        raise ctx.error(str(error), code="pdf.refused") from None
    try:
        taken = {sheet.number for sheet in chosen(sheets, ctx, asked=False)}
    except PatternError:
        taken = set()
    return PdfContents(tuple(_page(sheet, sheet.number in taken) for sheet in sheets.sheets), _layers(sheets))


def _page(sheet: Sheet, read: bool) -> PageShown:
    words = " ".join(t.text.strip() for t in sheet.texts if t.text.strip())
    large = sorted((ln.points for ln in sheet.lines), key=_extent, reverse=True)
    kept: list[tuple[tuple[float, float], ...]] = []
    left = _MOST_POINTS
    for line in large:
        if _extent(line) < _SMALLEST_MM or left < 2:
            break
        step = max(1, -(-len(line) // 120))
        few = tuple((round(x, 1), round(y, 1)) for x, y in (*line[:-1:step], line[-1]))
        kept.append(few)
        left -= len(few)
    return PageShown(sheet.number, sheet.width, sheet.height, read, words[:_MOST_TEXT].strip(), tuple(kept))


def _extent(line: Sequence[tuple[float, float]]) -> float:
    xs, ys = [p[0] for p in line], [p[1] for p in line]
    return max(max(xs) - min(xs), max(ys) - min(ys))


def _layers(sheets: Sheets) -> tuple[LayerShown, ...]:
    bearing = [ln.layers for sheet in sheets.sheets for ln in sheet.lines]
    bearing += [t.layers for sheet in sheets.sheets for t in sheet.texts]
    held = Counter(name for layers in bearing for name in dict.fromkeys(layers))
    known = {one.name: one.shown for one in sheets.layers}
    names = dict.fromkeys((*known, *held))
    return tuple(LayerShown(name, known.get(name, True), held[name]) for name in names)
