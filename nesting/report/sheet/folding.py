"""How the cloth is folded first: steps in words, and a small cross-section of the folded cloth."""

from __future__ import annotations

import math

from nesting.cloth.spreads import sides_words
from nesting.model.lay import Lay, Section
from nesting.model.piece import Line
from nesting.report.drawing.scene import Item, Scene, Shape, Stroke, Text
from nesting.report.words import column_length, edge_names, kind_words, long_length

__all__ = ["cross_section", "folding_steps"]

_INK = "#1a1a1a"
_SOFT = "#7a7a7a"


def folding_steps(lay: Lay, section: Section) -> tuple[str, ...]:
    """What to do before anything is marked, step by step."""
    spread, imperial = section.spread, lay.imperial
    number = lay.sections.index(section)

    def length(mm: float) -> str:
        return long_length(mm, imperial)

    table = column_length(spread.table_width, imperial)
    steps: list[str] = []
    if number > 0:
        steps.append(
            f"Refold for section {number + 1}: it begins {length(section.start + lay.end_allowance)} from the cut end. "
            "Mark a line straight across the cloth there and measure this section from that line."
        )
    if lay.remnant is not None:
        steps.append(
            f"Lay the leftover “{lay.remnant}” flat with its grain along the table. Base line A runs along the grain "
            "and touches its lowest point; the line that stands for the cut end runs straight across and touches its "
            "leftmost point."
        )
    kind = spread.kind
    depths = [length(d) for d in spread.depths]
    together = sides_words(spread).removeprefix("folded ")
    if kind == "lengthwise fold":
        steps.append(f"Fold lengthwise, {together}, selvage on selvage: {table} from fold A to the selvages.")
    elif kind == "partial fold":
        depth = depths[0] if depths else length(max(p[1] for p in spread.plies[-1].region))
        steps.append(
            f"Fold the near side over, {together}, {depth} deep (fold A to the folded-over selvage), equally "
            f"deep all along; from fold A to the far selvage B it is then {table}."
        )
    elif kind == "double fold":
        near, far = [*depths, "?", "?"][:2]
        steps.append(
            f"Fold both sides over, {together}: the near one {near} deep (fold A), the far one {far} deep "
            f"(fold B); from fold A to fold B it is {table} all along."
        )
    elif kind == "crosswise fold":
        steps.append(
            f"Fold across the cloth, {together}, cut end on cut end and selvage on selvage: the fold lies "
            f"{length(section.lay_length + lay.end_allowance)} from the cut ends."
        )
    elif kind == "tubular":
        steps.append(f"Lay the tube flat, {together}, with its ribs straight: {table} from fold A to fold B.")
    elif kind in ("stacked face up", "stacked face to face"):
        steps.append(f"Lay {len(spread.plies)} plies on one another, {together}, selvages A and cut ends together.")
    elif lay.remnant is None:
        steps.append(f"Lay the cloth open, one ply, {together}, selvage A towards you.")
    if lay.over is not None:
        steps.append(_laid_over(lay, number))
    folded = bool(spread.folds) or len(spread.plies) > 1
    if folded:
        steps.append(
            "Smooth the plies without stretching them, let the knit rest, and pin or weight them so that they do not "
            "slide."
        )
    if len(lay.sections) > 1 and number == 0:
        steps.append("Cut this section out before the cloth is refolded for the next.")
    return tuple(steps)


def _laid_over(lay: Lay, number: int) -> str:
    """Where a second cloth lies on the first, by its place from that cloth's cut end."""
    near = edge_names(lay.sections[number].spread, lay.remnant is not None)[0]
    exactly = "so that every piece lies exactly on the one it is cut together with"
    if number >= len(lay.over_at):
        return f"Lay it over “{lay.over}”, {near} on {near}, {exactly}."
    at = lay.over_at[number]
    begins = "the cut end of this cloth" if number == 0 else "the line at which this section begins"
    where = f"{long_length(abs(at), lay.imperial)} {'from' if at >= 0.0 else 'outside'} the cut end of “{lay.over}”"
    return f"Lay it over “{lay.over}”: {begins} lies {where}, {near} on {near}, {exactly}."


