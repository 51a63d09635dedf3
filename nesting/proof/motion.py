"""Rigid motions of the plane as matrices: the proof's own, so that a mistake elsewhere cannot hide behind itself."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

__all__ = ["IDENTITY", "Array", "Motion", "lying", "over_line", "shift"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Motion:
    """(x, y) → (a·x + b·y + e, c·x + d·y + f), mm. Rigid: a turn and a shift; mirrored if the determinant is −1."""

    a: float
    b: float
    c: float
    d: float
    e: float
    f: float

    @property
    def mirrors(self) -> bool:
        """Whether it turns a right piece into a left one."""
        return self.a * self.d - self.b * self.c < 0.0

    def points(self, points: ArrayLike) -> Array:
        """Points (n, 2) or one point (2,), moved."""
        p = np.asarray(points, dtype=float)
        moved: Array = p @ np.array([[self.a, self.c], [self.b, self.d]]) + np.array([self.e, self.f])
        return moved

    def shape(self, shape: BaseGeometry) -> BaseGeometry:
        """A shapely geometry, moved."""
        moved: BaseGeometry = affine_transform(shape, [self.a, self.b, self.c, self.d, self.e, self.f])
        return moved

    def direction(self, degrees: float) -> float:
        """A direction (degrees, anticlockwise from +x), moved."""
        u, v = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        return math.degrees(math.atan2(self.c * u + self.d * v, self.a * u + self.b * v)) % 360.0

    def after(self, first: Motion) -> Motion:
        """The motion that does ``first``, then this one."""
        return Motion(
            self.a * first.a + self.b * first.c,
            self.a * first.b + self.b * first.d,
            self.c * first.a + self.d * first.c,
            self.c * first.b + self.d * first.d,
            self.a * first.e + self.b * first.f + self.e,
            self.c * first.e + self.d * first.f + self.f,
        )

    def back(self) -> Motion:
        """The motion that undoes this one."""
        det = self.a * self.d - self.b * self.c
        a, b, c, d = self.d / det, -self.b / det, -self.c / det, self.a / det
        return Motion(a, b, c, d, -(a * self.e + b * self.f), -(c * self.e + d * self.f))


IDENTITY = Motion(1.0, 0.0, 0.0, 1.0, 0.0, 0.0)


def lying(x: float, y: float, turn: float, flipped: bool) -> Motion:
    """From the grain frame to the table: flipped first (y → −y), turned anticlockwise by degrees, moved to (x, y)."""
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    if turn % 90.0 == 0.0:
        c, s = float(round(c)), float(round(s))
    side = -1.0 if flipped else 1.0
    return Motion(c, -s * side, s, c * side, x, y)


def shift(x: float, y: float) -> Motion:
    """A move without a turn."""
    return Motion(1.0, 0.0, 0.0, 1.0, x, y)


def over_line(p: tuple[float, float], q: tuple[float, float]) -> Motion:
    """The mirroring over the line through ``p`` and ``q``, which must differ."""
    ux, uy = q[0] - p[0], q[1] - p[1]
    square = ux * ux + uy * uy
    # Householder: v → v − 2 n (n·v), with n across the line
    a, b = (ux * ux - uy * uy) / square, 2.0 * ux * uy / square
    c, d = b, -a
    return Motion(a, b, c, d, p[0] - a * p[0] - b * p[1], p[1] - c * p[0] - d * p[1])
