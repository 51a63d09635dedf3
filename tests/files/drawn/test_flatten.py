"""Curves against closed forms: no chord leaves its curve by more than asked, areas and lengths as computed by hand."""

import math
from itertools import pairwise

import numpy as np
import pytest

from nesting.files.drawn import outline
from nesting.files.drawn.flatten import CurveError, bulge_points, cubic_points, ellipse_points, quadratic_points

CHORDS = [1.0, 0.1, 0.01]


def circle(radius: float, chord: float) -> list[tuple[float, float]]:
    """A circle about the origin."""
    return ellipse_points((0.0, 0.0), (radius, 0.0), (0.0, radius), 0.0, 2 * math.pi, chord)


@pytest.mark.parametrize("chord", CHORDS)
@pytest.mark.parametrize("radius", [0.5, 30.0, 1000.0])
def test_circle_area_and_sagitta(radius: float, chord: float) -> None:
    """A regular n-gon in a circle has area n/2·r²·sin(2π/n), and its sides lie r·(1 − cos(π/n)) inside the circle."""
    points = circle(radius, chord)
    n = len(points)
    assert n % 4 == 0
    assert outline.area(points) == pytest.approx(n / 2 * radius**2 * math.sin(2 * math.pi / n), rel=1e-12)
    assert radius * (1 - math.cos(math.pi / n)) <= chord
    if n > 8:
        # not finer than needed: with four chords fewer the bound would be broken
        assert radius * (1 - math.cos(math.pi / (n - 5))) > chord


@pytest.mark.parametrize("chord", CHORDS)
def test_circle_segment(chord: float) -> None:
    """Area of a circle segment of half angle a: r²·(a − sin a·cos a)."""
    radius, half = 80.0, math.radians(70)
    p0 = (radius * math.cos(-half), radius * math.sin(-half))
    p1 = (radius * math.cos(half), radius * math.sin(half))
    points = [p0, *bulge_points(p0, p1, math.tan(half / 2), chord)]
    want = radius**2 * (half - math.sin(half) * math.cos(half))
    assert outline.area(points) == pytest.approx(want, abs=outline.length(points) * chord)
    assert outline.area(points) < want
    # an arc of angle h is longer than its chord by h²/24 of itself, a third of sagitta over radius
    assert outline.length(points) == pytest.approx(2 * half * radius, rel=chord / (3 * radius) * 1.01)
    assert points[-1] == p1
    assert all(math.hypot(*p) == pytest.approx(radius, abs=1e-9) for p in points)


def test_bulge_sign_and_half_circle() -> None:
    """Bulge 1 is a half circle to the right of the chord's direction, anticlockwise (DXF Reference)."""
    points = bulge_points((0.0, 0.0), (10.0, 0.0), 1.0, 0.001)
    lowest = min(points, key=lambda p: p[1])
    assert lowest == (pytest.approx(5.0, abs=0.2), pytest.approx(-5.0, abs=1e-2))
    up = bulge_points((0.0, 0.0), (10.0, 0.0), -1.0, 0.001)
    assert max(up, key=lambda p: p[1]) == (pytest.approx(5.0, abs=0.2), pytest.approx(5.0, abs=1e-2))


@pytest.mark.parametrize("chord", CHORDS)
def test_ellipse_area_and_perimeter(chord: float) -> None:
    """Area π·a·b; perimeter by the complete elliptic integral, 4·a·E(1 − b²/a²)."""
    from scipy.special import ellipe

    a, b = 120.0, 35.0
    points = ellipse_points((5.0, -3.0), (a, 0.0), (0.0, b), 0.0, 2 * math.pi, chord)
    perimeter = 4 * a * ellipe(1 - b**2 / a**2)
    assert outline.area(points) == pytest.approx(math.pi * a * b, abs=perimeter * chord)
    assert outline.length(points, True) == pytest.approx(perimeter, rel=2 * chord / b)


def test_ellipse_from_conjugate_half_diameters() -> None:
    """A sheared circle: area π·|u × v| for conjugate half diameters u, v, and its points within the chord bound."""
    u, v = (40.0, 10.0), (25.0, 30.0)
    points = ellipse_points((0.0, 0.0), u, v, 0.0, 2 * math.pi, 0.01)
    assert outline.area(points) == pytest.approx(math.pi * (u[0] * v[1] - u[1] * v[0]), abs=0.01 * 250)
    matrix = np.array([[u[0], v[0]], [u[1], v[1]]])
    middles = [((p[0] + q[0]) / 2, (p[1] + q[1]) / 2) for p, q in pairwise(points)]
    largest = np.linalg.svd(matrix)[1][0]
    for m in middles:
        # back in the circle: a chord's middle is nearer than chord/largest to the unit circle
        assert 1 - np.linalg.norm(np.linalg.solve(matrix, m)) <= 0.01 / largest * (1 + 1e-9)


def bezier(points: list[tuple[float, float]], t: np.ndarray) -> np.ndarray:
    """De Casteljau's construction, not the polynomials that the code uses."""
    layer = [np.outer(1 - t, p) + np.outer(t, q) for p, q in zip(map(np.array, points), points[1:], strict=False)]
    while len(layer) > 1:
        layer = [(1 - t)[:, None] * p + t[:, None] * q for p, q in pairwise(layer)]
    return layer[0]


@pytest.mark.parametrize("chord", CHORDS)
@pytest.mark.parametrize(
    "controls",
    [
        [(0, 0), (30, 80), (120, -40), (150, 30)],
        [(0, 0), (100, 0), (0, 1), (100, 1)],
        [(0, 0), (50, 90), (100, 0)],
        [(0, 0), (0, 0), (10, 0), (10, 0)],
    ],
)
def test_bezier_stays_within_chord(controls: list[tuple[float, float]], chord: float) -> None:
    """Every point of the curve lies within the chord tolerance of the chords, and the last point is the curve's own."""
    from shapely import LineString, distance, points

    flat = [controls[0], *(cubic_points if len(controls) == 4 else quadratic_points)(*controls, chord)]  # type: ignore[operator]
    curve = bezier(controls, np.linspace(0, 1, 2001))
    assert distance(LineString(flat), points(curve)).max() <= chord
    assert flat[-1] == controls[-1]


def test_parabola_arc_area() -> None:
    """A quadratic curve and its chord enclose two thirds of the triangle of its controls (Archimedes)."""
    p0, p1, p2 = (0.0, 0.0), (60.0, 100.0), (130.0, 20.0)
    flat = [p0, *quadratic_points(p0, p1, p2, 0.001)]
    triangle = abs(outline.area([p0, p1, p2]))
    # the flattened curve lies inside by two thirds of n chords' sagittas
    assert abs(outline.area(flat)) == pytest.approx(triangle * 2 / 3, rel=1e-4)


def test_too_large_or_not_finite() -> None:
    """What cannot be flattened is refused and not attempted."""
    with pytest.raises(CurveError, match="chords"):
        circle(1e9, 0.01)
    with pytest.raises(CurveError, match="finite"):
        circle(math.nan, 0.01)
    with pytest.raises(CurveError, match="finite"):
        cubic_points((0, 0), (math.inf, 0), (1, 1), (2, 2), 0.01)
