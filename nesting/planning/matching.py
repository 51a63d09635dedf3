"""Stripes, checks and prints: where the repeat of the cloth lets a piece lie.

A seam that is to match ties one notch of each of its pieces, taken at the seam line, to the same place within the
repeat.
All pieces of one garment that are joined by such seams share one way up, so that their match points stay in step.
A motif ties a point of the piece to a multiple of the repeat plus an offset. Both become lattices of the packing
problem, which the search honours exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from nesting.errors import CannotLayError, OrderError
from nesting.order import Cloth, CutPiece, Motif, Order
from nesting.pieces.piece import Notch, Piece, Point

__all__ = ["MatchPoint", "Matching", "match_points", "matching_for", "seam_point"]


@dataclass(frozen=True)
class MatchPoint:
    """``point`` (grain frame, mm, at the seam line) must lie at the phase called ``phase`` within the repeat."""

    piece: str
    size: str | None
    point: Point
    phase: str


@dataclass(frozen=True)
class Matching:
    """What the repeat asks of one piece: its match points (all in step) and its motif."""

    points: tuple[MatchPoint, ...] = ()
    motif: Motif | None = None

    @property
    def any(self) -> bool:
        """Whether anything is asked."""
        return bool(self.points) or self.motif is not None


def seam_point(piece: Piece, notch: Notch) -> Point:
    """Where the notch meets the seam line: the seam outline's nearest point, or the notch itself without one."""
    if piece.seam is None:
        return notch.at
    from shapely.geometry import LinearRing
    from shapely.geometry import Point as Dot

    line = LinearRing(piece.seam)
    near = line.interpolate(line.project(Dot(notch.at)))
    return (near.x, near.y)


@dataclass(frozen=True)
class _OnEdge:
    notch: Notch
    along: float
    length: float


def _notches_on(piece: Piece, edge_name: str) -> list[_OnEdge]:
    """The notches of a named edge, in the order of the edge, each with its distance from the edge's start, mm."""
    from shapely.geometry import LineString
    from shapely.geometry import Point as Dot

    edge = next((e for e in piece.edges if e.name == edge_name), None)
    if edge is None:
        return []
    ring = piece.seam or piece.outline
    line = LineString(_between(ring, edge.start, edge.end))
    found = []
    for notch in piece.notches:
        dot = Dot(seam_point(piece, notch))
        if line.distance(dot) <= 1.0:
            found.append(_OnEdge(notch, line.project(dot), line.length))
    return sorted(found, key=lambda n: n.along)


def _meeting(first: list[_OnEdge], others: list[_OnEdge]) -> _OnEdge:
    """The notch that meets the first one of ``first``, from the common end that fits all of them better.

    Two edges that both run anticlockwise meet head to tail, so that wins where both ends fit alike.
    """

    def places(backwards: bool) -> list[float]:
        return [n.length - n.along if backwards else n.along for n in others]

    def misfit(backwards: bool) -> float:
        return sum(min(abs(n.along - place) for place in places(backwards)) for n in first)

    there = places(misfit(True) <= misfit(False))
    return min(zip(others, there, strict=True), key=lambda pair: abs(first[0].along - pair[1]))[0]


def _between(ring: tuple[Point, ...], start: Point, end: Point) -> list[Point]:
    def nearest(p: Point) -> int:
        return min(range(len(ring)), key=lambda i: math.dist(ring[i], p))

    i, j = nearest(start), nearest(end)
    if j <= i:
        j += len(ring)
    return [ring[k % len(ring)] for k in range(i, j + 1)]


def match_points(order: Order, size: str | None) -> tuple[MatchPoint, ...]:
    """The match points of all seams with ``match = true``, for one size.

    The first notch that all edges carry under one name is taken; without such a name the first notch of the first edge
    and those that meet it. OrderError where a seam has no notch to match at.
    """
    found: list[MatchPoint] = []
    for number, seam in enumerate(order.seams):
        if not seam.match:
            continue
        names: list[tuple[CutPiece, list[_OnEdge]]] = []
        for reference in seam.edges:
            piece_name, _, edge_name = reference.partition(".")
            try:
                cut = order.cut_piece(piece_name, size)
            except KeyError:
                names = []
                break
            notches = _notches_on(cut.piece, edge_name)
            if not notches:
                raise OrderError(
                    f"the seam is to match stripes, but edge '{reference}' has no notch to match at: add one "
                    "(add_centre_notches) or leave match out",
                    file=order.path,
                    key="seam",
                )
            names.append((cut, notches))
        if not names:
            continue
        shared = [
            n.notch.name
            for n in names[0][1]
            if n.notch.name and all(any(m.notch.name == n.notch.name for m in ns) for _, ns in names[1:])
        ]
        for position, (cut, notches) in enumerate(names):
            if shared:
                met = next(n for n in notches if n.notch.name == shared[0])
            else:
                met = notches[0] if position == 0 else _meeting(names[0][1], notches)
            found.append(MatchPoint(cut.name, size, seam_point(cut.piece, met.notch), f"seam {number + 1}"))
    return tuple(found)


def matching_for(order: Order, cloth: Cloth, cut: CutPiece) -> Matching:
    """What the cloth's repeat asks of this piece. CannotLayError where two seams of it cannot both match."""
    if cloth.repeat_along <= 0.0 and cloth.repeat_across <= 0.0:
        return Matching()
    points = tuple(p for p in match_points(order, cut.size) if p.piece == cut.name)
    return Matching(points, cut.motif)


def phases(order: Order, cloth: Cloth, size: str | None) -> dict[tuple[str, str], tuple[float, float]]:
    """(piece, "") -> offset of each piece's reference point within the repeat, unflipped and at 0°, mm.

    Pieces joined by matching seams form a chain; the first piece of each chain starts it. CannotLayError where a chain
    closes on itself with another phase, naming the pieces and the difference.
    """
    points = match_points(order, size)
    by_phase: dict[str, list[MatchPoint]] = {}
    for p in points:
        by_phase.setdefault(p.phase, []).append(p)
    offsets: dict[tuple[str, str], tuple[float, float]] = {}
    pieces = {p.piece for p in points}

    def wrapped(value: float, period: float) -> float:
        return value - period * round(value / period) if period > 0.0 else 0.0

    for first in sorted(pieces):
        if (first, "") in offsets:
            continue
        offsets[first, ""] = (0.0, 0.0)
        queue = [first]
        while queue:
            name = queue.pop()
            ox, oy = offsets[name, ""]
            for p in [q for q in points if q.piece == name]:
                for other in by_phase[p.phase]:
                    if other.piece == name:
                        continue
                    want = (ox + p.point[0] - other.point[0], oy + p.point[1] - other.point[1])
                    known = offsets.get((other.piece, ""))
                    if known is None:
                        offsets[other.piece, ""] = want
                        queue.append(other.piece)
                        continue
                    for axis, period in ((0, cloth.repeat_along), (1, cloth.repeat_across)):
                        off = wrapped(known[axis] - want[axis], period)
                        if abs(off) > 0.05:
                            raise CannotLayError(
                                f"its seams with '{name}' cannot all match the repeat of {period:.4g} mm: "
                                f"two of them differ by {abs(off):.1f} mm; leave match out on one of them",
                                piece=other.piece,
                            )
    return offsets
