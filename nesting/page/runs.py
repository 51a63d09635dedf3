"""Runs: the sessions of a page, one after the other, and what they tell, as the page listens to it.

A run searches in processes of the session's own, so the server stays quick and stopping is closing. What is written
when a search has ended (tables, pictures, reports) is written by a thread of the server.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nesting.model.order import Order
from nesting.planning.layout.options import SearchOptions
from nesting.resolving.cutting_list import CuttingList
from nesting.resolving.resolve import resolve
from nesting.session.events import Better, Event, LayWork, Progressed, Reading, Result, SoFar, Work
from nesting.session.processes import warmed
from nesting.session.session import Session

if TYPE_CHECKING:
    from nesting.page.documents import RunKind

__all__ = ["Job", "Run", "Runs"]

Listener = Callable[["Run", dict[str, Any]], None]


@dataclass(frozen=True)
class Job:
    """What a run is to do. ``sha``: of the order's text; ``results``: the folder that answers are written to.

    ``work`` for a lay; the others are made from ``widths``, ``what_if`` and ``stash``. ``seconds`` None and
    ``rounds`` None: the usual time of that kind.
    """

    order: Order
    sha: str
    results: Path
    workers: int
    seconds: float | None = None
    rounds: int | None = None
    seed: int = 0
    cloth: str | None = None
    work: LayWork = field(default_factory=LayWork)
    widths: tuple[str, ...] = ()
    what_if: bool = False
    stash: Path | None = None

    def options(self, usual: float) -> SearchOptions:
        """The search's options, as the command line makes them; ``usual`` seconds where no time is given."""
        seconds = None if self.rounds is not None else usual if self.seconds is None else self.seconds
        return SearchOptions(seconds=seconds, rounds=self.rounds, seed=self.seed, workers=self.workers)


@dataclass
class Run:
    """One search. ``length``: of the best so far, mm; ``found``: whether there is anything to keep; ``problem``: the
    exception that ended it."""

    id: int
    kind: RunKind
    job: Job
    command: str
    begun: float = field(default_factory=time.monotonic)
    state: str = "starting"
    doing: str = "starting"
    share: float = 0.0
    length: float | None = None
    found: bool = False
    problem: BaseException | None = None
    ended: float | None = None
    session: Session | None = None

    @property
    def elapsed(self) -> float:
        """Seconds since it began, or that it took."""
        return (self.ended if self.ended is not None else time.monotonic()) - self.begun

    @property
    def alive(self) -> bool:
        """Whether it is still at work."""
        return self.state in ("starting", "running", "stopping")


class _Nothing(Exception):
    """It was stopped before there was anything."""


class Runs:
    """Starts and ends runs. ``listener`` is called from threads of their own for every event of a run: better {lays},
    answer {document, words}, ended {result}."""

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self._number = 0
        self.run: Run | None = None

    def start(self, kind: RunKind, job: Job, command: str) -> Run:
        """Begin a run; its events come to the listener until it has ended."""
        self._number += 1
        run = self.run = Run(self._number, kind, job, command)
        threading.Thread(target=self._work, args=(run,), name=f"run {run.id}", daemon=True).start()
        return run

    def stop(self, run: Run) -> None:
        """End the search now; what it knows is proved and kept."""
        if run.alive:
            run.state = "stopping"
            if run.session is not None:
                run.session.stop()

    def close(self) -> None:
        """End what runs, at once."""
        if self.run is not None:
            self.stop(self.run)

    def warm(self, note: Callable[[str], None]) -> None:
        """Have the search compiled and loaded; ``note`` hears what takes long. Returns when it is ready."""
        warmed(note)

    # --- in the run's own thread

    def _work(self, run: Run) -> None:
        result: Result | None = None
        try:
            if run.kind == "lay":
                result = self._session(run, run.job.order, None, run.job.options(20.0), run.job.work)
            else:
                document, words = self._answer(run)
                run.found = True
                self._listener(run, {"event": "answer", "document": document, "words": _plain(words)})
        except _Nothing:
            pass
        except BaseException as error:
            run.problem = error
        run.ended = time.monotonic()
        if run.problem is not None:
            run.state = "failed"
        elif run.state == "stopping" or (result is not None and result.stopped):
            run.state = "stopped"
        else:
            run.state, run.share = "done", 1.0
        self._listener(run, {"event": "ended", "result": result})

    def _session(
        self, run: Run, order: Order, listed: CuttingList | None, options: SearchOptions, work: Work
    ) -> Result:
        """The result of one session. Raises what refused it, and _Nothing where it was stopped too early."""
        run.session = Session(
            order, options, work, cutting_list=listed, on_event=lambda event: self._hear(run, event)
        )
        run.session.start()
        if run.state == "stopping":
            run.session.stop()  # asked for before there was a session
        result = run.session.wait()
        if result is None:
            raise _Nothing
        return result

    def _hear(self, run: Run, event: Event) -> None:
        if run.state == "starting":
            run.state = "running"
        if isinstance(event, Better | SoFar):
            run.found = True
        if isinstance(event, Reading):
            run.doing = event.note
        elif isinstance(event, Progressed):
            run.doing = f"{event.cloth}: {event.doing}" if event.cloth else event.doing
            run.share = max(run.share, event.share)
            run.length = event.length if event.length is not None else run.length
        elif isinstance(event, Better) and run.kind == "lay":
            self._listener(run, {"event": "better", "lays": event.lays})
        seconds = run.job.seconds
        if run.kind == "lay" and seconds is not None and run.job.rounds is None:
            run.share = min(1.0, run.elapsed / seconds)

    def _answer(self, run: Run) -> tuple[dict[str, Any], list[object]]:
        from nesting.cli.buying_commands import BUDGET, batch_order_file, buy_order_file, remnants_of_order

        job = run.job
        listed = resolve(job.order)
        options = job.options(60.0 if run.kind == "remnants" else 5.0)
        budget = None if job.rounds is not None else BUDGET if job.seconds is None else job.seconds

        def searching(order: Order, listed: CuttingList, work: Work) -> Result:
            return self._session(run, order, listed, options, work)

        if run.kind == "buy":
            widths = ",".join(job.widths) or None
            return buy_order_file(job.order, listed, widths, job.results, searching, budget=budget,
                                  what_if=job.what_if)  # fmt: skip
        if run.kind == "remnants":
            return remnants_of_order(job.order, listed, job.results, job.stash, searching)
        return batch_order_file(job.order, listed, job.results, searching, budget=budget)


def _plain(words: list[object]) -> list[str]:
    """Tables and sentences for a terminal as plain lines."""
    import io

    from rich.console import Console

    stream = io.StringIO()
    console = Console(file=stream, width=100, color_system=None)
    for one in words:
        console.print(one, highlight=False, markup=False)
    return [line.rstrip() for line in stream.getvalue().splitlines() if line.strip()]

