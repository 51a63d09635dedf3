"""A follower cut from the shape of its leader, as that is altered and finished.

The edges that both had alike as drawn are the leader's now, too; those that only the follower has (the top of a lining
that ends half way up) stay its own. So here: the follower lies on its leader, its own edges, produced straight beyond
both ends, divide the leader's shape, and the parts that the follower covers for the most part are what is cut.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from nesting.model.errors import PatternError
from nesting.model.piece import Edge, Line, Notch, Piece, Point, Ring, mapped
from nesting.pieces.agreement import Agreement, agreement, along_leader, put
from nesting.pieces.contour import Contour, cleaned, signed_area, unit
from nesting.pieces.edges import fold_run

__all__ = ["Shared", "cut_from_leader", "shared_edges"]

#: mm. A follower's own edges are produced so far beyond their ends to meet the leader's outline.
PRODUCED_MM = 60.0
#: share of an edge that has to run along the leader for the edge to be the leader's.
MOST = 0.9
#: mm. The ends of a follower's own edge may be rounded or mitred: they are left out where its direction is taken.
END_MM = 1.0
_GRID = 1e-7


@dataclass(frozen=True)
class Shared:
    """How a follower lay on its leader as both were drawn: the names of its ``edges`` that ran along the leader's, and
    whether both were drawn ``alike`` there, within the tolerance."""

    edges: frozenset[str]
    alike: bool
    largest: float


def shared_edges(leader: Piece, follower: Piece, tolerance: float | None) -> Shared:
    """Which edges both have alike. Both pieces in their grain frames, neither altered nor finished."""
    found = agreement(leader, follower, tolerance)
    placed = put(follower, found.shift, found.turn, found.flipped)
    outline = Contour(cleaned(placed.outline))
    places, on_leader = along_leader(leader, placed)
    names = set()
    for edge, own in zip(placed.edges, follower.edges, strict=True):
        a, b = outline.locate(edge.start)[0], outline.locate(edge.end)[0]
        if found.flipped:
            a, b = b, a
        here = np.array([outline.within(float(s), a, b) for s in places])
        if here.any() and float(on_leader[here].mean()) >= MOST:
            names.add(own.name)
    return Shared(frozenset(names), found.agrees and bool(names), found.largest)


def cut_from_leader(
    leader: Piece, follower: Piece, shared: Collection[str], tolerance: float | None
) -> Piece:
    """The follower with the leader's outline along the ``shared`` edges.

    Both pieces are ready (altered, finished, grain frame). Raises PatternError where no sound shape comes of it.
    """
    found = agreement(leader, follower, tolerance)
    on_follower = _brought(leader, found)
    free = _free_lines(follower, follower.outline, shared)
    outline = _shape(on_follower.outline, follower.outline, free, follower)
    seam: Ring | None = None
    if follower.seam is not None and on_follower.seam is not None:
        seam = _shape(on_follower.seam, follower.seam, _free_lines(follower, follower.seam, shared), follower)
    fold = fold_run(outline, follower.fold) if follower.fold is not None else None
    if follower.fold is not None and fold is None:
        raise _unsound(follower, "its fold edge is lost")
    piece = replace(follower, outline=outline, seam=seam, fold=fold)
    ring = Contour(cleaned(seam if seam is not None else outline))
    was = Contour(cleaned(follower.seam if follower.seam is not None else follower.outline))
    edges = tuple(_edge_on(edge, ring, was) for edge in follower.edges)
    notches = tuple(_notch_on(notch, follower, piece) for notch in follower.notches)
    return replace(piece, edges=edges, notches=notches)


def _unsound(follower: Piece, why: str) -> PatternError:
    return PatternError(
        f"it cannot be cut from the shape of its leader ({why}): draw both so that they lie on one another, or write "
        'shape = "own" in the [[together]] block',
        file=follower.file,
        piece=follower.label,
        code="together.shape",
    )


def _brought(leader: Piece, lies: Agreement) -> Piece:
    """The leader in the follower's grain frame: the motion that puts the follower on it, undone."""
    sign = 1.0 if lies.turn % 360.0 == 0.0 else -1.0
    f = -1.0 if lies.flipped else 1.0
    dx, dy = lies.shift

    def back(p: Point) -> Point:
        return (sign * (p[0] - dx), sign * f * (p[1] - dy))

    turn = 0.0 if sign > 0 else 180.0
    return mapped(leader, back, turn_deg=turn, mirrored=lies.flipped)


def _free_lines(follower: Piece, ring: Ring, shared: Collection[str]) -> list[Line]:
    """The stretches of an outline of the follower that are its own, produced straight beyond both ends."""
    contour = Contour(cleaned(ring))
    named = Contour(cleaned(follower.seam if follower.seam is not None else follower.outline))
    fold = follower.fold
    arcs: list[tuple[float, float]] = []
    for edge in follower.edges:
        if edge.name in shared or (fold is not None and _on_fold(edge, named, fold)):
            a, b = (_corner_near(contour, p) for p in (edge.start, edge.end))
            arcs.append((a, b))
    if not arcs:
        return [(*contour.ring, contour.ring[0])]
    # what no shared edge (and no fold edge) covers, by the middle of each bit between their ends
    stops = sorted({s for arc in arcs for s in arc})
    lines: list[Line] = []
    begun: float | None = None
    n = len(stops)
    first = next((k for k in range(n) if _covered(contour, stops[k - 1], stops[k], arcs)), None)
    if first is None:
        return []
    for i in range(n + 1):
        a, b = stops[(first + i) % n], stops[(first + i + 1) % n]
        if i < n and not _covered(contour, a, b, arcs):
            begun = a if begun is None else begun
            continue
        if begun is not None:
            lines.append(_produced(contour.stretch(begun, a)))
            begun = None
    return lines


