"""What a run does, in a process of its own: search, and tell of it through one pipe.

The process leads its own group, so that it and its workers are ended together; it tells of every lay as soon as there
is one, so that ending it loses little. When the server goes, however that happens, the other end of ``life`` is
closed, and the group ends itself.
"""

from __future__ import annotations

import contextlib
import os
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nesting.model.lay import Lay
    from nesting.model.order import Order
    from nesting.planning.layout.options import Progress, SearchOptions
    from nesting.session.events import Event, Result, Work

__all__ = ["run"]

#: seconds of the first search, whose lay is only to be seen soon
FIRST = 1.0


def run(pipe: Connection, life: Connection, job: dict[str, Any]) -> None:
    """Do ``job`` and send what it gives: dicts with ``event`` progress, lay, answer, failed, done."""
    with contextlib.suppress(AttributeError, OSError):
        os.setsid()
    watching: list[threading.Thread] = []

    def tell(message: dict[str, Any]) -> None:
        with contextlib.suppress(OSError):
            pipe.send(message)
        if not watching:
            # only now: worker processes are forked while there is one thread
            watching.append(threading.Thread(target=_end_with_parent, args=(life,), daemon=True))
            watching[0].start()

    try:
        if job["kind"] == "warm":
            _warm(tell)
        elif job["kind"] == "lay":
            _lay(job, tell)
        else:
            _answer(job, tell)
        tell({"event": "done"})
    except KeyboardInterrupt:
        tell({"event": "done", "stopped": True})
    except BaseException as error:
        tell({"event": "failed", "error": _portable(error)})
    finally:
        pipe.close()


def _portable(error: BaseException) -> BaseException:
    """The error, if it survives the way through the pipe."""
    import pickle

    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return RuntimeError(f"{type(error).__name__}: {error}")
    return error


def _end_with_parent(life: Connection) -> None:
    with contextlib.suppress(EOFError, OSError):
        life.recv()
    with contextlib.suppress(OSError, AttributeError):
        os.killpg(os.getpid(), signal.SIGKILL)
    os._exit(1)


def _warm(tell: Callable[[dict[str, Any]], None]) -> None:
    from nesting.packing.search.warm import warm_up

    warm_up(lambda note: tell({"event": "progress", "doing": note, "share": 0.0, "length": None}))


def _options(job: dict[str, Any], tell: Callable[[dict[str, Any]], None], cloths: int = 1) -> SearchOptions:
    from nesting.planning.layout.options import SearchOptions

    begun = time.monotonic()

    def step(progress: Progress) -> None:
        share = progress.share
        if job.get("seconds") and job["rounds"] is None and job["kind"] == "lay":
            share = min(1.0, (time.monotonic() - begun) / (job["seconds"] * max(1, cloths)))
        tell(
            {
                "event": "progress",
                "doing": f"{progress.cloth}: {progress.doing}" if progress.cloth else progress.doing,
                "share": share,
                "length": progress.length,
            }
        )

    return SearchOptions(
        seconds=None if job["rounds"] is not None else job["seconds"] or 20.0,
        rounds=job["rounds"],
        seed=job["seed"],
        workers=job["workers"],
        on_progress=step,
    )


def _order(job: dict[str, Any]) -> Order:
    from nesting.files.orders.order import order_from

    return order_from(job["text"].encode("utf-8"), Path(job["path"]))


def _lay(job: dict[str, Any], tell: Callable[[dict[str, Any]], None]) -> None:
    from nesting.api import lay_proved
    from nesting.files.lays.layfile import read_lay
    from nesting.model.identity import with_ids

    order = _order(job)
    start = with_ids(read_lay(Path(job["start"])), order) if job["start"] else None
    keep = tuple(str(one) for one in job["keep"])
    options = _options(job, tell, len(order.cloths))
    seconds = options.seconds
    if start is None and (options.rounds is not None or (seconds or 0) > 3 * FIRST):
        # something to look at within three seconds; the search that counts begins by itself, as on the command line
        first = replace(options, seconds=FIRST, rounds=None, on_progress=None)
        for one, _ in lay_proved(order, first, spread=job["spread"]):
            _send(tell, one, final=False)
        if seconds is not None:
            options = replace(options, seconds=max(1.0, seconds - 2 * FIRST))
    for one, _ in lay_proved(order, options, spread=job["spread"], start=start, keep=keep):
        _send(tell, one, final=True)


def _send(tell: Callable[[dict[str, Any]], None], lay: Lay, *, final: bool) -> None:
    from nesting.files.lays.layfile import lay_as_bytes

    tell(
        {
            "event": "lay",
            "cloth": lay.cloth,
            "spread": "sections" if len(lay.sections) > 1 else lay.sections[0].spread.kind,
            "lay_length": lay.lay_length,
            "buy_length": lay.buy_length,
            "content": lay_as_bytes(lay),
            "final": final,
        }
    )


def _hear(event: Event, options: SearchOptions, tell: Callable[[dict[str, Any]], None]) -> None:
    from nesting.planning.layout.options import Progress
    from nesting.session.events import Better, Progressed

    if isinstance(event, Progressed) and options.on_progress is not None:
        options.on_progress(Progress(event.cloth, event.doing, event.share, event.length))
    elif isinstance(event, Better):
        for one in event.lays:
            _send(tell, one, final=False)


def _answer(job: dict[str, Any], tell: Callable[[dict[str, Any]], None]) -> None:
    from nesting.cli.buying_commands import BUDGET, batch_order_file, buy_order_file, remnants_of_order
    from nesting.session.working import do

    order = _order(job)
    given = job["seconds"] is not None or job["rounds"] is not None
    options = _options({**job, "seconds": job["seconds"] or (60.0 if job["kind"] == "remnants" else 5.0)}, tell)

    def searching(order: Order, work: Work) -> Result:
        return do(order, options, work, lambda event: _hear(event, options, tell))

    folder = Path(job["results"])
    if job["kind"] == "buy":
        document, words = buy_order_file(
            order, ",".join(job["widths"]) or None, folder, searching, budget=None if given else BUDGET
        )
    elif job["kind"] == "remnants":
        stash = Path(job["stash"]) if job["stash"] else None
        document, words = remnants_of_order(order, folder, stash, searching)
    else:
        document, words = batch_order_file(order, folder, searching, budget=None if given else BUDGET)
    tell({"event": "answer", "document": document, "words": _plain(words)})


def _plain(words: list[Any]) -> list[str]:
    """Tables and sentences for a terminal as plain lines."""
    import io

    from rich.console import Console

    stream = io.StringIO()
    console = Console(file=stream, width=100, color_system=None)
    for one in words:
        console.print(one, highlight=False, markup=False)
    return [line.rstrip() for line in stream.getvalue().splitlines() if line.strip()]
