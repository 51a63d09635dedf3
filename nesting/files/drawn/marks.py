"""Marks on a piece while it is read: notches, drill marks, grainline, named edges. mm and degrees."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from nesting.files.drawn import outline
from nesting.files.drawn.context import Context
from nesting.files.drawn.loops import TOUCHING_MM
from nesting.files.drawn.sketch import Stroke
from nesting.model.piece import Drill, Edge, Notch, NotchKind, Point, Ring

__all__ = ["drill", "edge", "grain", "is_straight", "marks_of", "notch"]

#: A piece has some dozen notches, each of at most a few lines.
_MOST_MARKS = 2000
#: mm. A notch farther from the cut outline than this is doubtful: the widest usual seam allowance is 5/8 in (Oregon
#: 4-H 320-19, 2014), so a notch drawn on the seam line is nearer than that.
_NOTCH_REACH_MM = 25.4 * 5 / 8
#: mm. Depth of a notch that is drawn as a point: 1/4 in at most is usual (Dress Making Trade Theory, NIMI 2024:
#: 1/8 to 1/4 in); the middle.
_NOTCH_DEPTH_MM = 25.4 * 3 / 16


def is_straight(points: Sequence[Point]) -> bool:
    """Whether a line is straight to a hundredth of its length."""
    a, b = points[0], points[-1]
    size = math.dist(a, b)
    if size == 0:
        return False
    return (
        all(abs((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])) <= 0.01 * size * size for p in points)
        and outline.length(points) <= 1.01 * size
    )


def marks_of(strokes: Sequence[Stroke], ctx: Context, piece: str) -> list[Stroke]:
    """Strokes that touch put together: a cross, a T or a V drawn as several lines is one mark.

    Raises PatternError where there are more of them than any piece has.
    """
    if len(strokes) > _MOST_MARKS:
        raise ctx.error(
            f"it has {len(strokes)} lines for notches or drill marks, which is no pattern piece",
            piece,
            code="drawing.too-large",
        )
    marks: list[list[Stroke]] = []
    for stroke in strokes:
        mine = outline.box(stroke.points)
        touched = [mark for mark in marks if any(_touch(mine, outline.box(s.points)) for s in mark)]
        marks = [mark for mark in marks if not any(mark is t for t in touched)]
        marks.append([*(s for mark in touched for s in mark), stroke])
    result = []
    for mark in marks:
        first = mark[0]
        if len(mark) > 1:
            name = next((s.name for s in mark if s.name), None)
            kind = next((s.notch for s in mark if s.notch), None)
            points = tuple(p for s in mark for p in s.points)
            first = replace(first, points=points, closed=False, round=None, name=name, notch=kind)
        result.append(first)
    return result


def _touch(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return all(a[k] <= b[k + 2] + TOUCHING_MM and b[k] <= a[k + 2] + TOUCHING_MM for k in (0, 1))


def notch(stroke: Stroke, ring: Ring, ctx: Context, piece: str, fold: tuple[Point, Point] | None = None) -> Notch:
    """The notch at the nearest place of the cut outline, pointing into the piece.

    A straight mark that stands off the edge points its own way; every other one points square to the edge. At an end of
    the fold edge it points along the fold, as both halves share it.
    """
    kind: NotchKind = stroke.notch or "slit"
    depth = _NOTCH_DEPTH_MM
    if stroke.round is not None or len(stroke.points) == 1:
        place = outline.nearest(ring, stroke.middle)
        direction = outline.inward(ring, place)
        if stroke.round:
            depth = stroke.round / 2
    elif is_straight(stroke.points) and not stroke.closed:
        a, b = stroke.points[0], stroke.points[-1]
        to_a, to_b = outline.nearest(ring, a), outline.nearest(ring, b)
        depth = math.dist(a, b)
        if min(to_a.away, to_b.away) > ctx.join_gap and _crosses(a, b, ring) is not None:
            # a slit drawn across the edge
            at = _crosses(a, b, ring) or a
            place = outline.nearest(ring, at)
            direction = _towards(a, b, outline.inward(ring, place))
        elif abs(to_a.away - to_b.away) <= 0.2 * depth and depth > 0 and max(to_a.away, to_b.away) <= ctx.join_gap:
            # it lies along the edge: the base of a notch, marked at its middle
            place = outline.nearest(ring, stroke.middle)
            direction = outline.inward(ring, place)
        else:
            place, start, end = (to_a, a, b) if to_a.away <= to_b.away else (to_b, b, a)
            direction = _towards(start, end, outline.inward(ring, place))
    else:
        place, direction, depth, drawn = _wedge(stroke, ring)
        kind = stroke.notch or drawn
    if stroke.depth is not None and stroke.depth > 0:
        depth = stroke.depth
    if stroke.angle is not None:
        inward = outline.inward(ring, place)
        direction = _nearer(stroke.angle, inward)
    for end, other in (fold, fold[::-1]) if fold is not None else ():
        if math.dist(place.at, end) <= ctx.join_gap:
            direction = math.degrees(math.atan2(other[1] - end[1], other[0] - end[0]))
            place = replace(place, at=end)
    if place.away > ctx.join_gap:
        far = place.away > _NOTCH_REACH_MM
        ctx.note(
            "warning" if far else "repaired",
            f"a notch ({stroke.where}) lies {place.away:.1f} mm off the cut outline; moved onto it at "
            f"({place.at[0]:.1f}, {place.at[1]:.1f})" + (": look whether it belongs to this piece" if far else ""),
            piece,
            code="notch.moved",
        )
    return Notch(place.at, direction % 360.0, kind, depth, stroke.name)


def _nearer(angle: float, inward: float) -> float:
    """The angle or its opposite, whichever is nearer to the inward direction."""
    return angle if math.cos(math.radians(angle - inward)) >= 0 else (angle + 180.0)


def _towards(a: Point, b: Point, inward: float) -> float:
    """Direction from a to b, turned round if it points out of the piece; the inward one where it runs along."""
    direction = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    lean = math.cos(math.radians(direction - inward))
    if abs(lean) < 0.25:
        return inward
    return (direction if lean > 0 else direction + 180.0) % 360.0


def _crosses(a: Point, b: Point, ring: Ring) -> Point | None:
    from shapely import LinearRing, LineString

    meeting = LinearRing(ring).intersection(LineString([a, b]))
    if meeting.is_empty:
        return None
    at = meeting.representative_point()
    return (float(at.x), float(at.y))


def _wedge(stroke: Stroke, ring: Ring) -> tuple[outline.Place, float, float, NotchKind]:
    """A notch drawn with its shape, as a triangle, a V, a T or a box: place, direction, depth, kind.

    The points on the edge (those nearest to it) give the place, their middle; the farthest gives the depth.
    """
    points = list(stroke.points[:: 1 + len(stroke.points) // 200])
    offs = [outline.nearest(ring, p) for p in points]
    least, most = min(p.away for p in offs), max(p.away for p in offs)
    reach = least + 0.25 * (most - least)
    near = [p for p, o in zip(points, offs, strict=True) if o.away <= reach]
    far = [p for p, o in zip(points, offs, strict=True) if o.away >= most - 0.25 * (most - least)]
    middle = (sum(p[0] for p in near) / len(near), sum(p[1] for p in near) / len(near))
    if len(near) == len(points):
        middle = outline.half_way(points, True)
    place = outline.nearest(ring, middle)
    inward = outline.inward(ring, place)
    corners = len(dict.fromkeys(points))
    kind: NotchKind = "castle" if corners == 4 and len(far) == 2 else "u" if corners > 6 else "v"
    if len(dict.fromkeys(near)) == 1 and len(dict.fromkeys(far)) >= 2 and not stroke.closed:
        kind = "t"
    return place, inward, most if len(near) < len(points) else most - least, kind


def drill(stroke: Stroke) -> Drill:
    """A drill mark at the middle of what is drawn. It is no hole unless the file gives its diameter."""
    return Drill(outline.half_way(stroke.points, len(stroke.points) > 2), stroke.depth or 0.0, stroke.name)


def grain(strokes: Sequence[Stroke], ctx: Context, piece: str) -> tuple[tuple[Point, Point], bool | None] | None:
    """The grainline with its arrow from first to second point, and whether both its ends have arrowheads.

    Of several grain strokes the longest straight one is the line; the others are its arrowheads if they stand at its
    ends. None if no stroke is straight.
    """
    lines = [s for s in strokes if not s.closed and len(s.points) >= 2 and is_straight(s.points)]
    shafts = [s for s in strokes if s.closed or len(s.points) >= 2]
    if not lines:
        if shafts:
            ctx.note(
                "ambiguous",
                f"the grainline ({shafts[0].where}) is not straight, so it is left out",
                piece,
                code="grain.not-straight",
            )
        return None
    line = max(lines, key=lambda s: math.dist(s.points[0], s.points[-1]))
    a, b = line.points[0], line.points[-1]
    size = math.dist(a, b)
    heads = [line.arrows[0], line.arrows[1]]
    for other in strokes:
        if other is line:
            continue
        for k, end in enumerate((a, b)):
            away = outline.nearest(other.points, end, other.closed).away
            reach = max(math.dist(p, end) for p in other.points)
            if away <= max(0.05 * size, ctx.join_gap) and reach <= 0.35 * size:
                heads[k] = True
                break
        else:
            both = is_straight(other.points) and not other.closed
            if both and math.dist(other.points[0], other.points[-1]) > 0.5 * size:
                ctx.note(
                    "ambiguous",
                    f"more than one grainline is drawn; the longest is taken ({line.where}), {other.where} is left out",
                    piece,
                    code="grain.several",
                )
    if heads[0] and not heads[1]:
        a, b = b, a
    both_ways = None if not any(heads) else all(heads)
    return (a, b), both_ways


def edge(stroke: Stroke, rings: Sequence[Ring], ctx: Context, piece: str) -> Edge | None:
    """A named edge: the stretch of the cut or seam outline, whichever is nearer, along which the stroke is drawn."""
    if len(stroke.points) < 2 or not stroke.name:
        ctx.note(
            "ignored",
            f"an edge without a name or without length ({stroke.where}) is left out",
            piece,
            code="edge.no-name",
        )
        return None
    points = (*stroke.points, stroke.points[0]) if stroke.closed else stroke.points
    step = max(1, len(points) // 25)

    def away(ring: Ring) -> float:
        return max(outline.nearest(ring, p).away for p in (*points[::step], points[-1]))

    ring = min(rings, key=away)
    off = away(ring)
    if off > max(ctx.join_gap, 1.0):
        ctx.note(
            "warning",
            f"the edge '{stroke.name}' ({stroke.where}) is drawn up to {off:.1f} mm off the outline; its ends were "
            "moved onto it",
            piece,
            code="edge.moved",
        )
    start, middle, end = (outline.nearest(ring, p) for p in (points[0], outline.half_way(points), points[-1]))
    around = outline.length(ring, True)
    if (middle.along - start.along) % around > (end.along - start.along) % around:
        start, end = end, start
    return Edge(stroke.name, start.at, end.at)
