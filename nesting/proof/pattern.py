"""What the order's piece looks like, as the proof compares a lay with it: the half or single piece, or opened out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from shapely import LinearRing, LineString, Polygon
from shapely.geometry.base import BaseGeometry

from nesting.model.piece import Piece, Point, Ring
from nesting.proof.motion import Array, Motion, over_line

__all__ = ["Mark", "Pattern", "near", "opened", "pattern_of", "plain", "polygons_of"]

#: mm. A mark this near to the fold edge is on it, and is there once when the piece is opened out.
ON_EDGE = 1e-6
#: mm. Grid on which a half and its mirror image are joined along the fold edge.
JOIN_GRID = 1e-7
#: mm. A piece counts as its own mirror image within this.
SYMMETRY = 0.05


@dataclass(frozen=True)
class Mark:
    """A notch or drill: ``direction`` in degrees (0 for drills), ``sort`` tells kinds, depths and names apart."""

    at: Point
    direction: float
    sort: tuple[object, ...]


@dataclass(frozen=True, eq=False)
class Pattern:
    """A pattern piece in its grain frame, mm. ``fold`` only for a half; ``outline`` (n, 2)."""

    outline: Array
    polygon: Polygon
    seam: Array | None
    seam_alone: Array | None
    inside: tuple[Array, ...]
    cutouts: tuple[Array, ...]
    notches: tuple[Mark, ...]
    drills: tuple[Mark, ...]
    grainline: Array | None
    fold: Array | None
    symmetric: bool


def near(a: Array, b: Array, tolerance: float, *, closed: bool = True) -> bool:
    """Whether two rings (or lines) lie within ``tolerance`` mm of each other: every corner of either near the other.

    For closed rings the areas must agree as well, so that a ring that doubles back is not taken for the other.
    """
    if not (np.isfinite(a).all() and np.isfinite(b).all()):
        return False
    if a.shape == b.shape and len(a):
        # corner by corner, the same way round or the other
        for way in (b, b[::-1]):
            start = int(np.argmin(np.hypot(*(way - a[0]).T))) if closed else 0
            if float(np.abs(np.roll(way, -start, axis=0) - a).max()) <= tolerance / 1.5:
                return True
        if not closed:
            return bool(np.abs(b[::-1] - a).max() <= tolerance)
    if len(a) < (3 if closed else 2) or len(b) < (3 if closed else 2):
        return False
    make = LinearRing if closed else LineString
    p, q = make(a), make(b)
    shapely.prepare(p)
    shapely.prepare(q)
    if not bool(shapely.dwithin(p, shapely.points(b), tolerance).all()):
        return False
    if not bool(shapely.dwithin(q, shapely.points(a), tolerance).all()):
        return False
    return not closed or abs(Polygon(a).area - Polygon(b).area) <= tolerance * max(p.length, q.length)


def plain(piece: Piece) -> Pattern:
    """The piece as it is: whole, or the half with its fold edge."""
    return _plain(piece)


def opened(piece: Piece) -> Pattern:
    """The half opened out over its fold edge. A piece without a fold edge is returned as it is."""
    return _opened(piece)


def pattern_of(piece: Piece, *, whole: bool) -> Pattern:
    """``opened`` or ``plain``."""
    return opened(piece) if whole else plain(piece)


@lru_cache(maxsize=1024)
def _plain(piece: Piece) -> Pattern:
    outline = _array(piece.outline)
    notches = tuple(Mark(n.at, n.direction % 360.0, (n.kind, round(n.depth, 6), n.name)) for n in piece.notches)
    drills = tuple(Mark(d.at, 0.0, (round(d.diameter, 6), d.name)) for d in piece.drills)
    inside = tuple(_array(line) for line in piece.inside)
    cutouts = tuple(_array(ring) for ring in piece.cutouts)
    return Pattern(
        outline=outline,
        polygon=Polygon(outline),
        seam=_array(piece.seam) if piece.seam is not None else None,
        seam_alone=None,
        inside=inside,
        cutouts=cutouts,
        notches=notches,
        drills=drills,
        grainline=_array(piece.grainline) if piece.grainline is not None else None,
        fold=_array(piece.fold) if piece.fold is not None else None,
        symmetric=piece.fold is None and _own_mirror_image(outline, cutouts, inside, notches, drills),
    )


@lru_cache(maxsize=1024)
def _opened(piece: Piece) -> Pattern:
    half = plain(piece)
    if piece.fold is None:
        return half
    mirror = over_line(*piece.fold)
    seam, seam_alone = None, None
    if half.seam is not None:
        joined = _joined([half.seam], mirror)
        # A seam outline that stops short of the fold edge cannot be joined there: it stays on its half.
        seam, seam_alone = (joined[0], None) if len(joined) == 1 else (None, half.seam)
    outline = _joined([half.outline], mirror)
    if len(outline) != 1:
        raise ValueError(f"the two halves of piece {piece.label!r} do not meet along the fold edge")
    return Pattern(
        outline=outline[0],
        polygon=Polygon(outline[0]),
        seam=seam,
        seam_alone=seam_alone,
        inside=half.inside + tuple(mirror.points(line) for line in half.inside if not _on(mirror, line)),
        cutouts=tuple(_joined(list(half.cutouts), mirror)),
        notches=half.notches + _mirrored(half.notches, mirror),
        drills=half.drills + _mirrored(half.drills, mirror),
        grainline=half.grainline,
        fold=None,
        symmetric=abs(piece.fold[0][1] - piece.fold[1][1]) < SYMMETRY,
    )


def _array(points: Ring) -> Array:
    return np.array(points, dtype=float).reshape(-1, 2)


def _on(mirror: Motion, points: Array) -> bool:
    """Whether points lie on the line of the mirror: they do not move by it."""
    return bool((np.abs(mirror.points(points) - points) < 2 * ON_EDGE).all())


def _mirrored(marks: tuple[Mark, ...], mirror: Motion) -> tuple[Mark, ...]:
    moved = []
    for mark in marks:
        if not _on(mirror, np.array([mark.at])):
            x, y = mirror.points(mark.at)
            direction = mirror.direction(mark.direction) if mark.sort and len(mark.sort) == 3 else 0.0
            moved.append(Mark((float(x), float(y)), direction, mark.sort))
    return tuple(moved)


def _joined(rings: list[Array], mirror: Motion) -> list[Array]:
    """The rings and their mirror images, those that touch along the fold edge made one."""
    halves: list[BaseGeometry] = [Polygon(ring) for ring in rings]
    halves += [mirror.shape(half) for half in halves]
    if not halves:
        return []
    parts = polygons_of(shapely.union_all(halves, grid_size=JOIN_GRID))
    return [np.array(part.exterior.coords)[:-1] for part in parts]


def polygons_of(shape: BaseGeometry) -> list[Polygon]:
    """The polygons that a geometry consists of; points and lines are left out."""
    if isinstance(shape, Polygon):
        return [shape] if shape.area > 0.0 else []
    return [part for part in getattr(shape, "geoms", ()) if isinstance(part, Polygon) and part.area > 0.0]


def _own_mirror_image(
    outline: Array,
    cutouts: tuple[Array, ...],
    inside: tuple[Array, ...],
    notches: tuple[Mark, ...],
    drills: tuple[Mark, ...],
) -> bool:
    """Whether mirroring over an axis along the grain, on or beside the grainline, changes nothing, marks included."""
    axis = (outline[:, 1].min() + outline[:, 1].max()) / 2
    over = over_line((0.0, axis), (1.0, axis))
    if not near(outline, over.points(outline), SYMMETRY):
        return False
    for marks in (notches, drills):
        for mark in marks:
            x, y = over.points(mark.at)
            # Names (last in sort) do not matter: a left and a right notch may well be called differently.
            twins = [m for m in marks if math.dist(m.at, (x, y)) <= SYMMETRY and m.sort[:-1] == mark.sort[:-1]]
            if not twins:
                return False
    for lines, closed in ((cutouts, True), (inside, False)):
        for line in lines:
            image = over.points(line)
            if not any(near(image, other, SYMMETRY, closed=closed) for other in lines):
                return False
    return True
