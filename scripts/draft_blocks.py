"""A drafted pattern piece: seam edges with their allowances, and from them the cut outline and all marks. mm, y up."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from draft_curves import Bezier, Curve, Vec, line, meet, point

__all__ = ["Block", "Mark", "Side"]


@dataclass(frozen=True)
class Side:
    """One edge of a piece on its seam line, walked anticlockwise.

    ``allowance``: how far the cut edge lies outside. ``hem``: the allowance is turned up, so that its ends mirror the
    neighbouring edges. ``notches``: names and places as shares of the edge's length.
    """

    name: str
    curve: Curve
    allowance: float = 0.0
    hem: bool = False
    notches: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Mark:
    """A notch on the cut edge: ``into`` is the direction into the piece, degrees."""

    name: str
    at: Vec
    into: float


@dataclass
class Block:
    """A piece in one size. ``sides`` leave the fold edge out: it is the straight line from the last side's end to the
    first one's start where ``on_fold``."""

    name: str
    size: str
    sides: list[Side]
    cut: int
    mirrored: bool
    material: str
    grain: tuple[Vec, Vec]
    on_fold: bool = False
    label: Vec = field(default_factory=lambda: point(0, 0))
    inside: list[tuple[str, Curve]] = field(default_factory=list)
    drills: list[tuple[str, Vec]] = field(default_factory=list)
    text_mm: float = 6.0

    def side(self, name: str) -> Side:
        """The side of that name."""
        return next(s for s in self.sides if s.name == name)

    @property
    def fold(self) -> tuple[Vec, Vec] | None:
        """Ends of the fold edge on the cut outline."""
        outline = self.outline()
        return (outline.end, outline.start) if self.on_fold else None

    def seam(self) -> Curve:
        """The seam outline; open along the fold edge, else closed."""
        return Curve(tuple(p for s in self.sides for p in s.curve.parts))

    def outline(self) -> Curve:
        """The cut outline: every edge set off by its allowance, corners mitred; open along the fold edge."""
        offset = [list(s.curve.parallel(s.allowance).parts if s.allowance else s.curve.parts) for s in self.sides]
        n = len(self.sides)
        joins: list[list[Bezier]] = [[] for _ in self.sides]
        for i in range(n - 1 if self.on_fold else n):
            j = (i + 1) % n
            if self.sides[j].hem:
                offset[i][-1] = _up_to(offset[i][-1], self.sides[j].curve)
            elif self.sides[i].hem:
                offset[j][0] = _reversed(_up_to(_reversed(offset[j][0]), self.sides[i].curve))
            joins[i] = _corner(self.sides[i], self.sides[j], offset[i][-1], offset[j][0])
        return Curve(tuple(p for part, join in zip(offset, joins, strict=True) for p in (*part, *join)))

    def marks(self) -> list[Mark]:
        """Every notch, on the cut edge square to its place on the seam line."""
        found = []
        for side in self.sides:
            length = side.curve.length
            for name, share in side.notches:
                at, u = side.curve.place(share * length)
                outward = point(u[1], -u[0])
                into = math.degrees(math.atan2(u[0], -u[1])) % 360.0
                found.append(Mark(name, at + side.allowance * outward, into))
        return found


def _reversed(p: Bezier) -> Bezier:
    return Bezier(p.d, p.c, p.b, p.a)


def _up_to(edge: Bezier, hem: Curve) -> Bezier:
    """The edge cut short where it crosses the turning line of the hem, if it does."""
    along = hem.end - hem.start
    outward = point(along[1], -along[0])
    if (edge.d - hem.start) @ outward <= 0.0:
        return edge
    lo, hi = 0.0, 1.0
    for _ in range(60):
        mid = (lo + hi) / 2
        lo, hi = (mid, hi) if (edge.at(mid) - hem.start) @ outward < 0.0 else (lo, mid)
    return edge.part(0.0, lo)


def _corner(before: Side, after: Side, a: Bezier, b: Bezier) -> list[Bezier]:
    """The lines that join two set-off edges at a corner."""
    u, v = a.d - a.c, b.b - b.a
    if math.hypot(*(b.a - a.d)) < 1e-9:
        return []
    if before.hem or after.hem:
        return _hem_corner(before, after, a, b)
    tip = meet(a.d, u, b.a, v)
    return [line(a.d, tip), line(tip, b.a)]


def _hem_corner(before: Side, after: Side, a: Bezier, b: Bezier) -> list[Bezier]:
    # The neighbour's cut edge runs on to the turning line and is mirrored there, so that the hem lies flush.
    hem, edge, u = (after, a.d, a.d - a.c) if after.hem else (before, b.a, b.a - b.b)
    along = hem.curve.end - hem.curve.start
    along = along / math.hypot(*along)
    on_line = abs((edge - hem.curve.start) @ point(along[1], -along[0])) < 1e-9
    turn = edge if on_line else meet(edge, u, hem.curve.start, along)
    outward = point(along[1], -along[0])
    away = 2.0 * (u @ outward) * outward - u
    foot = turn + away * (hem.allowance / (away @ outward))
    reach = [] if on_line else [line(edge, turn)]
    if after.hem:
        return [*reach, line(turn, foot), line(foot, b.a)]
    return [line(a.d, foot), line(foot, turn), *(_reversed(p) for p in reach)]
