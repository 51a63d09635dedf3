"""The prepared problem: limits, lines, groups, places there and back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import Polygon, affinity

from nesting.packing.kernel import kernels
from nesting.packing.kernel.arrays import LMIN, XLO, XR, YHI, YLO, prepare
from nesting.packing.problem import Axis, Item, NeverFits, PackingError, Place, Pose, Problem, Region, Stop
from nesting.packing.search import first
from nesting.packing.search.search import solve
from tests.packing.judging import either_way, ell, judge, ply, rect


def test_limits_of_the_centre_by_hand() -> None:
    """A body of 20 x 10 in a ring of 24 x 14, 5 off the lower and 10 off the upper edge of a ply 200 high."""
    pose = Pose(rect(24, 14, -2, -2), body=rect(20, 10), low=5.0, high=10.0)
    lim = prepare(Problem((ply(200.0),), (Item("a", (pose,)),))).tables.v_lim[0]
    # the ring's middle is the body's, 10 and 5 from the body's corner; all halved
    assert lim[YLO] == pytest.approx((5.0 + 5.0) / 2)
    assert lim[YHI] == pytest.approx((200.0 - 10.0 - 5.0) / 2)
    assert lim[XLO] == pytest.approx(10.0 / 2)
    assert lim[XR] == pytest.approx(10.0 / 2)
    assert lim[LMIN] == pytest.approx(20.0 / 2)


def test_a_lattice_sets_the_least_length() -> None:
    """x on 3 + 7 k: a piece that begins at its reference point cannot end before 3 + its length."""
    pose = Pose(rect(20, 10), x=Axis(3.0, 7.0))
    lim = prepare(Problem((ply(100.0),), (Item("a", (pose,)),))).tables.v_lim[0]
    assert lim[LMIN] == pytest.approx(23.0)
    late = Pose(rect(20, 10, -5), x=Axis(3.0, 7.0))  # 3 would begin before 0
    assert prepare(Problem((ply(100.0),), (Item("a", (late,)),))).tables.v_lim[0, LMIN] == pytest.approx(25.0)


def test_flaws_stop_the_body_not_the_ring() -> None:
    """Between flaws 30 apart lies a body of 30, though its ring is 34 high."""
    holes = (rect(200, 35, 0, 0), rect(200, 35, 0, 65))
    pose = Pose(rect(54, 34, -2, -2), body=rect(50, 30))
    problem = Problem((Region(rect(200, 100), holes),), (Item("a", (pose,)),), 60.0)
    result = solve(problem, Stop(rounds=60))
    assert judge(problem, result.places) == []
    assert result.places[0].y == pytest.approx(35.0, abs=1e-5)


@pytest.mark.parametrize("tilt", [0.0, 2.0, -2.0])
def test_places_go_there_and_back(tilt: float) -> None:
    """Every pose, also those that symmetry folds together: the same polygon comes back."""
    square = rect(12, 12, 3, 4)
    turns = tuple(
        Pose(square @ [[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]], tilt=2.0)
        for a in (0.0, math.pi / 2, math.pi, 1.5 * math.pi)
    )
    items = (Item("square", turns), Item("ell", either_way(ell(20, 30, 7), tilt=2.0)))
    problem = Problem((ply(80.0),), items)
    model = prepare(problem)
    for place in (Place(i, p, 31.0, 27.0, tilt) for i, item in enumerate(items) for p in range(len(item.poses))):
        found = model.find(place)
        assert found is not None
        back = model.place(place.item, *found)

        def lies(at: Place) -> Polygon:
            ring = items[at.item].poses[at.pose].ring
            return affinity.translate(affinity.rotate(Polygon(ring), at.tilt, origin=(0, 0)), at.x, at.y)

        assert lies(back).symmetric_difference(lies(place)).area < 1e-6
    assert model.find(Place(0, 0, 0.0, 0.0, 1.234)) is None


def test_a_groups_state_rules_its_variants() -> None:
    """Only the variants of the state, and those that name none."""
    poses = (Pose(ell(9, 9, 3), state=4), Pose(-ell(9, 9, 3), state=6), Pose(ell(9, 8, 3)))
    model = prepare(Problem((ply(),), (Item("a", poses, group=1), Item("b", poses))))
    state = kernels.new_state(model.tables, 0, 1)
    state.group[0] = 6
    assert [model.variants[v].pose for v in first.allowed(model, state, 0, 1e9)] == [1, 2]
    assert [model.variants[v].pose for v in first.allowed(model, state, 1, 1e9)] == [0, 1, 2]
    assert model.num_states == [(4, 6)]


@pytest.mark.parametrize(
    ("problem", "word"),
    [
        (Problem((), ()), "no ply"),
        (Problem((ply(),), (Item("a", (Pose(rect(5, 5), plies=(3,)),)),)), "ply 3"),
        (Problem((ply(),), (Item("a", (Pose(rect(5, 5), plies=()),)),)), "names no ply"),
        (Problem((ply(),), (Item("a", (Pose(np.array([[0.0, 0.0], [1.0, 1.0]])),)),)), "three points"),
        (Problem((ply(),), (Item("a", (Pose(rect(5, math.nan)),)),)), "not numbers"),
        (Problem((ply(),) * 63, ()), "62"),
    ],
)
def test_contradictions_are_told(problem: Problem, word: str) -> None:
    """What is wrong with the problem itself."""
    with pytest.raises(PackingError, match=word):
        prepare(problem)


def test_a_line_out_of_reach_is_told() -> None:
    """y fixed where the piece would leave the cloth."""
    with pytest.raises(NeverFits, match="certain lines"):
        prepare(Problem((ply(),), (Item("a", (Pose(rect(5, 5), y=Axis(98.0)),)),)))
