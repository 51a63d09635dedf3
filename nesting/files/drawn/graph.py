"""Lines as the edges of a plane graph: which lie on loops, and the walk around the outside."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from nesting.files.drawn import outline
from nesting.model.piece import Point

__all__ = ["Edge", "Join", "connected", "outer_walk", "simple_walks", "without_bridges"]


@dataclass(frozen=True)
class Join:
    """A gap that was closed: how wide it was, mm, and where."""

    gap: float
    at: Point


@dataclass
class Edge:
    """One open line: which of the given lines it is (a part of), its points, its two nodes, gaps closed on it."""

    line: int
    points: list[Point]
    ends: tuple[int, int] = (-1, -1)
    joins: list[Join] = field(default_factory=list)


def without_bridges(edges: list[Edge]) -> list[Edge]:
    """The edges through which some loop runs: no branches, no bridges (Tarjan 1974, by depth-first numbers)."""
    at: dict[int, list[int]] = defaultdict(list)
    for i, edge in enumerate(edges):
        at[edge.ends[0]].append(i)
        if edge.ends[1] != edge.ends[0]:
            at[edge.ends[1]].append(i)
    number: dict[int, int] = {}
    low: dict[int, int] = {}
    bridges: set[int] = set()
    for root in list(at):
        if root in number:
            continue
        number[root] = low[root] = len(number)
        stack: list[tuple[int, int, int]] = [(root, -1, 0)]
        while stack:
            node, came_by, next_edge = stack.pop()
            if next_edge < len(at[node]):
                stack.append((node, came_by, next_edge + 1))
                i = at[node][next_edge]
                if i == came_by:
                    continue
                a, b = edges[i].ends
                other = b if node == a else a
                if other in number:
                    low[node] = min(low[node], number[other])
                else:
                    number[other] = low[other] = len(number)
                    stack.append((other, i, 0))
            elif stack:
                below = stack[-1][0]
                low[below] = min(low[below], low[node])
                if low[node] > number[below]:
                    bridges.add(came_by)
    return [edge for i, edge in enumerate(edges) if i not in bridges]


def connected(edges: list[Edge]) -> list[list[Edge]]:
    """The edges in parts that hang together."""
    leader: dict[int, int] = {}

    def find(i: int) -> int:
        while leader.setdefault(i, i) != i:
            leader[i] = leader[leader[i]]
            i = leader[i]
        return i

    for edge in edges:
        leader[find(edge.ends[0])] = find(edge.ends[1])
    parts: dict[int, list[Edge]] = defaultdict(list)
    for edge in edges:
        parts[find(edge.ends[0])].append(edge)
    return list(parts.values())


def _heading(points: Sequence[Point], reach: float) -> float:
    """Direction in which a line leaves its first point, judged at a distance so that tangent lines differ."""
    left = reach
    for a, b in pairwise(points):
        step = math.dist(a, b)
        if step >= left and step > 0:
            t = left / step
            x, y = a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])
            return math.atan2(y - points[0][1], x - points[0][0])
        left -= step
    return math.atan2(points[-1][1] - points[0][1], points[-1][0] - points[0][0])


def outer_walk(part: list[Edge]) -> list[tuple[Edge, bool]]:
    """The walk around the outside of a part without bridges: of all its faces the one of most negative area."""
    leaving: dict[int, list[tuple[float, int, bool]]] = defaultdict(list)
    reach: dict[int, float] = defaultdict(lambda: 1.0)
    for edge in part:
        half = outline.length(edge.points) / 2
        for end in edge.ends:
            reach[end] = min(reach[end], half)
    for i, edge in enumerate(part):
        leaving[edge.ends[0]].append((_heading(edge.points, reach[edge.ends[0]]), i, True))
        leaving[edge.ends[1]].append((_heading(edge.points[::-1], reach[edge.ends[1]]), i, False))
    after: dict[tuple[int, bool], tuple[int, bool]] = {}
    for around in leaving.values():
        around.sort()
        for k, (_, i, forward) in enumerate(around):
            # Arriving by the reverse of this edge, leave by the one before it in anticlockwise order.
            before = around[k - 1]
            after[(i, not forward)] = (before[1], before[2])
    best: list[tuple[Edge, bool]] = []
    least = math.inf
    seen: set[tuple[int, bool]] = set()
    for start in list(after):
        if start in seen:
            continue
        walk = []
        step = start
        points: list[Point] = []
        while step not in seen:
            seen.add(step)
            edge = part[step[0]]
            walk.append((edge, step[1]))
            points.extend((edge.points if step[1] else edge.points[::-1])[:-1])
            step = after[step]
        size = outline.area(points) if points else 0.0
        if size < least:
            best, least = walk, size
    return best


def simple_walks(walk: list[tuple[Edge, bool]]) -> list[list[tuple[Edge, bool]]]:
    """A closed walk cut into loops that pass no node twice."""
    loops = []
    path: list[tuple[Edge, bool]] = []
    position: dict[int, int] = {}
    for edge, forward in walk:
        start = edge.ends[0] if forward else edge.ends[1]
        end = edge.ends[1] if forward else edge.ends[0]
        position.setdefault(start, len(path))
        path.append((edge, forward))
        if end in position:
            cut = position[end]
            loop = path[cut:]
            del path[cut:]
            for e, f in loop:
                position.pop(e.ends[0] if f else e.ends[1], None)
            position[end] = cut
            loops.append(loop)
    return loops
