"""Words on the pieces of a printed pattern: always wholly inside, so that nothing reaches over the line that is cut."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from nesting.model.piece import Line, Point, Ring
from nesting.report.drawing.fonts import shown, text_width
from nesting.report.drawing.scene import Text
from nesting.report.drawing.shapes import turned

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["block_inside", "text_inside", "text_ring"]

#: mm that words stay away from the outline.
_AWAY_MM = 1.5
#: mm. Smaller words than this cannot be read on paper.
_LEAST_SIZE_MM = 1.6
_COLOUR = "#555555"
#: What reaches above and below the baseline, for each mm of the font's size (DejaVu Sans: 0.76 and 0.24).
_OVER, _UNDER = 0.8, 0.24
_LINE = 1.5
_PLACES = 28


def text_ring(text: Text) -> Ring:
    """(4 points) what a line of words covers, mm."""
    width = text_width(text.words, text.size, text.bold)
    left = {"start": 0.0, "middle": -width / 2, "end": -width}[text.anchor]
    low, high = -_UNDER * text.size, _OVER * text.size
    corners = ((left, low), (left + width, low), (left + width, high), (left, high))
    x, y = text.at
    return tuple((x + u, y + v) for u, v in (turned(c, text.turn) for c in corners))


def _room(outline: Ring) -> Polygon:
    from shapely import Polygon

    return Polygon(outline).buffer(0).buffer(-_AWAY_MM)


def text_inside(text: Text, outline: Ring, *, step: float = 0.9) -> Text | None:
    """The line of words, smaller where it must be to lie inside the outline; None where it cannot."""
    from dataclasses import replace

    from shapely import Polygon

    room = _room(outline)
    size = text.size
    while size >= _LEAST_SIZE_MM:
        fitted = replace(text, size=size)
        if room.covers(Polygon(text_ring(fitted))):
            return fitted
        size *= step
    return None


def block_inside(
    lines: Sequence[tuple[str, float, bool]], outline: Ring, drawn: Sequence[Line], rings: Sequence[Ring]
) -> list[Text]:
    """Lines of words (words, size in mm, bold), as large as fits inside the outline, level or else upright.

    ``drawn`` and ``rings``, lines and areas already there, are kept free where there is room. What fits nowhere
    stands to the right of the piece.
    """
    from shapely import LineString, MultiLineString, Polygon, box, prepare
    from shapely import contains as within
    from shapely import intersects as meets

    said = [(shown(words), size, bold) for words, size, bold in lines if words]
    width = max(text_width(words, size, bold) for words, size, bold in said)
    height = _LINE * sum(size for _, size, _ in said[1:]) + said[0][1]
    room = _room(outline)
    taken = MultiLineString(
        [LineString(line) for line in drawn if len(line) > 1] + [LineString((*r, r[0])) for r in rings]
    )
    taken = taken.buffer(0.8)
    x0, y0, x1, y1 = Polygon(outline).bounds
    grid = np.meshgrid(np.linspace(x0, x1, _PLACES), np.linspace(y0, y1, _PLACES))
    across, up = grid[0].ravel(), grid[1].ravel()
    middle = Polygon(outline).centroid
    far = np.hypot(across - middle.x, up - middle.y)
    prepare(room)
    prepare(taken)
    least = min(1.0, _LEAST_SIZE_MM / min(size for _, size, _ in said))
    best: tuple[float, float, float, float, float] | None = None
    for turn in (0.0, 90.0):
        for scale in np.geomspace(1.0, least, 12).tolist():
            w, h = (width * scale, height * scale) if turn == 0.0 else (height * scale, width * scale)
            boxes = box(across - w / 2, up - h / 2, across + w / 2, up + h / 2)
            fits = within(room, boxes)
            if not fits.any():
                continue
            free = fits & ~meets(taken, boxes)
            for which, worth in ((free, 1.0), (fits, 0.6)):
                value = worth * scale * (1.0 if turn == 0.0 else 0.75)
                if which.any() and (best is None or value > best[0] + 1e-9):
                    at = int(np.argmin(np.where(which, far, math.inf)))
                    best = (value, scale, turn, float(across[at]), float(up[at]))
            if free.any():
                break
    if best is None:
        return _stacked(said, 1.0, 0.0, (x1 + 4.0 + width / 2, (y0 + y1) / 2), height)
    _, scale, turn, x, y = best
    return _stacked(said, scale, turn, (x, y), height)


def _stacked(
    said: Sequence[tuple[str, float, bool]], scale: float, turn: float, at: Point, height: float
) -> list[Text]:
    """The lines around a middle, the first uppermost."""
    out = []
    below = height * scale / 2
    for k, (words, size, bold) in enumerate(said):
        below -= size * scale * (1.0 if k == 0 else _LINE)
        dx, dy = turned((0.0, below + _UNDER * size * scale), turn)
        out.append(
            Text("label", "text", (at[0] + dx, at[1] + dy), words, size * scale, turn=turn, bold=bold, colour=_COLOUR)
        )
    return out
