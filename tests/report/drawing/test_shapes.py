"""Plane geometry for drawing, against closed forms and shapely."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from nesting.report.drawing.leftover_areas import largest_rectangle
from nesting.report.drawing.shapes import area, arrow_head, chords, dashes, hatch, thinned, turned
from nesting.report.print.route import Cut, joined, travel

SQUARE = ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0))
HOLE = ((40.0, 40.0), (60.0, 40.0), (60.0, 60.0), (40.0, 60.0))


def circle(r: float, n: int = 720) -> tuple[tuple[float, float], ...]:
    """A circle as a ring."""
    return tuple((r * math.cos(2 * math.pi * k / n), r * math.sin(2 * math.pi * k / n)) for k in range(n))


def test_area_of_a_circle_and_its_sign() -> None:
    """πr², positive anticlockwise."""
    assert area(circle(50.0)) == pytest.approx(math.pi * 2500, rel=1e-4)
    assert area(circle(50.0)[::-1]) == pytest.approx(-math.pi * 2500, rel=1e-4)


@pytest.mark.parametrize("d", [0.0, 10.0, 33.3, 49.0])
def test_chord_of_a_circle(d: float) -> None:
    """A chord at distance d from the middle is 2·√(r² − d²) long, whatever its direction."""
    for deg in (0.0, 30.0, 137.0):
        origin = turned((0.0, d), deg)
        ((a, b),) = chords([circle(50.0)], origin, deg)
        assert b - a == pytest.approx(2 * math.sqrt(2500 - d * d), abs=0.01)


def test_chord_skips_a_hole_and_misses_give_nothing() -> None:
    """Even-odd: two parts beside a hole; a line outside has none."""
    assert chords([SQUARE, HOLE], (0.0, 50.0), 0.0) == [(0.0, 40.0), (60.0, 100.0)]
    assert chords([SQUARE], (0.0, 150.0), 0.0) == []


@pytest.mark.parametrize("deg", [0.0, 45.0, 60.0, 90.0, 135.0])
def test_hatch_covers_a_shape_evenly(deg: float) -> None:
    """Lines × spacing is the area (a sum of strips), and every line lies inside the shape and outside its hole."""
    shape = Polygon(SQUARE, [HOLE])
    lines = hatch([SQUARE, HOLE], deg, 1.0)
    assert sum(math.dist(*line) for line in lines) == pytest.approx(shape.area, rel=0.02)
    assert all(shape.buffer(1e-6).covers(LineString(line)) for line in lines)


def test_hatch_lines_are_one_spacing_apart() -> None:
    """On one grid: every level a whole number of spacings from the origin."""
    levels = sorted({a[1] for a, _ in hatch([circle(50.0)], 0.0, 3.0)})
    assert len(levels) == 33
    assert [b - a for a, b in pairwise(levels)] == pytest.approx([3.0] * 32)
    assert all(v / 3.0 == pytest.approx(round(v / 3.0)) for v in levels)


def test_dashes_lie_on_one_grid() -> None:
    """Parts of a long line and of a line cut out of it coincide where both run."""
    whole = dashes(0.0, 100.0, (3.0, 2.0))
    part = dashes(41.0, 73.0, (3.0, 2.0))
    assert sum(b - a for a, b in whole) == pytest.approx(60.0)
    assert all(any(a >= f - 1e-9 and b <= t + 1e-9 for f, t in whole) for a, b in part)


def test_arrow_head_points_where_it_should() -> None:
    """Its tip is the given point and its body lies behind it."""
    head = arrow_head((10.0, 20.0), 90.0, 6.0)
    assert head[0] == pytest.approx((10.0, 20.0))
    assert all(y < 20.0 for _, y in head[1:])


def test_thinned_outline_stays_near() -> None:
    """No dropped point is farther than the tolerance from what is left."""
    ring = circle(200.0)
    thin = thinned(ring, 0.1)
    assert len(thin) < len(ring) / 3
    assert Polygon(ring).exterior.hausdorff_distance(Polygon(thin).exterior) <= 0.1 + 1e-9
    assert thinned(SQUARE, 0.1) == SQUARE


def test_largest_rectangle_against_trying_all() -> None:
    """The stack algorithm finds the same area as trying every rectangle."""
    random = np.random.default_rng(5)
    for _ in range(25):
        grid = random.random((7, 9)) < 0.7
        best = max(
            (
                (i1 - i0) * (j1 - j0)
                for j0 in range(7)
                for j1 in range(j0 + 1, 8)
                for i0 in range(9)
                for i1 in range(i0 + 1, 10)
                if grid[j0:j1, i0:i1].all()
            ),
            default=0,
        )
        i0, j0, i1, j1 = largest_rectangle(grid)
        assert (i1 - i0) * (j1 - j0) == best
        assert grid[j0:j1, i0:i1].all()


def _tour(points: list[tuple[float, float]]) -> float:
    at, total = (0.0, 0.0), 0.0
    for p in points:
        total += math.dist(at, p)
        at = p
    return total


def test_route_is_near_the_best_of_all_orders() -> None:
    """For seven single points the route is within 10 % of the best of all 5040 orders, mostly the best itself."""
    from itertools import permutations

    random = np.random.default_rng(11)
    exact = 0
    for _ in range(6):
        points = [(float(x), float(y)) for x, y in random.uniform(0, 1000, (7, 2))]
        cuts = [Cut((p, (p[0] + 1e-9, p[1]), (p[0], p[1] + 1e-9)), True, n) for n, p in enumerate(points)]
        best = min(_tour(list(order)) for order in permutations(points))
        found = travel(joined(cuts))
        assert found <= 1.1 * best
        exact += found <= best + 1e-3
    assert exact >= 3


def test_route_keeps_every_cut_whole() -> None:
    """Same contours, only begun elsewhere or cut from the other end; never longer than the order given."""
    random = np.random.default_rng(3)
    cuts = [
        Cut(tuple((float(x + u), float(y + v)) for u, v in SQUARE), True, n)
        for n, (x, y) in enumerate(random.uniform(0, 3000, (30, 2)))
    ]
    cuts += [
        Cut(((float(x), 0.0), (float(x), 900.0)), False, 100 + n) for n, x in enumerate(random.uniform(0, 3000, 5))
    ]
    out = joined(cuts)
    assert sorted(c.tag for c in out) == sorted(c.tag for c in cuts)
    before = {c.tag: c for c in cuts}
    for cut in out:
        old = before[cut.tag]
        if cut.closed:
            k = cut.line.index(old.line[0])
            assert cut.line[k:] + cut.line[:k] == old.line
        else:
            assert cut.line in (old.line, old.line[::-1])
    assert travel(out) < 0.6 * travel(cuts)
    assert joined([]) == ()
