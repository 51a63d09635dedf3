"""The search honours every part of the problem, and what it returns is right."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pytest

from nesting.packing.problem import Axis, Item, NeverFits, NoLayoutFound, Place, Pose, Problem, Region, Stop
from nesting.packing.search.search import solve
from tests.packing.judging import copies, either_way, ell, holds, judge, ply, rect

ROUNDS = Stop(rounds=12)


def test_two_triangles_make_a_rectangle():
    """Worked by hand: eight right triangles 40 x 50 tile 100 x 80 as four rectangles; nothing is shorter than 80."""
    triangle = np.array([[0.0, 0.0], [40.0, 0.0], [0.0, 50.0]])
    problem = Problem((ply(),), copies(triangle, 8))
    result = solve(problem, Stop(rounds=150), seed=3)
    assert holds(problem, result)
    assert result.stopped_by == "bound"
    assert result.length == pytest.approx(80.0, rel=1e-7)


def test_ells_pair_up():
    """By hand: an L of 60 x 60 with arms 20 wide and its half turn, 20 higher, fill 60 of a ply 80 high."""
    problem = Problem((ply(80.0),), copies(ell(60.0, 60.0, 20.0), 2))
    result = solve(problem, ROUNDS)
    assert holds(problem, result)
    assert result.length == pytest.approx(60.0, rel=1e-6)


def test_plies_are_judged_one_by_one():
    """A pair through both plies keeps all off its place; singles may lie over one another on different plies."""
    through = tuple(Item(f"pair{k}", (Pose(rect(50, 50), plies=(0, 1)),), kind=1) for k in range(2))
    single = tuple(
        Item(f"s{k}", (Pose(rect(30, 50), plies=(0,)), Pose(rect(30, 50), plies=(1,))), kind=2) for k in range(4)
    )
    problem = Problem((ply(), ply()), through + single)
    result = solve(problem, Stop(rounds=80))
    assert holds(problem, result)
    assert result.length == pytest.approx(80.0, rel=1e-6)  # 50 for the pairs, then two by two on each ply
    assert {p.pose for p in result.places[2:]} == {0, 1}


def test_a_narrow_ply_keeps_its_items():
    """A flap that covers 30 of 100: what is on it stays within its 30."""
    flap = Region(rect(1, 30))
    problem = Problem((ply(), flap), tuple(Item(f"f{k}", (Pose(rect(20, 25), plies=(1,)),)) for k in range(3)))
    result = solve(problem, ROUNDS)
    assert holds(problem, result)
    assert result.length == pytest.approx(60.0)


def test_an_item_tied_to_a_line_lies_on_it():
    """y fixed at the fold: the items lie behind one another, whatever room there is."""
    tied = tuple(Item(f"t{k}", (Pose(ell(40, 30, 10), y=Axis(0.0)),), kind=1) for k in range(3))
    problem = Problem((ply(),), tied + copies(rect(20, 33), 4))
    result = solve(problem, ROUNDS)
    assert holds(problem, result)
    assert [result.places[k].y for k in range(3)] == pytest.approx([0.0] * 3)
    assert result.length >= 120.0 - 1e-6


def test_a_lattice_holds_both_ways():
    """Match points on the stripes: x every 11 from 1, y every 7 from 2."""
    problem = Problem(
        (ply(),), tuple(Item(f"m{k}", (Pose(ell(40, 30, 10), x=Axis(1.0, 11.0), y=Axis(2.0, 7.0)),)) for k in range(5))
    )
    result = solve(problem, ROUNDS)
    assert holds(problem, result)
    assert all(math.isclose((p.x - 1.0) % 11.0 % 11.0, 0.0, abs_tol=1e-6) or (p.x - 1.0) % 11.0 > 11.0 - 1e-6
               for p in result.places)  # fmt: skip


def test_low_and_high_keep_the_body_off_the_edges():
    """Clearances of 5 and 10 leave 85 of 100: four 20s beside one another, not five."""
    problem = Problem((ply(),), copies(rect(30, 20), 5, low=5.0, high=10.0))
    result = solve(problem, ROUNDS)
    assert holds(problem, result)
    assert result.length == pytest.approx(60.0)
    # one pose, so y is the lower edge of a ring or, half turned, its upper one
    assert min(min(p.y + (0 if p.pose == 0 else -20), p.y) for p in result.places) >= 5.0 - 1e-9


def test_the_body_may_touch_the_edge_where_the_ring_may_not_touch_others():
    """A gap of 4 between items and none to the edge: 3 x 30 + 2 x 4 = 98 fit into 98."""
    with_gap = Pose(rect(34, 34, -2, -2), body=rect(30, 30))
    problem = Problem((ply(98.0),), tuple(Item(f"g{k}", (with_gap,), kind=1) for k in range(6)))
    result = solve(problem, Stop(rounds=60))
    assert holds(problem, result)
    assert result.length == pytest.approx(64.0)


def test_flaws_are_left_free():
    """Two flaws in the cloth; nothing lies on them."""
    problem = Problem((ply(100.0, rect(20, 20, 30, 40), rect(10, 30, 80, 0)),), copies(ell(40, 60, 15), 5))
    result = solve(problem, ROUNDS)
    assert holds(problem, result)


def test_an_odd_remnant_is_filled():
    """A round leftover with a hole: any layout within it will do."""
    angle = np.linspace(0.0, 2.0 * math.pi, 48, endpoint=False)
    disc = np.stack([100.0 + 100.0 * np.cos(angle), 100.0 + 100.0 * np.sin(angle)], axis=1)
    problem = Problem((Region(disc, (rect(20, 20, 90, 90),)),), copies(ell(40, 60, 15), 9))
    result = solve(problem, Stop(rounds=40))
    assert judge(problem, result.places) == []
    assert result.stopped_by == "length"


def test_an_exact_fill_of_a_fixed_length():
    """Sixteen 50 x 25 fill 200 x 100 to the last thread."""
    problem = Problem((ply(length=200.0),), copies(rect(50, 25), 16), length=200.0)
    result = solve(problem, ROUNDS)
    assert judge(problem, result.places) == []


def test_too_much_for_a_fixed_length_says_what_is_left():
    """What could not be placed is named, and what could be is a layout."""
    problem = Problem((ply(length=100.0),), copies(ell(60, 60, 10), 9), length=100.0)
    with pytest.raises(NoLayoutFound) as caught:
        solve(problem, Stop(rounds=1, seconds=2.0))
    assert caught.value.missing and caught.value.places
    assert judge(problem, caught.value.places, some=True) == []
    assert len(caught.value.places) + len(caught.value.missing) == 9
    assert set(caught.value.names) == {problem.items[k].name for k in caught.value.missing}


def test_what_is_proven_impossible_is_not_searched_for():
    """More area than there is: refused at once, with the reason."""
    problem = Problem((ply(length=100.0),), copies(rect(50, 25), 9), length=100.0)
    with pytest.raises(NoLayoutFound, match="nothing fits") as caught:
        solve(problem, Stop(seconds=30.0))
    assert caught.value.proof
    assert pickle.loads(pickle.dumps(caught.value)).proof == caught.value.proof


def test_groups_lie_one_way():
    """Each garment up or down as a whole; interlocking needs both ways among the garments."""
    wedge = np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 10.0], [0.0, 40.0]])
    poses = (Pose(wedge, state=0), Pose(-wedge, state=1))
    problem = Problem((ply(),), tuple(Item(f"g{k}", poses, kind=1, group=k // 2) for k in range(8)))
    result = solve(problem, Stop(rounds=100))
    assert holds(problem, result)
    by_group = [{result.places[2 * g + k].pose for k in range(2)} for g in range(4)]
    assert all(len(states) == 1 for states in by_group)
    assert len(set().union(*by_group)) == 2  # 2 x 50 wide with one up, one down


def test_a_group_whose_state_fits_only_one_item_is_refused():
    """No state suits all."""
    problem = Problem(
        (ply(),),
        (Item("up", (Pose(rect(10, 10), state=0),), group=7), Item("down", (Pose(rect(10, 10), state=1),), group=7)),
    )
    with pytest.raises(NeverFits, match="no state"):
        solve(problem, ROUNDS)


def test_fixed_items_stay_and_are_avoided():
    """A fixed item in the middle."""
    problem = Problem(
        (ply(),), (Item("fixed", (Pose(rect(20, 20)),), fixed=Place(0, 0, 30.0, 40.0)), *copies(ell(40, 60, 15), 4))
    )
    result = solve(problem, ROUNDS)
    assert holds(problem, result)
    assert result.places[0] == Place(0, 0, 30.0, 40.0)


def test_a_tilt_that_is_granted_is_used():
    """A slightly turned rectangle fits where it does not fit straight: its pose's ring is 4 degrees off."""
    a = math.radians(4.0)
    off = rect(90, 20) @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
    problem = Problem((ply(21.0),), (Item("band", (Pose(off, tilt=4.0),)),))
    result = solve(problem, ROUNDS)
    assert holds(problem, result)
    assert result.places[0].tilt == -4.0
    with pytest.raises(NeverFits):
        solve(Problem((ply(21.0),), (Item("band", (Pose(off),)),)), ROUNDS)


