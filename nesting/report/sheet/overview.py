"""The small drawing on the placement sheet: every outline in its place with its number, and the line it is set by."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from nesting.model.lay import Lay, Placement
from nesting.model.piece import Ring
from nesting.report.drawing import looks
from nesting.report.drawing.fonts import text_width
from nesting.report.drawing.grainline import measured_line
from nesting.report.drawing.ground import cloth_items
from nesting.report.drawing.labels import Block, Fitted, Labeller
from nesting.report.drawing.patched import patch_items, written_names
from nesting.report.drawing.plies import ply_styles
from nesting.report.drawing.scene import Item, Scene, Shape, Stroke, Text
from nesting.report.drawing.shapes import area, arrow_head, thinned
from nesting.report.drawing.view import Laid, View, laid_sections
from nesting.report.sheet.sheet import Row
from nesting.report.words import counted, measure, unit_name

__all__ = ["Overview", "overview"]

#: mm of paper: the base size of words, and the room kept around the cloth for its edges' names and the ruler
_EM = 2.7
_ROOM = 9.0
#: mm. A lay is drawn in one strip up to this length, so that its numbers can be read; a longer one in several.
_STRIP_MM = 6000.0
#: mm. What neighbouring strips share.
_SHARED_MM = 150.0
#: mm of paper: the tallest a strip may be
_TALL = 84.0
#: the share of pieces that may stay without a number before the lay is drawn larger, in more strips
_FEW = 0.05
_FLIPPED = "#d2d2d2"


@dataclass(frozen=True)
class Overview:
    """One section's drawing: ``windows`` are the strips (mm of cloth), to be drawn at ``scale`` (paper per cloth);
    ``unnumbered`` pieces are too small there for their numbers."""

    scene: Scene
    scale: float
    windows: tuple[tuple[float, float, float, float], ...]
    words: str
    unnumbered: tuple[int, ...]


def overview(lay: Lay, section: int, rows: Mapping[int, Row], width: float) -> Overview:
    """The drawing of a section on paper ``width`` mm wide; ``rows`` by the placements' places in ``lay.placements``."""
    (laid,) = laid_sections(lay, View(em=1.0, section=section))
    x0, x1 = -laid.before, laid.section.lay_length + laid.after
    strips = max(1, math.ceil((x1 - x0 - _SHARED_MM) / (_STRIP_MM - _SHARED_MM)))
    drawn = _drawn(lay, laid, rows, width, strips)
    for more in range(strips + 1, strips + 3):
        if len(drawn.unnumbered) <= _FEW * len(laid.section.placements):
            break
        larger = _drawn(lay, laid, rows, width, more)
        if larger.scale < 1.1 * drawn.scale:
            break
        drawn = larger
    return drawn


def _drawn(lay: Lay, laid: Laid, rows: Mapping[int, Row], width: float, strips: int) -> Overview:
    section = laid.number
    x0, x1 = -laid.before, laid.section.lay_length + laid.after
    tall = laid.section.spread.table_width
    long = (x1 - x0 + (strips - 1) * _SHARED_MM) / strips
    scale = min((width - 2 * _ROOM) / long, _TALL / tall)
    view = View(em=_EM / scale, tints=False, section=section)
    room = _ROOM / scale
    pieces, unnumbered = _pieces(lay, laid, view, rows)
    items = cloth_items(lay, laid, view) + pieces + patch_items(lay, section, view)
    box = (x0 - room, -room, x1 + room, tall + 0.5 * room)
    windows = []
    for k in range(strips):
        a = x0 + k * (long - _SHARED_MM)
        left = a if k else a - room
        right = a + long if k < strips - 1 else a + long + room
        windows.append((left, box[1], right, box[3]))
    items += _around(lay, laid, view, [(w[0], w[2]) for w in windows])
    words = _words(laid, scale, unnumbered)
    return Overview(Scene(f"{lay.where}, drawn small", box, tuple(items)), scale, tuple(windows), words, unnumbered)


def _words(laid: Laid, scale: float, unnumbered: tuple[int, ...]) -> str:
    styles = set(ply_styles(laid.section))
    said = {
        "all": "full outline: cut through all plies that lie there",
        "top": "dashed: the top ply only",
        "bottom": "dotted: the bottom ply only",
        "middle": "dashes and dots: a middle ply only",
        "with": "dash and dot: cut with the piece around it",
    }
    lines = [said[s] for s in said if s in styles] if len(laid.section.spread.plies) > 1 or styles != {"all"} else []
    number = counted(len(laid.section.placements), "piece")
    parts = [
        f"Drawn about 1 : {round(1 / scale)}, {number}, numbers as in the table",
        "thin arrow: the line that is measured, from tail to head",
    ]
    if any(p.flipped for p in laid.section.placements):
        parts.append("grey: pattern printed side down")
    if unnumbered:
        parts.append(f"too small here for their numbers: {', '.join(map(str, unnumbered))}")
    return "; ".join([*parts, *lines]) + "."


