"""Curves to chords, so fine that no chord leaves its curve by more than a stated length.

All functions return the points *after* the start point, ending exactly on the end point, in the units they are
given. Each takes ``chord``, the largest allowed distance between curve and chord, and raises CurveError where a
curve would need more than ``MOST_POINTS`` chords (a drawing with wrong units, or a hostile one).

The number of equal steps follows from the bound for a chord of a smooth curve over a step h: distance ≤ h²·max|P″|/8
(linear interpolation error; any numerical analysis text, e.g. Atkinson, An Introduction to Numerical Analysis, 3.1).
"""

from __future__ import annotations

import cmath
import math

from nesting.model.piece import Point

__all__ = ["MOST_POINTS", "CurveError", "bulge_points", "cubic_points", "ellipse_points", "quadratic_points"]

#: One curve needs no more chords than this on a drawing of ``LARGEST_MM``: an arc of 100 m radius takes 7,000.
MOST_POINTS = 20_000


class CurveError(ValueError):
    """A curve that cannot be flattened: not finite, or far too large."""


def _steps(wanted: float) -> int:
    if not math.isfinite(wanted):
        raise CurveError("its coordinates are not finite numbers")
    if wanted > MOST_POINTS:
        raise CurveError(f"it would take more than {MOST_POINTS} chords, so its size cannot be right")
    return max(1, math.ceil(wanted))


def quadratic_points(p0: Point, p1: Point, p2: Point, chord: float) -> list[Point]:
    """A quadratic Bézier curve; P″ = 2·(P0 − 2·P1 + P2) all along."""
    ax, ay = p0[0] - 2 * p1[0] + p2[0], p0[1] - 2 * p1[1] + p2[1]
    n = _steps(math.sqrt(math.hypot(ax, ay) / (4 * chord)))
    points = []
    for i in range(1, n):
        t = i / n
        s = 1 - t
        points.append(
            (s * s * p0[0] + 2 * s * t * p1[0] + t * t * p2[0], s * s * p0[1] + 2 * s * t * p1[1] + t * t * p2[1])
        )
    return [*points, p2]


def cubic_points(p0: Point, p1: Point, p2: Point, p3: Point, chord: float) -> list[Point]:
    """A cubic Bézier curve; |P″| is largest at one of its ends, 6·|P0 − 2·P1 + P2| or 6·|P1 − 2·P2 + P3|."""
    a = math.hypot(p0[0] - 2 * p1[0] + p2[0], p0[1] - 2 * p1[1] + p2[1])
    b = math.hypot(p1[0] - 2 * p2[0] + p3[0], p1[1] - 2 * p2[1] + p3[1])
    n = _steps(math.sqrt(6 * max(a, b) / (8 * chord)))
    points = []
    for i in range(1, n):
        t = i / n
        s = 1 - t
        c0, c1, c2, c3 = s * s * s, 3 * s * s * t, 3 * s * t * t, t * t * t
        points.append(
            (c0 * p0[0] + c1 * p1[0] + c2 * p2[0] + c3 * p3[0], c0 * p0[1] + c1 * p1[1] + c2 * p2[1] + c3 * p3[1])
        )
    return [*points, p3]


def ellipse_points(
    centre: Point, u: Point, v: Point, start: float, sweep: float, chord: float, end: Point | None = None
) -> list[Point]:
    """The arc centre + cos θ·u + sin θ·v for θ from ``start`` over ``sweep`` (radians, either sign).

    ``u`` and ``v`` are conjugate half diameters, so that an affine image of an arc is flattened exactly by sending
    centre, u and v through the map. A chord over the angle h leaves the arc by at most R·(1 − cos(h/2)), where R is
    the larger half axis. ``end`` replaces the computed last point (so that a path closes exactly).
    """
    if not all(map(math.isfinite, (*centre, *u, *v, start, sweep))):
        raise CurveError("its coordinates are not finite numbers")
    # larger singular value of the 2 × 2 matrix (u v): half the sum of the moduli of its conformal and other parts
    a, b = complex(*u), complex(*v)
    largest = (abs(a - 1j * b) + abs(a + 1j * b)) / 2
    step = 2 * math.acos(max(-1.0, 1 - chord / largest)) if largest > chord else math.pi / 2
    # At least eight chords in a full turn: a tiny circle stays a loop.
    n = _steps(abs(sweep) / min(step, math.pi / 4) if step > 0 else math.inf)
    if abs(abs(sweep) - 2 * math.pi) < 1e-9:
        n += -n % 4  # its box is then the circle's own
    points = []
    for i in range(1, n + 1):
        w = cmath.exp(1j * (start + sweep * i / n))
        points.append((centre[0] + w.real * u[0] + w.imag * v[0], centre[1] + w.real * u[1] + w.imag * v[1]))
    if end is not None:
        points[-1] = end
    return points


def bulge_points(p0: Point, p1: Point, bulge: float, chord: float) -> list[Point]:
    """The arc from ``p0`` to ``p1`` whose bulge is tan(included angle / 4), positive anticlockwise (DXF Reference)."""
    if bulge == 0.0 or p0 == p1:
        return [p1]
    dx, dy = p1[0] - p0[0], p1[1] - p0[1]
    # The centre lies off the middle of the chord by (1 − bulge²)/(4·bulge) chords, to the left for positive values.
    k = (1 - bulge * bulge) / (4 * bulge)
    centre = ((p0[0] + p1[0]) / 2 - k * dy, (p0[1] + p1[1]) / 2 + k * dx)
    u = (p0[0] - centre[0], p0[1] - centre[1])
    return ellipse_points(centre, u, (-u[1], u[0]), 0.0, 4 * math.atan(bulge), chord, end=p1)
