"""Shapes with known answers, and random outlines, for the tests of pieces."""

from __future__ import annotations

import math
import os

from hypothesis import strategies as st

from nesting.model.piece import Piece, Point, Ring
from nesting.pieces.contour import Contour
from nesting.pieces.edges import numbered_corners
from nesting.pieces.wishes import Finish, Preparation

#: Examples of each random test; the bar asks for 1,000: NESTING_EXAMPLES=1000.
EXAMPLES = int(os.environ.get("NESTING_EXAMPLES", "60"))


def ellipse(a: float, b: float, n: int = 720, centre: Point = (0.0, 0.0)) -> Ring:
    """An ellipse as a fine polygon, its points on the curve."""
    return tuple(
        (centre[0] + a * math.cos(math.tau * k / n), centre[1] + b * math.sin(math.tau * k / n)) for k in range(n)
    )


def circle(r: float, n: int = 720) -> Ring:
    """A circle as a fine polygon."""
    return ellipse(r, r, n)


def all_round(d: float, **kind: object) -> Preparation:
    """One finish for every edge, grain to the right."""
    return Preparation(grain=0.0, finishes=(("*", Finish("custom", d, **kind)),))  # type: ignore[arg-type]


def drawn(ring: Ring, **rest: object) -> Piece:
    """A piece of that outline."""
    return Piece("p", ring, **rest)  # type: ignore[arg-type]


@st.composite
def outlines(draw: st.DrawFn) -> Ring:
    """Star-shaped outlines of 3 to 9 corners, 40 to 300 mm from the middle, some edges bowed in or out."""
    n = draw(st.integers(3, 9))
    radii = [draw(st.integers(40, 300)) for _ in range(n)]
    jitter = [draw(st.integers(-30, 30)) / 100 for _ in range(n)]
    corners = [
        (r * math.cos(math.tau * (k + j) / n), r * math.sin(math.tau * (k + j) / n))
        for k, (r, j) in enumerate(zip(radii, jitter, strict=True))
    ]
    ring: list[Point] = []
    for k in range(n):
        (ax, ay), (bx, by) = corners[k], corners[(k + 1) % n]
        ring.append((ax, ay))
        bow = draw(st.sampled_from([0.0, 0.0, 0.08, -0.08, 0.15]))
        if bow:
            steps = 48
            for i in range(1, steps):
                t = i / steps
                out = 4 * bow * t * (1 - t)
                ring.append((ax + t * (bx - ax) + out * (by - ay), ay + t * (by - ay) - out * (bx - ax)))
    return tuple(ring)


def half_sines(ring: Ring) -> list[float]:
    """The sine of half the angle at each corner, at least 0.05: a mitre reaches 1 / sine offsets."""
    corners = numbered_corners(drawn(ring))
    out = []
    for a, b, c in zip(corners, corners[1:] + corners[:1], corners[2:] + corners[:2], strict=True):
        u = math.atan2(a[1] - b[1], a[0] - b[0])
        v = math.atan2(c[1] - b[1], c[0] - b[0])
        out.append(max(0.05, abs(math.sin((u - v) / 2))))
    return out


def blunt(ring: Ring) -> bool:
    """Whether no corner is sharper than 25 degrees, so that no mitre reaches its limit."""
    return float(abs(Contour(ring).turns).max()) < 155.0


offsets = st.sampled_from([0.0, 5.0, 6.0, 10.0, 15.0, 20.0, 40.0, -4.0, -6.0, -10.0, -19.05])
