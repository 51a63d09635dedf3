"""At which notches the seams of an order meet the repeat of the cloth."""

from __future__ import annotations

import math
from dataclasses import dataclass

from nesting.model.order import Order
from nesting.model.piece import Notch, Piece, Point
from nesting.resolving.cutting_list import MatchedSeam, MatchPoint

__all__ = ["matched_seams", "seam_point"]


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


def matched_seams(order: Order, size: str | None) -> tuple[MatchedSeam, ...]:
    """The seams with ``match = true`` whose pieces are there in this size, with the match point of each edge.

    The first notch that all edges carry under one name is taken; without such a name the first notch of the first edge
    and those that meet it. A seam with an edge that has no notch has no points and names that edge.
    """
    found: list[MatchedSeam] = []
    for number, seam in enumerate(order.seams):
        if not seam.match:
            continue
        try:
            cuts = [order.cut_piece(edge.partition(".")[0], size) for edge in seam.edges]
        except KeyError:
            continue
        rows = [_notches_on(cut.piece, edge.partition(".")[2]) for cut, edge in zip(cuts, seam.edges, strict=True)]
        bare = next((edge for edge, row in zip(seam.edges, rows, strict=True) if not row), None)
        if bare is not None:
            found.append(MatchedSeam(seam.edges, size, (), bare))
            continue
        shared = [
            n.notch.name
            for n in rows[0]
            if n.notch.name and all(any(m.notch.name == n.notch.name for m in row) for row in rows[1:])
        ]
        points = []
        for position, (cut, row) in enumerate(zip(cuts, rows, strict=True)):
            if shared:
                met = next(n for n in row if n.notch.name == shared[0])
            else:
                met = row[0] if position == 0 else _meeting(rows[0], row)
            points.append(MatchPoint(cut, seam_point(cut.piece, met.notch), f"seam {number + 1}"))
        found.append(MatchedSeam(seam.edges, size, tuple(points)))
    return tuple(found)
