"""The cloth as it lies: plies, selvages, folds, flaws, repeat, end allowances, rulers and dimensions."""

from __future__ import annotations

import math

from nesting.model.lay import Lay, PlyRegion
from nesting.model.piece import Line, Ring
from nesting.report.drawing import looks
from nesting.report.drawing.fonts import text_width
from nesting.report.drawing.scene import Item, Shape, Stroke, Text
from nesting.report.drawing.shapes import area, box_of, hatch, ring_box
from nesting.report.drawing.view import Laid, View
from nesting.report.words import column_length, long_length

__all__ = ["cloth_items", "ply_extent", "ruler_items"]

#: dash of a fold line in em: long, dot, dot
_FOLD_DASH = (1.6, 0.35, 0.25, 0.35, 0.25, 0.35)


def _is_box(ring: Ring) -> bool:
    x0, y0, x1, y1 = ring_box(ring)
    return math.isclose(abs(area(ring)), (x1 - x0) * (y1 - y0), rel_tol=1e-9)


def ply_extent(lay: Lay, laid: Laid, ply: PlyRegion) -> tuple[Ring, tuple[Ring, ...]]:
    """The cloth of one ply with its end allowances and selvages, and the selvage strips alone (section's frame)."""
    if lay.remnant is not None or not _is_box(ply.region):
        return ply.region, ()
    spread = laid.section.spread
    _, y0, _, y1 = ring_box(ply.region)
    folds = [f.at for f in spread.folds if f.along == "x" and ply.ply in f.plies]
    x0, x1 = -laid.before, laid.section.lay_length + laid.after
    strips = []
    low, high = y0, y1
    if lay.selvage > 0 and not any(abs(at - y0) < 0.01 for at in folds):
        low = max(0.0, y0 - lay.selvage)
        strips.append(box_of(x0, low, x1, y0))
    if lay.selvage > 0 and not any(abs(at - y1) < 0.01 for at in folds):
        high = min(spread.table_width, y1 + lay.selvage)
        strips.append(box_of(x0, y1, x1, high))
    return box_of(x0, low, x1, high), tuple(s for s in strips if area(s) > 1e-6)


def cloth_items(lay: Lay, laid: Laid, view: View) -> list[Item]:
    """Everything under the pieces, in the section's own frame."""
    em, spread, section = view.em, laid.section.spread, laid.section
    items: list[Item] = []
    thin = Stroke(looks.SOFT, 0.4 * view.line)
    stacked = len({ring_box(p.region) for p in spread.plies}) == 1
    for level, ply in enumerate(spread.plies[:1] if stacked else spread.plies):
        extent, strips = ply_extent(lay, laid, ply)
        fill = (
            (looks.CLOTH if level == 0 and not (stacked and len(spread.plies) > 1) else looks.CLOTH_TWICE)
            if view.tints
            else None
        )
        items.append(
            Shape(
                "cloth", "cloth", (extent,), True, Stroke(looks.SOFT, 0.6 * view.line), fill, kind=f"ply {ply.ply + 1}"
            )
        )
        for strip in strips:
            lines = hatch((strip,), 60.0, 0.45 * em)
            items.append(Shape("selvage", "cloth", (strip,), True, thin, "#ffffff" if view.tints else None))
            items.append(Shape("selvage", "cloth", lines, stroke=Stroke(looks.FAINT, 0.35 * view.line)))
        if level > 0 and not stacked:
            items += _ply_edge(lay, laid, ply, view)
    items += _repeat(lay, laid, view)
    if lay.remnant is None and (laid.before > 0 or laid.after > 0):
        ends = [x for x, use in ((0.0, laid.before), (section.lay_length, laid.after)) if use > 0]
        lines = tuple(((x, 0.0), (x, spread.table_width)) for x in ends)
        items.append(
            Shape("allowance", "cloth", lines, stroke=Stroke(looks.SOFT, 0.5 * view.line, (0.3 * em, 0.3 * em)))
        )
    for ply in spread.plies:
        for flaw in ply.flaws:
            items.append(
                Shape(
                    "flaw",
                    "cloth",
                    (flaw,),
                    True,
                    Stroke(looks.INK, 0.7 * view.line),
                    "#ffffff" if view.tints else None,
                )
            )
            items.append(
                Shape("flaw", "cloth", hatch((flaw,), 45.0, 0.5 * em), stroke=Stroke(looks.INK, 0.4 * view.line))
            )
            items.append(
                Shape("flaw", "cloth", hatch((flaw,), 135.0, 0.5 * em), stroke=Stroke(looks.INK, 0.4 * view.line))
            )
    for fold in spread.folds:
        if fold.along == "x":
            line: Line = ((-laid.before, fold.at), (section.lay_length + laid.after, fold.at))
        else:
            line = ((fold.at, 0.0), (fold.at, spread.table_width))
        items.append(
            # over the pieces, whose fold edges lie on it
            Shape(
                "fold-line",
                "measure",
                (line,),
                stroke=Stroke(looks.INK, 2.2 * view.line, tuple(d * em for d in _FOLD_DASH)),
            )
        )
    return items


def _ply_edge(lay: Lay, laid: Laid, ply: PlyRegion, view: View) -> list[Item]:
    """The edge of a flap, where the upper ply ends on the table."""
    extent, _ = ply_extent(lay, laid, ply)
    x0, y0, x1, y1 = ring_box(extent)
    at_folds = [f.at for f in laid.section.spread.folds if f.along == "x" and ply.ply in f.plies]
    table = laid.section.spread.table_width
    items: list[Item] = []
    for y in (y0, y1):
        if any(abs(y - at) < 0.01 for at in at_folds) or not 0.01 < y < table - 0.01:
            continue
        items.append(Shape("selvage", "cloth", (((x0, y), (x1, y)),), stroke=Stroke(looks.INK, 0.8 * view.line)))
    return items


