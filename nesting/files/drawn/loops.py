"""Putting outlines together from touching lines, whatever else touches them.

Words
    *edge*: one open line, straight or not. *node*: a place where ends of edges meet. *loop*: a closed outline.
    *branch*: an edge that leads nowhere: cut it off and every loop is still there. *bridge*: an edge between two
    parts that hang together by it alone; no loop runs through it. *gap*: the distance between two loose ends.

::

      +-----------+        grainline and loose lines, touching or not, must not hide the outline:
      |     |     |        the chord from edge to edge ends at two nodes, so there are two small
      |-----+-----|        loops and a large one. The outline is the way round the outside.
      |     |   --+--
      +-----------+

Ends that lie within ``TOUCHING_MM`` are one node. Ends that are still loose are then joined, nearest pair first, if
they are not farther apart than the gap that is allowed; each such join is reported. Branches and bridges are cut off.
What is left falls into parts without bridges; walking around a part, always turning as far clockwise as can be, keeps
to the outside, and the walk is cut into simple loops where it passes a node twice. (The faces of a plane graph from the
order of its edges around each node: de Berg et al., Computational Geometry, chapter 2, doubly connected edge lists.)
Where all this gives no loop at all, ends that stop on the middle of another edge cut that edge in two, and it is
tried once more: so an outline drawn with lines that overshoot their corners is found too.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from nesting.files.drawn import outline
from nesting.files.drawn.graph import Edge, Join, connected, outer_walk, simple_walks, without_bridges
from nesting.model.piece import Line, Point, Ring

__all__ = ["TOUCHING_MM", "Join", "Loop", "Loops", "find_loops", "gaps_between"]

#: mm. Ends this near are the same point: coordinates written with two decimals of a millimetre differ by as much.
TOUCHING_MM = 0.01
#: Lines of an outline that are cut at their crossings: more than these are no outline that overshoots its corners.
_MOST_CUT = 2000


@dataclass(frozen=True)
class Loop:
    """A closed outline, anticlockwise, made of the lines with these indices (in order, with their direction)."""

    ring: Ring
    lines: tuple[int, ...]
    joins: tuple[Join, ...] = ()
    branching: bool = False


@dataclass(frozen=True)
class Loops:
    """Loops found, indices of lines left over, of lines that only repeat another, and of those that were trimmed at a
    crossing line. ``loose_ends``: pairs of ends nearest one another that did not join, for messages."""

    loops: tuple[Loop, ...]
    loose: tuple[int, ...]
    doubled: tuple[int, ...] = ()
    trimmed: tuple[int, ...] = ()
    loose_ends: tuple[Join, ...] = ()


class _Nodes:
    """Points merged on a grid, so that a chain of short edges does not melt into one node."""

    def __init__(self, within: float) -> None:
        self.within = within
        self.points: list[Point] = []
        self.cells: dict[tuple[int, int], list[int]] = defaultdict(list)

    def at(self, p: Point) -> int:
        cx, cy = math.floor(p[0] / self.within), math.floor(p[1] / self.within)
        for x in (cx - 1, cx, cx + 1):
            for y in (cy - 1, cy, cy + 1):
                for i in self.cells.get((x, y), ()):
                    if math.dist(self.points[i], p) <= self.within:
                        return i
        self.points.append(p)
        self.cells[(cx, cy)].append(len(self.points) - 1)
        return len(self.points) - 1


def find_loops(lines: Sequence[Line], join_gap: float, *, overshoot: bool = True) -> Loops:
    """The outermost loops that open lines form. ``join_gap`` mm: how far apart ends may lie and still be joined."""
    edges, doubled = _edges(lines)
    found = _walk(edges, join_gap)
    trimmed: tuple[int, ...] = ()
    if not found and overshoot and len(edges) > 1:
        cut = _cut_where_ends_touch(edges, max(join_gap, TOUCHING_MM))
        if len(cut) > len(edges):
            found = _walk(cut, join_gap)
            kept: dict[int, float] = defaultdict(float)
            for loop_edges, _ in found:
                for edge, _ in loop_edges:
                    kept[edge.line] += outline.length(edge.points)
            trimmed = tuple(i for i, used in kept.items() if used < outline.length(lines[i]) - TOUCHING_MM)
    loops = []
    for walk, branching in found:
        points: list[Point] = []
        for edge, forward in walk:
            run = edge.points if forward else edge.points[::-1]
            points.extend(run[:-1])
        if outline.area(points) < 0:
            points.reverse()
            walk = walk[::-1]
        order = tuple(dict.fromkeys(edge.line for edge, _ in walk))
        joins = tuple(join for edge, _ in walk for join in edge.joins)
        loops.append(Loop(tuple(points), order, joins, branching))
    used = {i for loop in loops for i in loop.lines}
    loose = tuple(i for i in range(len(lines)) if i not in used and i not in doubled)
    ends = _loose_ends([lines[i] for i in loose]) if loose else ()
    return Loops(tuple(loops), loose, tuple(doubled), trimmed, ends)


def _edges(lines: Sequence[Line]) -> tuple[list[Edge], list[int]]:
    """Edges of all lines that have some length; indices of lines that only repeat another."""
    nodes = _Nodes(TOUCHING_MM)
    edges: list[Edge] = []
    doubled: list[int] = []
    between: dict[tuple[int, int], list[Edge]] = defaultdict(list)
    for i, line in enumerate(lines):
        if len(line) < 2:
            continue
        a, b = nodes.at(line[0]), nodes.at(line[-1])
        points = [nodes.points[a], *line[1:-1], nodes.points[b]]
        if a == b and outline.length(points) <= 4 * TOUCHING_MM:
            continue
        same = between[(min(a, b), max(a, b))]
        if any(_alike(edge.points, points) for edge in same):
            doubled.append(i)
            continue
        edge = Edge(i, points, (a, b))
        same.append(edge)
        edges.append(edge)
    return edges, doubled


def _alike(a: Sequence[Point], b: Sequence[Point]) -> bool:
    """Whether two lines between the same nodes run along one another (compared at points along both)."""
    if abs(outline.length(a) - outline.length(b)) > 10 * TOUCHING_MM:
        return False
    x, y = outline.box(a), outline.box(b)
    if any(abs(p - q) > 5 * TOUCHING_MM for p, q in zip(x, y, strict=True)):
        return False
    step = max(1, len(a) // 50)
    return all(outline.nearest(b, p, closed=False).away <= 5 * TOUCHING_MM for p in a[::step])


def _degrees(edges: Iterable[Edge]) -> dict[int, int]:
    degree: dict[int, int] = defaultdict(int)
    for edge in edges:
        for end in edge.ends:
            degree[end] += 1
    return degree


def _close_gaps(edges: list[Edge], join_gap: float) -> None:
    """Join loose ends, nearest first, in place: by a short straight line, or where the two cross, at the crossing."""
    degree = _degrees(edges)
    ends = [(edge, k) for edge in edges for k in (0, 1) if degree[edge.ends[k]] == 1]
    cells: dict[tuple[int, int], list[int]] = defaultdict(list)
    where = [edge.points[0 if k == 0 else -1] for edge, k in ends]
    size = max(join_gap, TOUCHING_MM)
    for i, p in enumerate(where):
        cells[(math.floor(p[0] / size), math.floor(p[1] / size))].append(i)
    pairs = []
    for i, p in enumerate(where):
        cx, cy = math.floor(p[0] / size), math.floor(p[1] / size)
        for x in (cx - 1, cx, cx + 1):
            for y in (cy - 1, cy, cy + 1):
                for j in cells.get((x, y), ()):
                    if j > i:
                        gap = math.dist(p, where[j])
                        short = ends[i][0] is ends[j][0] and outline.length(ends[i][0].points) <= 3 * gap
                        if gap <= join_gap and not short:
                            pairs.append((gap, i, j))
    # where each joined end has come to lie
    joined: dict[int, Point] = {}
    for gap, i, j in sorted(pairs):
        if i in joined and j in joined:
            continue
        if j in joined:
            i, j = j, i
        (one, k), (other, m) = ends[i], ends[j]
        cross = None if one is other or i in joined else _crossing(_last(one.points, k), _last(other.points, m))
        if cross is not None:
            one.points[0 if k == 0 else -1] = cross
            other.points[0 if m == 0 else -1] = cross
        else:
            target = joined.get(i, where[i])
            other.points.insert(0 if m == 0 else len(other.points), target)
        node = one.ends[k]
        other.ends = (node, other.ends[1]) if m == 0 else (other.ends[0], node)
        joined[i] = joined[j] = cross or joined.get(i, where[i])
        other.joins.append(Join(gap, where[j]))


def _last(points: Sequence[Point], end: int) -> tuple[Point, Point]:
    return (points[0], points[1]) if end == 0 else (points[-1], points[-2])


def _crossing(one: tuple[Point, Point], other: tuple[Point, Point]) -> Point | None:
    """Where two straight lines cross within both, None if they do not."""
    (ax, ay), (bx, by) = one
    (cx, cy), (dx, dy) = other
    ux, uy, vx, vy = bx - ax, by - ay, dx - cx, dy - cy
    cross = ux * vy - uy * vx
    if abs(cross) <= 1e-9 * (abs(ux) + abs(uy)) * (abs(vx) + abs(vy)):
        return None
    s = ((cx - ax) * vy - (cy - ay) * vx) / cross
    t = ((cx - ax) * uy - (cy - ay) * ux) / cross
    return (ax + s * ux, ay + s * uy) if 0 <= s < 1 and 0 <= t < 1 else None


def _walk(given: list[Edge], join_gap: float) -> list[tuple[list[tuple[Edge, bool]], bool]]:
    """All outermost loops as walks of (edge, forward), each with whether lines branch off it."""
    edges = [Edge(e.line, list(e.points), e.ends, []) for e in given]
    _close_gaps(edges, join_gap)
    edges = without_bridges(edges)
    found = []
    for part in connected(edges):
        around = outer_walk(part)
        for walk in simple_walks(around):
            # a walk of two doubled edges encloses nothing
            points = [p for edge, forward in walk for p in (edge.points if forward else edge.points[::-1])[:-1]]
            if len(points) >= 3 and abs(outline.area(points)) > TOUCHING_MM**2:
                found.append((walk, len({id(e) for e, _ in around}) < len(part)))
    return found


def _cut_where_ends_touch(edges: list[Edge], within: float) -> list[Edge]:
    """Edges cut where another edge's end stops on them, or where they cross another once or twice.

    Where edges meet in too many places to be an outline that overshoots its corners, they are returned as they are.
    """
    from shapely import LineString, STRtree, box
    from shapely import Point as Dot
    from shapely.ops import substring

    if len(edges) > _MOST_CUT:
        return edges
    shapes = [LineString(edge.points) for edge in edges]
    boxes = [(x0 - within, y0 - within, x1 + within, y1 + within) for x0, y0, x1, y1 in (s.bounds for s in shapes)]
    pairs = [(int(i), int(j)) for i, j in STRtree(shapes).query([box(*b) for b in boxes]).T if i < j]
    if len(pairs) > 10 * _MOST_CUT:
        return edges
    cuts: list[set[float]] = [set() for _ in edges]
    for i, j in pairs:
        meeting = shapes[i].intersection(shapes[j])
        points = [p for p in getattr(meeting, "geoms", [meeting]) if p.geom_type == "Point" and not p.is_empty]
        for p in points if len(points) <= 2 else ():
            cuts[i].add(shapes[i].project(p))
            cuts[j].add(shapes[j].project(p))
        for k, m in ((i, j), (j, i)):
            for end in (Dot(edges[k].points[0]), Dot(edges[k].points[-1])):
                if shapes[m].distance(end) <= within:
                    cuts[m].add(shapes[m].project(end))
    nodes = _Nodes(TOUCHING_MM)
    result = []
    for edge, shape, places in zip(edges, shapes, cuts, strict=True):
        stops = [0.0]
        for place in sorted(places):
            if place - stops[-1] > TOUCHING_MM and shape.length - place > TOUCHING_MM:
                stops.append(place)
        stops.append(shape.length)
        for a, b in pairwise(stops):
            run = [(float(x), float(y)) for x, y in substring(shape, a, b).coords]
            result.append(Edge(edge.line, run, (nodes.at(run[0]), nodes.at(run[-1]))))
    return result


def _loose_ends(lines: Sequence[Line]) -> tuple[Join, ...]:
    """For each loose end the distance to the nearest other end, smallest first (for the message on open outlines)."""
    ends = [p for line in lines if len(line) >= 2 for p in (line[0], line[-1])][:400]
    joins = []
    for i, p in enumerate(ends):
        others = [math.dist(p, q) for j, q in enumerate(ends) if j != i]
        if others:
            joins.append(Join(min(others), p))
    wide = [j for j in joins if j.gap > TOUCHING_MM]
    return tuple(sorted(wide, key=lambda j: j.gap))


def gaps_between(lines: Sequence[Line]) -> tuple[tuple[Point, Point], ...]:
    """The ends of lines that do not touch, two and two, nearest first: where an outline made of them is open."""
    ends = [p for line in lines if len(line) >= 2 for p in (line[0], line[-1])][:400]
    pairs = sorted((math.dist(p, q), i, j) for i, p in enumerate(ends) for j, q in enumerate(ends[:i]))
    left = set(range(len(ends)))
    found: list[tuple[Point, Point]] = []
    for gap, i, j in pairs:
        if i in left and j in left:
            left -= {i, j}
            if gap > TOUCHING_MM:
                found.append((ends[j], ends[i]))
    return tuple(found)
