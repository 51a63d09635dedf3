"""The inner loops, one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting.packing.kernel import kernels
from nesting.packing.kernel.arrays import BDX, BDY, prepare
from nesting.packing.kernel.fields import Fields
from nesting.packing.problem import Axis, Item, Pose, Problem
from nesting.packing.search import first
from nesting.packing.search.compact import Compactor
from nesting.packing.search.explore import Explorer
from tests.packing.judging import copies, ell, ply, rect


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


@given(st.integers(0, 10_000), st.floats(0.5, 30.0))
@settings(max_examples=40, deadline=None)
def test_what_is_gathered_is_all_that_counts(seed: int, reach: float) -> None:
    """Anywhere within its reach the sum over what is near is the plain sum over all items of its plies and all holes;
    so is the sum over columns, and one that is given up has reached its limit."""
    state, near, order, heads, grid = _strewn(seed)
    t, f = GATHERED.model.tables, GATHERED.fields.tables()
    rng = np.random.default_rng(seed)
    n = len(state.at)
    i = int(rng.integers(n))
    v = int(rng.integers(t.i_v0[i], t.i_v1[i]))
    s = t.v_ring[v]
    x0, y0 = (float(q) for q in rng.uniform(0.0, 100.0, 2))
    begin, end = kernels._reach(heads, grid, x0, t.s_hw[s] + reach)
    count = kernels._gather(t, f, state, i, v, x0, y0, reach, order, begin, end, near)
    for _ in range(8):
        x, y = x0 + rng.uniform(-reach, reach), y0 + rng.uniform(-reach, reach)
        want, holes = _plain_sum(state, i, v, x, y)
        assert kernels._score_close(near, count, f.data, x, y, 1e300) == pytest.approx(want + holes, rel=1e-9, abs=1e-9)
        begin, end = kernels._reach(heads, grid, x, t.s_hw[s])
        columns = (t.v_mask[v], t.s_hw[s], t.s_hh[s], x, y, order, begin, end)
        args = (state.at, state.mask, state.weight, f.pair, f.meta, f.data, i, s, *columns)
        assert kernels.score(*args, 1e300) == pytest.approx(want, rel=1e-9, abs=1e-9)
        if want > 0.0:
            assert want * 0.5 <= kernels._score_close(near, count, f.data, x, y, want * 0.5) * (1.0 + 1e-9)
            assert want * 0.5 <= kernels.score(*args, want * 0.5) * (1.0 + 1e-9)


class _Gathered:
    """Items of two plies on cloth with two holes."""

    def __init__(self) -> None:
        plies = (ply(100.0, rect(9, 7, 30, 20), length=300.0), ply(100.0, rect(9, 7, 60, 70), length=300.0))
        items = []
        for k in range(14):
            ring = ell(30, 45, 12) if k % 2 else rect(17.0, 26.0)
            where = ((0,), (1,), (0, 1))[k % 3]
            items.append(Item(f"{k}", (Pose(ring, plies=where), Pose(-ring, plies=where)), kind=k % 6))
        self.model = prepare(Problem(plies, tuple(items), length=300.0))
        self.fields = Fields(self.model, 32)
        self.fields.build()


GATHERED = _Gathered()


def _strewn(seed: int) -> tuple[kernels.State, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Items anywhere with any weights; room for what is near; the items by columns."""
    model = GATHERED.model
    n, m = model.n, len(model.obstacles)
    state = kernels.new_state(model.tables, m, seed)
    rng = np.random.default_rng(seed)
    for i in range(n):
        v = int(rng.integers(model.tables.i_v0[i], model.tables.i_v1[i]))
        kernels.put(model.tables, state, i, v, float(rng.uniform(0, 120)), float(rng.uniform(0, 100)))
    state.weight[:] = rng.uniform(1.0, 9.0, state.weight.shape)
    order, heads, grid = np.empty(n, dtype=np.int64), np.zeros(9, dtype=np.int64), np.array([0.07, 0.0])
    kernels._sort(state.at, order, heads, grid)
    return state, np.empty((n + m, 8)), order, heads, grid


def _plain_sum(state: kernels.State, i: int, v: int, x: float, y: float) -> tuple[float, float]:
    """Weighted overlap with all items and with all holes, from the definition in the module's head."""
    t, f = GATHERED.model.tables, GATHERED.fields.tables()
    n, total, holes = len(state.at), 0.0, 0.0
    for j in range(n):
        if j != i and state.mask[j] & t.v_mask[v]:
            number = int(f.pair[int(state.at[j, kernels.RING]), t.v_ring[v]])
            sign = -1.0 if number & 1 else 1.0
            p = kernels.depth(f.meta, f.data, number >> 1, sign * (x - state.cx[j]), sign * (y - state.cy[j]))
            total += float(state.weight[i, j] * p * np.sqrt(t.i_size[i] * t.i_size[j]))
    for o, mask in enumerate(t.o_mask):
        if mask & t.v_mask[v]:
            p = kernels.depth(f.meta, f.data, f.body[t.v_body[v], o], x + t.v_lim[v, BDX], y + t.v_lim[v, BDY])
            holes += float(state.weight[i, n + o] * p * t.i_size[i])
    return total, holes


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
