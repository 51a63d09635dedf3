"""The linear programme and the exact check."""

from __future__ import annotations

import numpy as np
import pytest

from nesting.packing.kernel import kernels
from nesting.packing.kernel.arrays import prepare
from nesting.packing.problem import Axis, Item, Place, Pose, Problem
from nesting.packing.search import check
from nesting.packing.search.compact import Compactor
from tests.packing.judging import copies, ell, judge, ply, rect


def laid(problem: Problem, spots: list[tuple[float, float]]):  # type: ignore[no-untyped-def]
    """Model and state with every item's first pose at the given reference points."""
    model = prepare(problem)
    state = kernels.new_state(model.tables, len(model.obstacles), 0)
    for i, (x, y) in enumerate(spots):
        found = model.find(Place(i, 0, x, y))
        assert found is not None
        kernels.put(model.tables, state, i, *found)
    return model, state


def places(model, state):  # type: ignore[no-untyped-def]
    """The state as places."""
    return tuple(model.place(i, int(state.var[i]), float(state.cx[i]), float(state.cy[i])) for i in range(model.n))


def test_squares_are_pushed_together() -> None:
    """Three squares with room between them end in a row of three sides, touching."""
    problem = Problem((ply(100.0),), copies(rect(30, 100), 3))
    model, state = laid(problem, [(2.0, 0.0), (36.0, 0.0), (70.0, 0.0)])
    assert Compactor(model)(state) == pytest.approx(90.0, abs=1e-6)
    assert judge(problem, places(model, state)) == []


def test_small_overlaps_are_taken_out() -> None:
    """Two squares that overlap by 1 are moved apart, exactly."""
    problem = Problem((ply(100.0),), copies(rect(30, 80), 2))
    model, state = laid(problem, [(0.0, 0.0), (29.0, 5.0)])
    assert Compactor(model)(state) == pytest.approx(60.0, abs=1e-6)
    assert check.faults(problem, places(model, state)) == []


def test_what_cannot_be_freed_is_not_called_a_layout() -> None:
    """Two 60 high squares on fixed lines of one x: no programme can free them."""
    problem = Problem((ply(100.0),), tuple(Item(f"{k}", (Pose(rect(30, 60), x=Axis(0.0)),)) for k in range(2)))
    model, state = laid(problem, [(0.0, 0.0), (0.0, 39.0)])
    assert Compactor(model)(state) is None


def test_lattice_items_stay_and_fixed_ones_too() -> None:
    """Only free coordinates move."""
    problem = Problem(
        (ply(100.0),),
        (Item("lattice", (Pose(rect(20, 20), x=Axis(0.0, 10.0), y=Axis(5.0)),)),
         Item("fixed", (Pose(rect(20, 20)),), fixed=Place(1, 0, 60.0, 50.0)),
         Item("free", (Pose(rect(20, 20)),))),
    )  # fmt: skip
    model, state = laid(problem, [(30.0, 5.0), (60.0, 50.0), (83.0, 20.0)])
    before = places(model, state)
    assert Compactor(model)(state) is not None
    after = places(model, state)
    assert (after[0].x, after[0].y) == pytest.approx((before[0].x, before[0].y), abs=1e-9)
    assert (after[1].x, after[1].y) == pytest.approx((60.0, 50.0), abs=1e-9)
    assert after[2].x < 83.0


def test_the_deepest_overlap_is_measured_on_the_parts() -> None:
    """Two L whose arms cross by 2."""
    problem = Problem((ply(100.0),), copies(ell(40, 60, 20), 2))
    model, state = laid(problem, [(0.0, 0.0), (38.0, 0.0)])
    assert Compactor(model).overlap(state) == pytest.approx(2.0, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda p: Place(1, 0, p.x - 0.01, p.y), "overlap"),
        (lambda p: Place(1, 0, p.x, p.y - 1.0), "width"),
        (lambda p: Place(1, 0, p.x, p.y, 3.0), "tilted"),
        (lambda p: Place(1, 0, -5.0, p.y), "begins before"),
    ],
)
def test_the_check_sees_what_is_spoiled(change, word) -> None:  # type: ignore[no-untyped-def]
    """A sound layout, spoiled in one place, is refused with the right word."""
    problem = Problem((ply(100.0),), copies(rect(30, 100), 2))
    good = (Place(0, 0, 0.0, 0.0), Place(1, 0, 30.0, 0.0))
    assert check.faults(problem, good) == []
    assert any(word in fault for fault in check.faults(problem, (good[0], change(good[1]))))


def test_the_check_sees_lines_states_holes_and_outlines() -> None:
    """One fault of each further kind."""
    on_line = Problem((ply(),), (Item("a", (Pose(rect(10, 10), y=Axis(0.0, 7.0)),)),))
    assert check.faults(on_line, (Place(0, 0, 0.0, 14.0),)) == []
    assert "line" in check.faults(on_line, (Place(0, 0, 0.0, 15.0),))[0]
    poses = (Pose(rect(10, 10), state=0), Pose(rect(10, 10), state=1))
    states = Problem((ply(),), tuple(Item(f"{k}", poses, group=1) for k in range(2)))
    assert "states" in check.faults(states, (Place(0, 0, 0.0, 0.0), Place(1, 1, 20.0, 0.0)))[0]
    flawed = Problem((ply(100.0, rect(5, 5, 8, 8)),), (Item("a", (Pose(rect(10, 10)),)),))
    assert "hole" in check.faults(flawed, (Place(0, 0, 0.0, 0.0),))[0]
    assert check.faults(flawed, (Place(0, 0, 13.0, 0.0),)) == []
    triangle = np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 100.0]])
    odd = Problem((type(ply())(triangle),), (Item("a", (Pose(rect(10, 10)),)),))
    assert check.faults(odd, (Place(0, 0, 10.0, 10.0),)) == []
    assert "leaves ply" in check.faults(odd, (Place(0, 0, 50.0, 45.0),))[0]


def test_the_extent_is_the_bodys() -> None:
    """The ring carries half a gap; the length does not."""
    problem = Problem((ply(),), (Item("a", (Pose(rect(34, 34, -2, -2), body=rect(30, 30)),)),))
    assert check.extent(problem, (Place(0, 0, 1.0, 0.0),)) == pytest.approx(31.0)
