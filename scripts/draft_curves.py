"""Béziers for drafting: true lengths, points at a length along, parallel curves. mm; points are numpy arrays (2,)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Bezier", "Curve", "Vec", "line", "meet", "point"]

Vec = NDArray[np.float64]
#: Gauss-Legendre nodes and weights on [0, 1]: exact to far below a micrometre for curves as calm as these.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
_NODES, _WEIGHTS = (_NODES + 1.0) / 2.0, _WEIGHTS / 2.0


def point(x: float, y: float) -> Vec:
    """A point."""
    return np.array([x, y], dtype=float)


@dataclass(frozen=True)
class Bezier:
    """A cubic Bézier by its four control points."""

    a: Vec
    b: Vec
    c: Vec
    d: Vec

    def at(self, t: float) -> Vec:
        """The point at parameter t."""
        s = 1.0 - t
        return s**3 * self.a + 3 * s * s * t * self.b + 3 * s * t * t * self.c + t**3 * self.d

    def slope(self, t: float) -> Vec:
        """The first derivative at t."""
        s = 1.0 - t
        return 3 * s * s * (self.b - self.a) + 6 * s * t * (self.c - self.b) + 3 * t * t * (self.d - self.c)

    def bend(self, t: float) -> Vec:
        """The second derivative at t."""
        return 6 * (1 - t) * (self.c - 2 * self.b + self.a) + 6 * t * (self.d - 2 * self.c + self.b)

    @property
    def straight(self) -> bool:
        """Whether all control points lie on one line."""
        u = self.d - self.a
        return all(abs(u[0] * (p - self.a)[1] - u[1] * (p - self.a)[0]) < 1e-9 for p in (self.b, self.c))

    def length(self, t: float = 1.0) -> float:
        """Arc length from 0 to t."""
        return float(sum(w * t * np.hypot(*self.slope(t * u)) for u, w in zip(_NODES, _WEIGHTS, strict=True)))

    def part(self, t0: float, t1: float) -> Bezier:
        """The stretch from t0 to t1, exactly."""
        scale = (t1 - t0) / 3.0
        start, end = self.at(t0), self.at(t1)
        return Bezier(start, start + scale * self.slope(t0), end - scale * self.slope(t1), end)

    def parallel(self, away: float, parts: int = 6) -> list[Bezier]:
        """The curve at distance ``away`` to the right of travel, to a few thousandths of a millimetre.

        Points and first derivatives of the parallel curve are exact at the ends of each part: it runs at the speed of
        this one times (1 + away · curvature).
        """
        ts = np.linspace(0.0, 1.0, parts + 1)
        ends, slopes = [], []
        for t in ts:
            v, w = self.slope(t), self.bend(t)
            speed = math.hypot(v[0], v[1])
            curvature = (v[0] * w[1] - v[1] * w[0]) / speed**3
            ends.append(self.at(t) + away * point(v[1], -v[0]) / speed)
            slopes.append(v * (1.0 + away * curvature))
        h = 1.0 / parts / 3.0
        return [
            Bezier(ends[i], ends[i] + h * slopes[i], ends[i + 1] - h * slopes[i + 1], ends[i + 1]) for i in range(parts)
        ]


def line(a: Vec, b: Vec) -> Bezier:
    """A straight line as a Bézier."""
    return Bezier(a, a + (b - a) / 3.0, a + 2.0 * (b - a) / 3.0, b)


@dataclass(frozen=True)
class Curve:
    """Béziers one after another."""

    parts: tuple[Bezier, ...]

    @property
    def start(self) -> Vec:
        """First point."""
        return self.parts[0].a

    @property
    def end(self) -> Vec:
        """Last point."""
        return self.parts[-1].d

    @property
    def length(self) -> float:
        """Arc length."""
        return sum(part.length() for part in self.parts)

    def place(self, along: float) -> tuple[Vec, Vec]:
        """Point and unit direction at arc length ``along`` from the start."""
        for part in self.parts:
            size = part.length()
            if along <= size + 1e-9:
                lo, hi = 0.0, 1.0
                for _ in range(60):
                    mid = (lo + hi) / 2
                    lo, hi = (mid, hi) if part.length(mid) < along else (lo, mid)
                v = part.slope(hi)
                return part.at(hi), v / math.hypot(v[0], v[1])
            along -= size
        raise ValueError("beyond the end of the curve")

    def parallel(self, away: float) -> Curve:
        """The curve at distance ``away`` to the right of travel."""
        return Curve(tuple(q for p in self.parts for q in p.parallel(away, 1 if p.straight else 6)))

    def reversed(self) -> Curve:
        """The same, walked the other way."""
        return Curve(tuple(Bezier(p.d, p.c, p.b, p.a) for p in reversed(self.parts)))

    def flat(self, chord: float) -> list[Vec]:
        """Points along it, no chord farther than ``chord`` from the curve."""
        points = [self.start]
        for p in self.parts:
            # The chord error of a piece of parameter length h is at most h² · max |second derivative| / 8.
            bend = max(math.hypot(*p.bend(0.0)), math.hypot(*p.bend(1.0)))
            steps = 1 if p.straight else max(1, math.ceil(math.sqrt(bend / (8.0 * chord))))
            points.extend(p.at(i / steps) for i in range(1, steps + 1))
        return points


def meet(p: Vec, u: Vec, q: Vec, v: Vec) -> Vec:
    """Where the line through p along u meets the line through q along v."""
    cross = u[0] * v[1] - u[1] * v[0]
    t = float(((q[0] - p[0]) * v[1] - (q[1] - p[1]) * v[0]) / cross)
    return point(p[0] + t * u[0], p[1] + t * u[1])
