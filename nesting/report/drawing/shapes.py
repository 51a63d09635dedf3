"""Plane geometry for drawing: lines clipped to outlines, hatching, arrowheads. All mm, y upwards."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from nesting.model.piece import Line, Point, Ring

__all__ = [
    "area",
    "arrow_head",
    "box_of",
    "chords",
    "dashes",
    "hatch",
    "ring_box",
    "thinned",
    "turned",
]


def area(ring: Ring) -> float:
    """Area of a ring, mm², positive when anticlockwise (shoelace formula)."""
    p = np.asarray(ring, dtype=float)
    q = np.roll(p, -1, axis=0)
    return float(0.5 * np.sum(p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]))


def ring_box(ring: Sequence[Point]) -> tuple[float, float, float, float]:
    """(x0, y0, x1, y1) of points."""
    xs = [p[0] for p in ring]
    ys = [p[1] for p in ring]
    return min(xs), min(ys), max(xs), max(ys)


def box_of(x0: float, y0: float, x1: float, y1: float) -> Ring:
    """A box as a ring."""
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def turned(p: Point, deg: float, about: Point = (0.0, 0.0)) -> Point:
    """The point turned anticlockwise about another."""
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    dx, dy = p[0] - about[0], p[1] - about[1]
    return (about[0] + c * dx - s * dy, about[1] + s * dx + c * dy)


def chords(rings: Sequence[Ring | NDArray[np.float64]], origin: Point, deg: float) -> list[tuple[float, float]]:
    """Where the line through ``origin`` in direction ``deg`` runs inside the rings (even-odd): (from, to) in mm along
    the line, in order. Empty if it misses them."""
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    cuts: list[float] = []
    for ring in rings:
        p = np.asarray(ring, dtype=float) - np.asarray(origin)
        along, across = p[:, 0] * c + p[:, 1] * s, -p[:, 0] * s + p[:, 1] * c
        cuts.extend(_crossings(along, across, 0.0))
    cuts.sort()
    return list(zip(cuts[::2], cuts[1::2], strict=False))


def _crossings(along: NDArray[np.float64], across: NDArray[np.float64], level: float) -> list[float]:
    # half-open rule: a corner that only touches the level counts twice or not at all, so that cuts stay even
    b_along, b_across = np.roll(along, -1), np.roll(across, -1)
    over = (across > level) != (b_across > level)
    a, b = across[over], b_across[over]
    share = (level - a) / (b - a)
    return [float(v) for v in along[over] + share * (b_along[over] - along[over])]


def hatch(
    rings: Sequence[Ring], deg: float, spacing: float, dash: tuple[float, float] | None = None
) -> tuple[Line, ...]:
    """Parallel lines across a shape (even-odd), ``spacing`` mm apart, on a grid that is the same for every shape.

    ``dash`` (on, off) mm breaks them, again on one grid, so that a pattern reads the same on each piece.
    """
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    rotated = []
    for ring in rings:
        p = np.asarray(ring, dtype=float)
        rotated.append((p[:, 0] * c + p[:, 1] * s, -p[:, 0] * s + p[:, 1] * c))
    low = min(float(v.min()) for _, v in rotated)
    high = max(float(v.max()) for _, v in rotated)
    lines: list[Line] = []
    for k in range(math.ceil(low / spacing), math.floor(high / spacing) + 1):
        level = k * spacing
        cuts: list[float] = []
        for u, v in rotated:
            cuts.extend(_crossings(u, v, level))
        cuts.sort()
        for a, b in zip(cuts[::2], cuts[1::2], strict=False):
            for f, t in dashes(a, b, dash, shift=0.5 * (k % 2)) if dash else ((a, b),):
                lines.append(((f * c - level * s, f * s + level * c), (t * c - level * s, t * s + level * c)))
    return tuple(lines)


def dashes(a: float, b: float, dash: tuple[float, float], shift: float = 0.0) -> list[tuple[float, float]]:
    """The parts of [a, b] that are on, for dashes that begin at whole periods plus ``shift`` of one."""
    period = dash[0] + dash[1]
    first = math.floor((a - shift * period) / period)
    out = []
    k = first
    while (start := (k + shift) * period) < b:
        f, t = max(a, start), min(b, start + dash[0])
        if t > f:
            out.append((f, t))
        k += 1
    return out


def arrow_head(tip: Point, deg: float, size: float) -> Ring:
    """A filled arrowhead that points in direction ``deg`` with its tip at ``tip``."""
    half = 0.36 * size
    return tuple(
        turned((tip[0] + dx, tip[1] + dy), deg, tip)
        for dx, dy in ((0.0, 0.0), (-size, half), (-0.8 * size, 0.0), (-size, -half))
    )


def thinned(ring: Ring, tolerance: float) -> Ring:
    """The ring with fewer points, none of the dropped ones farther than ``tolerance`` mm from it (Douglas, Peucker
    1973, as shapely has it)."""
    if tolerance <= 0 or len(ring) < 5:
        return ring
    from shapely.geometry import LinearRing

    thin = LinearRing(np.asarray(ring)).simplify(tolerance, preserve_topology=False)
    coords = list(thin.coords)[:-1]
    return tuple((float(x), float(y)) for x, y in coords) if len(coords) >= 3 else ring
