"""``Session``: one search, started, watched and stopped from anywhere.

The search runs in a child process that leads its own group and sends each better lay through one connection, so the
parent always holds the best, and stopping is closing: nothing has to be asked. With a caller's ``executor`` it runs in
a thread of the caller's process instead, and every wait for that executor hears of the stop.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from queue import SimpleQueue
from types import TracebackType
from typing import Any

from nesting.model.lay import Lay
from nesting.model.order import Order
from nesting.planning.layout.options import SearchOptions
from nesting.resolving.cutting_list import CuttingList
from nesting.resolving.resolve import resolve
from nesting.session import processes
from nesting.session.cluster import ClusterLost
from nesting.session.events import (
    BatchWork,
    Better,
    Event,
    Finished,
    LayWork,
    Proved,
    Reading,
    Refused,
    RemnantsWork,
    Result,
    SoFar,
    Tried,
    Work,
    refused,
)
from nesting.session.hearing import Hearing, Stopped
from nesting.session.working import do, proved

__all__ = ["CUT_SHORT", "Session"]

#: seconds beyond those given after which a lay is ended with the best that is known, if the search has not ended then
GRACE = 1.0
#: what a lay says that was ended so
CUT_SHORT = (
    "the time was over before the search had come to its end: not every spread may have been tried. Lay it again, "
    "or with more --seconds"
)


class Session:
    """One search of ``order``: a lay, or what to buy, leftovers, a batch, as ``work`` says.

    ``cutting_list``: the order's, where the caller has resolved it already. ``on_event`` is called with each event,
    from a thread of the session's own, one after the other; ``events`` gives the same as a stream. ``lays`` and
    ``answer`` are the best so far at any time. A session runs once.
    """

    def __init__(
        self,
        order: Order,
        options: SearchOptions | None = None,
        work: Work | None = None,
        *,
        cutting_list: CuttingList | None = None,
        on_event: Callable[[Event], None] | None = None,
    ) -> None:
        self.order = order
        self._listed = cutting_list
        self.options = options or SearchOptions()
        self.work: Work = LayWork() if work is None else work
        self.lays: tuple[Lay, ...] = ()
        self.answer: Any = None
        self.result: Result | None = None
        self._on_event = on_event
        self._queue: SimpleQueue[Event] = SimpleQueue()
        self._lock = threading.RLock()
        self._stop = threading.Event()
        self._over = threading.Event()
        self._error: BaseException | None = None
        self._thread: threading.Thread | None = None
        self._process: processes.Process | None = None
        self._hearing: Hearing | None = None
        self._rows: set[tuple[str, str, float | None]] = set()
        self._begun: float | None = None
        self._late = False
        #: seconds after which the search itself began: loading and compiling come before
        self._ready: float | None = None
        self._compiled = False

    @property
    def cutting_list(self) -> CuttingList:
        """What the order comes to, resolved once. OrderError where it cannot be."""
        if self._listed is None:
            self._listed = resolve(self.order)
        return self._listed

    # -- from any thread

    def start(self) -> Session:
        """Begin; returns at once. RuntimeError where it has begun before."""
        with self._lock:
            if self._begun is not None:
                raise RuntimeError("a session runs once: make another for another search")
            self._begun = time.monotonic()
            target = self._listen if self.options.executor is None else self._here
            self._thread = threading.Thread(target=target, name="nesting session", daemon=True)
            self._thread.start()
        return self

    def stop(self) -> None:
        """End the search now and keep the best so far. From any thread, as often as you like; it returns at once."""
        self._stop.set()
        if self._hearing is not None:
            self._hearing.stop()
        process = self._process
        if process is not None:
            process.end()

    @property
    def stopping(self) -> bool:
        """Whether ``stop`` was called."""
        return self._stop.is_set()

    @property
    def running(self) -> bool:
        """Whether it has begun and is not over."""
        return self._begun is not None and not self._over.is_set()

    def wait(self, timeout: float | None = None) -> Result | None:
        """Wait for the end. None when ``timeout`` seconds are over before, or when it was stopped before there was
        anything. Raises what refused the work: CannotLayError, ProofError, …; and what ``on_event`` raised."""
        if not self._over.wait(timeout):
            return None
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join()  # it has nothing left to do; with it gone, processes may be forked again
        if self._error is not None:
            raise self._error
        return self.result

    def run(self) -> Result | None:
        """``start`` and ``wait``. KeyboardInterrupt stops it and gives the best so far; it is raised where there is
        none."""
        self.start()
        try:
            return self.wait()
        except KeyboardInterrupt:
            self.stop()
            result = self.wait()
            if result is None:
                raise
            return result

    def events(self) -> Iterator[Event]:
        """The events from the beginning, as they come, up to Finished. For one reader."""
        while True:
            event = self._queue.get()
            yield event
            if isinstance(event, Finished):
                return

    def __enter__(self) -> Session:
        """Start, where that was not done."""
        return self.start() if self._begun is None else self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Stop what still runs."""
        if self.running:
            self.stop()
            self._over.wait()

    # -- in the session's own thread

    def _elapsed(self) -> float:
        return 0.0 if self._begun is None else time.monotonic() - self._begun

    def _tell(self, event: Event) -> None:
        event = replace(event, at=self._elapsed())
        if isinstance(event, Better):
            self.lays = event.lays
        elif isinstance(event, SoFar):
            self.answer = event.answer
        self._queue.put(event)
        if self._on_event is not None:
            self._on_event(event)
        if isinstance(event, Better):
            for lay in event.lays:
                for row in lay.tried:
                    key = (lay.cloth, row.kind, row.lay_length)
                    if key not in self._rows:
                        self._rows.add(key)
                        self._tell(Tried(lay.cloth, row))

    def _deadline(self) -> float | None:
        """Seconds after which a lay ends with what is known; None where nothing bounds it."""
        seconds = self.options.seconds
        if seconds is None or self.options.rounds is not None or not isinstance(self.work, LayWork):
            return None
        # loading takes of the time, but no more than a third of it; compiling, once after installation, nothing
        before = max(0.0, (self._ready or 0.0) - (0.0 if self._compiled else seconds / 3))
        return before + seconds + max(GRACE, 0.05 * seconds)

    def _guarded(self, outcome: Callable[[], Result | None]) -> None:
        """Whatever happens, the session ends: with a result, an error, or nothing."""
        try:
            result = outcome()
            if result is not None:
                for lay, verdict in zip(result.lays, result.verdicts, strict=True):
                    self._tell(Proved(lay.cloth, verdict))
                self.result = replace(result, seconds=self._elapsed())
                self.lays = result.lays
                self.answer = result.answer if result.answer is not None else self.answer
        except BaseException as error:
            self._error = error
            self.result = None
        try:
            if self._error is not None:
                self._tell(refused(self._error, self._elapsed()))
            self._tell(Finished(self.result))
        except BaseException as error:
            self._error = self._error or error
            self._queue.put(Finished(self.result))
        finally:
            self._over.set()

    def _best(self) -> Result | None:
        """What is known, proved, when the search has been ended from outside."""
        stopped = self._stop.is_set()
        if isinstance(self.work, LayWork):
            if not self.lays:
                return None
            told = tuple(replace(lay, notes=(*lay.notes, CUT_SHORT)) for lay in self.lays) if self._late else self.lays
            return Result(told, proved(told, self.order), stopped=stopped)
        if self.answer is None:
            return None
        lays: tuple[Lay, ...] = ()
        if isinstance(self.work, BatchWork | RemnantsWork):
            lays = self.answer.lays
        return Result(lays, proved(lays, self.order), self.answer, stopped)

    def _listen(self) -> None:
        self._guarded(self._by_child)

    def _by_child(self) -> Result | None:
        process = processes.begin()
        self._process = process
        try:
            if self._stop.is_set():
                return None
            options = replace(self.options, on_progress=None, on_lays=None)
            process.connection.send((self.order, self.cutting_list, options, self.work))
            while not self._stop.is_set():
                if not process.connection.poll(self._patience()):
                    if self._late:
                        break
                    continue
                message = process.connection.recv()
                if isinstance(message, Result):
                    return message
                if isinstance(message, Refused):
                    raise message.error
                if isinstance(message, Reading):
                    self._compiled = self._compiled or message.compiling
                elif self._ready is None:
                    self._ready = self._elapsed()
                self._tell(message)
        except (EOFError, OSError):
            if not self._stop.is_set():
                raise RuntimeError("the process that searched has ended without a word") from None
        finally:
            process.end()
            process.connection.close()
        return self._best()

    def _patience(self) -> float:
        """Seconds to wait for the next message; the stop is heard at least this often."""
        deadline = self._deadline()
        if deadline is not None and self.lays and self._elapsed() >= deadline:
            self._late = True
            return 0.0
        return 0.1

    def _here(self) -> None:
        self._guarded(self._by_executor)

    def _by_executor(self) -> Result | None:
        assert self.options.executor is not None
        self._hearing = hearing = Hearing(self.options.executor)

        def tell(event: Event) -> None:
            if self._stop.is_set():
                raise Stopped
            self._tell(event)

        try:
            if self._stop.is_set():
                return None
            return do(self.order, self.cutting_list, replace(self.options, executor=hearing), self.work, tell)
        except Stopped:
            return self._best()
        except ClusterLost:
            best = self._best()
            if best is None:
                raise
            return best  # what was found before is proved here and as good as ever
