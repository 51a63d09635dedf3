"""DXF entities to runs of points, in the units of the drawing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from nesting.files.drawn.flatten import MOST_POINTS, CurveError, bulge_points, cubic_points, ellipse_points
from nesting.model.piece import Point

__all__ = ["LINE_TYPES", "points_of"]

#: Entities that draw lines.
LINE_TYPES = ("LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE", "POINT")


def points_of(entity: Any, chord: float) -> tuple[list[Point], bool, float | None]:
    """Points of an entity, whether it is closed, and its diameter if it is a circle. Empty if it draws no line.

    Heights are dropped: the drawing is seen from above. Raises CurveError for what is not finite or far too large.
    """
    kind = entity.dxftype()
    if kind == "LINE":
        return [_flat(entity.dxf.start), _flat(entity.dxf.end)], False, None
    if kind == "POINT":
        return [_flat(entity.dxf.location)], False, None
    if kind in ("ARC", "CIRCLE"):
        return _arc(entity, kind, chord)
    if kind == "ELLIPSE":
        return _ellipse(entity, chord)
    if kind == "SPLINE":
        return _spline(entity, chord)
    if kind == "LWPOLYLINE":
        vertices = [(float(x), float(y), float(bulge)) for x, y, bulge in entity.get_points("xyb")]
        points = _bulged(vertices, bool(entity.closed), chord)
        ocs = entity.ocs()
        if ocs.transform:
            height = float(entity.dxf.elevation)
            points = [_flat(ocs.to_wcs((x, y, height))) for x, y in points]
        return points, bool(entity.closed), None
    if kind == "POLYLINE":
        return _polyline(entity, chord)
    return [], False, None


def _flat(v: Any) -> Point:
    return (float(v[0]), float(v[1]))


def _arc(entity: Any, kind: str, chord: float) -> tuple[list[Point], bool, float | None]:
    ocs = entity.ocs()
    radius = abs(float(entity.dxf.radius))
    if radius == 0.0:
        return [], False, None
    centre = _flat(ocs.to_wcs(entity.dxf.center))
    u, v = _flat(ocs.to_wcs((radius, 0, 0))), _flat(ocs.to_wcs((0, radius, 0)))
    if kind == "CIRCLE":
        return ellipse_points(centre, u, v, 0.0, 2 * math.pi, chord), True, 2 * radius
    start = math.radians(float(entity.dxf.start_angle))
    sweep = math.radians((float(entity.dxf.end_angle) - float(entity.dxf.start_angle)) % 360.0) or 2 * math.pi
    return _with_start(centre, u, v, start, sweep, chord), False, None


def _with_start(centre: Point, u: Point, v: Point, start: float, sweep: float, chord: float) -> list[Point]:
    c, s = math.cos(start), math.sin(start)
    first = (centre[0] + c * u[0] + s * v[0], centre[1] + c * u[1] + s * v[1])
    return [first, *ellipse_points(centre, u, v, start, sweep, chord)]


def _ellipse(entity: Any, chord: float) -> tuple[list[Point], bool, float | None]:
    u, v = _flat(entity.dxf.major_axis), _flat(entity.minor_axis)
    centre = _flat(entity.dxf.center)
    start, end = float(entity.dxf.start_param), float(entity.dxf.end_param)
    if not (math.isfinite(start) and math.isfinite(end)):
        raise CurveError("its angles are not finite numbers")
    sweep = (end - start) % (2 * math.pi)
    if sweep < 1e-9 or 2 * math.pi - sweep < 1e-9:
        return ellipse_points(centre, u, v, 0.0, 2 * math.pi, chord), True, None
    return _with_start(centre, u, v, start, sweep, chord), False, None


def _spline(entity: Any, chord: float) -> tuple[list[Point], bool, float | None]:
    """A spline, halved until the chords keep to it: twice as fine as asked, as the halving is judged at the middle."""
    controls = list(entity.control_points) or list(entity.fit_points)
    size = max((max(abs(float(c)) for c in p) for p in controls), default=0.0)
    if not math.isfinite(size):
        raise CurveError("its coordinates are not finite numbers")
    if len(controls) > MOST_POINTS:
        raise CurveError(f"it has more than {MOST_POINTS} control points")
    if len(controls) < 2:
        return [], False, None
    if size > 1e4 * chord * MOST_POINTS:
        raise CurveError(f"it would take more than {MOST_POINTS} chords, so its size cannot be right")
    curve = entity.construction_tool()
    points: list[Point] = []
    if curve.degree == 3 and not curve.is_rational and curve.is_clamped:
        # exactly a chain of Bézier curves
        for controls in curve.bezier_decomposition():
            p0, p1, p2, p3 = (_flat(v) for v in controls)
            if not points:
                points.append(p0)
            points += cubic_points(p0, p1, p2, p3, chord)
        return _closed_spline(points, bool(entity.closed), chord)
    for vertex in curve.flattening(chord / 2, segments=6):
        points.append(_flat(vertex))
        if len(points) > 10 * MOST_POINTS:
            raise CurveError(f"it would take more than {10 * MOST_POINTS} chords, so its size cannot be right")
    return _closed_spline(points, bool(entity.closed), chord)


def _closed_spline(points: list[Point], closed: bool, chord: float) -> tuple[list[Point], bool, None]:
    closed = closed or (len(points) > 3 and math.dist(points[0], points[-1]) < chord * 1e-3)
    if closed and math.dist(points[0], points[-1]) < chord:
        points.pop()
    return points, closed, None


def _bulged(vertices: Sequence[tuple[float, float, float]], closed: bool, chord: float) -> list[Point]:
    if not vertices:
        return []
    if not all(math.isfinite(x) for vertex in vertices for x in vertex):
        raise CurveError("its coordinates are not finite numbers")
    points: list[Point] = [vertices[0][:2]]
    ends = [*vertices[1:], vertices[0]] if closed else vertices[1:]
    for (x, y, bulge), end in zip(vertices, ends, strict=False):
        points += bulge_points((x, y), end[:2], bulge, chord)
    if closed and len(points) > 1:
        points.pop()
    return points


def _polyline(entity: Any, chord: float) -> tuple[list[Point], bool, float | None]:
    if not (entity.is_2d_polyline or entity.is_3d_polyline):
        return [], False, None
    closed = bool(entity.is_closed)
    # Vertices of a spline's frame (flag 16) only steer it: the curve's own vertices stand in the file too.
    kept = [v for v in entity.vertices if not int(v.dxf.get("flags", 0)) & 16]
    vertices = [(float(v.dxf.location.x), float(v.dxf.location.y), float(v.dxf.get("bulge", 0.0))) for v in kept]
    if entity.is_3d_polyline:
        vertices = [(x, y, 0.0) for x, y, _ in vertices]
    points = _bulged(vertices, closed, chord)
    if entity.is_2d_polyline:
        ocs = entity.ocs()
        if ocs.transform:
            height = float(kept[0].dxf.location.z) if kept else 0.0
            points = [_flat(ocs.to_wcs((x, y, height))) for x, y in points]
    return points, closed, None