def _pieces(lay: Lay, laid: Laid, view: View, rows: Mapping[int, Row]) -> tuple[list[Item], tuple[int, ...]]:
    """Outlines, measured lines and numbers; also the numbers for which there was no room."""
    styles = ply_styles(laid.section)
    clear, numbers = Labeller(view.em), Labeller(view.em)
    items: list[Item] = []
    depth = {"bottom": 0, "middle": 1, "all": 2, "top": 3, "with": 4}
    placements = laid.section.placements
    for i in sorted(range(len(placements)), key=lambda k: depth[styles[k]]):
        p, number = placements[i], rows[laid.first + i].number
        rings = tuple(thinned(ring, 0.02 * view.em) for ring in (p.outline, *p.cutouts))
        if p.flipped and styles[i] != "with":
            items.append(Shape("fill", "pieces", rings, True, None, _FLIPPED, 1.0, of=number))
        pen = Stroke(looks.INK, view.line, looks.dash_of(styles[i], view.em))
        items.append(Shape("cut", "pieces", rings, True, pen, of=number, kind=styles[i]))
    for i, p in enumerate(placements):
        line = measured_line(p, lay.imperial)
        fine = Stroke(looks.INK, 0.4 * view.line)
        items.append(Shape("grain", "marks", ((line.tail, line.head),), stroke=fine, of=rows[laid.first + i].number))
        deg = math.degrees(math.atan2(line.head[1] - line.tail[1], line.head[0] - line.tail[0]))
        size = min(0.75 * view.em, 0.5 * math.dist(line.tail, line.head))
        head = arrow_head(line.head, deg, size)
        items.append(Shape("grain", "marks", (head,), True, None, looks.INK, of=rows[laid.first + i].number))
        clear.keep_clear(((line.tail, line.head),), 0.08 * view.em)
    words: list[Item] = []
    named, boxes = written_names(lay, laid.number, view)
    words += named
    for box in boxes:
        for labeller in (clear, numbers):
            labeller.keep_clear([(*box, box[0])], 0.1 * view.em)
    unnumbered: list[int] = []
    by_size = sorted(range(len(placements)), key=lambda k: abs(area(placements[k].outline)))
    for i in by_size:
        p, number = placements[i], rows[laid.first + i].number
        blocks = [Block((str(number),), s, close=True) for s in (1.25, 1.0, 0.85, 0.7, 0.6)]
        # where it does not fit beside the line and the cutouts it is written on them
        fitted = _fit(clear, numbers, p, blocks[:-1], p.cutouts) or _fit(numbers, clear, p, blocks, ())
        if fitted is None:
            unnumbered.append(number)
            continue
        words.append(Shape("paper", "text", (fitted.box,), True, None, looks.PAPER, 0.72, of=number))
        words += [
            Text("label", "text", at, said, fitted.size, fitted.turn, bold=True, of=number)
            for said, at, _ in fitted.lines()
        ]
    return items + words, tuple(sorted(unnumbered))


def _fit(
    labeller: Labeller, other: Labeller, p: Placement, blocks: Sequence[Block], holes: Sequence[Ring]
) -> Fitted | None:
    """The largest of ``blocks`` that fits, level or upright, and is then taken for both; None if none does."""
    fitted = labeller.fitted(p.outline, holes, [(block, turn) for block in blocks for turn in (0.0, 90.0)])
    if fitted is not None:
        other.taken.append(labeller.taken[-1])
    return fitted


def _around(lay: Lay, laid: Laid, view: View, strips: list[tuple[float, float]]) -> list[Item]:
    """The edges' names on every strip and a ruler from the cut end, as the sheet measures."""
    em, tall = view.em, laid.section.spread.table_width
    x0, x1 = -laid.before, laid.section.lay_length + laid.after
    step = 20 * 25.4 if lay.imperial else 500.0
    pen = Stroke(looks.INK, 0.35 * view.line)
    items: list[Item] = []
    near, far = laid.names
    for low, high in strips:
        for name, y in ((far, tall + 0.35 * em), (near, -3.0 * em)):
            items.append(Text("label", "measure", ((low + high) / 2, y), name, 0.9 * em, bold=True))
    first = "cut end" if laid.number == 0 else "line"
    if lay.remnant is not None:
        first = "leftmost point"
    items.append(Text("label", "measure", (x0 - 0.5 * em, tall / 2), first, 0.9 * em, turn=90.0, bold=True))
    ticks = []
    for k in range(math.floor((x1 - x0) / step + 1e-9) + 1):
        x = x0 + k * step
        ticks.append(((x, -0.15 * em), (x, -0.75 * em)))
        said = measure(k * step, lay.imperial).removesuffix(".0")
        if k == 0:
            said += f" {unit_name(lay.imperial)}"
        wide = text_width(said, 0.75 * em)
        if x + wide / 2 <= x1 + em:
            items.append(Text("ruler", "measure", (x, -1.6 * em), said, 0.75 * em))
    items.append(Shape("ruler", "measure", tuple(ticks), stroke=pen))
    return items
