"""Large orders: divided into parts, joined, made denser in windows; whatever the problem's rules, they hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nesting.packing.kernel.arrays import SIDE, prepare
from nesting.packing.problem import Axis, Item, Place, Pose, Problem, Region, Stop
from nesting.packing.search import check, large
from nesting.packing.search.explore import Layout
from nesting.packing.search.search import solve

PLY = Region(np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]]))


@pytest.fixture(autouse=True)
def _small(monkeypatch: pytest.MonkeyPatch) -> None:
    """What takes hundreds of items is tried with dozens."""
    monkeypatch.setattr(large, "LARGE", 40)
    monkeypatch.setattr(large, "_PART", 16)
    monkeypatch.setattr(large, "_PART_WITH_ENDS", 16)


def _ell(w: float, h: float) -> np.ndarray:  # type: ignore[type-arg]
    return np.array([[0, 0], [w, 0], [w, h / 2], [w / 2, h / 2], [w / 2, h], [0, h]], dtype=np.float64)


def _problem(times: int, *, x: Axis | None = None, grouped: bool = False, state: bool = False) -> Problem:
    sizes = [(20.0, 30.0), (14.0, 22.0), (26.0, 12.0), (9.0, 33.0)]
    poses = []
    for w, h in sizes:
        ring = _ell(w, h)
        up = Pose(ring, x=x, state=0 if state else None)
        down = Pose(-ring + (w, h), x=x, state=1 if state else None)
        poses.append((up, down))
    items = []
    for k in range(times * 8):
        kind = k % 4
        items.append(Item(f"{kind}.{k}", poses[kind], kind=kind, group=k // 4 if grouped else None))
    return Problem((PLY,), tuple(items))


def test_equal_mixtures_are_found() -> None:
    """Equal mixtures are found."""
    model = prepare(_problem(6))
    division = large.divided(model)
    assert division is not None and not division.rest and len(division.copies) > 2
    first = [int(model.tables.i_v0[i]) for i in division.copies[0]]
    for copy in division.copies:
        assert [int(model.tables.i_v0[i]) for i in copy] == first
    assert sorted(i for c in division.copies for i in c) == list(range(model.n))


def test_what_is_left_over_is_dealt_out_and_nothing_is_lost() -> None:
    """What is left over is dealt out and nothing is lost."""
    problem = _problem(6)
    problem = replace(problem, items=problem.items[:-3])
    division = large.divided(prepare(problem))
    assert division is not None
    assert sorted(i for c in (*division.copies, *division.rest) for i in c) == list(range(len(problem.items)))


def test_groups_stay_whole() -> None:
    """Groups stay whole."""
    model = prepare(_problem(6, grouped=True, state=True))
    division = large.divided(model)
    assert division is not None
    for part in (*division.copies, *division.rest):
        inside = set(part)
        for g in {int(model.tables.i_group[i]) for i in part}:
            assert all(i in inside for i in range(model.n) if int(model.tables.i_group[i]) == g)


def test_what_cannot_be_repeated_is_not_divided() -> None:
    """What cannot be repeated is not divided."""
    assert large.divided(prepare(_problem(2))) is None  # few
    assert large.divided(prepare(_problem(6, x=Axis(0.0)))) is None  # all begin at one line
    problem = _problem(6)
    hole = np.array([[40.0, 40.0], [45.0, 40.0], [45.0, 45.0], [40.0, 45.0]])
    assert large.divided(prepare(replace(problem, plies=(replace(PLY, holes=(hole,)),)))) is None
    assert large.divided(prepare(replace(problem, length=900.0))) is None
    item = replace(problem.items[0], fixed=Place(0, 0, 0.0, 0.0))
    assert large.divided(prepare(replace(problem, items=(item, *problem.items[1:])))) is None


@pytest.mark.parametrize(
    "rules", [{}, {"grouped": True, "state": True}, {"x": Axis(1.0, 2.5)}], ids=["free", "groups", "lattice"]
)
def test_a_large_lay_holds_all_rules_and_repeats(rules: dict[str, object]) -> None:
    """A large lay holds all rules and repeats."""
    problem = _problem(6, **rules)  # type: ignore[arg-type]
    runs = [solve(problem, Stop(rounds=14), seed=3, workers=1) for _ in range(2)]
    assert runs[0].places == runs[1].places
    assert check.faults(problem, runs[0].places) == []
    lengths = [length for _, length in runs[0].trace]
    assert lengths == sorted(lengths, reverse=True)
    area = sum(abs(_area(i.poses[0].ring)) for i in problem.items)
    assert area / (100.0 * runs[0].length) > 0.7
    if rules.get("grouped"):
        states: dict[int | None, set[int | None]] = {}
        for p in runs[0].places:
            item = problem.items[p.item]
            states.setdefault(item.group, set()).add(item.poses[p.pose].state)
        assert all(len(s) == 1 for s in states.values())
    if rules.get("x"):
        assert all(abs((p.x - 1.0) / 2.5 - round((p.x - 1.0) / 2.5)) < 1e-9 for p in runs[0].places)


def test_it_is_never_longer_than_its_parts_end_to_end() -> None:
    """It is never longer than its parts end to end."""
    problem = _problem(6)
    model = prepare(problem)
    division = large.divided(model)
    assert division is not None and len(division.copies) > 2 and not division.rest
    part = replace(problem, items=tuple(problem.items[i] for i in division.copies[0]))
    # the part is searched with its share of the rounds at most
    alone = solve(part, Stop(rounds=14), seed=1, workers=1)
    lay = large.as_layout(prepare(part), alone.places)
    assert lay is not None
    joined = large.joined(model, division, [lay])
    assert joined.length <= len(division.copies) * alone.length * SIDE / 100.0 + 1e-3
    seen: list[float] = []
    whole = solve(problem, Stop(rounds=14), seed=1, workers=1, start=_places(model, joined),
                  on_better=lambda _, length, __: seen.append(length))  # fmt: skip
    assert whole.length <= len(division.copies) * alone.length + 1e-3
    assert seen == sorted(seen, reverse=True)


def test_windows_close_the_seams_of_a_repeated_lay() -> None:
    """Two triangles to a square, cut so that parts end with a slant: joined by their boxes they waste half a square."""
    lower = np.array([[0.0, 0.0], [50.0, 0.0], [0.0, 50.0]])
    upper = np.array([[50.0, 0.0], [50.0, 50.0], [0.0, 50.0]])
    problem = Problem((PLY,), tuple(Item(f"{k}", (Pose(lower if k % 2 else upper),), kind=k % 2) for k in range(48)))
    result = solve(problem, Stop(rounds=40), seed=0, workers=1)
    assert check.faults(problem, result.places) == []
    assert result.length < 12 * 50.0 * 1.05


def test_other_workers_same_rules() -> None:
    """Other workers same rules."""
    problem = _problem(6)
    one, two = (solve(problem, Stop(rounds=20), seed=5, workers=2) for _ in range(2))
    assert one.places == two.places
    assert check.faults(problem, one.places) == []


def _places(model, layout: Layout) -> tuple[Place, ...]:  # type: ignore[no-untyped-def]
    return tuple(
        model.place(i, int(layout.var[i]), float(layout.cx[i]), float(layout.cy[i])) for i in range(model.n)
    )


def _area(ring: np.ndarray) -> float:  # type: ignore[type-arg]
    x, y = ring[:, 0], ring[:, 1]
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2.0
