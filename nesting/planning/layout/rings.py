"""Outlines for the search: few corners, never inside the true outline, half of the asked gap around them."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from nesting.model.piece import Point, Ring
from nesting.model.tolerances import SEARCH_CHORD_MM

__all__ = ["containing", "search_ring"]

#: outlines with at most this many corners are taken as they are
EXACT_CORNERS = 16


def containing(outline: Ring, slack: float = SEARCH_CHORD_MM) -> Ring:
    """An outline with fewer corners that contains ``outline`` and leaves it by at most about ``slack`` mm."""
    from shapely.geometry import Polygon

    fine: Any = Polygon(outline)
    plain: Any = fine.simplify(1e-6)
    if len(plain.exterior.coords) - 1 <= EXACT_CORNERS and plain.covers(fine):
        return _ring(plain)
    for share in (0.5, 0.4, 0.3, 0.2):
        coarse: Any = fine.buffer(slack * share, join_style="mitre", mitre_limit=2.0).simplify(slack * share)
        if coarse.geom_type == "Polygon" and not coarse.interiors and coarse.is_valid and coarse.covers(fine):
            return _ring(coarse)
    return _ring(fine)


def _ring(polygon: Any) -> Ring:
    from shapely.geometry.polygon import orient

    return tuple((float(x), float(y)) for x, y in orient(polygon).exterior.coords[:-1])


@lru_cache(maxsize=1024)
def search_ring(
    outline: Ring, gap: float, fold: tuple[Point, Point] | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(ring, body) of an outline for the packing problem, each (n, 2).

    The ring is grown by half the gap, so that two rings that touch keep the whole gap; along a fold edge it is cut off
    at the fold, where no gap is kept.
    """
    from shapely.geometry import Polygon

    body = containing(outline)
    if fold is not None:
        body = _trimmed_at_fold(body, outline, fold)
    if gap <= 0.0:
        array = np.array(body)
        return array, array
    # buffer()'s arcs lie inside the true circle: grow by what their chords cut off (8 chords a half turn).
    grown = Polygon(outline).buffer(gap / 2 / np.cos(np.pi / 16) + 1e-6, quad_segs=4, join_style="round")
    ring = containing(_ring(Polygon(grown.exterior)))
    if fold is not None:
        ring = _trimmed_at_fold(ring, outline, fold)
    return np.array(ring), np.array(body)


def _largest(shape: Any) -> Any:
    return max(getattr(shape, "geoms", [shape]), key=lambda part: part.area)


def _trimmed_at_fold(ring: Ring, outline: Ring, fold: tuple[Point, Point]) -> Ring:
    """``ring`` without what lies beyond the fold line, on the side where the outline is not."""
    import shapely
    from shapely.geometry import Polygon

    (ax, ay), (bx, by) = fold
    length = float(np.hypot(bx - ax, by - ay))
    ux, uy = (bx - ax) / length, (by - ay) / length
    middle = Polygon(outline).representative_point()
    side = 1.0 if -(middle.x - ax) * uy + (middle.y - ay) * ux > 0 else -1.0
    far = 10.0 * max(Polygon(ring).length, length)
    nx, ny = -uy * side * far, ux * side * far
    p, q = (ax - ux * far, ay - uy * far), (bx + ux * far, by + uy * far)
    half = Polygon([p, q, (q[0] + nx, q[1] + ny), (p[0] + nx, p[1] + ny)])
    cut = _largest(Polygon(ring).intersection(half))
    if cut.area < Polygon(outline).area * (1.0 - 1e-9):
        # GEOS can lose an overlay whose edges run along one line; on a fine grid it does not.
        cut = _largest(shapely.intersection(Polygon(ring), half, grid_size=1e-7))
    snapped = []
    for x, y in _ring(cut):
        off = -(x - ax) * uy + (y - ay) * ux
        # rounding of the intersection: corners on the fold line are put exactly on it
        snapped.append((x + off * uy, y - off * ux) if abs(off) < 1e-6 else (x, y))
    return tuple(snapped)
