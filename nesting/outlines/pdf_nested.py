"""One outline per size from lines that several sizes share. All lengths mm.

::

      +----------+--+--+     the sides of S, M and L fan out; centre, waist and hem are drawn once,
      |          |  |  |     in whatever line: the outline of M is its own side and what closes it
      |   body   S  M  L
      +----------+--+--+

The lines of a piece divide the plane into faces. The outline of a size is the boundary of some of them, the *body*
(the largest face) among them, the outside not. Of all such boundaries the one is taken that borrows least: a size's own
lines cost nothing, lines of no size a little, those of another size much. That is a least cut of the faces' graph
(Ford, Fulkerson 1956: least cut = greatest flow); of equal ones the outermost.
"""

from __future__ import annotations

import math
from collections import defaultdict, deque
from collections.abc import Sequence
from typing import Any

from nesting.model.piece import Line, Ring

__all__ = ["outline_of_size"]

#: Steps of mm by which costs are counted.
_UNIT = 100.0
_COMMON, _OTHER = 0.01, 1.0
#: A cluster of lines with more faces is no set of sizes.
_MOST_FACES = 4000


def outline_of_size(
    own: Sequence[Line], common: Sequence[Line], others: Sequence[Line], gap: float
) -> tuple[Ring, float] | None:
    """The outline, and the share of it that is not the size's own line; None where the lines enclose nothing."""
    from shapely import LineString, MultiLineString, STRtree, set_precision, snap, unary_union
    from shapely.ops import polygonize

    every = [*own, *common, *others]
    whole = unary_union([LineString(p) for p in every if len(p) > 1])
    # ends that stop short of the line they run to are brought to it
    drawn = [
        snap(LineString(p), _others(whole, p, gap), gap) if gap > 0 else LineString(p) for p in every if len(p) > 1
    ]
    noded = unary_union([set_precision(d, 0.0) for d in _reached(drawn, gap)])
    faces = list(polygonize(noded))
    if not faces or len(faces) > _MOST_FACES:
        return None
    mine = unary_union([LineString(p) for p in own if len(p) > 1]).buffer(0.02) if own else LineString().buffer(0)
    shared = MultiLineString([LineString(p) for p in common if len(p) > 1]).buffer(0.02)
    edges = list(getattr(noded, "geoms", [noded]))
    tree = STRtree(faces)
    body = max(range(len(faces)), key=lambda i: faces[i].area)
    outside = len(faces)
    cost: dict[tuple[int, int], float] = defaultdict(float)
    is_own: dict[int, bool] = {}
    for k, edge in enumerate(edges):
        middle = edge.interpolate(0.5, normalized=True)
        beside = [int(i) for i in tree.query(middle.buffer(1e-6)) if faces[int(i)].exterior.distance(middle) < 1e-7
                  or any(r.distance(middle) < 1e-7 for r in faces[int(i)].interiors)]  # fmt: skip
        if not beside:
            continue
        is_own[k] = bool(mine.covers(middle))
        price = 0.0 if is_own[k] else _COMMON if shared.covers(middle) else _OTHER
        a, b = (beside[0], beside[1]) if len(beside) > 1 else (beside[0], outside)
        if a != b:
            cost[(min(a, b), max(a, b))] += price * edge.length
    inside = _least_cut(cost, outside, body, len(faces))
    region = unary_union([faces[i] for i in inside])
    parts = list(getattr(region, "geoms", [region]))
    main = max(parts, key=lambda p: p.area)
    if main.is_empty:
        return None
    ring = [(float(x), float(y)) for x, y in main.exterior.coords][:-1]
    borrowed = main.exterior.difference(mine).length / main.exterior.length
    return tuple(ring), float(borrowed)


def _others(whole: Any, points: Line, gap: float) -> Any:
    """The vertices that a line's ends may be snapped to."""
    from shapely import MultiPoint, Point

    near = []
    for end in (points[0], points[-1]):
        dot = Point(end)
        for geom in getattr(whole, "geoms", [whole]):
            if geom.distance(dot) <= gap:
                near += [Point(c) for c in (geom.coords[0], geom.coords[-1]) if math.dist(c, end) <= gap]
    return MultiPoint(near)


def _reached(drawn: Sequence[Any], gap: float) -> list[Any]:
    """Lines lengthened by a hair where they end near another one, so that they meet it."""
    from shapely import LineString, Point, STRtree

    tree = STRtree(list(drawn))
    result = []
    for k, line in enumerate(drawn):
        points = [(float(x), float(y)) for x, y in line.coords]
        if math.dist(points[0], points[-1]) > 1e-9:
            for place in (0, -1):
                dot = Point(points[place])
                best = None
                for j in tree.query(dot.buffer(gap)):
                    other = drawn[int(j)]
                    if int(j) == k:
                        continue
                    away = other.distance(dot)
                    if 0.0 < away <= gap and (best is None or away < best[0]):
                        best = (away, other.interpolate(other.project(dot)))
                    elif away == 0.0:
                        best = None
                        break
                if best is not None:
                    there = best[1]
                    # a little beyond, as the foot of the way there lies on the other line only up to rounding
                    reach = 1.0 + 1e-4 / max(best[0], 1e-6)
                    target = (
                        points[place][0] + (there.x - points[place][0]) * reach,
                        points[place][1] + (there.y - points[place][1]) * reach,
                    )
                    points.insert(0, target) if place == 0 else points.append(target)
        result.append(LineString(points))
    return result


def _least_cut(cost: dict[tuple[int, int], float], source: int, sink: int, faces: int) -> set[int]:
    """Faces that are not on the source's side of the least cut that is nearest to the source."""
    room: dict[int, dict[int, int]] = defaultdict(dict)
    for (a, b), price in cost.items():
        value = round(price * _UNIT)
        room[a][b] = room[a].get(b, 0) + value
        room[b][a] = room[b].get(a, 0) + value
    while True:
        came: dict[int, int] = {source: source}
        queue = deque([source])
        while queue and sink not in came:
            at = queue.popleft()
            for to, left in room[at].items():
                if left > 0 and to not in came:
                    came[to] = at
                    queue.append(to)
        if sink not in came:
            return {i for i in range(faces) if i not in came}
        amount, at = 1 << 60, sink
        while at != source:
            amount = min(amount, room[came[at]][at])
            at = came[at]
        at = sink
        while at != source:
            room[came[at]][at] -= amount
            room[at][came[at]] = room[at].get(came[at], 0) + amount
            at = came[at]
