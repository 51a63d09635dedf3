"""The placement sheet on paper: how to fold, what to lay where, a box to tick, and the bundle labels."""

from __future__ import annotations

import io
import math
from typing import Any
from xml.sax.saxutils import escape

from nesting.model.lay import Lay
from nesting.model.units import format_width
from nesting.report.backends.to_pdf import MM, PAPERS, draw_items
from nesting.report.drawing.fonts import BOLD, PLAIN, register, shown
from nesting.report.drawing.scene import Scene
from nesting.report.sheet.before import before_spreading
from nesting.report.sheet.folding import cross_section, folding_steps
from nesting.report.sheet.overview import overview
from nesting.report.sheet.patch_words import checked_words, cut_words, lay_words_of_patches
from nesting.report.sheet.sheet import Row, bundles, sheet
from nesting.report.words import (
    cautions,
    first_words,
    kind_words,
    lay_words,
    long_length,
    shop_length,
    unit_name,
    unit_words,
)

__all__ = ["how_measured", "sheet_pdf"]


def how_measured(lay: Lay) -> str:
    """One paragraph that says from where to where each distance of the sheet goes."""
    end = "from the leftover's leftmost point"
    if lay.remnant is None:
        end = f"from the cut end (the pieces begin {long_length(lay.end_allowance, lay.imperial)} in; that is counted)"
    return (
        f"All measures in {unit_words(lay.imperial)}. Draw each piece's grain line right through it, from cut edge to "
        "cut edge: “tail” is where the grain arrow starts, “head” where it points. For both ends: the square distance "
        f"from edge A (the edge nearest you) or B, and the distance along the selvage {end}. A line “beside” the "
        "grainline is drawn parallel to it, at that distance, on the arrow's left (− right) as you look at the "
        "printed side. “Opened out: its centre line”: what is measured are the ends of the half pattern's fold edge "
        "(the head is the end farther along the arrow, or on its left); set the fold edge there, trace, turn the "
        "pattern over along it, trace again. “Printed side” is that of the paper pattern, not of the cloth. "
        "Turn: → the arrow points away from the cut end, ↑ towards edge B; degrees count anticlockwise."
    )


#: points kept free in a cell of the table: left and right of the words, above and below them
_LEFT, _RIGHT, _ABOVE = 2.0, 3.0, 2.5