def test_what_never_fits_is_said_at_once():
    """Wider than the cloth: which item, and why."""
    problem = Problem((ply(),), (*copies(rect(10, 10), 2), Item("train", (Pose(rect(50, 101)),))))
    with pytest.raises(NeverFits) as caught:
        solve(problem, ROUNDS)
    assert caught.value.item == 2
    assert "101" in str(caught.value) and "100" in str(caught.value) and "train" in str(caught.value)


def test_nothing_to_lay_takes_no_cloth():
    """An empty problem."""
    result = solve(Problem((ply(),), ()), ROUNDS)
    assert (result.length, result.places) == (0.0, ())


def test_a_limit_is_needed():
    """Neither seconds nor rounds."""
    with pytest.raises(ValueError, match="limit"):
        solve(Problem((ply(),), copies(rect(10, 10), 2)), Stop())


def test_better_layouts_are_told_as_they_come():
    """Each is shorter than the one before, valid, and the last is the result."""
    problem = Problem((ply(),), copies(ell(40, 60, 15), 8))
    told: list[tuple[float, float, tuple[Place, ...]]] = []
    result = solve(problem, Stop(rounds=15), on_better=lambda *what: told.append(what))
    assert [t[1] for t in told] == sorted((t[1] for t in told), reverse=True)
    assert all(judge(problem, t[2]) == [] for t in told)
    assert told[-1][1:] == (result.length, result.places)
    assert result.trace == tuple((t[0], t[1]) for t in told)


