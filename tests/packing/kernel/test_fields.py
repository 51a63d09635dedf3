"""No-fit regions and penetration fields against shapely's own geometry."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPoint, Point, Polygon, affinity, union_all

from nesting.packing.kernel import geometry, kernels, nfp
from nesting.packing.kernel.arrays import prepare
from nesting.packing.kernel.fields import Fields
from nesting.packing.problem import Item, PackingError, Pose, Problem
from tests.packing.judging import ell, ply, rect


def star(seed: int, corners: int = 9) -> np.ndarray:
    """A star-shaped polygon, seldom convex."""
    random = np.random.default_rng(seed)
    angle = np.sort(random.uniform(0, 2 * math.pi, corners))
    angle = np.linspace(0, 2 * math.pi, corners, endpoint=False) + 0.3 * angle / angle.max() / corners
    radius = random.uniform(3.0, 12.0, corners)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)


def flat(parts: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Parts as the kernels take them."""
    v = np.vstack(parts)
    start = np.cumsum([0, *(len(p) for p in parts)]).astype(np.int64)
    return np.ascontiguousarray(v[:, 0]), np.ascontiguousarray(v[:, 1]), start


@given(st.integers(0, 10_000), st.integers(4, 16))
@settings(max_examples=60, deadline=None)
def test_convex_parts_tile_their_ring(seed: int, corners: int) -> None:
    """Areas add up, the union is the ring, every part is convex and uses corners of the ring only."""
    ring = star(seed, corners)
    parts = geometry.convex_parts(ring)
    polygons = [Polygon(p) for p in parts]
    assert sum(p.area for p in polygons) == pytest.approx(Polygon(ring).area, rel=1e-9)
    assert union_all(polygons).symmetric_difference(Polygon(ring)).area < 1e-9
    assert all(p.area == pytest.approx(p.convex_hull.area, rel=1e-9) for p in polygons)
    known = {tuple(v) for v in ring.tolist()}
    assert all(tuple(v) in known for p in parts for v in p.tolist())


def test_a_ring_that_is_none_is_refused_in_words() -> None:
    """Without an area, and crossing itself."""
    with pytest.raises(PackingError, match="no area"):
        geometry.convex_parts(np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [1.0, 1.0]]))
    with pytest.raises(PackingError, match="crosses"):
        geometry.convex_parts(np.array([[0.0, 0.0], [4.0, 4.0], [4.0, 0.0], [0.0, 3.0]]))


def test_straight_and_repeated_points_are_dropped() -> None:
    """A square with extra points, drawn clockwise."""
    ring = np.array([[0, 0], [0, 1], [0, 2], [1, 2], [2, 2], [2, 2], [2, 0], [1, 0], [0.5, 0]], dtype=float)
    assert sorted(geometry.clean(ring).tolist()) == [[0, 0], [0, 2], [2, 0], [2, 2]]
    assert geometry.ring_area(geometry.clean(ring)) == 4.0


def test_sum_of_two_squares() -> None:
    """The Minkowski sum of a square with its own reflection is a square of twice the side."""
    a = flat([rect(2, 2, -1, -1)])
    x, y, start = nfp.sums(*a, *a)
    assert start.tolist() == [0, 4]
    assert sorted(zip(x.tolist(), y.tolist(), strict=True)) == [(-2, -2), (-2, 2), (2, -2), (2, 2)]


def test_an_exact_slit_stays_open() -> None:
    """A tongue as wide as its groove: the places inside the groove lie on the boundary, at depth 0."""
    groove = np.array([[0, 0], [30, 0], [30, 20], [20, 20], [20, 5], [10, 5], [10, 20], [0, 20]], dtype=float)
    a = flat(geometry.convex_parts(groove - [15, 10]))
    b = flat([rect(10, 12, -5, -6)])
    x, y, start = nfp.sums(*a, *b)
    grid = np.empty((3, 3), dtype=np.float32)
    # the tongue in the groove's middle, from its mouth towards its floor
    nfp.field(x, y, start, nfp.boundary(x, y, start, 1e-6), -1.0, 3.0, 1.0, 1.0, grid)
    assert grid[1] == pytest.approx([0.0, 0.0, 0.0], abs=1e-6)
    assert grid[0] == pytest.approx([1.0, 1.0, 1.0], abs=1e-6)
    closed = union_all([Polygon(np.c_[x[i:j], y[i:j]]) for i, j in itertools.pairwise(start)])
    assert closed.buffer(-1e-6).contains(Point(0.0, 4.0)) or not closed.boundary.distance(Point(0.0, 4.0)) > 0.5


