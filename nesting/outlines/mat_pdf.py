"""The mat as a PDF, one sheet a page, at full size."""

from __future__ import annotations

import io
from typing import Any, Literal

from nesting.model.errors import InputError
from nesting.outlines.mat import (
    BAR_LEVEL_MM,
    BAR_UPRIGHT_MM,
    COLUMNS,
    MARKER_MM,
    MOST_SHEETS,
    ROWS,
    SQUARE_MM,
    marker_bits,
    marker_cells,
)

__all__ = ["Paper", "mat_pdf"]

Paper = Literal["a4", "letter"]
_PAGES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
_PT = 72.0 / 25.4
#: mm. Between the board and its bars; tick length.
_AWAY, _TICK = 5.0, 4.0


def mat_pdf(*, sheets: int = 4, paper: Paper = "a4") -> bytes:
    """A PDF of so many sheets of the mat, to be printed at 100 % and laid around the piece.

    Raises InputError for fewer than 1 or more than 41 sheets, or another paper.
    """
    from reportlab.pdfgen.canvas import Canvas

    if paper not in _PAGES:
        raise InputError(
            f"found the paper '{paper}', expected a4 or letter: the mat is made for these", code="option.value"
        )
    if not 1 <= sheets <= MOST_SHEETS:
        raise InputError(
            f"found {sheets} sheets, expected 1 to {MOST_SHEETS}: four lie around most pieces", code="option.value"
        )
    width, height = _PAGES[paper]
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width * _PT, height * _PT), invariant=1)
    canvas.setTitle("Mat for photographs")
    for sheet in range(sheets):
        canvas.saveState()
        canvas.scale(_PT, _PT)
        _sheet(canvas, sheet, sheets, width, height)
        canvas.restoreState()
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _sheet(canvas: Any, sheet: int, sheets: int, width: float, height: float) -> None:
    # To the right of the middle, as the upright bar stands on the left.
    x0 = (width - BAR_LEVEL_MM) / 2 + 2.5
    y0 = (height - BAR_UPRIGHT_MM) / 2 + 1.0
    canvas.setFillGray(0)
    for i in range(COLUMNS):
        for j in range(ROWS):
            if (i + j) % 2 == 0:
                canvas.rect(x0 + i * SQUARE_MM, y0 + (ROWS - 1 - j) * SQUARE_MM, SQUARE_MM, SQUARE_MM, 0, 1)
    cell = MARKER_MM / 7
    for number, (i, j) in enumerate(marker_cells()):
        bits = marker_bits(sheet, number)
        left = x0 + (i + 0.5) * SQUARE_MM - MARKER_MM / 2
        top = y0 + (ROWS - j - 0.5) * SQUARE_MM + MARKER_MM / 2
        for r in range(7):
            c = 0
            while c < 7:
                end = c
                while end < 7 and bits[r, end]:
                    end += 1
                if end > c:
                    # runs in one piece and a hair taller, so that no viewer draws white seams between cells
                    canvas.rect(left + c * cell, top - (r + 1) * cell - 0.01, (end - c) * cell, cell + 0.02, 0, 1)
                c = max(end, c + 1)
    _bar(canvas, x0, y0 - _AWAY, BAR_LEVEL_MM, upright=False)
    _bar(canvas, x0 - _AWAY, y0, BAR_UPRIGHT_MM, upright=True)
    canvas.setFont("Helvetica-Bold", 4.2)
    over = y0 + BAR_UPRIGHT_MM
    canvas.drawString(x0, over + 8.6, f"Mat for photographs · sheet {sheet + 1} of {sheets}")
    canvas.setFont("Helvetica", 2.9)
    for y, words in (
        (over + 4.6, "Print at 100 %. Lay the sheets flat around the piece, none on it and none under it, all wholly"),
        (over + 1.4, "in the picture. Tape corners that curl. Photograph from straight above, as well as you can."),
        (y0 - _AWAY - 5.6, "Measure both bars from tick to tick, to a fifth of a millimetre: this one is drawn"),
        (
            y0 - _AWAY - 9.0,
            f"{BAR_LEVEL_MM:g} mm long, the upright one {BAR_UPRIGHT_MM:g} mm. Give what you measure:  "
            f"--bars {BAR_LEVEL_MM:g}x{BAR_UPRIGHT_MM:g}",
        ),
    ):
        canvas.drawString(x0, y, words)


def _bar(canvas: Any, x: float, y: float, length: float, *, upright: bool) -> None:
    """A bar from (x, y); what is measured goes from the middle of one end tick to that of the other."""
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.2)
    half = _TICK / 2
    if upright:
        canvas.line(x, y, x, y + length)
    else:
        canvas.line(x, y, x + length, y)
    for k in range(round(length / 10) + 1):
        h = half if k in (0, round(length / 10)) else half / 2
        if upright:
            canvas.line(x - h, y + 10 * k, x + h, y + 10 * k)
        else:
            canvas.line(x + 10 * k, y - h, x + 10 * k, y + h)
