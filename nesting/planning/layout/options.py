"""How long and how the search may run, and how it tells of its progress."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

from nesting.model.lay import Lay
from nesting.packing.problem import Stop

__all__ = ["Progress", "SearchOptions", "forks", "search_pool", "share_of"]


@dataclass(frozen=True)
class Progress:
    """One step of a search, for people who wait. ``length`` mm of the best lay so far, None before the first."""

    cloth: str
    doing: str
    share: float
    length: float | None


@dataclass(frozen=True)
class SearchOptions:
    """``seconds`` for each cloth, all spreads together; or ``rounds``, which repeats exactly with the same seed and
    workers. ``executor`` replaces the process pool. ``on_lays`` hears of better lays before the end, not yet proved, at
    most some five times a second: one for each cloth that is laid in this search. ``begun`` (``time.monotonic``): when
    the command began whose seconds these are, as reading and loading take of them; None: now. ``enough``: the search of
    a cloth may end with the first lay that takes no more of it than that, mm, opened out; what rules cost is left out.
    """

    seconds: float | None = 20.0
    rounds: int | None = None
    seed: int = 0
    workers: int = 1
    executor: Executor | None = None
    begun: float | None = None
    enough: float | None = None
    on_progress: Callable[[Progress], None] | None = None
    on_lays: Callable[[tuple[Lay, ...]], None] | None = None

    def __post_init__(self) -> None:
        if self.seconds is None and self.rounds is None:
            raise ValueError("a search needs seconds or rounds to stop by")


def share_of(options: SearchOptions, share: float, *, length: float | None = None) -> Stop:
    """The stop rule for a part of the search."""
    if options.rounds is not None:
        return Stop(None, max(1, round(options.rounds * share)), length)
    assert options.seconds is not None
    return Stop(max(0.05, options.seconds * share), None, length)


def _quiet_worker() -> None:
    """Ctrl-C belongs to the main process, which keeps the best lay; workers finish or are ended by it."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)


def forks() -> bool:
    """Whether worker processes may be forked from this one: then they start with all that it has worked out already."""
    import multiprocessing
    import threading

    can = "fork" in multiprocessing.get_all_start_methods() and sys.platform != "darwin"
    return can and threading.active_count() == 1


@contextmanager
def search_pool(options: SearchOptions) -> Iterator[Executor | None]:
    """The executor to search with: the caller's, a process pool, or None where one worker does."""
    if options.executor is not None or options.workers <= 1:
        yield options.executor
        return
    import multiprocessing

    context = multiprocessing.get_context("fork" if forks() else "spawn")
    pool = ProcessPoolExecutor(options.workers, mp_context=context, initializer=_quiet_worker)
    try:
        yield pool
    except BaseException:
        # What the workers are at is of no use any more; waiting for it would only keep people waiting.
        for process in list((pool._processes or {}).values()):
            process.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