@given(st.integers(0, 10_000), st.integers(0, 10_000), st.floats(-20, 20), st.floats(-20, 20))
@settings(max_examples=80, deadline=None)
def test_depth_tells_overlap_as_shapely_does(one: int, two: int, dx: float, dy: float) -> None:
    """Where the field is deep the shapes overlap; where it is 0 they do not (but for the grid's width)."""
    a, b = star(one), star(two)
    model = prepare(Problem((ply(60.0),), (Item("a", (Pose(a),)), Item("b", (Pose(b),)))))
    fields = Fields(model)
    fields.build()
    t = fields.tables()
    pair = int(t.pair[tuple(model.tables.v_ring)])
    f, sign = pair >> 1, -1.0 if pair & 1 else 1.0
    depth = kernels.depth(t.meta, t.data, f, sign * dx * model.scale, sign * dy * model.scale) / model.scale
    first = Polygon(a - geometry.middle(a))
    second = affinity.translate(Polygon(b - geometry.middle(b)), dx, dy)
    cell = max(1.0 / t.meta[f, 2], 1.0 / t.meta[f, 3]) / model.scale
    if depth > 1.5 * cell:
        assert first.intersection(second).area > 0.0
    if first.intersection(second).area > 0.0:
        # moving by the depth along some direction frees them: no smaller move does
        around = [(dx + depth * 0.98 * math.cos(q), dy + depth * 0.98 * math.sin(q)) for q in np.linspace(0, 6.28, 48)]
        if depth > 3.0 * cell:
            moved = [affinity.translate(Polygon(b - geometry.middle(b)), *p) for p in around]
            shrunk = first.buffer(1.5 * cell)
            assert all(shrunk.intersection(m).area > 0.0 for m in moved)
    else:
        assert depth <= 1.5 * cell


def test_both_orders_and_half_turns_share_a_field() -> None:
    """Depth of (a, b) at d equals that of (b, a) at -d, and of the half turns at -d."""
    problem = Problem(
        (ply(60.0),), (Item("a", (Pose(star(1)), Pose(-star(1)))), Item("b", (Pose(star(2)), Pose(-star(2)))))
    )
    model = prepare(problem)
    fields = Fields(model)
    fields.build()
    t = fields.tables()
    random = np.random.default_rng(0)

    def depth(a: int, b: int, d: np.ndarray) -> float:
        f = int(t.pair[a, b])
        s = -1.0 if f & 1 else 1.0
        return float(kernels.depth(t.meta, t.data, f >> 1, s * d[0], s * d[1]))

    a, a2, b, b2 = (int(t_) for t_ in model.tables.v_ring)
    for d in random.uniform(-20, 20, (200, 2)):
        assert depth(b, a, -d) == pytest.approx(depth(a, b, d), abs=1e-5)
        assert depth(a2, b2, -d) == pytest.approx(depth(a, b, d), abs=1e-5)
    assert fields.count < 10


def test_fields_stop_at_the_deadline() -> None:
    """A deadline that has passed: nothing is built, and it says so."""
    model = prepare(Problem((ply(),), tuple(Item(f"{k}", (Pose(star(k)),)) for k in range(4))))
    assert Fields(model).build(deadline=0.0) is False


def test_depth_is_the_way_out_of_a_hull() -> None:
    """For two squares the depth is known in closed form: the least of the four ways out."""
    model = prepare(Problem((ply(100.0),), (Item("a", (Pose(rect(30, 20)),)), Item("b", (Pose(rect(10, 16)),)))))
    fields = Fields(model)
    fields.build()
    t = fields.tables()
    f = int(t.pair[0, 1])
    s = -1.0 if f & 1 else 1.0
    for dx, dy in ((0.0, 0.0), (5.0, 3.0), (-19.0, 1.0), (3.0, -17.5), (21.0, 0.0), (0.0, 18.5)):
        want = max(0.0, min(20.0 - abs(dx), 18.0 - abs(dy)))
        cell = max(1.0 / t.meta[f >> 1, 2], 1.0 / t.meta[f >> 1, 3])
        assert kernels.depth(t.meta, t.data, f >> 1, s * dx, s * dy) == pytest.approx(want, abs=0.36 * cell)


def test_points_of_the_boundary_touch(  # the vertices that moves are sampled at
) -> None:
    """At a no-fit vertex the two shapes touch without overlapping."""
    a, b = star(5), ell(9, 14, 4)
    model = prepare(Problem((ply(60.0),), (Item("a", (Pose(a),)), Item("b", (Pose(b),)))))
    fields = Fields(model)
    fields.build()
    t = fields.tables()
    f = int(t.pair[0, 1])
    s = -1.0 if f & 1 else 1.0
    c0, c1 = t.corner[f >> 1]
    first = Polygon(a - geometry.middle(a))
    touching = 0
    for corner in t.corners[c0:c1] * s / model.scale:
        second = affinity.translate(Polygon(b - geometry.middle(b)), *corner)
        assert first.intersection(second).area < 1e-5
        touching += first.distance(second) < 1e-5
    assert touching == c1 - c0 > 6
    assert MultiPoint(t.corners[c0:c1]).convex_hull.area > 0.0
