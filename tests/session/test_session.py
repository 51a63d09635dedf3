"""A session from the outside: what it tells, that stopping keeps the best, and that nothing of it stays behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from nesting.model.errors import CannotLayError
from nesting.model.order import Cloth, Garment, Order
from nesting.planning.layout.options import SearchOptions
from nesting.proof import prove
from nesting.session import processes
from nesting.session.events import Better, Event, Finished, LayWork, Refused
from nesting.session.session import Session
from tests.planning.area_lays import order_of, rectangle

#: seconds: long enough for any machine; nothing waits for it but a failure
LONG = 600.0


def small(width: float = 1000.0, count: int = 3) -> Order:
    """A few rectangles on plain cloth."""
    return order_of(
        [rectangle("panel", 330, 210, cut=2)], [Garment("g", None, count, ("panel",))], [Cloth("main", width)]
    )


def few(**more: object) -> SearchOptions:
    """A search by rounds in one process."""
    return SearchOptions(seconds=None, rounds=3, workers=1, **more)  # type: ignore[arg-type]


def test_events_lead_to_a_proved_result() -> None:
    """Better lays carry their placements, the last event is Finished, and the result stands the proof."""
    order = small()
    told: list[Event] = []
    result = Session(order, few(), on_event=told.append).run()
    assert result is not None and not result.stopped
    betters = [e for e in told if isinstance(e, Better)]
    assert betters and all(lay.placements for e in betters for lay in e.lays)
    assert isinstance(told[-1], Finished) and told[-1].result is not None
    assert all(prove(lay, order).ok for lay in result.lays)
    spreads = result.by_spread("main")
    assert {t.kind for t in result.lays[0].tried if t.lay_length} == set(spreads)
    for kind, lay in spreads.items():
        assert prove(lay, order).ok, kind


def test_a_stop_keeps_the_best() -> None:
    """Three sessions one after the other, each stopped at its first lay: each gives a proved lay of the whole order."""
    order = small()
    for _ in range(3):
        session = Session(order, SearchOptions(seconds=LONG, workers=2))
        for event in session.start().events():
            if isinstance(event, Better):
                session.stop()
        result = session.wait()
        assert result is not None and result.stopped
        assert all(prove(lay, order).ok for lay in result.lays)


def test_without_a_launcher_a_fresh_process_does_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """As where forking is not safe: the same result, and a stop keeps the best."""
    monkeypatch.setattr(processes, "_FRESH", True)
    order = small()
    whole = Session(order, few()).run()
    assert whole is not None and all(prove(lay, order).ok for lay in whole.lays)
    session = Session(order, SearchOptions(seconds=LONG, workers=2))
    for event in session.start().events():
        if isinstance(event, Better):
            session.stop()
    result = session.wait()
    assert result is not None and result.stopped


def test_a_stop_before_the_first_lay_gives_nothing() -> None:
    """There is no result then, and no error either."""
    session = Session(small(), SearchOptions(seconds=LONG, workers=2))
    session.stop()
    assert session.run() is None


def test_a_refusal_is_an_event_and_an_error() -> None:
    """What cannot lie is told with its kind, and raised by ``wait``."""
    told: list[Event] = []
    with pytest.raises(CannotLayError):
        Session(small(width=100.0), few(), on_event=told.append).run()
    (no,) = [e for e in told if isinstance(e, Refused)]
    assert no.code == "CannotLayError"


def test_with_an_executor_it_runs_here_and_hears_a_stop() -> None:
    """The caller's executor does the search; a stop ends the session though the executor is still at work."""
    order = small()
    with ThreadPoolExecutor(2) as pool:
        session = Session(order, SearchOptions(seconds=2.0, workers=2, executor=pool), LayWork(spread="open"))
        for event in session.start().events():
            if isinstance(event, Better):
                session.stop()
        result = session.wait()
    assert result is not None and result.lays


SCRIPT = """
import sys, time, nesting
from nesting.planning.layout.options import SearchOptions
order = nesting.load_order(sys.argv[1])
session = nesting.Session(order, SearchOptions(seconds=600.0, workers=2)).start()
for event in session.events():
    if type(event).__name__ == "Better":
        print("laid", flush=True)
"""


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks into /proc")
def test_nothing_stays_behind_a_parent_that_is_killed(tmp_path: Path) -> None:
    """A plain script without a guard around its main part is killed in the middle: soon none of its processes is left.
    They are known by a mark in their environment."""
    demo = Path(__file__).parents[2] / "fixtures" / "demo" / "briefs-six.toml"
    script = tmp_path / "plain.py"
    script.write_text(SCRIPT, encoding="utf-8")
    mark = f"NESTING_MARK={os.getpid()}-{time.monotonic_ns()}"
    name, value = mark.split("=")
    parent = subprocess.Popen(
        [sys.executable, str(script), str(demo)], stdout=subprocess.PIPE, env={**os.environ, name: value}
    )
    assert parent.stdout is not None
    assert parent.stdout.readline() == b"laid\n"
    parent.stdout.close()
    assert len(_marked(mark)) > 1
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    for _ in range(200):  # far longer than it takes, for a loaded machine
        if not _marked(mark):
            return
        time.sleep(0.1)
    raise AssertionError(_marked(mark))


def _marked(mark: str) -> list[str]:
    found = []
    for path in Path("/proc").glob("[0-9]*/environ"):
        try:
            if mark.encode() in path.read_bytes().split(b"\0"):
                found.append(path.parent.name)
        except OSError:
            continue
    return found
