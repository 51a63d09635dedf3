"""The line by which a person with a ruler sets a piece: right through it, from cut edge to cut edge."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from nesting.model.lay import Placement
from nesting.model.piece import Piece, Point, Ring
from nesting.report.drawing.shapes import chords, turned

__all__ = ["Measured", "centre_ends", "centre_line", "grain_line", "measured_line", "measured_on", "through"]

#: mm. Mirrored over its centre line, a point of an opened-out outline meets another within this.
_MEET_MM = 0.01


@dataclass(frozen=True)
class Measured:
    """The line on the table, from its tail to its head. ``kind``: along the grain, or the centre line of a half that is
    opened out. ``offset``: of a line along the grain from the grainline, mm, positive on the arrow's left."""

    tail: Point
    head: Point
    kind: Literal["grain", "centre"]
    offset: float = 0.0


def measured_line(p: Placement, imperial: bool) -> Measured:
    """The centre line of a half that is opened out, along which its pattern is turned over; else the grain line."""
    centre = centre_line(p) if p.opened else None
    if centre is not None:
        return Measured(*centre, "centre")
    (tail, head), offset = grain_line(p, imperial)
    return Measured(tail, head, "grain", offset)


def centre_ends(a: Point, b: Point) -> tuple[Point, Point]:
    """A centre line's ends in the piece's grain frame as tail and head: the head lies farther along the arrow; square
    to it, on the arrow's left as the printed side is seen."""
    along = b[0] - a[0]
    forward = along > 1e-6 if abs(along) > 1e-6 else b[1] > a[1]
    return (a, b) if forward else (b, a)


def centre_line(p: Placement) -> tuple[Point, Point] | None:
    """The line (tail, head) over which a half was opened out, on the table: two points of its outline, the same number
    of points apart both ways, over which the outline is its own mirror image. None if there are none."""
    ring = np.asarray(p.outline, dtype=float)
    n = len(ring)
    if n < 4 or n % 2:
        return None
    for i in range(n // 2):
        a, b = ring[i], ring[i + n // 2]
        one = np.roll(ring, -i, axis=0)
        other = one[-np.arange(n) % n]
        u = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        away = one - a
        image = a + 2.0 * np.outer(away @ u, u) - away
        if float(np.abs(image - other).max()) <= _MEET_MM:
            sign = -1.0 if p.flipped else 1.0
            ends = []
            for q in (a, b):
                x, y = turned((float(q[0]) - p.x, float(q[1]) - p.y), -p.turn)
                ends.append((x, sign * y))
            line = ((float(a[0]), float(a[1])), (float(b[0]), float(b[1])))
            return line if centre_ends(*ends) == tuple(ends) else (line[1], line[0])
    return None


def measured_on(piece: Piece, opened: bool, kind: str, offset: float) -> tuple[Point, Point]:
    """The same line on the pattern piece, in its grain frame: what a person draws on the paper."""
    if kind == "centre" and opened and piece.fold is not None:
        return centre_ends(*piece.fold)
    a, b = through(piece.outline, offset)
    return (a, offset), (b, offset)


def grain_line(p: Placement, imperial: bool) -> tuple[tuple[Point, Point], float]:
    """The grain line of a placement on the table (tail, head), and its offset from the grainline, mm."""
    sign = -1.0 if p.flipped else 1.0

    def to_table(q: Point) -> Point:
        x, y = turned((q[0], sign * q[1]), p.turn)
        return (x + p.x, y + p.y)

    outline = _in_grain_frame(p, sign)
    offset = _line_offset(outline, 25.4 / 4 if imperial else 5.0)
    a, b = through(outline, offset)
    return (to_table((a, offset)), to_table((b, offset))), offset


def _in_grain_frame(p: Placement, sign: float) -> NDArray[np.float64]:
    a = math.radians(-p.turn)
    ring = np.asarray(p.outline, dtype=float) - (p.x, p.y)
    x = math.cos(a) * ring[:, 0] - math.sin(a) * ring[:, 1]
    y = math.sin(a) * ring[:, 0] + math.cos(a) * ring[:, 1]
    return np.column_stack([x, sign * y])


def _line_offset(outline: NDArray[np.float64], step: float) -> float:
    y0, y1 = float(outline[:, 1].min()), float(outline[:, 1].max())
    near = [chords([outline], (0.0, y), 0.0) for y in (-1.0, 0.0, 1.0)]
    if all(near):
        return 0.0
    # on a whole step, so that the printed number is the number
    return round((y0 + y1) / 2 / step) * step


def through(outline: Ring | NDArray[np.float64], offset: float) -> tuple[float, float]:
    """Where the line y = ``offset`` enters and leaves an outline in the grain frame (x of tail and head, mm)."""
    inside = chords([outline], (0.0, offset), 0.0)
    if inside:
        return inside[0][0], inside[-1][1]
    across = np.asarray(outline, dtype=float)[:, 0]
    return float(across.min()), float(across.max())
