"""What the pages of a PDF show, before anything of it is understood.

Words
    *sheet*: a page as a viewer shows it: turned by its ``/Rotate``, cut to its crop box, in mm, y up, its lower left
    corner at the origin. *line*: one subpath of a drawn path, curves flattened. *layer*: an optional content group
    (ISO 32000-1, 8.11), which viewers list as a layer.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from nesting.model.piece import Line, Point

__all__ = ["Box", "Layer", "PdfLine", "PdfText", "Picture", "Sheet", "Sheets", "Style"]

#: Least and greatest x and y, mm.
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Style:
    """How a line is drawn. ``colour`` is red, green, blue (0 to 255), ``width`` mm, ``dash`` the lengths of dashes and
    gaps in mm (empty: solid). ``filled`` only: an area without an outline."""

    colour: tuple[int, int, int] = (0, 0, 0)
    width: float = 0.0
    dash: tuple[float, ...] = ()
    stroked: bool = True
    filled: bool = False


@dataclass(frozen=True)
class PdfLine:
    """One line. ``closed`` lines do not repeat their first point. ``layers`` from the outermost to the innermost;
    ``element`` numbers the path object it is a part of, over the whole file. ``round`` is a circle's diameter (mm)."""

    points: Line
    closed: bool
    style: Style
    layers: tuple[str, ...]
    page: int
    element: int
    round: float | None = None


@dataclass(frozen=True)
class PdfText:
    """A text, the middle of its box, its height (mm) and the direction it runs in (degrees).

    ``bearings``: mm by which its letters' own room reaches beyond the box, which only holds their ink, to the left and
    to the right; 0 where the file does not tell it.
    """

    text: str
    at: Point
    height: float
    angle: float
    layers: tuple[str, ...]
    page: int
    box: Box = (0.0, 0.0, 0.0, 0.0)
    bearings: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Picture:
    """A picture's place on the sheet and its pixels across and down."""

    box: Box
    pixels: tuple[int, int]
    layers: tuple[str, ...] = ()


@dataclass(frozen=True)
class Layer:
    """A layer by its name, and whether viewers show it when the file is opened."""

    name: str
    shown: bool


@dataclass(frozen=True)
class Sheet:
    """One page. ``number`` counts from 1, as viewers do. ``clip`` is the part of the sheet that its own clipping paths
    leave visible, where they all agree on one box."""

    number: int
    width: float
    height: float
    lines: tuple[PdfLine, ...] = ()
    texts: tuple[PdfText, ...] = ()
    pictures: tuple[Picture, ...] = ()
    clip: Box | None = None
    user_unit: float = 1.0


@dataclass(frozen=True)
class Sheets:
    """All sheets that were asked for, ``count`` being how many pages the file has. ``notes``: (kind, message)."""

    sheets: tuple[Sheet, ...]
    layers: tuple[Layer, ...] = ()
    count: int = 0
    notes: tuple[tuple[str, str], ...] = field(default=())
