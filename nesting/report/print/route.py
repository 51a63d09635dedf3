"""In which order to cut, so that the tool travels little between the cuts.

A cut is a closed contour, which may begin at any of its points, or an open line, which may be cut from either end.
The route begins at the origin: nearest neighbour first, then alternately 2-opt (Croes 1958, DOI
10.1287/opre.6.6.791) on the order and dynamic programming over the starting points, until neither helps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from nesting.model.piece import Line, Point

__all__ = ["Cut", "joined", "travel"]

#: starting points that are tried on a closed contour
_STARTS = 24


@dataclass(frozen=True)
class Cut:
    """One contour to cut. ``line`` of a closed one does not repeat its first point. ``tag`` is the caller's."""

    line: Line
    closed: bool
    tag: int = 0


def travel(cuts: Sequence[Cut], start: Point = (0.0, 0.0)) -> float:
    """How far the tool moves without cutting, mm, when the cuts are made in this order and direction."""
    at, total = start, 0.0
    for cut in cuts:
        total += math.dist(at, cut.line[0])
        at = cut.line[0] if cut.closed else cut.line[-1]
    return total


def joined(cuts: Sequence[Cut], start: Point = (0.0, 0.0)) -> tuple[Cut, ...]:
    """The same cuts in an order, from points and in directions that make the travel short. Never longer than given."""
    if not cuts:
        return ()
    options = [_options(cut) for cut in cuts]
    order, picked = _nearest(options, start)
    best = math.inf
    for _ in range(12):
        order, picked = _two_opt(order, picked, options, start)
        picked, length = _pick(order, options, start)
        if length > best - 1e-6:
            break
        best = length
    out = tuple(_begun(cuts[i], options[i][picked[i]]) for i in order)
    return out if travel(out, start) <= travel(cuts, start) else tuple(cuts)


#: (enter, exit, index of the first point, reversed)
_Option = tuple[Point, Point, int, bool]


def _options(cut: Cut) -> list[_Option]:
    line = cut.line
    if not cut.closed:
        return [(line[0], line[-1], 0, False), (line[-1], line[0], 0, True)]
    step = max(1, len(line) // _STARTS)
    return [(line[k], line[k], k, False) for k in range(0, len(line), step)]


def _begun(cut: Cut, option: _Option) -> Cut:
    _, _, first, backwards = option
    line = cut.line[::-1] if backwards else cut.line[first:] + cut.line[:first]
    return Cut(line, cut.closed, cut.tag)


def _nearest(options: list[list[_Option]], start: Point) -> tuple[list[int], dict[int, int]]:
    left = set(range(len(options)))
    at, order, picked = start, [], {}
    while left:
        _, i, k = min((math.dist(at, option[0]), i, k) for i in sorted(left) for k, option in enumerate(options[i]))
        left.remove(i)
        order.append(i)
        picked[i] = k
        at = options[i][k][1]
    return order, picked


def _two_opt(
    order: list[int], picked: dict[int, int], options: list[list[_Option]], start: Point
) -> tuple[list[int], dict[int, int]]:
    """Reverse stretches of the route while that shortens it; open lines in a stretch are then cut the other way."""
    order, picked = list(order), dict(picked)

    def enter(n: int) -> Point:
        return options[order[n]][picked[order[n]]][0]

    def leave(n: int) -> Point:
        return start if n < 0 else options[order[n]][picked[order[n]]][1]

    better = True
    while better:
        better = False
        for i in range(len(order) - 1):
            for j in range(i + 1, len(order)):
                old = math.dist(leave(i - 1), enter(i))
                new = math.dist(leave(i - 1), leave(j))
                if j + 1 < len(order):
                    old += math.dist(leave(j), enter(j + 1))
                    new += math.dist(enter(i), enter(j + 1))
                if new < old - 1e-6:
                    order[i : j + 1] = order[i : j + 1][::-1]
                    for n in order[i : j + 1]:
                        if options[n][picked[n]][0] != options[n][picked[n]][1]:
                            picked[n] = 1 - picked[n]
                    better = True
    return order, picked


def _pick(order: list[int], options: list[list[_Option]], start: Point) -> tuple[dict[int, int], float]:
    """The best starting points for a given order (dynamic programming), and the travel with them."""
    leave = np.array([start])
    cost = np.zeros(1)
    trail = []
    for i in order:
        enter = np.array([option[0] for option in options[i]])
        total = cost[:, None] + np.hypot(*(leave[:, None, :] - enter[None, :, :]).transpose(2, 0, 1))
        trail.append(total.argmin(axis=0))
        cost = total.min(axis=0)
        leave = np.array([option[1] for option in options[i]])
    k = int(cost.argmin())
    length = float(cost[k])
    picked = {}
    for i, back in zip(reversed(order), reversed(trail), strict=True):
        picked[i] = k
        k = int(back[k])
    return picked, length
