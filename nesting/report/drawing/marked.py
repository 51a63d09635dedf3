"""The pieces on the cloth: cut lines by ply, hatch by garment and size, marks, signs and names."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from nesting.model.lay import Lay, Placement
from nesting.model.piece import Line, Point, Ring
from nesting.model.units import format_fraction
from nesting.report.drawing import looks
from nesting.report.drawing.fonts import shown
from nesting.report.drawing.grainline import grain_line
from nesting.report.drawing.labels import Block, Fitted, Labeller, upright
from nesting.report.drawing.leftover_areas import free_rectangles
from nesting.report.drawing.patched import written_names
from nesting.report.drawing.plies import ply_styles
from nesting.report.drawing.scene import Item, Shape, Stroke, Text
from nesting.report.drawing.shapes import area, box_of, chords, hatch, ring_box
from nesting.report.drawing.symbols import (
    drill_lines,
    grain_arrow,
    inside_stroke,
    notch_lines,
    place_on_fold,
    seam_stroke,
)
from nesting.report.drawing.view import Laid, View
from nesting.report.sheet.sheet import Row, garment_order

__all__ = ["groups", "inward_of_fold", "mark_items", "piece_items"]

#: how many of a label's forms are the bare number
_NUMBERS = 4
#: ink of the marks of a piece that lies on the bottom ply only
_UNDER = "#707070"


def groups(lay: Lay) -> dict[tuple[str, str | None], int]:
    """A number for each garment and size, which sets its tint and hatch."""
    return {key: n for n, key in enumerate(garment_order(lay))}


def inward_of_fold(p: Placement) -> float:
    """Direction from the fold edge into the piece, degrees."""
    assert p.fold is not None
    (ax, ay), (bx, by) = p.fold
    x0, y0, x1, y1 = ring_box(p.outline)
    side = (bx - ax) * ((y0 + y1) / 2 - ay) - (by - ay) * ((x0 + x1) / 2 - ax)
    return math.degrees(math.atan2(by - ay, bx - ax)) + (90.0 if side > 0 else -90.0)


def piece_items(lay: Lay, laid: Laid, view: View, rows: Mapping[int, Row]) -> list[Item]:
    """Fills, hatches and cut lines, bottom plies first, in the section's own frame."""
    em = view.em
    group = groups(lay)
    order = {"bottom": 0, "middle": 1, "all": 2, "top": 3, "with": 4}
    styles = ply_styles(laid.section)
    todo = sorted(enumerate(laid.section.placements), key=lambda pair: order[styles[pair[0]]])
    items: list[Item] = []
    for i, p in todo:
        number = rows[laid.first + i].number
        style = styles[i]
        rings: tuple[Ring, ...] = (p.outline, *p.cutouts)
        g = group[(p.garment, p.size)]
        if view.tints and style != "with":
            tint = looks.TINTS[(g + g // len(looks.TINTS)) % len(looks.TINTS)]
            items.append(
                Shape("fill", "pieces", rings, True, None, tint, 0.75 if style in ("top", "bottom") else 1.0, of=number)
            )
            for family in looks.HATCHES[g % len(looks.HATCHES)]:
                dash = (family.dash[0] * em, family.dash[1] * em) if family.dash else None
                lines = hatch(rings, family.angle, family.spacing * em, dash)
                if lines:
                    wide = 0.16 * em if family.dash and family.dash[0] < 0.2 else 0.3 * view.line
                    items.append(Shape("hatch", "pieces", lines, stroke=Stroke(looks.HATCH_INK, wide), of=number))
        pen = Stroke(looks.INK, view.line, looks.dash_of(style, em))
        items.append(Shape("cut", "pieces", (p.outline,), True, pen, of=number, kind=style))
        if p.cutouts:
            items.append(Shape("cutout", "pieces", p.cutouts, True, replace(pen, width=0.8 * view.line), of=number))
    return items


def mark_items(
    lay: Lay, laid: Laid, view: View, rows: Mapping[int, Row], both_ways: frozenset[int]
) -> tuple[list[Item], list[int]]:
    """Notches, drill marks, inside and seam lines, grain arrows, fold signs, then the names and the offcuts.

    Also the numbers of the pieces that were too small for their name, which a list has to give.
    """
    em = view.em
    items: list[Item] = []
    labeller = Labeller(em)
    fine = Stroke(looks.INK, 0.5 * view.line)
    styles = ply_styles(laid.section)
    crowded = any(style != "all" for style in styles)
    for i, p in enumerate(laid.section.placements):
        number = rows[laid.first + i].number
        mine = len(items)
        if p.seam is not None:
            items.append(Shape("sew", "marks", (p.seam,), True, seam_stroke(view.line, em), of=number))
        if p.inside:
            items.append(Shape("inside", "marks", p.inside, stroke=inside_stroke(view.line, em), of=number))
        for notch in p.notches:
            lines = notch_lines(notch)
            items.append(
                Shape("notch", "marks", lines, stroke=Stroke(looks.INK, 0.9 * view.line), of=number, kind=notch.kind)
            )
            labeller.keep_clear(lines, 0.15 * em)
        for drill in p.drills:
            lines = drill_lines(drill, max(4.0, 0.5 * em))
            items.append(Shape("drill", "marks", lines, stroke=fine, of=number))
            labeller.keep_clear(lines, 0.15 * em)
        items += _grain(p, number, view, labeller, (laid.first + i) in both_ways, lay.imperial)
        if p.on_fold and p.fold is not None:
            lines, heads = place_on_fold(p.fold, inward_of_fold(p), 0.9 * em)
            items.append(Shape("fold", "marks", lines, stroke=Stroke(looks.INK, 0.8 * view.line), of=number))
            items.append(Shape("fold", "marks", heads, True, None, looks.INK, of=number, kind="head"))
            labeller.keep_clear(lines, 0.2 * em)
        if styles[i] == "bottom":
            # under another ply: its marks stand back behind those of the ply above
            items[mine:] = [_faded(item) for item in items[mine:]]
        if crowded:
            labeller.keep_clear([(*p.outline, p.outline[0])], 0.12 * em)
    listed: list[int] = []
    words: list[Item] = []
    # before the pieces' names, which have all of a piece to stand in
    named, boxes = written_names(lay, laid.number, view)
    words += named
    for box in boxes:
        labeller.keep_clear([(*box, box[0])], 0.1 * em)
    by_size = sorted(range(len(laid.section.placements)), key=lambda i: abs(area(laid.section.placements[i].outline)))
    for i in by_size:
        p = laid.section.placements[i]
        row = rows[laid.first + i]
        fitted = labeller.place(p.outline, p.cutouts, upright(p.turn), _blocks(row), across=_NUMBERS)
        if fitted.block.close:
            listed.append(row.number)
        words += _written(fitted, row.number)
    for ply in laid.section.spread.plies:
        for flaw in ply.flaws:
            words += _written(labeller.place(flaw, (), 0.0, [Block(("flaw",), s) for s in (0.9, 0.7, 0.5)]), None)
    items += _offcuts(lay, laid, view, labeller)
    items += words
    return items, sorted(listed)


def _faded(item: Item) -> Item:
    if isinstance(item, Text) or item.stroke is None:
        return item
    fill = _UNDER if item.fill == looks.INK else item.fill
    return replace(item, stroke=replace(item.stroke, colour=_UNDER), fill=fill)


def _grain(p: Placement, number: int, view: View, labeller: Labeller, both: bool, imperial: bool) -> list[Item]:
    em = view.em
    (tail, head), offset = grain_line(p, imperial)
    if math.dist(tail, head) < 5 * em:
        # on a small piece the arrow takes the front half and leaves the other to its number
        tail, head = _part(tail, head, 0.52, 0.94)
    elif offset == 0.0 and math.dist(*p.grainline) > 2 * em:
        tail, head = p.grainline
    else:
        tail, head = _part(tail, head, 0.15, 0.85)
    deg = math.degrees(math.atan2(head[1] - tail[1], head[0] - tail[0]))
    inside = chords([p.outline, *p.cutouts], tail, deg)
    if not inside:
        return []
    size = min(0.9 * em, 0.4 * math.dist(tail, head))
    shaft, heads = grain_arrow(tail, head, size, both)
    labeller.keep_clear(shaft, 0.3 * em)
    pen = Stroke(looks.INK, 0.5 * view.line)
    out: list[Item] = [
        Shape("grain", "marks", shaft, stroke=pen, of=number),
        Shape("grain", "marks", heads[:1], True, pen, looks.INK, of=number, kind="head"),
    ]
    if both:
        # hollow, so that it is still plain which end is the arrow's head
        out.append(Shape("grain", "marks", heads[1:], True, pen, looks.PAPER, of=number, kind="tail"))
    return out


def _part(a: Point, b: Point, start: float, end: float) -> tuple[Point, Point]:
    dx, dy = b[0] - a[0], b[1] - a[1]
    return (a[0] + start * dx, a[1] + start * dy), (a[0] + end * dx, a[1] + end * dy)


def _blocks(row: Row) -> list[Block]:
    name = shown(f"{row.number} {row.name}")
    whose = shown(f"{row.garment} {row.copy}" + (f" · {row.hand}" if row.hand else ""))
    # each state as it is said in full, in two lines, and in short
    state: list[tuple[tuple[str, ...], tuple[str, ...], str]] = []

    def say(words: str) -> None:
        state.append(((words,), (words,), words))

    if row.flipped:
        both = ("flipped: pattern", "printed side down")
        state.append(((" ".join(both),), both, "flipped"))
    if row.opened:
        say("opened out")
    if row.part is not None:
        say(row.ply_words)
    if row.follows:
        say(shown(f"cut with {row.follows}"))
    full, broken = ([line for one in state for line in one[k]] for k in (0, 1))
    forms = [(name, whose, *full)] if broken == full else [(name, whose, *full), (name, whose, *broken)]
    out = [Block(form, s) for s in (1.0, 0.85, 0.72) for form in forms]
    short = [one[2] for one in state]
    if row.hand:
        short.insert(0, row.hand)
    if short:
        out += [Block((name, ", ".join(short)), s) for s in (0.85, 0.7, 0.58, 0.48)]
        out += [Block((f"{name} {', '.join(short)}",), s) for s in (0.8, 0.62)]
    else:
        out += [Block((name,), s) for s in (0.85, 0.7, 0.58, 0.48)]
    number = str(row.number)
    ply = row.part if row.part in ("top", "bottom") else ""
    # _NUMBERS of them; where plies lie on one another a number alone would not say whose it is
    said = [(number, 0.8), (number, 0.6)] if not ply else [(f"{number} {ply}", 0.7), (f"{number} {ply}", 0.5)]
    return [*out, *(Block((words,), s, close=True) for words, s in (*said, (number, 0.45), (number, 0.32)))]


def _written(fitted: Fitted, number: int | None) -> list[Item]:
    items: list[Item] = [Shape("paper", "text", (fitted.box,), True, None, looks.PAPER, 0.72, of=number)]
    for words, at, bold in fitted.lines():
        items.append(Text("label", "text", at, words, fitted.size, fitted.turn, bold=bold, of=number))
    return items


def _offcuts(lay: Lay, laid: Laid, view: View, labeller: Labeller) -> list[Item]:
    em, imperial = view.em, lay.imperial
    items: list[Item] = []
    for offcut in free_rectangles(laid.section, tuple(p.outline for p in lay.patches if laid.number == 0)):
        box: Ring = box_of(offcut.x0, offcut.y0, offcut.x1, offcut.y1)
        line: Line = (*box, box[0])
        items.append(
            Shape("offcut", "marks", (line,), stroke=Stroke(looks.SOFT, 0.5 * view.line, (0.8 * em, 0.25 * em)))
        )
        size = " × ".join(_down(side, imperial) for side in (offcut.x1 - offcut.x0, offcut.y1 - offcut.y0))
        size += " in" if imperial else " cm"
        plies = f", {len(offcut.plies)} plies" if len(offcut.plies) > 1 else ""
        blocks = [Block(("offcut", size + plies), s) for s in (0.8, 0.65, 0.5)] + [
            Block((f"offcut {size}{plies}",), 0.45)
        ]
        fitted = labeller.place(
            box, (), 0.0 if offcut.x1 - offcut.x0 >= 0.6 * (offcut.y1 - offcut.y0) else 90.0, blocks
        )
        items += [
            replace(item, role="offcut", colour="#444444") if isinstance(item, Text) else replace(item, role="offcut")
            for item in _written(fitted, None)
        ]
    return items


def _down(mm: float, imperial: bool) -> str:
    """A size as an offcut is sold short: whole cm or whole inches below."""
    return format_fraction(math.floor(mm / 25.4), 1) if imperial else f"{math.floor(mm / 10):d}"
