"""Words beside the lines of a drawing for checking: each takes the first of its places where it covers nothing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.model.piece import Line, Point
from nesting.pieces.contour import Contour, along, length_of
from nesting.report.drawing.fonts import text_width
from nesting.report.drawing.scene import Item, Shape, Text

__all__ = ["Room", "beside", "text_corners"]

#: Places along an edge for its name, as shares of its length, and distances from it in widths of an em.
_SHARES = (0.5, 0.38, 0.62, 0.26, 0.74)
_STEPS = (0.0, 1.1, 2.2, 3.3)


def text_corners(text: Text, *, below: float = 0.25, above: float = 1.0) -> tuple[Point, ...]:
    """Corners of the words' box, which reaches ``below`` and ``above`` the baseline by these shares of their size."""
    w = text_width(text.words, text.size, text.bold)
    start = {"start": 0.0, "middle": -w / 2, "end": -w}[text.anchor]
    c, s = math.cos(math.radians(text.turn)), math.sin(math.radians(text.turn))
    box = [(x, y * text.size) for x, y in ((start, -below), (start + w, -below), (start + w, above), (start, above))]
    return tuple((text.at[0] + c * x - s * y, text.at[1] + s * x + c * y) for x, y in box)


class Room:
    """What is taken in a drawing by lines and words so far."""

    def __init__(self, lines: Iterable[Line], width: float) -> None:
        """``width`` mm is kept free on either side of the lines."""
        self.width = width
        self.taken: list[BaseGeometry] = [LineString(line).buffer(width) for line in lines if len(line) > 1]

    def put(self, choices: Iterable[Sequence[Item]]) -> Sequence[Item]:
        """The first choice that covers nothing, else the one that covers least; its place is then taken."""
        best: tuple[float, Sequence[Item], list[BaseGeometry]] | None = None
        for items in choices:
            shapes = [_covered(item) for item in items if isinstance(item, Text) or item.closed]
            covers = math.fsum(shape.intersection(one).area for shape in shapes for one in self._near(shape))
            if best is None or covers < best[0] - 1e-9:
                best = (covers, items, shapes)
            if covers == 0.0:
                break
        if best is None:
            return ()
        self.taken += best[2]
        return best[1]

    def _near(self, shape: BaseGeometry) -> Iterator[BaseGeometry]:
        x0, y0, x1, y1 = shape.bounds
        for one in self.taken:
            a0, b0, a1, b1 = one.bounds
            if a0 <= x1 and a1 >= x0 and b0 <= y1 and b1 >= y0:
                yield one


def _covered(item: Item) -> BaseGeometry:
    if isinstance(item, Text):
        return Polygon(text_corners(item, below=0.2, above=0.8))
    return Polygon(item.lines[0])


def _readable(deg: float) -> float:
    """The direction turned so that words along it are not upside down."""
    deg = (deg + 180.0) % 360.0 - 180.0
    if deg > 90.0 + 1e-6:
        return deg - 180.0
    return deg + 180.0 if deg <= -90.0 + 1e-6 else deg


def beside(
    cut: Contour, line: Line, words: str, em: float, far: float, *, bold: bool, colour: str
) -> Iterator[tuple[Shape | Text, ...]]:
    """Choices for words along the outside of an edge: ``far`` em away from the cut outline at its middle, then to and
    fro along the edge, then farther out."""
    size = em * (1.0 if bold else 0.85)
    total = length_of(line)
    for step in _STEPS:
        for share in _SHARES:
            p, u = along(line, total * share)
            n = (u[1], -u[0])
            reach = 0.0
            for other in (-0.2, -0.1, 0.0, 0.1, 0.2):
                q, _ = along(line, total * (share + other))
                s, gap = cut.locate(q)
                c = cut.at(s)
                if gap < 80.0:
                    heights = ((c[0] - p[0]) * n[0] + (c[1] - p[1]) * n[1], (q[0] - p[0]) * n[0] + (q[1] - p[1]) * n[1])
                    reach = max(reach, *heights)
            turn = _readable(math.degrees(math.atan2(u[1], u[0])))
            up = (-math.sin(math.radians(turn)), math.cos(math.radians(turn)))
            above = up[0] * n[0] + up[1] * n[1] > 0
            off = reach + (far + step) * em + (0.0 if above else 0.75 * size)
            at = (p[0] + n[0] * off, p[1] + n[1] * off)
            yield (Text("label", "text", at, words, size, turn, bold=bold, colour=colour),)