def _repeat(lay: Lay, laid: Laid, view: View) -> list[Item]:
    """Stripes or print repeat: a line for each repeat, along and across."""
    em, length, width = view.em, laid.section.lay_length, laid.section.spread.table_width
    lines: list[Line] = []
    if lay.repeat_along > 0:
        count = math.floor(length / lay.repeat_along + 1e-9)
        lines += [((k * lay.repeat_along, 0.0), (k * lay.repeat_along, width)) for k in range(count + 1)]
    if lay.repeat_across > 0:
        count = math.floor(width / lay.repeat_across + 1e-9)
        lines += [((0.0, k * lay.repeat_across), (length, k * lay.repeat_across)) for k in range(count + 1)]
    if not lines:
        return []
    stroke = Stroke("#8a8377", 0.5 * view.line, (0.15 * em, 0.3 * em))
    return [Shape("repeat", "cloth", tuple(lines), stroke=stroke)]


def ruler_items(lay: Lay, laid: Laid, view: View) -> list[Item]:
    """Rulers along the near edge and across, edge names and dimensions, in the section's own frame."""
    em, section = view.em, laid.section
    length, width = section.lay_length, section.spread.table_width
    x0, x1 = -laid.before, length + laid.after
    stroke = Stroke(looks.INK, 0.45 * view.line)
    items: list[Item] = []
    y = -2.1 * em
    lines: list[Line] = [((x0, y), (x1, y))]
    words: list[Item] = []
    for at, number, tall in _ticks(x1 - x0, em, lay.imperial):
        lines.append(((x0 + at, y), (x0 + at, y + tall)))
        if number:
            words.append(Text("ruler", "measure", (x0 + at, y - 0.95 * em), number, 0.8 * em))
    lines.append(((x0 - 0.7 * em, 0.0), (x0 - 0.7 * em, width)))
    for at, number, tall in _ticks(width, em, lay.imperial):
        lines.append(((x0 - 0.7 * em, at), (x0 - 0.7 * em - tall, at)))
        if number:
            words.append(Text("ruler", "measure", (x0 - 1.6 * em, at - 0.3 * em), number, 0.8 * em, anchor="end"))
    items.append(Shape("ruler", "measure", tuple(lines), stroke=stroke))
    items += words
    unit = "in" if lay.imperial else "cm"
    origin = "the cut end" if laid.number == 0 else f"the line where section {laid.number + 1} begins"
    if section.spread.kind == "crosswise fold":
        origin = "the cut ends"
    if lay.remnant is not None:
        origin = "its leftmost point"
    # a long note shrinks to the length that there is
    measures = f"lay {long_length(length, lay.imperial)}, table {column_length(width, lay.imperial)} wide"
    note = f"{unit} from {origin} → {measures}"
    size = min(0.85 * em, 0.85 * em * (x1 - x0 + 3 * em) / max(text_width(note, 0.85 * em), 1e-9))
    items.append(Text("ruler", "measure", (x0, y - 2.2 * em), note, max(size, 0.5 * em), anchor="start"))
    items.append(Text("ruler", "measure", (x0, -1.0 * em), laid.names[0], 0.85 * em, anchor="start", bold=True))
    items.append(Text("ruler", "measure", (x0, width + 0.4 * em), laid.names[1], 0.85 * em, anchor="start", bold=True))
    for fold in section.spread.folds:
        if fold.along == "y":
            items.append(
                Text("ruler", "measure", (fold.at + 0.9 * em, width / 2), "fold", 0.9 * em, turn=90.0, bold=True)
            )
    if section.spread.kind in ("partial fold", "double fold"):
        for ply in section.spread.plies[1:]:
            _, y0, _, y1 = ring_box(ply_extent(lay, laid, ply)[0])
            inner = y1 if y0 < 0.01 else y0
            for k, said in enumerate(("flap ends,", f"{long_length(y1 - y0, lay.imperial)} deep")):
                spot = (x1 + 0.4 * em, inner + (0.15 - 0.9 * k) * em)
                items.append(Text("ruler", "measure", spot, said, 0.75 * em, anchor="start"))
    repeats = [
        f"{long_length(r, lay.imperial)} {way}"
        for r, way in ((lay.repeat_along, "along"), (lay.repeat_across, "across"))
        if r > 0
    ]
    if repeats:
        items.append(
            Text("ruler", "measure", (x1, width + 0.4 * em), "repeat " + ", ".join(repeats), 0.8 * em, anchor="end")
        )
    return items


def _ticks(span: float, em: float, imperial: bool) -> list[tuple[float, str, float]]:
    """(mm along, number or "", height mm) of a ruler's ticks: every cm or inch where there is room."""
    unit = 25.4 if imperial else 10.0
    steps = (1, 3, 6, 12, 36) if imperial else (1, 5, 10, 20, 50, 100)
    big = next((s for s in steps if s * unit >= 2.6 * em), steps[-1])
    small = next((s for s in steps if s * unit >= 0.28 * em and big % s == 0), big)
    out = []
    for k in range(math.floor(span / unit / small + 1e-9) + 1):
        n = k * small
        whole = n % big == 0
        half = big % 2 == 0 and n % (big // 2) == 0
        out.append((n * unit, str(n) if whole else "", em * (0.7 if whole else 0.5 if half else 0.3)))
    return out
