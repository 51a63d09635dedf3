"""Worker processes of our own, which end with the search that began them."""

from __future__ import annotations

import copy
import multiprocessing
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.process import BaseProcess
from typing import Any

__all__ = ["forks", "own_workers"]


def forks() -> bool:
    """Whether worker processes may be forked from this one: then they start with all that it has worked out already."""
    can = "fork" in multiprocessing.get_all_start_methods() and sys.platform != "darwin"
    return can and threading.active_count() == 1


def _ignore_interrupts() -> None:
    """Ctrl-C belongs to the main process, which keeps the best lay; workers finish or are ended by it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def own_workers(number: int) -> Iterator[Executor]:
    """An executor of ``number`` processes, forked where that is safe, else spawned; they are over when the block is
    left, at once if that is by an exception."""
    # a context of its own, so that the processes which the pool starts by it are known here
    context: Any = copy.copy(multiprocessing.get_context("fork" if forks() else "spawn"))
    process = context.Process
    begun: list[BaseProcess] = []

    def remembered(*args: Any, **kwargs: Any) -> BaseProcess:
        begun.append(process(*args, **kwargs))
        return begun[-1]

    context.Process = remembered
    pool = ProcessPoolExecutor(number, mp_context=context, initializer=_ignore_interrupts)
    try:
        yield pool
    except BaseException:
        # What the workers are at is of no use any more; waiting for it would only keep people waiting.
        for one in begun:
            if one.is_alive():
                one.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
