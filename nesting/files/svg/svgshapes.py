"""SVG shapes to runs of points in mm. A run is a list of points and whether it is closed."""

from __future__ import annotations

import math
import re
from typing import Any

from nesting.files.drawn.context import Context
from nesting.files.drawn.flatten import cubic_points, ellipse_points, quadratic_points
from nesting.files.svg.svgunits import Matrix, after, user_length
from nesting.files.svg.svgxml import describe
from nesting.model.piece import Point

__all__ = ["MOST_POINTS", "SHAPES", "Run", "number", "runs_of"]

#: A pattern has some hundred thousand points. Beyond this a drawing is hostile.
MOST_POINTS = 1_000_000
#: So are more commands and numbers in all path data together than this.
MOST_WORDS = 600_000
SHAPES = ("path", "line", "polyline", "polygon", "rect", "circle", "ellipse")
Run = tuple[list[Point], bool]


def runs_of(element: Any, tag: str, matrix: Matrix, ctx: Context) -> tuple[list[Run], float | None]:
    """The runs of a shape after the matrix, and its diameter if it is a circle.

    Raises PatternError for numbers that cannot be read, CurveError for curves that are not finite or far too large.
    """
    if tag in ("circle", "ellipse"):
        return _round(element, tag, matrix, ctx)
    if tag == "rect":
        return _rectangle(element, matrix, ctx), None
    if tag == "line":
        ends = [(number(element, ctx, f"x{k}"), number(element, ctx, f"y{k}")) for k in (1, 2)]
        return [([after(matrix, p) for p in ends], False)], None
    if tag in ("polyline", "polygon"):
        return [([after(matrix, p) for p in _point_list(element, ctx)], tag == "polygon")], None
    return _path(element, matrix, ctx), None


def number(element: Any, ctx: Context, name: str, default: float = 0.0) -> float:
    """A length attribute in user units."""
    value = element.get(name)
    if value is None:
        return default
    number = user_length(value)
    if number is None:
        raise ctx.error(f"{name}='{value[:40]}' of {describe(element)} is no length", code="svg.length")
    return number


def _round(element: Any, tag: str, matrix: Matrix, ctx: Context) -> tuple[list[Run], float | None]:
    cx, cy = number(element, ctx, "cx"), number(element, ctx, "cy")
    if tag == "circle":
        rx = ry = number(element, ctx, "r")
    else:
        rx, ry = number(element, ctx, "rx"), number(element, ctx, "ry")
    if rx <= 0 or ry <= 0:
        return [], None
    a, b, c, d, _, _ = matrix
    u, v = (a * rx, b * rx), (c * ry, d * ry)
    points = ellipse_points(after(matrix, (cx, cy)), u, v, 0.0, 2 * math.pi, ctx.chord)
    even = abs(math.hypot(*u) - math.hypot(*v)) <= 1e-6 * math.hypot(*u)
    return [(points, True)], (2 * math.hypot(*u) if even else None)


def _rectangle(element: Any, matrix: Matrix, ctx: Context) -> list[Run]:
    x, y = number(element, ctx, "x"), number(element, ctx, "y")
    w, h = number(element, ctx, "width"), number(element, ctx, "height")
    if w <= 0 or h <= 0:
        return []
    has_x, has_y = element.get("rx") not in (None, "auto"), element.get("ry") not in (None, "auto")
    rx = number(element, ctx, "rx") if has_x else number(element, ctx, "ry") if has_y else 0.0
    ry = number(element, ctx, "ry") if has_y else rx
    rx, ry = min(max(rx, 0.0), w / 2), min(max(ry, 0.0), h / 2)
    if rx == 0 or ry == 0:
        return [([after(matrix, p) for p in ((x, y), (x + w, y), (x + w, y + h), (x, y + h))], True)]
    a, b, c, d, _, _ = matrix
    u, v = (a * rx, b * rx), (c * ry, d * ry)
    points: list[Point] = []
    corners = ((x + w - rx, y + ry, -1), (x + w - rx, y + h - ry, 0), (x + rx, y + h - ry, 1), (x + rx, y + ry, 2))
    for cx, cy, quarter in corners:
        start = quarter * math.pi / 2
        centre = after(matrix, (cx, cy))
        first = (centre[0] + math.cos(start) * u[0] + math.sin(start) * v[0],
                 centre[1] + math.cos(start) * u[1] + math.sin(start) * v[1])  # fmt: skip
        if not points or math.dist(points[-1], first) > 1e-9:
            points.append(first)
        points += ellipse_points(centre, u, v, start, math.pi / 2, ctx.chord)
    if math.dist(points[0], points[-1]) <= 1e-9:
        points.pop()
    return [(points, True)]


