"""Worker processes of our own, which end with the search that began them."""

from __future__ import annotations

import copy
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.process import BaseProcess
from typing import Any

__all__ = ["forks", "own_workers"]


#: seconds between two looks at whether the parent is still there
_LOOK = 0.25


def forks() -> bool:
    """Whether worker processes may be forked from this one: then they start with all that it has worked out already."""
    can = "fork" in multiprocessing.get_all_start_methods() and sys.platform != "darwin"
    return can and threading.active_count() == 1


def _ready() -> None:
    """Ctrl-C belongs to the main process, which keeps the best lay; workers finish or are ended by it, and go with it,
    however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_go_with_parent, name="parent", args=(os.getppid(),), daemon=True).start()


def _go_with_parent(parent: int) -> None:
    # not by the parent's sentinel: what is forked holds both of its ends, so it never speaks
    while os.getppid() == parent:
        time.sleep(_LOOK)
    os._exit(1)


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
    pool = ProcessPoolExecutor(number, mp_context=context, initializer=_ready)
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