# long: one part of the page after another, in the sequence in which they are printed
def sheet_pdf(lay: Lay, paper: str = "a4") -> bytes:
    """The sheet as PDF, lying A4, A3 or Letter pages."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer

    register()
    w, h = PAPERS[paper]
    stream = io.BytesIO()
    margin = 12 * MM
    document = SimpleDocTemplate(
        stream,
        pagesize=(h * MM, w * MM),
        leftMargin=margin,
        rightMargin=margin,
        topMargin=margin,
        bottomMargin=margin,
        title=shown(f"Placement sheet: {lay.title}, {lay.cloth}"),
        creator="nesting",
        invariant=1,
    )
    plain = ParagraphStyle("plain", fontName=PLAIN, fontSize=9, leading=12)
    small = ParagraphStyle("small", parent=plain, fontSize=7.5, leading=9.5)
    head = ParagraphStyle("head", parent=plain, fontName=BOLD, fontSize=14, leading=18)
    sub = ParagraphStyle("sub", parent=plain, fontName=BOLD, fontSize=10.5, leading=15, spaceBefore=6)
    numbers = sheet(lay)
    flow: list[Any] = []

    def say(words: str, style: Any = plain) -> None:
        flow.append(Paragraph(escape(shown(words)), style))

    if lay.do_not_cut:
        say("Do not cut yet", head)
        for reason in lay.do_not_cut:
            say(reason)
    say(f"Placement sheet: {lay.title}, {lay.where}" if lay.title else f"Placement sheet: {lay.where}", head)
    bought = ""
    if lay.bought:
        wide = format_width(lay.width, imperial=lay.imperial)
        bought = f"Cloth: {shop_length(lay.buy_length, lay.imperial)}, {wide} wide. "
    long = f"{long_length(lay.lay_length, lay.imperial)} long {lay_words(lay)}"
    say(f"{bought}The lay is {long}. Numbers are those on the drawing.")
    inner = (h * MM) - 2 * margin
    say("Before you spread it", sub)
    for step in before_spreading(lay):
        say(f"• {step}")
    if lay.patches:
        say("Patches", sub)
        for line in cut_words(lay):
            say(line)
    by_index = {row.index: row for row in numbers.rows}
    for n, section in enumerate(lay.sections):
        kind = kind_words(section.spread)
        title = f"Section {n + 1}: {kind}" if len(lay.sections) > 1 else first_words(kind)
        say(title, sub)
        for k, step in enumerate(folding_steps(lay, section), start=1):
            say(f"{k}. {step}")
        flow.append(_figure(cross_section(lay, section)))
        small_drawing = overview(lay, n, by_index, inner / MM)
        flow.append(Spacer(1, 2 * MM))
        flow.extend(_figure(small_drawing.scene, small_drawing.scale, window) for window in small_drawing.windows)
        say(small_drawing.words, small)
        if n == 0:
            say(how_measured(lay), small)
        flow.append(Spacer(1, 2 * MM))
        for line in lay_words_of_patches(lay, n):
            say(line)
        if lay.patches:
            say(checked_words(lay))
        mine = [row for row in numbers.rows if row.section == n]
        flow.append(_table(mine, lay, inner, small))
    if lay.notes:
        say("Notes", sub)
    for note in lay.notes:
        say(note, small)
    say("Bundle labels", sub)
    flow.append(_labels(lay, inner, small))
    say("Take care", sub)
    for words in cautions():
        say(words, small)

    stop = "DO NOT CUT YET · " if lay.do_not_cut else ""

    def foot(canvas: Any, doc: Any) -> None:
        canvas.saveState()
        canvas.setFont(PLAIN, 7)
        words = f"{stop}{shown(lay.title)} · {shown(lay.where)} · page {doc.page}"
        canvas.drawRightString(h * MM - margin, 6 * MM, words)
        canvas.restoreState()

    document.build(flow, onFirstPage=foot, onLaterPages=foot)
    return stream.getvalue()


def _figure(scene: Scene, scale: float = 1.0, window: tuple[float, float, float, float] | None = None) -> Any:
    from reportlab.platypus import Flowable

    x0, y0, x1, y1 = window or scene.box

    class Figure(Flowable):  # type: ignore[misc]
        """A scene among paragraphs."""

        def __init__(self) -> None:
            super().__init__()
            self.width, self.height = (x1 - x0) * scale * MM, (y1 - y0) * scale * MM

        def draw(self) -> None:
            clip = self.canv.beginPath()
            clip.rect(0, 0, self.width, self.height)
            self.canv.clipPath(clip, stroke=0, fill=0)
            self.canv.translate(-x0 * scale * MM, -y0 * scale * MM)
            draw_items(self.canv, scene, scale)

    return Figure()


def _table(rows: list[Row], lay: Lay, width: float, small: Any) -> Any:
    from reportlab.lib.colors import HexColor
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph, Table

    bold = ParagraphStyle("bold", parent=small, fontName=BOLD, fontSize=8.5, leading=10.5)
    number = ParagraphStyle("number", parent=bold, alignment=2)

    def cell(words: str, style: Any = small) -> Any:
        return Paragraph(escape(shown(words)), style)

    def figure(words: str) -> Any:
        # a whole number and its fraction stay together
        return Paragraph(escape(words.replace(" ", "\u00a0")), number)

    unit = unit_name(lay.imperial)
    end = "end" if lay.remnant is None else "left"
    data = [
        [cell(words, bold)]
        for words in ("", "No.", "Piece", "For", "Lies", "From", f"Tail: edge {unit}", f"Tail: {end} {unit}")
    ]
    header = [c[0] for c in data] + [
        cell(f"Head: edge {unit}", bold),
        cell(f"Head: {end} {unit}", bold),
        cell("Turn", bold),
    ]
    lines: list[list[Any]] = [header]
    for row in rows:
        lies = ", ".join(words for words in (row.side, row.ply_words, row.lies) if words)
        if row.follows:
            lies += f", cut with {row.follows}"
        if row.line_offset.strip("0.") != "":
            lies += f"; line {row.line_offset} {unit} beside the grainline"
        lines.append(
            [
                "",
                cell(str(row.number), bold),
                cell(row.name, bold),
                cell(row.whose + (f", {row.hand}" if row.hand else "")),
                cell(lies),
                cell(row.edge_name),
                figure(row.tail[0]),
                figure(row.tail[1]),
                figure(row.head[0]),
                figure(row.head[1]),
                cell(f"{row.turn_words} {row.turn}"),
            ]
        )
    shares = (2.8, 3.8, 15, 14, 25, 8.2, 8.8, 8.8, 8.8, 8.8, 8)
    style: list[Any] = [
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, HexColor("#9a9a9a")),
        ("LINEBELOW", (0, 0), (-1, 0), 1.0, HexColor("#161616")),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), _LEFT),
        ("RIGHTPADDING", (0, 0), (-1, -1), _RIGHT),
        ("TOPPADDING", (0, 0), (-1, -1), _ABOVE),
        ("BOTTOMPADDING", (0, 0), (-1, -1), _ABOVE),
    ]
    for k in range(1, len(lines)):
        lines[k][0] = _tick()
    widths = [width * s / sum(shares) for s in shares]
    table = Table(lines, colWidths=widths, rowHeights=_heights(lines, widths, _LEFT + _RIGHT, _ABOVE), repeatRows=1)
    table.setStyle(style)
    return table


def _heights(lines: list[list[Any]], widths: list[float], beside: float, above: float) -> list[float]:
    """Of the rows, in points; ``beside`` both sides of a cell's words, ``above`` and below them is kept free. A table
    left to find them itself does so again at each page, for all rows that follow."""
    return [
        max(cell.wrap(width - beside, math.inf)[1] for cell, width in zip(line, widths, strict=True) if cell)
        + 2.0 * above
        for line in lines
    ]


def _tick() -> Any:
    from reportlab.platypus import Flowable

    class Tick(Flowable):  # type: ignore[misc]
        """A box to tick."""

        width = height = 3.4 * MM

        def wrap(self, *_: float) -> tuple[float, float]:
            return (self.width, self.height)

        def draw(self) -> None:
            self.canv.setLineWidth(0.8)
            # the table centres what is wrapped, not what is drawn: this much lower it stands beside its words
            self.canv.rect(0, -1.6 * MM, 3.2 * MM, 3.2 * MM)

    return Tick()


def _labels(lay: Lay, width: float, small: Any) -> Any:
    from reportlab.lib.colors import HexColor
    from reportlab.platypus import Paragraph, Table

    cells = []
    for bundle in bundles(lay):
        pieces = ", ".join(f"{n} × {name}" for name, n in bundle.pieces)
        title = " ".join(str(part) for part in (bundle.garment, bundle.size, f"no. {bundle.copy}") if part)
        cells.append(Paragraph(f"<b>{escape(shown(title))}</b><br/>{escape(shown(pieces))}", small))
    across = 4
    lines = [cells[k : k + across] for k in range(0, len(cells), across)] or [[""]]
    lines[-1] += [""] * (across - len(lines[-1]))
    widths = [width / across] * across
    # reportlab's own padding: 6 points beside, 3 above and below
    table = Table(lines, colWidths=widths, rowHeights=_heights(lines, widths, 12.0, 3.0) if cells else None)
    table.setStyle(
        [("GRID", (0, 0), (-1, -1), 0.5, HexColor("#9a9a9a"), None, (2, 2)), ("VALIGN", (0, 0), (-1, -1), "TOP")]
    )
    return table
