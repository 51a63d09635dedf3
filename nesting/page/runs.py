"""Runs: searches in child processes, so that the server stays quick and stopping is closing.

The server never forks: a fork server, started fresh, holds the compiled search and forks each run from there (spawned
where there is no fork server). One pipe per run brings its events; a second one, on which nothing is ever said, tells
the run that the server lives.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from nesting.page import run_child

__all__ = ["Run", "Runs"]

#: seconds that a run that was asked to stop may take to send its best
GRACE = 4.0

Listener = Callable[["Run", dict[str, Any]], None]


@dataclass
class Run:
    """One search. ``length``: of the best so far, mm; ``problem``: the exception that ended it."""

    id: int
    kind: str
    job: dict[str, Any]
    command: str
    begun: float = field(default_factory=time.monotonic)
    state: str = "starting"
    doing: str = "starting"
    share: float = 0.0
    length: float | None = None
    problem: BaseException | None = None
    ended: float | None = None
    process: Any = None
    life: Connection | None = None

    @property
    def elapsed(self) -> float:
        """Seconds since it began, or that it took."""
        return (self.ended if self.ended is not None else time.monotonic()) - self.begun

    @property
    def alive(self) -> bool:
        """Whether it is still at work."""
        return self.state in ("starting", "running", "stopping")


class Runs:
    """Starts and ends runs. ``listener`` is called from a thread of its own for every event of a run."""

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self._number = 0
        methods = multiprocessing.get_all_start_methods()
        self._context: Any = multiprocessing.get_context("forkserver" if "forkserver" in methods else "spawn")
        if "forkserver" in methods:
            self._context.set_forkserver_preload(["nesting.page.preload"])
        self.runs: list[Run] = []

    def start(self, kind: str, job: dict[str, Any], command: str) -> Run:
        """Begin a run; its events come to the listener until it has ended."""
        self._number += 1
        run = Run(self._number, kind, {**job, "kind": kind}, command)
        mine, theirs = self._context.Pipe(duplex=False)
        watched, held = self._context.Pipe(duplex=False)
        process = self._context.Process(target=run_child.run, args=(theirs, watched, run.job), daemon=False)
        process.start()
        theirs.close()
        watched.close()
        run.process, run.life = process, held
        self.runs = [*(one for one in self.runs if one.alive), run]
        threading.Thread(target=self._listen, args=(run, mine), daemon=True).start()
        return run

    def stop(self, run: Run) -> None:
        """Ask a run for its best, and end it soon whether it answers or not."""
        if not run.alive or run.state == "stopping":
            return
        run.state = "stopping"
        with contextlib.suppress(OSError):
            os.kill(run.process.pid, signal.SIGINT)
        threading.Thread(target=self._end_soon, args=(run,), daemon=True).start()

    def _end_soon(self, run: Run) -> None:
        run.process.join(GRACE)
        self.end(run)

    def end(self, run: Run) -> None:
        """End a run and all its workers at once."""
        # its workers may outlive it, so the group is ended whether it lives or not
        with contextlib.suppress(OSError, AttributeError):
            os.killpg(run.process.pid, signal.SIGKILL)
        with contextlib.suppress(OSError, ValueError, AttributeError):
            run.process.kill()

    def close(self) -> None:
        """End all runs."""
        for run in self.runs:
            if run.alive:
                self.end(run)

    def _listen(self, run: Run, pipe: Connection) -> None:
        last: dict[str, Any] | None = None
        try:
            while True:
                message = pipe.recv()
                if message["event"] == "progress":
                    run.state = "running" if run.state == "starting" else run.state
                    run.doing, run.share = message["doing"], max(run.share, message["share"])
                    run.length = message["length"] if message["length"] is not None else run.length
                elif message["event"] in ("done", "failed"):
                    last = message
                    break
                self._listener(run, message)
        except (EOFError, OSError):
            pass
        finally:
            pipe.close()
        run.process.join(2.0)
        self.end(run)
        if run.life is not None:
            run.life.close()
        run.ended = time.monotonic()
        if last is not None and last["event"] == "failed" and run.state != "stopping":
            run.problem = last["error"]
            run.state = "failed"
        elif run.state == "stopping" or (last is not None and last.get("stopped")):
            run.state = "stopped"
        elif last is None:
            run.problem = RuntimeError("the search ended without a word")
            run.state = "failed"
        else:
            run.state, run.share = "done", 1.0
        self._listener(run, {"event": "ended"})
