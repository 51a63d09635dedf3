"""A caller's executor that hears of a stop at once, in whatever stage waits for it."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future, InvalidStateError
from contextlib import suppress
from typing import Any

__all__ = ["Hearing", "Stopped"]


class Stopped(BaseException):
    """The session was stopped: everything that waits unwinds. It is not an error, so no handler of errors sees it."""


class Hearing(Executor):
    """``executor``, whose futures fail with Stopped once ``stop`` is called. It is never shut down from here."""

    def __init__(self, executor: Executor) -> None:
        self._executor = executor
        self._lock = threading.Lock()
        self._waiting: dict[Future[Any], Future[Any]] = {}
        self.stopped = False

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """As for any executor; Stopped after a stop."""
        outer: Future[Any] = Future()
        outer.set_running_or_notify_cancel()
        with self._lock:
            if self.stopped:
                raise Stopped
            inner = self._executor.submit(fn, *args, **kwargs)
            self._waiting[outer] = inner

        def done(inner: Future[Any]) -> None:
            with self._lock:
                self._waiting.pop(outer, None)
            with suppress(InvalidStateError):
                if inner.cancelled():
                    outer.set_exception(Stopped())
                elif (error := inner.exception()) is not None:
                    outer.set_exception(error)
                else:
                    outer.set_result(inner.result())

        inner.add_done_callback(done)
        return outer

    def stop(self) -> None:
        """Let all that waits unwind; work that has begun runs out by itself."""
        with self._lock:
            self.stopped = True
            waiting = list(self._waiting.items())
        for outer, inner in waiting:
            inner.cancel()
            with suppress(InvalidStateError):
                outer.set_exception(Stopped())
