"""Outlines that steer the search: few corners, about where the true outline is, half of the asked gap around them.

They need not contain the true outline: what is kept apart, and how far, is settled on the true outlines. They lie as
often inside as outside, so that what fits exactly does not look like an overlap.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from nesting.model.piece import Point, Ring
from nesting.model.tolerances import SEARCH_CHORD_MM

__all__ = ["GROWN", "grown", "search_ring", "thinned", "within"]

#: By a little more than the error, as the corners of a rounded corner's chords lie on the circle, their middles within.
GROWN = 1.0013

#: outlines with at most this many corners are taken as they are
EXACT_CORNERS = 16
#: mm. Corners this near the fold line lie on it (rounding of an intersection)
_ON_FOLD = 1e-6
#: mm. What steers round flaws is smaller by this, so that a place without any slack is still seen as a place
_SLACK = 0.05


def thinned(outline: Ring, slack: float = SEARCH_CHORD_MM, fold: tuple[Point, Point] | None = None) -> Ring:
    """An outline with some of the corners of ``outline``, nowhere more than ``slack`` mm from it.

    What lies on the line ``fold`` stays as it is.
    """
    from shapely.geometry import LineString, Polygon

    fine: Any = Polygon(np.asarray(outline))
    plain: Any = fine.simplify(1e-6)
    if len(plain.exterior.coords) - 1 <= EXACT_CORNERS and plain.is_valid and fold is None:
        return _ring(plain)
    if fold is None:
        coarse: Any = fine.simplify(slack)
        return _ring(coarse if coarse.geom_type == "Polygon" and coarse.is_valid else fine)
    ring = _from_fold(outline, fold)
    if ring is None or len(ring) <= EXACT_CORNERS:
        return _ring(fine)
    line: Any = LineString(ring).simplify(slack, preserve_topology=True)
    coarse = Polygon(line.coords) if len(line.coords) > 2 else fine
    return _ring(coarse if coarse.is_valid and coarse.area > 0.0 else fine)


def within(body: NDArray[np.float64]) -> NDArray[np.float64]:
    """A little less than ``body`` (n, 2), for steering round flaws; the same where nothing would be left."""
    from shapely.geometry import Polygon

    less: Any = Polygon(body).buffer(-_SLACK, join_style="mitre")
    return np.array(_ring(less)) if less.geom_type == "Polygon" and not less.is_empty else body


def _from_fold(outline: Ring, fold: tuple[Point, Point]) -> Ring | None:
    """The ring from one end of its straight stretch along the fold round to the other; None if it has none there."""
    on = [abs(_off(p, fold)) < _ON_FOLD for p in outline]
    if sum(on) < 2 or all(on):
        return None
    n = len(outline)
    along = [k for k in range(n) if on[k] and on[(k + 1) % n]]
    if not along:
        return None
    k = max(along, key=lambda i: np.hypot(*np.subtract(outline[(i + 1) % n], outline[i])))
    return tuple(outline[(k + 1 + i) % n] for i in range(n))


def _off(p: Point, fold: tuple[Point, Point]) -> float:
    """Distance of a point from the fold line, signed."""
    (ax, ay), (bx, by) = fold
    length = float(np.hypot(bx - ax, by - ay))
    return (-(p[0] - ax) * (by - ay) + (p[1] - ay) * (bx - ax)) / length


def _ring(polygon: Any) -> Ring:
    from shapely.geometry.polygon import orient

    return tuple((float(x), float(y)) for x, y in orient(polygon).exterior.coords[:-1])


@lru_cache(maxsize=1024)
def search_ring(
    outline: Ring, gap: float, fold: tuple[Point, Point] | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(ring, body) of an outline for the packing problem, each (n, 2); they only steer.

    The ring is grown by half the gap, so that two rings that touch keep the whole gap; along a fold edge it is cut off
    at the fold, where no gap is kept.
    """
    from shapely.geometry import Polygon

    body = thinned(outline, fold=fold)
    if gap <= 0.0:
        array = np.array(body)
        return array, array
    grown = Polygon(outline).buffer(gap / 2, quad_segs=8, join_style="round")
    ring = _ring(Polygon(grown.exterior))
    if fold is not None:
        ring = _trimmed_at_fold(ring, outline, fold)
    return np.array(thinned(ring, fold=fold)), np.array(body)


def grown(outline: Ring, error: float, fold: tuple[Point, Point] | None = None) -> Ring:
    """The outline of a piece that a picture tells only to ± ``error`` mm: all that it may cover; its fold edge, which
    is laid on a fold, stays where it is."""
    from shapely.geometry import Polygon

    shape = Polygon(outline).buffer(GROWN * error, quad_segs=16)
    ring = _ring(Polygon(shape.exterior))
    return ring if fold is None else _trimmed_at_fold(ring, outline, fold)


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
        off = _off((x, y), fold)
        # rounding of the intersection: corners on the fold line are put exactly on it
        snapped.append((x + off * uy, y - off * ux) if abs(off) < _ON_FOLD else (x, y))
    return tuple(snapped)
