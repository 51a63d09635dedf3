"""The key under a drawing: what hatches, line styles and signs mean, and the names of pieces too small for theirs."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from nesting.model.lay import Lay
from nesting.model.piece import Drill
from nesting.report.drawing import looks
from nesting.report.drawing.fonts import shown, text_width
from nesting.report.drawing.marked import groups
from nesting.report.drawing.plies import ply_styles
from nesting.report.drawing.scene import Item, Shape, Stroke, Text
from nesting.report.drawing.shapes import box_of, hatch
from nesting.report.drawing.symbols import drill_lines, grain_arrow, inside_stroke, place_on_fold, seam_stroke
from nesting.report.drawing.view import View
from nesting.report.sheet.sheet import Row

__all__ = ["legend_items"]

_Sign = Callable[[float, float], list[Item]]


def legend_items(
    lay: Lay, view: View, small: Sequence[Row], both_ways: frozenset[int], x0: float, y0: float, x1: float
) -> tuple[list[Item], float]:
    """The key from (x0, y0) downwards, no wider than x1; also the y at which it ends. ``both_ways``: placements whose
    arrows have two heads."""
    em = view.em
    signs = _signs(lay, view, both_ways)
    entries: list[tuple[_Sign | None, str]] = [*_groups(lay, view), *_line_styles(lay, view), *signs]
    items: list[Item] = []
    x, y = x0, y0 - em
    for sign, words in entries:
        wide = (4.0 * em if sign else 0.0) + text_width(words, 0.85 * em) + 1.8 * em
        if x + wide > x1 and x > x0:
            x, y = x0, y - 1.9 * em
        if sign is not None:
            items += sign(x, y)
        items.append(Text("legend", "legend", (x + (3.6 * em if sign else 0.0), y), words, 0.85 * em, anchor="start"))
        x += wide
    if small:
        y -= 2.0 * em
        items.append(
            Text("legend", "legend", (x0, y), "Small pieces by their numbers:", 0.85 * em, anchor="start", bold=True)
        )
        x, y = x0, y - 1.5 * em
        for row in small:
            words = _described(row)
            wide = text_width(words, 0.8 * em) + 2.0 * em
            if x + wide > x1 and x > x0:
                x, y = x0, y - 1.4 * em
            items.append(Text("legend", "legend", (x, y), words, 0.8 * em, anchor="start", of=row.number))
            x += wide
    return items, y - 0.5 * em


def _described(row: Row) -> str:
    more = [f"{row.garment} {row.copy}", *([row.hand] if row.hand else [])]
    if row.flipped:
        more.append("flipped: pattern printed side down")
    if row.part is not None:
        more.append(row.ply_words)
    return shown(f"{row.number} = {row.name} ({', '.join(more)})")


def _groups(lay: Lay, view: View) -> list[tuple[_Sign | None, str]]:
    counts = {(g.name, g.size): g.count for g in lay.garments}
    out: list[tuple[_Sign | None, str]] = []
    if not view.tints:
        return out
    for key, n in groups(lay).items():
        words = " ".join(str(part) for part in key if part)
        count = counts.get(key)
        out.append((_swatch(n, view), shown(f"{words} × {count}" if count else words)))
    return out


def _swatch(n: int, view: View) -> _Sign:
    em = view.em

    def sign(x: float, y: float) -> list[Item]:
        box = box_of(x, y - 0.35 * em, x + 3.0 * em, y + 1.05 * em)
        tint = looks.TINTS[(n + n // len(looks.TINTS)) % len(looks.TINTS)]
        items: list[Item] = [Shape("legend", "legend", (box,), True, Stroke(looks.INK, 0.6 * view.line), tint)]
        for family in looks.HATCHES[n % len(looks.HATCHES)]:
            dash = (family.dash[0] * em, family.dash[1] * em) if family.dash else None
            wide = 0.16 * em if family.dash and family.dash[0] < 0.2 else 0.3 * view.line
            items.append(
                Shape(
                    "legend",
                    "legend",
                    hatch((box,), family.angle, family.spacing * em, dash),
                    stroke=Stroke(looks.HATCH_INK, wide),
                )
            )
        return items

    return sign


def _line_styles(lay: Lay, view: View) -> list[tuple[_Sign | None, str]]:
    used: set[str] = set()
    plies = 1
    for section in lay.sections:
        plies = max(plies, len(section.spread.plies))
        used |= set(ply_styles(section))
    if plies == 1 and used <= {"all"}:
        return []
    words = {
        "all": "cut through all plies that lie there",
        "top": "cut the top ply only",
        "middle": "cut a middle ply only",
        "bottom": "cut the bottom ply only",
        "with": "cut with the piece around it",
    }
    strokes = {style: Stroke(looks.INK, view.line, looks.dash_of(style, view.em)) for style in words}
    return [(_line(strokes[style], view.em), text) for style, text in words.items() if style in used]


def _line(stroke: Stroke, em: float) -> _Sign:
    def sign(x: float, y: float) -> list[Item]:
        line = ((x, y + 0.3 * em), (x + 3.2 * em, y + 0.3 * em))
        return [Shape("legend", "legend", (line,), stroke=stroke)]

    return sign


def _signs(lay: Lay, view: View, both_ways: frozenset[int]) -> list[tuple[_Sign | None, str]]:
    """Every sign that the lay's pieces bear, drawn as it is drawn on them."""
    em = view.em
    pen = Stroke(looks.INK, 0.5 * view.line)
    out: list[tuple[_Sign | None, str]] = []

    def grain(both: bool) -> _Sign:
        def sign(x: float, y: float) -> list[Item]:
            shaft, heads = grain_arrow((x, y + 0.3 * em), (x + 3.0 * em, y + 0.3 * em), 0.8 * em, both)
            fills = (looks.INK, looks.PAPER)
            drawn = [Shape("legend", "legend", (h,), True, pen, c) for h, c in zip(heads, fills, strict=False)]
            return [Shape("legend", "legend", shaft, stroke=pen), *drawn]

        return sign

    def on_fold(x: float, y: float) -> list[Item]:
        lines, heads = place_on_fold(((x, y - 0.3 * em), (x + 3.0 * em, y - 0.3 * em)), 90.0, 0.6 * em)
        return [
            Shape("legend", "legend", lines, stroke=Stroke(looks.INK, 0.7 * view.line)),
            Shape("legend", "legend", heads, True, None, looks.INK),
        ]

    def notch(x: float, y: float) -> list[Item]:
        edge = ((x + 0.5 * em, y - 0.2 * em), (x + 2.5 * em, y - 0.2 * em))
        slit = ((x + 1.5 * em, y - 0.2 * em), (x + 1.5 * em, y + 0.6 * em))
        return [
            Shape("legend", "legend", (edge,), stroke=Stroke(looks.INK, view.line)),
            Shape("legend", "legend", (slit,), stroke=Stroke(looks.INK, 0.9 * view.line)),
        ]

    def drill(x: float, y: float) -> list[Item]:
        lines = drill_lines(Drill((x + 1.5 * em, y + 0.3 * em)), max(4.0, 0.5 * em))
        return [Shape("legend", "legend", lines, stroke=pen)]

    pieces = lay.placements
    if len(both_ways) < len(pieces):
        out.append((grain(False), "grain"))
    if both_ways:
        out.append((grain(True), "grain, may lie either way"))
    if any(p.on_fold for p in pieces):
        out.append((on_fold, "place on fold"))
    if any(p.notches for p in pieces):
        out.append((notch, "notch"))
    if any(p.drills for p in pieces):
        out.append((drill, "drill mark"))
    if any(p.seam is not None for p in pieces):
        out.append((_line(seam_stroke(view.line, em), em), "seam line"))
    if any(p.inside for p in pieces):
        out.append((_line(inside_stroke(view.line, em), em), "line inside the piece"))
    return out
