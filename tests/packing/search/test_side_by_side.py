"""Several workers, executors of other kinds, and runs that repeat."""

from __future__ import annotations

import json
import multiprocessing
import os
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nesting.packing.problem import Axis, Item, NoLayoutFound, PackingError, Place, Problem, Region, Stop
from nesting.packing.search.search import solve
from nesting.packing.search.workers import Slice, packed, run_slice
from tests.packing.judging import copies, either_way, ell, holds, judge, ply, rect
from tests.packing.kernel.test_fields import star

EXAMPLES = int(os.environ.get("NESTING_EXAMPLES", "25"))
OPEN_DATA = Path(__file__).resolve().parents[4] / "shared" / "open-data"


def mixed() -> Problem:
    """A dozen pieces of three kinds."""
    return Problem(
        (ply(),), copies(ell(40, 60, 15), 4, "l") + copies(star(3) * 1.5, 4, "s") + copies(rect(22, 35), 4, "r")
    )


@pytest.mark.parametrize("workers", [1, 2])
def test_rounds_repeat_exactly(workers: int) -> None:
    """The same seed and workers: the same layout, to the last bit; another seed: another one."""
    one = solve(mixed(), Stop(rounds=20), seed=5, workers=workers)
    two = solve(mixed(), Stop(rounds=20), seed=5, workers=workers)
    other = solve(mixed(), Stop(rounds=20), seed=6, workers=workers)
    assert one.places == two.places
    assert one.rounds == two.rounds == 20
    assert other.places != one.places
    assert holds(mixed(), one)


def test_two_workers_by_time() -> None:
    """They end by the time, with a layout that holds and the work of both counted."""
    result = solve(mixed(), Stop(seconds=1.0), workers=2)
    assert holds(mixed(), result)
    assert result.seconds >= 1.0
    assert result.stopped_by == "seconds"
    assert result.rounds > 1


def test_any_executor_serves() -> None:
    """Threads here; the result equals that of processes, as slices carry their memory."""
    with ThreadPoolExecutor(2) as pool:
        threads = solve(mixed(), Stop(rounds=10), seed=1, workers=2, executor=pool)
    assert threads.places == solve(mixed(), Stop(rounds=10), seed=1, workers=2).places


def test_spawned_processes_serve() -> None:
    """Where processes cannot be forked they start from nothing but what is sent."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        result = solve(mixed(), Stop(rounds=4), seed=1, workers=1, executor=pool)
    assert holds(mixed(), result)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_cluster_serves() -> None:
    """Dask's executor on a local cluster fits the same place."""
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        result = solve(mixed(), Stop(rounds=4), seed=1, workers=2, executor=client.get_executor())
    assert holds(mixed(), result)


def test_a_slice_goes_on_where_it_stopped() -> None:
    """Sixty rounds in one slice or in three: the same memory in the end, the perturbations' pool in it."""
    data, key = packed(mixed())

    def run(rounds: int, memory: object) -> object:
        return run_slice(Slice(data, key, 3, rounds, None, None, memory, None, None, 0.0)).memory  # type: ignore[arg-type]

    one = run(60, None)
    two = run(20, run(20, run(20, None)))
    assert one.rng == two.rng  # type: ignore[attr-defined]
    assert np.array_equal(one.incumbent.cx, two.incumbent.cx)  # type: ignore[attr-defined]
    assert [a for a, _ in one.pool] == [a for a, _ in two.pool]  # type: ignore[attr-defined]


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """Problems with every feature, small and strange."""
    plies = draw(st.integers(1, 2))
    height = draw(st.sampled_from([60.0, 100.0]))
    holes = (rect(8, 9, 20, 30),) if draw(st.booleans()) else ()
    regions = tuple(
        Region(rect(1, height if k == 0 else draw(st.sampled_from([height, 45.0]))), holes) for k in range(plies)
    )
    items = []
    for k in range(draw(st.integers(1, 7))):
        shape = draw(st.integers(0, 3))
        size = draw(st.floats(0.5, 1.6))
        ring = (star(draw(st.integers(0, 999))), ell(22, 30, 9), rect(24, 13), rect(9, 9))[shape] * size
        on = draw(st.sampled_from([(0,), (plies - 1,), tuple(range(plies))]))
        more: dict[str, object] = {"plies": on, "tilt": draw(st.sampled_from([0.0, 0.0, 3.0]))}
        if draw(st.integers(0, 4)) == 0:
            more["y"] = Axis(draw(st.floats(16.0, 22.0)), draw(st.sampled_from([0.0, 5.0])))
        if draw(st.integers(0, 5)) == 0:
            more["x"] = Axis(1.0, 9.0)
        poses = either_way(ring, **more)
        group = None
        if draw(st.integers(0, 3)) == 0:
            group = 0
            poses = tuple(type(p)(**{**p.__dict__, "state": s}) for s, p in enumerate(poses))
        items.append(Item(f"i{k}", poses, group=group))
    if draw(st.integers(0, 4)) == 0:
        items.append(Item("fixed", either_way(rect(10, 10)), fixed=Place(len(items), 0, 40.0, 5.0)))
    return Problem(regions, tuple(items), 250.0 if draw(st.integers(0, 5)) == 0 else None)


