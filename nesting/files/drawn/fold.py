"""The fold edge of a half piece: the straight side of its outline on which a fold line is drawn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.marks import is_straight
from nesting.files.drawn.sketch import Stroke
from nesting.model.piece import Point, Ring
from nesting.model.tolerances import SHAPE_MM

__all__ = ["fold_edge"]


def fold_edge(
    strokes: Sequence[Stroke], ring: Ring, ctx: Context, piece: str
) -> tuple[Ring, tuple[Point, Point] | None, bool]:
    """The outline with its fold edge as one straight side, the ends of that side, and whether the line divides the
    outline in the middle instead (a whole piece drawn with its line of symmetry).

    Raises PatternError where the fold line lies on no straight side.
    """
    usable = [s for s in strokes if len(s.points) >= 2]
    if not usable:
        return ring, None, False
    stroke = max(usable, key=lambda s: outline.length(s.points))
    points = (*stroke.points, stroke.points[0]) if stroke.closed else stroke.points
    a, b = max(pairwise(points), key=lambda ab: math.dist(*ab))
    bracket = len(points) > 2 and not is_straight(points)
    if not bracket:
        a, b = points[0], points[-1]
    if math.dist(a, b) == 0:
        return ring, None, False
    # First exactly: a curve that leaves the fold slowly must not be taken for a part of the straight side.
    side = outline.side_along(ring, a, b, SHAPE_MM)
    if side is None or math.dist(ring[side[0]], ring[side[1]]) < 0.5 * math.dist(a, b):
        side = outline.side_along(ring, a, b, ctx.join_gap)
    if side is None and bracket:
        # the bent arrow of the trade: a line along the fold whose two ends point at it
        side = _bent_arrow_side(points, ring, ctx.join_gap)
    if side is None and _divides(a, b, ring):
        ctx.note(
            "note",
            "the fold or mirror line runs through the middle of the outline, so the whole piece is drawn; it is not "
            "laid on a fold, and the line is kept as a line inside",
            piece,
            code="fold.whole-piece-drawn",
        )
        return ring, None, True
    if side is None:
        place = outline.nearest(ring, outline.half_way((a, b)))
        raise ctx.error(
            f"the fold line ({stroke.where}) lies on no straight side of the outline: its middle is "
            f"{place.away:.1f} mm from the nearest edge, and up to {ctx.join_gap:g} mm is put right. Draw it along the "
            "straight side that lies on the fold; if it is a line to be pressed or turned inside the piece, call it "
            "'inside'",
            piece,
            code="fold.on-no-side",
        )
    first, last = side
    start, end = ring[first], ring[last]
    between = [(first + k) % len(ring) for k in range(1, (last - first) % len(ring))]
    off = max((_off_line(ring[i], start, end) for i in between), default=0.0)
    if off > SHAPE_MM:
        ctx.note(
            "repaired",
            f"the fold edge was up to {off:.2f} mm off a straight line; made straight",
            piece,
            code="fold.straightened",
        )
    if not bracket:
        _tell_beside((a, b), (start, end), ctx, piece)
    ring = tuple(p for i, p in enumerate(ring) if i not in set(between))
    return ring, (start, end), False


def _tell_beside(line: tuple[Point, Point], side: tuple[Point, Point], ctx: Context, piece: str) -> None:
    """Where the fold line as drawn is not the side that it was taken for."""
    away = max(_off_line(p, *side) for p in line)
    if away > SHAPE_MM:
        ctx.note(
            "repaired", f"the fold line lay {away:.2f} mm beside the edge; moved onto it", piece, code="fold.moved"
        )
    drawn, size = math.dist(*line), math.dist(*side)
    if abs(drawn - size) > max(2 * ctx.join_gap, 0.02 * size):
        ctx.note(
            "ambiguous",
            f"the fold line is {drawn:.1f} mm long and the side it lies on {size:.1f} mm; the whole side is taken",
            piece,
            code="fold.shorter-than-side",
        )


def _off_line(p: Point, a: Point, b: Point) -> float:
    return abs((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])) / math.dist(a, b)


def _divides(a: Point, b: Point, ring: Ring) -> bool:
    """Whether the outline has a part of some size on both sides of the line."""
    size = math.dist(a, b)
    offs = [((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])) / size for p in ring]
    return min(offs) < -5.0 and max(offs) > 5.0 and min(-min(offs), max(offs)) > 0.5 * max(-min(offs), max(offs))


def _bent_arrow_side(points: Sequence[Point], ring: Ring, within: float) -> tuple[int, int] | None:
    a, b = points[0], points[-1]
    if max(outline.nearest(ring, a).away, outline.nearest(ring, b).away) > within:
        return None
    return outline.side_along(ring, a, b, within)
