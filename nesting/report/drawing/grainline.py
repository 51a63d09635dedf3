"""The line along the grain, drawn right through a piece from cut edge to cut edge."""

from __future__ import annotations

from nesting.model.lay import Placement
from nesting.model.piece import Point, Ring
from nesting.report.drawing.shapes import chords, ring_box, turned

__all__ = ["grain_line", "through"]


def grain_line(p: Placement, imperial: bool) -> tuple[tuple[Point, Point], float]:
    """The grain line of a placement on the table (tail, head), and its offset from the grainline, mm."""
    sign = -1.0 if p.flipped else 1.0

    def back(q: Point) -> Point:
        x, y = turned((q[0] - p.x, q[1] - p.y), -p.turn)
        return (x, sign * y)

    def to_table(q: Point) -> Point:
        x, y = turned((q[0], sign * q[1]), p.turn)
        return (x + p.x, y + p.y)

    outline = tuple(back(q) for q in p.outline)
    offset = _line_offset(outline, 25.4 / 4 if imperial else 5.0)
    a, b = through(outline, offset)
    return (to_table((a, offset)), to_table((b, offset))), offset


def _line_offset(outline: Ring, step: float) -> float:
    _, y0, _, y1 = ring_box(outline)
    near = [chords([outline], (0.0, y), 0.0) for y in (-1.0, 0.0, 1.0)]
    if all(near):
        return 0.0
    # on a whole step, so that the printed number is the number
    return round((y0 + y1) / 2 / step) * step


def through(outline: Ring, offset: float) -> tuple[float, float]:
    """Where the line y = ``offset`` enters and leaves an outline in the grain frame (x of tail and head, mm)."""
    inside = chords([outline], (0.0, offset), 0.0)
    if inside:
        return inside[0][0], inside[-1][1]
    x0, _, x1, _ = ring_box(outline)
    return x0, x1
