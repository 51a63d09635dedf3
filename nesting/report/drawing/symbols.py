"""The trade's signs: notches, drill marks, grain arrows, and the bent arrow that means "place on fold"."""

from __future__ import annotations

import math

from nesting.model.piece import Drill, Line, Notch, Point, Ring
from nesting.report.drawing import looks
from nesting.report.drawing.scene import Stroke
from nesting.report.drawing.shapes import arrow_head, turned

__all__ = ["drill_lines", "grain_arrow", "inside_stroke", "notch_lines", "place_on_fold", "seam_stroke"]


def seam_stroke(line: float, em: float) -> Stroke:
    """The short dashes of a seam line; ``line`` is the width of a cut line, ``em`` the text size, mm."""
    return Stroke(looks.SOFT, 0.45 * line, (0.2 * em, 0.2 * em))


def inside_stroke(line: float, em: float) -> Stroke:
    """The longer dashes of a line inside a piece."""
    return Stroke(looks.SOFT, 0.45 * line, (0.45 * em, 0.3 * em))


def notch_lines(notch: Notch) -> tuple[Line, ...]:
    """A notch in its own shape and size, from the cut edge into the piece.

    Shapes by the names of the interchange standard ASTM D6673: slit, V, T, castle, check, U. Each is one line; its
    first point, or for two-legged shapes the middle between its ends, is the notch's place on the edge.
    """
    d = notch.depth
    half = 0.35 * d
    shapes: dict[str, tuple[Line, ...]] = {
        "slit": (((0.0, 0.0), (d, 0.0)),),
        "v": (((0.0, half), (d, 0.0), (0.0, -half)),),
        # in one stroke, so that a notch is one line everywhere
        "t": (((0.0, 0.0), (d, 0.0), (d, -half), (d, half)),),
        "castle": (((0.0, half), (d, half), (d, -half), (0.0, -half)),),
        "check": (((0.0, half), (d, half), (0.0, -half)),),
        "u": (
            (
                (0.0, half),
                *(
                    (d - half + half * math.cos(math.radians(a)), half * math.sin(math.radians(a)))
                    for a in range(90, -91, -15)
                ),
                (0.0, -half),
            ),
        ),
    }
    return tuple(
        tuple(turned((notch.at[0] + u, notch.at[1] + v), notch.direction, notch.at) for u, v in line)
        for line in shapes[notch.kind]
    )


def drill_lines(drill: Drill, size: float) -> tuple[Line, ...]:
    """A cross at a drill mark, ``size`` mm across, with its circle where the mark has a diameter."""
    x, y = drill.at
    h = max(size, 1.6 * drill.diameter) / 2
    lines: list[Line] = [((x - h, y), (x + h, y)), ((x, y - h), (x, y + h))]
    if drill.diameter > 0:
        r = drill.diameter / 2
        circle = [(x + r * math.cos(math.radians(a)), y + r * math.sin(math.radians(a))) for a in range(0, 361, 15)]
        lines.append(tuple(circle))
    return tuple(lines)


def grain_arrow(tail: Point, head: Point, size: float, both: bool) -> tuple[tuple[Line, ...], tuple[Ring, ...]]:
    """A grain arrow: its shaft, and one head, or two where the piece may lie either way (arrowheads as taught by NIMI,
    Dress Making Trade Theory, 2024)."""
    deg = math.degrees(math.atan2(head[1] - tail[1], head[0] - tail[0]))
    heads = [arrow_head(head, deg, size)]
    if both:
        heads.append(arrow_head(tail, deg + 180.0, size))
    return ((tail, head),), tuple(heads)


def place_on_fold(fold: tuple[Point, Point], inward: float, size: float) -> tuple[tuple[Line, ...], tuple[Ring, ...]]:
    """The bent arrow along a fold edge: a line beside the edge whose two ends bend over and point at it.

    ``inward`` is the direction into the piece, degrees.
    """
    (ax, ay), (bx, by) = fold
    length = math.hypot(bx - ax, by - ay)
    ux, uy = (bx - ax) / length, (by - ay) / length
    run = min(0.6 * length, 8.0 * size)
    off = min(1.5 * size, 0.35 * length)
    ix, iy = math.cos(math.radians(inward)), math.sin(math.radians(inward))
    mx, my = (ax + bx) / 2, (ay + by) / 2
    c, d = (mx - ux * run / 2, my - uy * run / 2), (mx + ux * run / 2, my + uy * run / 2)
    bent: Line = (c, (c[0] + ix * off, c[1] + iy * off), (d[0] + ix * off, d[1] + iy * off), d)
    tip = min(0.7 * size, off)
    return (bent,), (arrow_head(c, inward + 180.0, tip), arrow_head(d, inward + 180.0, tip))