def _covered(contour: Contour, a: float, b: float, arcs: Sequence[tuple[float, float]]) -> bool:
    middle = (a + contour.span(a, b) / 2) % contour.perimeter
    return any(contour.within(middle, s, e, slack=0.0) for s, e in arcs)


def _on_fold(edge: Edge, contour: Contour, fold: tuple[Point, Point]) -> bool:
    a, b = contour.locate(edge.start)[0], contour.locate(edge.end)[0]
    middle = contour.at((a + contour.span(a, b) / 2) % contour.perimeter)
    (ax, ay), (bx, by) = fold
    size = math.dist(*fold)

    def off(p: Point) -> float:
        return abs((bx - ax) * (p[1] - ay) - (by - ay) * (p[0] - ax)) / size

    return off(edge.start) < 0.05 and off(edge.end) < 0.05 and off(middle) < 0.05


def _corner_near(contour: Contour, p: Point) -> float:
    """The place of the corner that belongs to an end of an edge, on the outline itself or beside it by an allowance."""
    s, gap = contour.locate(p)
    corners = [contour.ring[i] for i in contour.corners]
    if corners:
        near = min(corners, key=lambda c: math.dist(c, p))
        if math.dist(near, p) <= 4.0 * gap + 1.0:
            return contour.locate(near)[0]
    return s


def _produced(line: Line) -> Line:
    def beyond(end: Point, inner: Point) -> Point:
        u = unit(inner, end)
        return (end[0] + PRODUCED_MM * u[0], end[1] + PRODUCED_MM * u[1])

    path = LineString(line)
    reach = min(END_MM, path.length / 4)
    head = path.interpolate(reach)
    tail = path.interpolate(path.length - reach)
    return (beyond(line[0], (head.x, head.y)), *line, beyond(line[-1], (tail.x, tail.y)))


def _shape(leader: Ring, own: Ring, free: Sequence[Line], follower: Piece) -> Ring:
    body, mine = Polygon(leader), Polygon(own)
    if not free:
        return cleaned(leader)
    lines = shapely.union_all([body.boundary, *(LineString(line) for line in free)], grid_size=_GRID)
    faces = shapely.get_parts(shapely.polygonize([lines]))
    inside = [f for f in faces if body.buffer(1e-6).covers(f.representative_point())]
    kept = [f for f in inside if f.intersection(mine).area > 0.5 * f.area]
    if not kept:
        raise _unsound(follower, "none of it lies inside")
    joined = shapely.union_all(kept, grid_size=_GRID)
    parts = sorted(shapely.get_parts(joined), key=lambda g: -g.area)
    if len(parts) > 1 and parts[1].area > 1.0:
        raise _unsound(follower, "it would fall into several parts")
    whole = parts[0]
    if whole.interiors:
        raise _unsound(follower, "a hole would be left in it")
    if abs(whole.area - mine.area) > 0.5 * mine.area:
        raise _unsound(follower, "little of its own shape would be left")
    ring = cleaned([(float(x), float(y)) for x, y in whole.exterior.coords], same=1e-6)
    ring = ring if signed_area(ring) > 0 else ring[::-1]
    return _on_own_line(ring, follower.fold)


def _on_own_line(ring: Ring, fold: tuple[Point, Point] | None) -> Ring:
    """The ring with its points at the fold exactly on the fold line, as the grid may have moved them."""
    if fold is None:
        return ring
    axis = next((k for k in (0, 1) if abs(fold[0][k] - fold[1][k]) < 1e-6), None)
    if axis is None:
        return ring
    level = fold[0][axis]

    def snap(p: Point) -> Point:
        if abs(p[axis] - level) > 1e-5:
            return p
        return (level, p[1]) if axis == 0 else (p[0], level)

    return cleaned([snap(p) for p in ring])


def _edge_on(edge: Edge, ring: Contour, was: Contour) -> Edge:
    if edge.start == edge.end:
        at = ring.at(_corner_near(ring, edge.start))
        return Edge(edge.name, at, at)
    return Edge(edge.name, ring.at(_end_near(ring, was, edge.start)), ring.at(_end_near(ring, was, edge.end)))


def _end_near(ring: Contour, was: Contour, p: Point) -> float:
    """The place of an end of an edge on the new outline: its corner, if it was one, else the nearest place."""
    at_corner = any(math.dist(was.ring[i], p) < 0.05 for i in was.corners)
    s, gap = ring.locate(p)
    if at_corner and ring.corners:
        near = min((ring.ring[i] for i in ring.corners), key=lambda c: math.dist(c, p))
        if math.dist(near, p) <= 2.0 * gap + 12.0:
            return ring.locate(near)[0]
    return s


def _notch_on(notch: Notch, old: Piece, new: Piece) -> Notch:
    """The notch on the new cut edge, square to it; one that lies there already stays."""
    ring = Contour(cleaned(new.outline))
    s, gap = ring.locate(notch.at)
    if gap < 1e-6 or (old.fold is not None and min(math.dist(notch.at, p) for p in old.fold) < 1e-6):
        at = notch.at if gap < 1e-6 else min(new.fold or (notch.at,), key=lambda p: math.dist(p, notch.at))
        return replace(notch, at=at)
    before = Contour(cleaned(old.outline))
    was, now = before.outward(before.locate(notch.at)[0]), ring.outward(s)
    turn = math.degrees(math.atan2(was[0] * now[1] - was[1] * now[0], was[0] * now[0] + was[1] * now[1]))
    return replace(notch, at=ring.at(s), direction=(notch.direction + turn) % 360.0)