@given(problems(), st.integers(0, 99))
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_overlap_in_any_problem(problem: Problem, seed: int) -> None:
    """Whatever is asked, what comes back holds; what is refused is refused in words."""
    if problem.length is not None:
        regions = tuple(Region(r.outline * np.array([[250.0, 1.0]]), r.holes) for r in problem.plies)
        problem = Problem(regions, problem.items, problem.length)
    try:
        result = solve(problem, Stop(rounds=3, seconds=6.0), seed=seed)
    except NoLayoutFound as error:
        assert judge(problem, error.places, some=True) == []
        return
    except PackingError as error:
        assert len(str(error)) > 20
        return
    assert judge(problem, result.places) == []
    assert result.length >= result.bound.length * (1.0 - 1e-6)


def instance(name: str) -> tuple[Problem, float, float]:
    """Problem, area and width of an academic instance."""
    path = OPEN_DATA / f"{name}.json"
    if not path.exists():
        pytest.skip(f"{path} is not there: the open data are not part of the repository")
    data = json.loads(path.read_text())
    items, area = [], 0.0
    for entry in data["items"]:
        ring = np.array(entry["outline"], dtype=float)
        x, y = ring.T
        twice = float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
        ring = ring if twice > 0 else ring[::-1]
        area += abs(twice) / 2 * entry["quantity"]
        turns = {0.0: ring, 180.0: -ring, 90.0: ring @ [[0, 1], [-1, 0]], 270.0: ring @ [[0, -1], [1, 0]]}
        poses = tuple(type(either_way(ring)[0])(turns[r]) for r in entry["rotations"])
        items += [Item(f"{len(items)}", poses, kind=id(entry)) for _ in range(entry["quantity"])]
    return Problem((ply(float(data["width"])),), tuple(items)), area, float(data["width"])


@pytest.mark.slow
@pytest.mark.parametrize(("name", "least"), [("shirts", 83.0), ("albano", 84.0), ("mao", 79.0)])
def test_academic_instances(name: str, least: float) -> None:
    """A few rounds reach 93 % of the densities published by Elkeran (2013), EJOR 231, and hold."""
    problem, area, width = instance(name)
    result = solve(problem, Stop(rounds=40, seconds=20.0), seed=0)
    assert holds(problem, result)
    assert 100.0 * area / (width * result.length) > least


@pytest.mark.slow
def test_a_jigsaw_is_solved() -> None:
    """Dighe, Jakiela (1996), ten pieces: the known optimum is 100."""
    problem, _, _ = instance("dighe2")
    result = solve(problem, Stop(rounds=1500, seconds=60.0), seed=0)
    assert result.length == pytest.approx(100.0, rel=1e-6)
    assert result.stopped_by == "bound"
    assert holds(problem, result)
