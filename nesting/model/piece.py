"""A pattern piece with all that travels with it.

Frames
    *drawing frame*: as the file shows it on the page, in mm, y growing upwards (an SVG page is turned, not
    mirrored), positions as in the file.
    *grain frame*: the grain arrow points to +x and the reference point, the middle of the grainline, is the origin
    (see ``in_grain_frame``). The lay files and everything after reading use this frame.

Rings are tuples of (x, y) in mm, anticlockwise, simple, not repeated at the end.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal

__all__ = [
    "Drill",
    "Edge",
    "Line",
    "Motion",
    "Notch",
    "NotchKind",
    "Piece",
    "Point",
    "Ring",
    "in_grain_frame",
    "mapped",
]

#: points of a line from which on they are moved together
_FEW = 16

Point = tuple[float, float]
Line = tuple[Point, ...]
Ring = tuple[Point, ...]
NotchKind = Literal["slit", "v", "t", "castle", "check", "u"]


@dataclass(frozen=True)
class Notch:
    """A notch on the cut edge.

    ``at`` in mm; ``direction`` in degrees, pointing from the edge *into* the piece; ``depth`` in mm.
    """

    at: Point
    direction: float
    kind: NotchKind = "slit"
    depth: float = 5.0
    name: str | None = None


@dataclass(frozen=True)
class Drill:
    """A drill mark (not a hole to be cut out unless ``diameter`` says so). mm."""

    at: Point
    diameter: float = 0.0
    name: str | None = None


@dataclass(frozen=True)
class Edge:
    """A named stretch of an outline, from ``start`` anticlockwise to ``end`` (points on the outline, mm)."""

    name: str
    start: Point
    end: Point


@dataclass(frozen=True)
class Piece:
    """One pattern piece.

    ``outline`` is the cut outline (for an on-fold piece: the half, with the fold edge as one straight side);
    ``seam`` the seam outline where the file or a finish gives one. ``fold`` holds the two ends of the fold edge.
    ``cut``, ``mirrored`` and ``material`` are what the file says, None where it says nothing. ``axis_drawn`` tells
    whether the grainline was drawn with two arrowheads (True), one (False), or is not known (None). ``error`` mm: no
    point of the true outline is farther off, where the piece was traced from a picture, which ``origin`` names.
    """

    name: str
    outline: Ring
    size: str | None = None
    seam: Ring | None = None
    inside: tuple[Line, ...] = ()
    cutouts: tuple[Ring, ...] = ()
    notches: tuple[Notch, ...] = ()
    drills: tuple[Drill, ...] = ()
    grainline: tuple[Point, Point] | None = None
    fold: tuple[Point, Point] | None = None
    edges: tuple[Edge, ...] = ()
    cut: int | None = None
    mirrored: bool | None = None
    material: str | None = None
    text: tuple[str, ...] = ()
    axis_drawn: bool | None = None
    file: str | None = None
    extra: tuple[tuple[str, str], ...] = field(default=())
    error: float = 0.0
    origin: str | None = None

    @property
    def key(self) -> tuple[str, str | None]:
        """Name and size, by which an order finds the piece."""
        return (self.name, self.size)

    @property
    def label(self) -> str:
        """Name and size for people."""
        return f"{self.name} {self.size}" if self.size else self.name


@dataclass(frozen=True)
class Motion:
    """(x, y) -> (``c``·x - ``s``·y + ``x``, ``d``·x + ``e``·y + ``y``), point by point or of a whole line at once."""

    c: float
    s: float
    d: float
    e: float
    x: float
    y: float

    def __call__(self, p: Point) -> Point:
        """The point moved."""
        return (self.c * p[0] - self.s * p[1] + self.x, self.d * p[0] + self.e * p[1] + self.y)

    def line(self, points: Ring) -> Ring:
        """All points moved, to the same numbers as one by one."""
        if len(points) < _FEW:
            return tuple(self(p) for p in points)
        # slow to load, and not every command moves pieces
        import numpy as np

        px, py = np.array(points).T
        moved_x = self.c * px - self.s * py + self.x
        moved_y = self.d * px + self.e * py + self.y
        return tuple(zip(moved_x.tolist(), moved_y.tolist(), strict=True))


def mapped(piece: Piece, move: Callable[[Point], Point], *, turn_deg: float = 0.0, mirrored: bool = False) -> Piece:
    """The piece with every point sent through ``move``, a rigid motion.

    ``turn_deg`` and ``mirrored`` must describe the same motion (mirrored across the x axis first, then turned), as
    directions of notches are turned by them; rings are reversed when mirrored so that they stay anticlockwise.
    """

    def ring(points: Ring) -> Ring:
        moved = move.line(points) if isinstance(move, Motion) else tuple(move(p) for p in points)
        return moved[::-1] if mirrored else moved

    def direction(deg: float) -> float:
        return ((-deg if mirrored else deg) + turn_deg) % 360.0

    def edge(e: Edge) -> Edge:
        a, b = move(e.start), move(e.end)
        return Edge(e.name, b, a) if mirrored else Edge(e.name, a, b)

    return replace(
        piece,
        outline=ring(piece.outline),
        seam=ring(piece.seam) if piece.seam is not None else None,
        inside=tuple(tuple(move(p) for p in line) for line in piece.inside),
        cutouts=tuple(ring(c) for c in piece.cutouts),
        notches=tuple(replace(n, at=move(n.at), direction=direction(n.direction)) for n in piece.notches),
        drills=tuple(replace(d, at=move(d.at)) for d in piece.drills),
        grainline=(move(piece.grainline[0]), move(piece.grainline[1])) if piece.grainline else None,
        fold=(move(piece.fold[0]), move(piece.fold[1])) if piece.fold else None,
        edges=tuple(edge(e) for e in piece.edges),
    )


def in_grain_frame(piece: Piece) -> Piece:
    """The piece turned so that its grain arrow points to +x, the middle of the grainline at the origin.

    The piece must have a grainline of some length.
    """
    if piece.grainline is None:
        raise ValueError(f"piece {piece.label!r} has no grainline")
    (x0, y0), (x1, y1) = piece.grainline
    length = math.hypot(x1 - x0, y1 - y0)
    if length == 0.0:
        raise ValueError(f"the grainline of piece {piece.label!r} has no length")
    c, s = (x1 - x0) / length, (y1 - y0) / length
    mx, my = (x0 + x1) / 2, (y0 + y1) / 2

    def move(p: Point) -> Point:
        dx, dy = p[0] - mx, p[1] - my
        return (c * dx + s * dy, c * dy - s * dx)

    return mapped(piece, move, turn_deg=-math.degrees(math.atan2(s, c)))
