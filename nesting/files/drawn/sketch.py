"""What a drawing holds before it is understood: strokes and texts in groups, whatever the file's format.

Coordinates are mm in the drawing frame (y up). ``svg`` and ``dxf`` make these; ``gather`` makes pieces of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from nesting.files.drawn.outline import half_way
from nesting.files.drawn.texts import Label
from nesting.files.drawn.vocabulary import Role
from nesting.model.piece import Line, NotchKind, Point

__all__ = ["Group", "Stroke", "Text"]


@dataclass(frozen=True)
class Stroke:
    """One drawn line.

    ``closed`` strokes do not repeat their first point. ``name`` is what the role belongs to (an edge's or a notch's
    name). ``arrows`` tells whether arrowheads are drawn at its start and end. ``round`` is the diameter where it is
    a circle, ``angle`` (degrees, the direction it points in) and ``depth`` are given by some notches. ``element``
    numbers the drawn element it comes from, as one element may hold several strokes. ``where`` describes it in
    messages.
    """

    points: Line
    closed: bool = False
    role: Role | None = None
    name: str | None = None
    arrows: tuple[bool, bool] = (False, False)
    notch: NotchKind | None = None
    depth: float | None = None
    angle: float | None = None
    round: float | None = None
    element: int = 0
    where: str = "a line"

    @property
    def middle(self) -> Point:
        """The middle of its points' box for a closed stroke, else a point half-way along it."""
        return half_way(self.points, self.closed)


@dataclass(frozen=True)
class Text:
    """A text and where it stands."""

    text: str
    at: Point


@dataclass
class Group:
    """A group, layer or block. ``label`` is what was understood of its name, ``name`` the name as written. ``shared``
    groups are shown in several places, so that the names around them tell more than their own."""

    name: str | None = None
    label: Label = field(default_factory=Label)
    strokes: list[Stroke] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    groups: list[Group] = field(default_factory=list)
    extra: list[tuple[str, str]] = field(default_factory=list)
    shared: bool = False

    def walk(self, above: tuple[Group, ...] = ()) -> Iterator[tuple[Group, ...]]:
        """This group and all below it, each as the chain of groups from the top down to it."""
        chain = (*above, self)
        yield chain
        for group in self.groups:
            yield from group.walk(chain)