def _point_list(element: Any, ctx: Context) -> list[Point]:
    text = element.get("points") or ""
    words = re.findall(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?|nan|[+-]?inf(?:inity)?", text, re.I)
    rest = re.sub(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?|nan|[+-]?inf(?:inity)?|[\s,]", "", text, flags=re.I)
    if rest:
        raise ctx.error(f"the points of {describe(element)} hold what is no number: '{rest[:20]}'", code="svg.points")
    numbers = [float(w) for w in words]
    if len(numbers) % 2:
        ctx.note(
            "ignored", f"the points of {describe(element)} end with half a point; it is left out", code="svg.points"
        )
    return list(zip(numbers[0::2], numbers[1::2], strict=False))


# long: one case for each kind of step
def _path(element: Any, matrix: Matrix, ctx: Context) -> list[Run]:
    """The subpaths of path data as runs of points, each with whether it is closed."""
    from svgelements import Arc, Close, CubicBezier, Move, Path, QuadraticBezier

    text = element.get("d") or ""
    if not text.strip():
        return []
    if re.search(r"nan|inf", text, re.I):
        raise ctx.error(
            f"{describe(element)} has a coordinate that is no finite number: correct or remove it",
            code="drawing.not-finite",
        )
    if re.search(r"[^\sMmZzLlHhVvCcSsQqTtAa0-9eE.,+-]", text) or not re.match(r"\s*[Mm]", text):
        raise ctx.error(f"the path data of {describe(element)} cannot be read: '{text.strip()[:40]}'", code="svg.path")
    words = text.count(" ") + text.count(",") + sum(map(text.count, "MmZzLlHhVvCcSsQqTtAa"))
    ctx.spend("words", words, MOST_WORDS, "commands in its paths")
    try:
        path = Path(text)
    except Exception as error:
        raise ctx.error(f"the path data of {describe(element)} cannot be read ({error})", code="svg.path") from None
    runs: list[Run] = []
    points: list[Point] = []
    chord = ctx.chord

    def place(p: Any) -> Point:
        if p is None or p.x is None or p.y is None:
            raise ctx.error(
                f"the path data of {describe(element)} ends within a command: '{text.strip()[-40:]}'", code="svg.path"
            )
        return after(matrix, (float(p.x), float(p.y)))

    for segment in path:
        if isinstance(segment, Move):
            if len(points) > 1:
                runs.append((points, False))
            points = [place(segment.end)]
        elif isinstance(segment, Close):
            if len(points) > 1:
                start = points[0]
                while len(points) > 1 and math.dist(points[-1], start) <= 1e-9:
                    points.pop()
                runs.append((points, True))
                points = [start]
        elif segment.end is None or segment.start is None:
            continue
        elif isinstance(segment, CubicBezier):
            controls = (place(segment.start), place(segment.control1), place(segment.control2), place(segment.end))
            points += cubic_points(*controls, chord)
        elif isinstance(segment, QuadraticBezier):
            points += quadratic_points(place(segment.start), place(segment.control), place(segment.end), chord)
        elif isinstance(segment, Arc):
            points += _arc(segment, matrix, chord, place)
        else:
            points.append(place(segment.end))
        if len(points) > MOST_POINTS:
            raise ctx.error(
                f"{describe(element)} has more than {MOST_POINTS} points; simplify it", code="drawing.too-large"
            )
    if len(points) > 1:
        runs.append((points, False))
    return runs


def _arc(segment: Any, matrix: Matrix, chord: float, place: Any) -> list[Point]:
    a, b, c, d, _, _ = matrix
    cx, cy = float(segment.center.x), float(segment.center.y)
    ux, uy = float(segment.prx.x) - cx, float(segment.prx.y) - cy
    vx, vy = float(segment.pry.x) - cx, float(segment.pry.y) - cy
    # The start angle between the half diameters, from the start point itself.
    sx, sy = float(segment.start.x) - cx, float(segment.start.y) - cy
    det = ux * vy - uy * vx
    if det == 0.0 or not math.isfinite(det):
        return [place(segment.end)]
    start = math.atan2((ux * sy - uy * sx) / det, (sx * vy - sy * vx) / det)
    sweep = float(segment.sweep)
    u, v = (a * ux + c * uy, b * ux + d * uy), (a * vx + c * vy, b * vx + d * vy)
    return ellipse_points(after(matrix, (cx, cy)), u, v, start, sweep, chord, end=place(segment.end))
