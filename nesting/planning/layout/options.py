"""How long and how the search may run, and how it tells of its progress."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass

from nesting.model.lay import Lay
from nesting.packing.problem import Stop
from nesting.packing.search.pool import own_workers

__all__ = ["Progress", "SearchOptions", "search_pool", "share_of"]


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


@contextmanager
def search_pool(options: SearchOptions) -> Iterator[Executor | None]:
    """The executor to search with: the caller's, a process pool, or None where one worker does."""
    if options.executor is not None or options.workers <= 1:
        yield options.executor
        return
    with own_workers(options.workers) as pool:
        yield pool
