"""Lays without ends: what repeats itself at the shortest period, and what is made of it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting.packing.kernel import kernels
from nesting.packing.kernel.arrays import SIDE, Model, part_of, prepare, repeated
from nesting.packing.kernel.fields import Fields
from nesting.packing.problem import Axis, Item, Pose, Problem, RingArray, Stop
from nesting.packing.search import check, large
from nesting.packing.search.compact import Compactor
from nesting.packing.search.explore import Explorer, Layout
from nesting.packing.search.repeats import Blocks, blocks_of, unrolled
from nesting.packing.search.search import solve
from tests.packing.judging import ell, ply, rect


def _mixed(times: int, *, x: Axis | None = None, gap: float = 0.0) -> Problem:
    rings = [ell(20, 30, 9), ell(14, 22, 6), rect(26, 12), rect(9, 33)]
    poses = [(Pose(r, x=x), Pose(-r, x=x)) for r in rings]
    return Problem((ply(),), tuple(Item(f"{k}", poses[k % 4], kind=k % 4) for k in range(times * 8)), gap=gap)


class _Period:
    """Sixteen of the mixed items over and over."""

    def __init__(self) -> None:
        model = prepare(_mixed(2))
        self.model = repeated(part_of(model, range(model.n)))
        self.fields = Fields(model)
        self.fields.build()
        self.exact = Compactor(model).for_part(self.model)


PERIOD = _Period()


def _copies(model: Model, layout: Layout, times: int) -> tuple[Model, Layout]:
    """So many periods one after the other, item by item, nothing cut nor moved."""
    problem = _mixed(2 * times)
    whole = prepare(problem)
    x = np.concatenate([layout.cx + k * layout.length for k in range(times)])
    y, v = np.tile(layout.cy, times), np.tile(layout.var, times)
    return whole, Layout(0.0, x, y, v, layout.group)


@given(st.integers(0, 10_000), st.floats(55.0, 140.0))
@settings(max_examples=60, deadline=None)
def test_what_repeats_itself_meets_the_copies_on_either_side(seed: int, period: float) -> None:
    """The score of a place is the plain sum over all items and their copies, by columns and by what is gathered."""
    model, f = PERIOD.model, PERIOD.fields.tables()
    t, rng = model.tables, np.random.default_rng(seed)
    state = kernels.new_state(t, 0, seed)
    state.around[:] = period, 1.0 / period
    for i in range(model.n):
        v = int(rng.integers(t.i_v0[i], t.i_v1[i]))
        kernels.put(t, state, i, v, float(rng.uniform(-20.0, period + 20.0)), float(rng.uniform(0, 100)))
    columns = 7
    order, heads = np.empty(2 * model.n, dtype=np.int64), np.zeros(2 * columns + 1, dtype=np.int64)
    grid = np.array([columns / period, 0.0])
    kernels._sort(state.at, order, heads, grid, period, 1.0 / period)
    i = int(rng.integers(model.n))
    v = int(rng.integers(t.i_v0[i], t.i_v1[i]))
    s = t.v_ring[v]
    x, y = float(rng.uniform(-20.0, period + 20.0)), float(rng.uniform(0, 100))
    want = 0.0
    for j in range(model.n):
        for copy in range(-3, 4):
            if j != i:
                number = int(f.pair[int(state.at[j, kernels.RING]), s])
                sign = -1.0 if number & 1 else 1.0
                dx, dy = x - state.cx[j] - copy * period, y - state.cy[j]
                # copies that are not the nearest are left to the exact finish
                if abs(dx) <= period / 2:
                    want += kernels.depth(f.meta, f.data, number >> 1, sign * dx, sign * dy) * np.sqrt(
                        t.i_size[i] * t.i_size[j]
                    )
    begin, end = kernels._reach(heads, grid, x, t.s_hw[s], period)
    args = (state.at, state.mask, state.weight, f.pair, f.meta, f.data, i, s, t.v_mask[v], t.s_hw[s], t.s_hh[s], x, y)
    got = kernels.score(*args, order, begin, end, 1e300, period, 1.0 / period)
    assert got == pytest.approx(want, rel=1e-9, abs=1e-9)
    near = np.empty((model.n, 8))
    begin, end = kernels._reach(heads, grid, x, t.s_hw[s] + 1.0, period)
    count = kernels._gather(t, f, state, i, v, x, y, 1.0, order, begin, end, near)
    assert kernels._score_close(near, count, f.data, x, y, 1e300) == pytest.approx(want, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_period_is_free_of_overlap_wherever_it_goes_on(seed: int) -> None:
    """Three periods one after the other hold by the check on raw rings, and a period a little shorter does not."""
    explorer = Explorer(PERIOD.model, PERIOD.fields, PERIOD.exact, seed)
    for _ in range(8):
        explorer.round()
    best = explorer.incumbent
    assert best is not None
    whole, three = _copies(PERIOD.model, best, 3)
    places = tuple(
        whole.place(i, int(three.var[i]), float(three.cx[i]) + 50.0, float(three.cy[i])) for i in range(whole.n)
    )
    assert check.faults(whole.problem, places) == []
    assert PERIOD.model.area / (SIDE * best.length) > 0.7
    tight = Layout(best.length - 0.01, best.cx, best.cy, best.var, best.group)
    explorer.take(tight)
    assert explorer.compactor.overlap(explorer.state) > 1e-3


def test_a_slant_costs_nothing_without_ends() -> None:
    """Parallelograms fill the cloth when they go on for ever; with ends each end loses half of one."""
    slant = np.array([[0.0, 0.0], [20.0, 0.0], [45.0, 100.0], [25.0, 100.0]])
    problem = Problem((ply(),), tuple(Item(f"{k}", (Pose(slant),), kind=0) for k in range(8)))
    model = prepare(problem)
    fields = Fields(model)
    fields.build()
    endless = repeated(part_of(model, range(8)))
    explorer = Explorer(endless, fields, Compactor(model).for_part(endless), 0)
    for _ in range(12):
        explorer.round()
    assert explorer.incumbent is not None
    assert explorer.incumbent.length == pytest.approx(8 * 20.0, abs=1e-5)
    with_ends = solve(problem, Stop(rounds=12), seed=0, workers=1)
    assert with_ends.length > 8 * 20.0 + 24.0


def test_blocks_hold_every_item_once_and_copies_are_alike() -> None:
    """Blocks of equal copies; every item in one of them or in the rest."""
    model = prepare(_mixed(24))
    division = large.divided(model)
    assert division is not None
    blocks = blocks_of(model, division.copies, division.rest)
    assert blocks is not None and len(blocks.blocks) > 1
    for block in blocks.blocks:
        kinds = [[int(model.tables.i_v0[i]) for i in copy] for copy in block]
        assert len(block) > 2 and all(k == kinds[0] for k in kinds)
    listed = [i for block in blocks.blocks for copy in block for i in copy] + [i for r in blocks.rest for i in r]
    assert sorted(listed) == list(range(model.n))
    assert blocks.seams == tuple(np.cumsum([sum(map(len, b)) for b in blocks.blocks])[:-1])


def test_lattices_and_long_items_keep_their_ends() -> None:
    """What lies on a lattice along x, comes twice only, or is long beside its mixture keeps its ends; so does what is
    shorter than the cloth is wide before it begins again."""
    copies = tuple(tuple(range(k, 192, 3)) for k in range(3))

    def alike(ring: RingArray) -> Model:
        return prepare(Problem((ply(),), tuple(Item(f"{k}", (Pose(ring),), kind=0) for k in range(192))))

    assert blocks_of(prepare(_mixed(24, x=Axis(1.0, 2.5))), copies, ()) is None
    model = prepare(_mixed(24))
    assert blocks_of(model, copies, ()) is not None
    assert blocks_of(model, copies[:2], ()) is None
    assert blocks_of(model, tuple(copy[:32] for copy in copies), ()) is None  # few enough to be laid as they are
    # 64 in two mixtures: 32 x 275 mm² over 100 x 0.84 are 105 mm
    assert blocks_of(alike(rect(25.0, 11.0)), copies, ()) is not None
    assert blocks_of(alike(rect(125.0, 2.2)), copies, ()) is None
    assert blocks_of(alike(rect(20.0, 11.0)), copies, ()) is None  # 84 mm


@pytest.mark.parametrize("gap", [0.0, 0.7])
def test_what_is_unrolled_holds_and_blocks_lie_close(gap: float) -> None:
    """Any two valid periods unrolled one behind the other keep all rules; a gap is kept at the seam, too."""
    problem = _mixed(9, gap=gap)
    model = prepare(problem)
    rest = tuple(range(64, 72))
    copies = (tuple(tuple(range(16 * k, 16 * k + 16)) for k in range(2)),)
    blocks = Blocks((copies[0], (tuple(range(32, 48)), tuple(range(48, 64)))), (rest,))
    period = _shelf(model, range(16), gap)
    lay = unrolled(model, blocks, [period, period, _shelf(model, rest, gap)])
    places = tuple(model.place(i, int(lay.var[i]), float(lay.cx[i]), float(lay.cy[i])) for i in range(model.n))
    assert check.faults(problem, places) == []
    assert lay.length < 4.7 * period.length


def _shelf(model: Model, items: range | tuple[int, ...], gap: float) -> Layout:
    """Boxes side by side at one height or another; the length is the period at which they go on."""
    t, x, xs, ys = model.tables, 1.0, [], []
    for k, i in enumerate(items):
        v = int(t.i_v0[i])
        s = t.v_ring[v]
        xs.append(x + float(t.s_hw[s]))
        ys.append(float(t.s_hh[s]) + 20.0 * (k % 3))
        x += 2.0 * float(t.s_hw[s]) + gap + 0.01
    index = np.array(items, dtype=np.int64)
    return Layout(x - 1.0, np.array(xs), np.array(ys), t.i_v0[index].copy(), np.array([-1], dtype=np.int32))


def test_a_large_order_is_unrolled_and_its_ends_are_searched(monkeypatch: pytest.MonkeyPatch) -> None:
    """By rounds it repeats, holds all rules, and what becomes of the unrolled lay is no longer than that."""
    monkeypatch.setattr(large, "LARGE", 100)
    seen: list[float] = []
    made = large.improve

    def watched(run, layout, *args, **kwargs):  # type: ignore[no-untyped-def]
        assert kwargs["ragged"] is not None
        seen.append(kwargs["ragged"][0].length / run.model.scale)
        return made(run, layout, *args, **kwargs)

    monkeypatch.setattr(large, "improve", watched)
    problem = _mixed(24)
    runs = [solve(problem, Stop(rounds=40), seed=2, workers=1) for _ in range(2)]
    assert runs[0].places == runs[1].places
    assert check.faults(problem, runs[0].places) == []
    assert len(seen) == 2 and runs[0].length < seen[0]
