"""Convex parts that are worked out once for a shape."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, unary_union

from nesting.packing.kernel import convex as parts
from nesting.packing.kernel import geometry, kept
from nesting.packing.kernel.convex import parts_of
from nesting.packing.problem import PackingError
from tests.packing.judging import ell, rect


def star(seed: int, corners: int) -> np.ndarray:
    """A ring around the origin with corners near and far, its box's middle at the origin."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, corners))
    far = rng.uniform(5.0, 40.0, corners)
    ring = geometry.clean(np.stack([far * np.cos(angle), far * np.sin(angle)], axis=1))
    return ring - geometry.middle(ring)


@given(st.integers(0, 10_000), st.integers(5, 40), st.floats(0.05, 20.0))
@settings(max_examples=60, deadline=None)
def test_they_tile_the_ring_at_any_scale(seed: int, corners: int, scale: float) -> None:
    """Convex, made of the ring's corners, without gap or overlap; the same corners whatever the scale."""
    ring = star(seed, corners)
    if not Polygon(ring).is_valid:
        return
    first = parts_of(ring, 1.0)
    scaled = ring * scale
    found = parts_of(scaled, scale)
    corner = {tuple(p) for p in scaled.tolist()}
    assert all({tuple(p) for p in part.tolist()} <= corner for part in found)
    assert sum(Polygon(p).area for p in found) == pytest.approx(Polygon(scaled).area, rel=1e-9)
    assert unary_union([Polygon(p) for p in found]).symmetric_difference(Polygon(scaled)).area < 1e-6 * scale**2
    for part in found:
        assert geometry.ring_area(part) > 0.0
        assert Polygon(part).convex_hull.area == pytest.approx(Polygon(part).area, rel=1e-9)
    assert [len(p) for p in first] == [len(p) for p in found]
    assert all(np.allclose(a * scale, b, rtol=1e-12, atol=1e-12) for a, b in zip(first, found, strict=True))


def test_it_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A shape that is asked for again, larger, is not divided again; another one is."""
    parts._corners.cache_clear()
    monkeypatch.setenv(kept.VARIABLE, "off")
    asked: list[int] = []
    divide = geometry.convex_parts
    monkeypatch.setattr(geometry, "convex_parts", lambda ring: asked.append(len(ring)) or divide(ring))
    ring = ell(40, 60, 15) - [20.0, 30.0]
    parts_of(ring, 1.0)
    parts_of(ring * 2.5, 2.5)
    assert asked == [6]
    parts_of(ell(40, 60, 16) - [20.0, 30.0], 1.0)
    assert asked == [6, 6]


def test_what_rounding_would_spoil_is_divided_as_it_is() -> None:
    """A step of a hundred millionth of the size is lost in whole numbers, not in the parts."""
    ring = np.array(
        [[-50.0, -10.0], [50.0, -10.0], [50.0, 10.0], [0.0, 10.0], [0.0, 10.0 - 4e-7], [-50.0, 10.0 - 4e-7]]
    )
    found = parts_of(ring, 1.0)
    corner = {tuple(p) for p in ring.tolist()}
    assert {tuple(p) for part in found for p in part.tolist()} == corner
    assert sum(geometry.ring_area(p) for p in found) == pytest.approx(geometry.ring_area(ring), rel=1e-14)


def test_a_bad_ring_is_refused() -> None:
    """Crossing itself, or without area."""
    with pytest.raises(PackingError, match="crosses"):
        parts_of(np.array([[-2.0, -2.0], [2.0, 2.0], [2.0, -2.0], [-2.0, 1.0]]), 1.0)
    with pytest.raises(PackingError):
        parts_of(rect(0.0, 0.0), 1.0)
