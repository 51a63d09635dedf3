"""Lines beside lines: straight, round, bent, and bent more tightly than the offset."""

from __future__ import annotations

import math

import pytest
from shapely.geometry import LineString, Point

from nesting.model.piece import Line
from nesting.pieces.offset import offset_line


def arcs(chord: float, bend: float, *, radius: float = 120.0, sweep: float = 20.0) -> Line:
    """Two arcs that turn right and run into each other at the origin, with a bend to the left."""
    half = math.degrees(chord / radius / 2)
    steps = round(sweep / (2 * half))
    points = [(0.0, 0.0)]
    deg = bend / 2
    for _ in range(steps):
        x, y = points[-1]
        points.append((x + chord * math.cos(math.radians(deg)), y + chord * math.sin(math.radians(deg))))
        deg -= 2 * half
    return (*((-x, y) for x, y in reversed(points[1:])), *points)


@pytest.mark.parametrize("chord", [0.5, 2.0, 8.0])
@pytest.mark.parametrize("bend", [5.0, 15.0, 24.0])
@pytest.mark.parametrize("d", [-4.0, -8.0, -20.0])
def test_inside_a_bend_of_two_arcs_the_line_neither_loops_nor_comes_nearer(chord: float, bend: float, d: float) -> None:
    """The bend is tighter than the offset: the loop there is cut off, so that nothing can meet it."""
    line = arcs(chord, bend)
    beside, _ = offset_line(line, d)
    assert LineString(beside).is_simple
    drawn = LineString(line)
    gaps = [drawn.distance(Point(p)) for p in beside]
    assert min(gaps) > abs(d) - 1e-6
    assert max(gaps) < abs(d) + 0.02 + abs(d) * (1 / math.cos(math.radians(bend / 2)) - 1)
    # both ends stay square to the line
    assert math.dist(beside[0], line[0]) == pytest.approx(abs(d)) == math.dist(beside[-1], line[-1])


@pytest.mark.parametrize("d", [4.0, -4.0])
@pytest.mark.parametrize("turn", [0.3, 0.6, 0.7, 2.0, 7.0])
def test_out_and_in_again_round_slight_bends_changes_nothing(turn: float, d: float) -> None:
    """Whether a bend could be that of a flattened curve or not, straight sides come back to their place."""
    line = [(0.0, 0.0)]
    for k in range(6):
        a = math.radians(turn * k)
        line.append((line[-1][0] + 35.0 * math.cos(a), line[-1][1] + 35.0 * math.sin(a)))
    away, _ = offset_line(line, d)
    back, _ = offset_line(away, -d)
    assert len(back) == len(line)
    assert max(math.dist(p, q) for p, q in zip(line, back, strict=True)) < 1e-9
