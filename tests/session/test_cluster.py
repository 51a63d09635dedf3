"""A Dask scheduler and two workers as processes of their own; one is killed on the way."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from nesting.model.errors import InputError
from nesting.packing.problem import Item, Place, Pose, Problem, Region, Stop
from nesting.packing.search.search import solve
from nesting.session import cluster
from nesting.session.cluster import Cluster

pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore")]
ROOT = Path(__file__).parents[2]
DEMO = ROOT / "fixtures" / "demo" / "briefs-six.toml"


class _There:
    """A scheduler and its workers."""

    def __init__(self, folder: Path) -> None:
        self._file, self._env = folder / "scheduler.json", {**os.environ, "PYTHONPATH": str(ROOT)}
        self._folder = folder
        self.scheduler = self._start("dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")
        while not self._file.exists() or not self._file.read_text(encoding="utf-8").strip():
            assert self.scheduler.poll() is None, "the scheduler did not start"
            time.sleep(0.05)
        self.address = json.loads(self._file.read_text(encoding="utf-8"))["address"]
        self.workers: list[subprocess.Popen[bytes]] = []

    def _start(self, module: str, *more: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, "-m", f"distributed.cli.{module}", "--scheduler-file", str(self._file), *more],
            env=self._env,
            cwd=self._folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def worker(self) -> None:
        """One worker more."""
        self.workers.append(self._start("dask_worker", "--nthreads", "1", "--no-nanny", "--no-dashboard"))

    def until(self, count: int) -> None:
        """Wait until the scheduler knows so many workers."""
        from distributed import Client

        with Client(self.address, set_as_default=False) as client:
            while len(client.nthreads()) != count:
                time.sleep(0.05)

    def end(self) -> None:
        """End what runs."""
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()


@pytest.fixture
def there(tmp_path: Path) -> Iterator[_There]:
    """They end with the test."""
    pytest.importorskip("distributed", reason="Dask (the extra 'cluster') is not installed")
    made = _There(tmp_path)
    try:
        yield made
    finally:
        made.end()


def _problem() -> Problem:
    ring = np.array([[0, 0], [40, 0], [40, 12], [12, 12], [12, 55], [0, 55]], dtype=float)
    small = np.array([[0, 0], [19, 0], [19, 27], [0, 27]], dtype=float)
    items = [Item(f"{k}", (Pose(r), Pose(-r)), kind=k % 2) for k, r in enumerate([ring, small] * 7)]
    return Problem((Region(np.array([[0, 0], [100, 0], [100, 100], [0, 100]], dtype=float)),), tuple(items))


def test_a_worker_that_is_killed_costs_only_its_slice(there: _There) -> None:
    """By rounds the lay is the one that our own processes find, though one of two workers is killed in the middle."""
    there.worker()
    there.worker()
    there.until(2)
    lengths: list[float] = []

    def better(_: float, length: float, __: tuple[Place, ...]) -> None:
        lengths.append(length)
        if len(lengths) == 2:  # the first is the plain layout, before any slice
            there.workers[0].kill()

    own = solve(_problem(), Stop(rounds=60), seed=1, workers=2)
    with Cluster(there.address) as executor:
        assert executor.workers == 2
        far = solve(_problem(), Stop(rounds=60), seed=1, workers=2, executor=executor, on_better=better)
    assert there.workers[0].wait() != 0 and there.workers[1].poll() is None
    assert far.places == own.places
    assert far.rounds == own.rounds == 60


def test_the_command_gives_the_same_lay_there_as_here(there: _There, tmp_path: Path) -> None:
    """``--rounds`` with the same number of workers: placements alike to the last digit."""
    there.worker()
    there.worker()
    there.until(2)
    found = []
    for more in ([], ["--cluster", there.address]):
        folder = tmp_path / str(len(found))
        done = subprocess.run(
            [sys.executable, "-m", "nesting.cli", "lay", str(DEMO), "-o", str(folder), "--rounds", "4",
             "--workers", "2", *more],
            env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        lays = {p.name: json.loads(p.read_text(encoding="utf-8")) for p in sorted(folder.glob("lay-*.json"))}
        found.append({name: lay["placements"] for name, lay in lays.items()})
    assert found[0] and found[0] == found[1]


def test_other_versions_are_refused(there: _There, monkeypatch: pytest.MonkeyPatch) -> None:
    """At the beginning, and where a worker comes later: in one sentence that names what differs."""
    there.worker()
    there.until(1)
    with Cluster(there.address) as executor:
        assert executor.submit(sum, (1, 2)).result() == 3
        mine = cluster.versions()
        monkeypatch.setattr(cluster, "versions", lambda: {**mine, "numba": "0.1"})
        with pytest.raises(InputError) as late:
            executor.submit(sum, (1, 2)).result()
        assert late.value.code == "cluster.versions"
        with pytest.raises(InputError) as early:
            Cluster(there.address)
    assert early.value.code == "cluster.versions" and early.value.exit_code == 2
    assert early.value.figures["differing"] == ("numba",)
    assert f"numba {mine['numba']} there, 0.1 here" in str(early.value)


def test_without_workers_work_is_given_up(there: _There, monkeypatch: pytest.MonkeyPatch) -> None:
    """None from the beginning, none that is left, no scheduler at all: a sentence each, and nobody waits for ever."""
    monkeypatch.setattr(cluster, "_FIRST", 0.2)
    with pytest.raises(InputError) as none:
        Cluster(there.address)
    assert none.value.code == "cluster.no-workers"
    monkeypatch.setattr(cluster, "_NONE_LEFT", 0.0)
    monkeypatch.setattr(cluster, "_LOOK", 0.1)
    there.worker()
    there.until(1)
    with Cluster(there.address) as executor:
        work = executor.submit(time.sleep, 600.0)
        there.workers[0].kill()
        with pytest.raises(InputError) as lost:
            work.result()
    assert lost.value.code == "cluster.lost"
    there.scheduler.kill()
    there.scheduler.wait()
    monkeypatch.setattr(cluster, "_ANSWER", 0.5)
    with pytest.raises(InputError) as gone:
        Cluster(there.address)
    assert gone.value.code == "cluster.unreachable"


def test_without_dask_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """The extra is named."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError) as no:
        Cluster("tcp://127.0.0.1:1")
    assert no.value.code == "cluster.no-dask" and "nesting[cluster]" in str(no.value)