def cross_section(lay: Lay, section: Section, width: float = 110.0) -> Scene:
    """The folded cloth seen from its end, ``width`` mm wide; thickness is not to scale.

    Short ticks mark the right side of the cloth. Seen from the cut end, except for a fold across the cloth, which is
    seen from edge A.
    """
    spread = section.spread
    names = edge_names(spread, lay.remnant is not None)
    across = spread.kind == "crosswise fold"
    span = section.lay_length if across else spread.table_width
    scale = (width - 30.0) / max(span, 1.0)
    left, base, step = 15.0, 11.0, 7.0
    items: list[Item] = []
    ends: list[tuple[float, float, float, float]] = []
    for level, ply in enumerate(spread.plies):
        # flaps of a double fold lie side by side on one level
        flap = spread.kind == "double fold" and level > 0
        y = base + step * (1 if flap else level)
        values = [p[0] if across else p[1] for p in ply.region]
        low, high = min(values), max(values)
        folded_low = any(
            ply.ply in f.plies and abs(f.at - 0.0) < 0.01 for f in spread.folds if (f.along == "y") == across
        )
        folded_high = any(
            ply.ply in f.plies and abs(f.at - span) < 0.01 for f in spread.folds if (f.along == "y") == across
        )
        if not across and lay.remnant is None:
            low = 0.0 if folded_low else max(0.0, low - lay.selvage)
            high = span if folded_high else min(span, high + lay.selvage)
        x0, x1 = left + low * scale, left + high * scale
        x0 += step / 2 if folded_low else 0.0
        x1 -= step / 2 if folded_high else 0.0
        items.append(Shape("cloth", "cloth", (((x0, y), (x1, y)),), stroke=Stroke(_INK, 0.9)))
        up = 1.3 if ply.face == "up" else -1.3
        ticks: list[Line] = []
        count = max(2, int((x1 - x0) / 4.0))
        for k in range(count):
            x = x0 + (k + 0.5) * (x1 - x0) / count
            ticks.append(((x, y), (x, y + up)))
        items.append(Shape("cloth", "cloth", tuple(ticks), stroke=Stroke(_SOFT, 0.4)))
        for x, folded in ((x0, folded_low), (x1, folded_high)):
            if not folded:
                items.append(Shape("selvage", "cloth", (((x, y - 1.0), (x, y + 1.0)),), stroke=Stroke(_INK, 1.6)))
        ends.append((x0, x1, y, level))
    for fold in spread.folds:
        if (fold.along == "y") != across:
            continue
        at_low = abs(fold.at) < 0.01
        x = left + fold.at * scale + (step / 2 if at_low else -step / 2)
        mid = base + step / 2
        start, sweep = (90.0, 180.0) if at_low else (-90.0, 180.0)
        arc = tuple(
            (
                x + step / 2 * math.cos(math.radians(start + sweep * k / 18)),
                mid + step / 2 * math.sin(math.radians(start + sweep * k / 18)),
            )
            for k in range(19)
        )
        items.append(Shape("fold-line", "cloth", (arc,), stroke=Stroke(_INK, 0.9)))
    top = max((y for _, _, y, _ in ends), default=base) + 5.0
    near, far = ("cut ends", "fold") if across else names
    items.append(Text("label", "text", (left, 4.6), near, 3.4, anchor="start", colour=_INK))
    items.append(Text("label", "text", (width - 15.0, 4.6), far, 3.4, anchor="end", colour=_INK))
    items.append(Text("label", "text", (width / 2, 4.6), column_length(span, lay.imperial), 3.4, colour=_INK))
    items.append(Text("label", "text", (width / 2, 0.9), "ticks: right side of the cloth", 2.8, colour="#555555"))
    return Scene(f"{kind_words(spread)}, in cross-section", (0.0, 0.0, width, top), tuple(items))
