"""Test squares on the pages of a PDF: found by their words, measured, and taken out of the drawing. Lengths mm."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.loops import find_loops
from nesting.files.drawn.sketch import Group, Stroke
from nesting.files.drawn.texts import Label, square_side_mm
from nesting.outlines.pdf_sheets import PdfText, Sheet

__all__ = ["take_squares"]

#: mm. Test squares are between half an inch and 15 cm.
_LEAST, _MOST = 9.0, 160.0
#: mm. Their words stand in them or this near.
_REACH = 25.0
#: Share by which a square's sides may be out before it is told: half a per cent is a millimetre in 20 cm.
_TRUE = 0.002
_LENGTH = re.compile(r"(\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?)\s*(mm|cm|in\b|inch(?:es)?|zoll|\"|″|”)", re.I)
_ABOUT = re.compile(
    r"test|scale|square|gauge|control|check|quadrat|kontroll|mess|ma(?:ß|ss)stab|carr[ée]|print|druck", re.I
)


def take_squares(sheets: Sequence[Sheet], ctx: Context) -> tuple[list[Group], list[Sheet]]:
    """Groups that hold one measured test square each, and the sheets without them."""
    groups: list[Group] = []
    result = []
    worst: tuple[float, float, float, int] | None = None
    for sheet in sheets:
        gone: set[int] = set()
        used: set[int] = set()
        for indices, box in _squares(sheet):
            side = ((box[2] - box[0]) + (box[3] - box[1])) / 2
            words = _words(sheet.texts, box, side)
            if words is None:
                continue
            text_index, want = words
            gone |= indices
            used.add(text_index)
            used |= {
                i
                for i, t in enumerate(sheet.texts)
                if _near(t, box) <= _REACH and (_ABOUT.search(t.text) or _LENGTH.fullmatch(t.text.strip()))
            }
            label = f"test square {want:g} mm"
            if len(groups) < 50:
                x0, y0, x1, y1 = box
                ring = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
                groups.append(Group(label, Label(role="test"), [Stroke(ring, True, "test", where=label)]))
            off = max(abs(box[2] - box[0] - want), abs(box[3] - box[1] - want)) / want
            if off > _TRUE and (worst is None or off > worst[0]):
                worst = (off, side, want, sheet.number)
        kept = tuple(line for i, line in enumerate(sheet.lines) if i not in gone)
        texts = tuple(t for i, t in enumerate(sheet.texts) if i not in used)
        result.append(replace(sheet, lines=kept, texts=texts))
    if worst is not None:
        _, side, want, page = worst
        ctx.note(
            "warning",
            f"page {page}: the test square measures {side:.2f} mm and says {want:g} mm, so the PDF is drawn at "
            f"{100 * side / want:.2f} %, not at 100 %: its pieces are read as they are drawn. Get it at full size",
            code="drawing.scale",
        )
    return groups, result


def _squares(sheet: Sheet) -> list[tuple[set[int], tuple[float, float, float, float]]]:
    """Closed squares on the sheet, drawn as one line or as four; the smallest first."""
    found = []
    loose: list[int] = []
    for i, line in enumerate(sheet.lines):
        x0, y0, x1, y1 = outline.box(line.points)
        w, h = x1 - x0, y1 - y0
        if line.closed and _is_square(w, h) and abs(abs(outline.area(line.points)) - w * h) < 0.01 * w * h:
            found.append(({i}, (x0, y0, x1, y1)))
        elif not line.closed and max(w, h) <= _MOST and min(w, h) < 0.1 and max(w, h) >= _LEAST:
            loose.append(i)
    if 4 <= len(loose) <= 400:
        loops = find_loops([sheet.lines[i].points for i in loose], 0.3)
        for loop in loops.loops:
            x0, y0, x1, y1 = outline.box(loop.ring)
            if len(loop.lines) == 4 and _is_square(x1 - x0, y1 - y0):
                found.append(({loose[k] for k in loop.lines}, (x0, y0, x1, y1)))
    return sorted(found, key=lambda one: one[1][2] - one[1][0])


def _is_square(w: float, h: float) -> bool:
    return _LEAST <= w <= _MOST and _LEAST <= h <= _MOST and abs(w - h) <= 0.03 * max(w, h)


def _near(text: PdfText, box: tuple[float, float, float, float]) -> float:
    """How far a text stands from the box, 0 within it."""
    a, b, c, d = text.box
    dx = max(0.0, box[0] - c, a - box[2])
    dy = max(0.0, box[1] - d, b - box[3])
    return float((dx * dx + dy * dy) ** 0.5)


def _words(texts: Sequence[PdfText], box: tuple[float, float, float, float], side: float) -> tuple[int, float] | None:
    """The text that says what the square should measure, and that length."""
    tries: list[tuple[float, int, float]] = []
    about = any(_ABOUT.search(t.text) and _near(t, box) <= _REACH for t in texts)
    for i, text in enumerate(texts):
        away = _near(text, box)
        if away > _REACH:
            continue
        lengths = [
            v
            for m in _LENGTH.finditer(text.text)
            if (v := square_side_mm(m[0].replace("zoll", "in").replace("”", '"'), known=True))
        ]
        clear = square_side_mm(text.text) is not None or _ABOUT.search(text.text) is not None
        if not lengths or not (clear or about):
            continue
        # "5 cm / 2 in": the length that is nearest to the drawn one is meant
        want = min(lengths, key=lambda v: abs(v - side))
        if 0.4 < side / want < 2.5:
            tries.append((away + (0.0 if clear else 5.0) + 40 * abs(side / want - 1), i, want))
    if not tries:
        return None
    _, index, want = min(tries)
    return index, want
