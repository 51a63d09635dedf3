"""The inner loops, one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from judging import copies, ell, ply, rect

from nesting.packing import first, kernels
from nesting.packing.compact import Compactor
from nesting.packing.explore import Explorer
from nesting.packing.fields import Fields
from nesting.packing.model import prepare
from nesting.packing.problem import Axis, Item, Pose, Problem


def test_random_numbers_are_splitmix64() -> None:
    """The generator's published test vector for the start 1234567 (Rosetta Code, "Splitmix64", from memory)."""
    rng = np.array([1234567], dtype=np.uint64)
    vector = [6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431]
    assert [kernels.uniform(rng) for _ in vector] == [(v >> 11) / 2.0**53 for v in vector]


@given(st.lists(st.tuples(st.floats(-50, 400), st.floats(0.1, 30)), min_size=1, max_size=40), st.integers(1, 50))
@settings(max_examples=60, deadline=None)
def test_columns_miss_no_item_that_may_be_met(items: list[tuple[float, float]], columns: int) -> None:
    """Every item is listed once; the range of a place holds all whose boxes reach it."""
    at = np.zeros((len(items), 6))
    at[:, kernels.CX] = [x for x, _ in items]
    at[:, kernels.HW] = [w for _, w in items]
    order, heads = np.empty(len(items), dtype=np.int64), np.zeros(columns + 1, dtype=np.int64)
    grid = np.array([0.1, 0.0])
    kernels._sort(at, order, heads, grid)
    assert sorted(order.tolist()) == list(range(len(items)))
    assert heads[0] == 0 and heads[-1] == len(items)
    for x, half in ((0.0, 5.0), (130.0, 12.0), (-30.0, 1.0), (390.0, 40.0)):
        begin, end = kernels._reach(heads, grid, x, half)
        listed = set(order[begin:end].tolist())
        assert listed >= {i for i, (cx, hw) in enumerate(items) if abs(cx - x) < half + hw}


def test_places_are_rounded_to_their_lines() -> None:
    """Free, on a line, on a lattice: the nearest allowed value within the limits."""
    poses = (Pose(rect(10, 10)), Pose(rect(10, 12), y=Axis(3.0)), Pose(rect(10, 14), y=Axis(3.0, 7.0)))
    model = prepare(Problem((ply(),), (Item("a", poses),)))
    t = model.tables
    heights = [float(model.shapes[t.v_ring[v]].half_height) for v in range(3)]
    asked = (-20.0, 3.0, 30.0, 200.0)
    low = [[kernels.fit_y(t, v, y + h) - h for y in asked] for v, h in enumerate(heights)]
    assert low[0] == pytest.approx([0.0, 3.0, 30.0, 90.0])
    assert low[1] == pytest.approx([3.0] * 4)
    assert low[2] == pytest.approx([3.0, 3.0, 31.0, 80.0])


def test_free_means_free() -> None:
    """What the separation calls free of overlap is, on the exact parts, as far as its grid is fine."""
    problem = Problem((ply(),), copies(ell(40, 60, 15), 6) + copies(rect(20, 25), 6, "r"))
    model = prepare(problem)
    fields = Fields(model)
    fields.build()
    exact = Compactor(model)
    explorer = Explorer(model, fields, exact, 4)
    length = model.area / 100.0 / 0.7
    first.random_places(model, explorer.state, length)
    state = explorer.state
    best = (state.cx.copy(), state.cy.copy(), state.var.copy())
    control = np.array([1e300, 0.0, 0.0, 1e300, 6.0, 6.0, 3.0, 0.25])
    before = exact.overlap(state)
    assert kernels.separate(model.tables, fields.tables(), state, length, 3000, 3000, control, *best) == 1
    assert before > 5.0
    assert exact.overlap(state) < 0.3
    assert np.array_equal(best[0], state.cx)
    assert float((state.weight).min()) >= 1.0
