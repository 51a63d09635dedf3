"""What a drawing is before it is written to any kind of file: shapes and words with their looks, in mm.

The frame is the lay's: x to the right, y upwards. A backend that counts y downwards turns it, nothing is mirrored.
Items come in painting order; ``layer`` names the sheet of the drawing they belong to, ``role`` what they are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from nesting.model.piece import Line, Point
from nesting.report.drawing.shapes import thinned

__all__ = ["Item", "Layer", "Role", "Scene", "Shape", "Stroke", "Text", "moved", "with_fewer_points"]

Layer = Literal["cloth", "pieces", "cut", "marks", "text", "measure", "legend"]
Role = Literal[
    "cloth",
    "selvage",
    "fold-line",
    "flaw",
    "repeat",
    "allowance",
    "offcut",
    "fill",
    "hatch",
    "cut",
    "cutout",
    "inside",
    "sew",
    "notch",
    "drill",
    "grain",
    "fold",
    "label",
    "paper",
    "ruler",
    "legend",
    "grid",
    "square",
    "patch",
]


@dataclass(frozen=True)
class Stroke:
    """A line's look: ``width`` and ``dash`` (on, off, …) in mm of the drawing."""

    colour: str
    width: float
    dash: tuple[float, ...] = ()


@dataclass(frozen=True)
class Shape:
    """One or more lines drawn as one. Closed ones may be filled (even-odd, so that an inner ring is a hole).

    ``of`` is the number of the placement that it belongs to; ``kind`` tells more of the role (the kind of notch).
    """

    role: Role
    layer: Layer
    lines: tuple[Line, ...]
    closed: bool = False
    stroke: Stroke | None = None
    fill: str | None = None
    opacity: float = 1.0
    of: int | None = None
    kind: str | None = None


@dataclass(frozen=True)
class Text:
    """A line of words. ``at`` is on the baseline; ``size`` is the font size in mm; ``turn`` anticlockwise degrees."""

    role: Role
    layer: Layer
    at: Point
    words: str
    size: float
    turn: float = 0.0
    anchor: Literal["start", "middle", "end"] = "middle"
    bold: bool = False
    colour: str = "#111111"
    of: int | None = None


Item = Shape | Text


@dataclass(frozen=True)
class Scene:
    """``box`` (x0, y0, x1, y1) in mm is what is shown; ``background`` None leaves the ground as it is."""

    title: str
    box: tuple[float, float, float, float]
    items: tuple[Item, ...]
    background: str | None = None
    note: str = ""

    @property
    def width(self) -> float:
        """Width in mm."""
        return self.box[2] - self.box[0]

    @property
    def height(self) -> float:
        """Height in mm."""
        return self.box[3] - self.box[1]


def moved(item: Item, dx: float, dy: float) -> Item:
    """The item moved by (dx, dy) mm."""
    if isinstance(item, Text):
        return replace(item, at=(item.at[0] + dx, item.at[1] + dy))
    return replace(item, lines=tuple(tuple((x + dx, y + dy) for x, y in line) for line in item.lines))


def with_fewer_points(scene: Scene, tolerance: float) -> Scene:
    """The scene whose outlines keep only points that lie farther than ``tolerance`` mm from the rest of the line; words
    and all else stay where they are."""

    def thin(item: Item) -> Item:
        if isinstance(item, Text) or item.role not in ("fill", "cut", "cutout", "sew") or not item.closed:
            return item
        return replace(item, lines=tuple(thinned(line, tolerance) for line in item.lines))

    return replace(scene, items=tuple(map(thin, scene.items)))
