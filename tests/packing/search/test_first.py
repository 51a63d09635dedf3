"""First layouts and the start-up."""

from __future__ import annotations

import time

import pytest

from nesting.packing.kernel import kernels
from nesting.packing.kernel.arrays import prepare
from nesting.packing.problem import Item, Pose, Problem, Stop
from nesting.packing.search import first, warm
from nesting.packing.search.search import solve
from tests.packing.judging import copies, ell, judge, ply, rect


@pytest.mark.parametrize("count", [1, 12, 200])
def test_boxes_are_a_valid_layout_at_once(count: int) -> None:
    """Few pieces look into gaps, many are laid behind one another; both hold, and quickly."""
    problem = Problem(
        (ply(100.0, rect(10, 10, 40, 20)),), copies(ell(25, 15, 6), count) + copies(rect(11, 30), count, "r")
    )
    model = prepare(problem)
    state = kernels.new_state(model.tables, len(model.obstacles), 0)
    first.choose_states(model, state)
    began = time.process_time()
    assert first.boxes(model, state)
    assert time.process_time() - began < 2.0
    places = tuple(model.place(i, int(state.var[i]), float(state.cx[i]), float(state.cy[i])) for i in range(model.n))
    assert judge(problem, places) == []


def test_the_first_layout_comes_before_all_else() -> None:
    """120 pieces: what is told first is the layout that is there without any search."""
    problem = Problem((ply(),), copies(ell(25, 15, 6), 60) + copies(rect(11, 30), 60, "r"))
    plain = solve(problem, Stop(seconds=0.0))
    result = solve(problem, Stop(seconds=None, rounds=2))
    assert plain.rounds == 0 and result.trace[0][1] == plain.length


def test_the_note_is_given_only_where_something_is_compiled(monkeypatch: pytest.MonkeyPatch) -> None:
    """A full cache: no note. None at all: the note, before the work."""
    notes: list[str] = []
    warm.warm_up(notes.append)
    notes.clear()
    monkeypatch.setattr(warm, "_ready", False)
    assert warm.warm_up(notes.append) is False
    assert notes == []
    monkeypatch.setattr(warm, "_ready", False)
    monkeypatch.setattr(warm, "compiled", lambda: False)
    assert warm.warm_up(notes.append) is True
    assert notes == [warm.NOTE]


def test_symmetric_poses_become_one_variant() -> None:
    """A rectangle and its half turn; a square in four turns; an L stays two."""
    square = tuple(Pose(rect(10, 10) @ [[0, 1], [-1, 0]]) for _ in range(4))
    items = (Item("r", (Pose(rect(10, 20)), Pose(-rect(10, 20)))), Item("s", square),
             Item("l", (Pose(ell(9, 9, 3)), Pose(-ell(9, 9, 3)))))  # fmt: skip
    t = prepare(Problem((ply(),), items)).tables
    assert (t.i_v1 - t.i_v0).tolist() == [1, 1, 2]
