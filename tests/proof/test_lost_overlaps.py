"""Overlaps that a geometry library can lose are found all the same."""

from __future__ import annotations

import pytest
import shapely
from shapely.geometry import Polygon

from nesting.proof.nearness import _shared

# Two valid triangles with edges on the same lines, the first wholly inside the second. GEOS 3.14.1 (shapely 2.2)
# answers that they share nothing.
INNER = (
    (-11.330714824354292, -63.43500867630027),
    (27.9429702286824, 10.872628489540487),
    (-39.82664523176439, 49.38171985895079),
)


def test_a_triangle_inside_another_shares_all_of_itself() -> None:
    """Whatever the plain overlay says, the shared area is the inner triangle's."""
    outer_corner = (-7.841292301847402, -56.83285911048799)
    inner = Polygon((outer_corner, INNER[1], (-33.80539150398289, 45.96023062094749)))
    outer = Polygon(INNER)
    assert shapely.union(inner, outer, grid_size=1e-6).area - outer.area < 1e-3
    assert abs(_shared(inner, outer).area - inner.area) < 1e-3


def test_a_slim_tip_is_an_overlap_by_its_depth() -> None:
    """A tip 0.2 mm deep and 0.001 mm wide in a piece of 200 × 200 mm: by share of area nothing, by depth an overlap."""
    from shapely import box

    from nesting.model.tolerances import OVERLAP_MM, OVERLAP_SHARE
    from nesting.proof.nearness import _depth, _shared

    plate = box(0.0, 0.0, 200.0, 200.0)
    tip = Polygon([(199.8, 100.0), (400.0, 110.0), (400.0, 90.0)])
    slim = Polygon([(199.8, 100.0), (400.0, 101.0), (400.0, 100.0)])
    for other in (tip, slim):
        shared = _shared(plate, other)
        assert _depth(shared, plate, other) == pytest.approx(0.2, abs=1e-6)
    assert _shared(plate, slim).area < OVERLAP_SHARE * slim.area * 10
    # edges that share a line by rounding are no overlap
    beside = box(200.0 - 1e-4, 0.0, 300.0, 200.0)
    assert _depth(_shared(plate, beside), plate, beside) < OVERLAP_MM