def test_a_start_is_never_made_worse():
    """With a start the result is at least as short; a start that does not hold is left aside."""
    problem = Problem((ply(),), copies(ell(40, 60, 15), 8))
    good = solve(problem, Stop(rounds=25), seed=1)
    again = solve(problem, Stop(rounds=1), seed=2, start=good.places)
    assert again.length <= good.length
    bad = tuple(Place(k, 0, 0.0, 0.0) for k in range(8))
    assert holds(problem, solve(problem, Stop(rounds=2), start=bad))


def test_a_start_with_a_symmetric_pose_is_taken():
    """A rectangle's half turn is the same to the search, but not to the caller: its place must come through."""
    problem = Problem((ply(),), copies(rect(30, 50), 4))
    first = tuple(Place(k, 1, 30.0 * (k // 2 + 1), 50.0 * (k % 2 + 1)) for k in range(4))
    result = solve(problem, Stop(rounds=5), start=first)
    assert result.length == pytest.approx(60.0)
    assert judge(problem, result.places) == []


def test_stops_at_the_asked_length():
    """A layout as short as asked ends the search."""
    problem = Problem((ply(),), copies(ell(40, 60, 15), 8))
    result = solve(problem, Stop(rounds=500, length=170.0))
    assert result.stopped_by == "length" and result.length <= 170.0


def test_an_interrupt_keeps_the_best():
    """Ctrl-C while searching."""
    problem = Problem((ply(),), copies(ell(40, 60, 15), 8))
    seen = []

    def interrupt(seconds: float, length: float, places: tuple[Place, ...]) -> None:
        seen.append(length)
        if len(seen) == 3:
            raise KeyboardInterrupt

    result = solve(problem, Stop(rounds=500), on_better=interrupt)
    assert result.stopped_by == "interrupted"
    assert result.length == seen[-1]
    assert holds(problem, result)


@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.0, 250.0)])
def test_where_the_ply_lies_does_not_matter(shift):
    """Moving the cloth across moves the layout with it."""
    region = Region(rect(1, 100) + shift)
    problem = Problem((region,), copies(ell(40, 60, 15), 4))
    result = solve(problem, Stop(rounds=10))
    assert holds(problem, result)
    base = solve(Problem((ply(),), copies(ell(40, 60, 15), 4)), Stop(rounds=10))
    assert result.length == pytest.approx(base.length, rel=1e-6)


def test_scale_does_not_matter():
    """The same problem in inches and in mm has the same layout."""
    big = solve(Problem((ply(1000.0),), copies(ell(400, 600, 150), 4)), Stop(rounds=8))
    small = solve(Problem((ply(10.0),), copies(ell(4, 6, 1.5), 4)), Stop(rounds=8))
    assert big.length == pytest.approx(100.0 * small.length, rel=1e-6)


def test_many_turns():
    """Sixteen turns, of which the search samples some at each move."""
    poses = []
    for k in range(16):
        a = k * math.pi / 8
        poses.append(Pose(ell(30, 20, 8) @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])))
    problem = Problem((ply(),), tuple(Item(f"n{k}", tuple(poses), kind=1) for k in range(8)))
    result = solve(problem, Stop(rounds=6))
    assert holds(problem, result)


def test_items_without_kind_share_nothing_by_mistake():
    """Different rings, no kinds."""
    problem = Problem((ply(),), tuple(Item(f"d{k}", either_way(rect(20 + 3 * k, 15 + 2 * k))) for k in range(6)))
    assert holds(problem, solve(problem, Stop(rounds=10)))
