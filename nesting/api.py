"""The public functions: lay, by way of a session."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import replace

from nesting.model.lay import Lay
from nesting.model.order import Order, SpreadName
from nesting.planning.layout.options import Progress, SearchOptions
from nesting.planning.layout.solve import Keep
from nesting.proof import Verdict
from nesting.resolving.resolve import resolve
from nesting.session.events import Event, LayWork, Progressed
from nesting.session.session import Session
from nesting.session.working import do

__all__ = ["lay", "lay_proved"]


def lay(
    order: Order,
    *,
    seconds: float | None = 20.0,
    rounds: int | None = None,
    seed: int = 0,
    workers: int | None = None,
    spread: SpreadName | None = None,
    start: Lay | None = None,
    keep: Sequence[Keep] = (),
    executor: Executor | None = None,
    on_event: Callable[[Event], None] | None = None,
    on_progress: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> tuple[Lay, ...]:
    """One proved lay for each cloth that the order cuts from.

    ``seconds`` for the whole, all cloths together, or ``rounds`` to repeat exactly (same seed, same workers). ``start``
    is a lay of one of the cloths to begin from; ``keep`` (piece, copy) stays where it has it. ``on_event`` hears of all
    that happens, ``on_progress`` only how far it is. ``stop`` is asked several times a second and ends the search with
    the best so far as soon as it answers True, as KeyboardInterrupt does. Without an ``executor`` the search runs in a
    process of its own. Raises CannotLayError if something cannot lie (which piece and why), ProofError if a lay does
    not stand its proof, KeyboardInterrupt if it is stopped before there is a first lay.
    """
    options = SearchOptions(
        seconds=None if rounds is not None else seconds,
        rounds=rounds,
        seed=seed,
        workers=workers or os.cpu_count() or 1,
        executor=executor,
    )

    def hear(event: Event) -> None:
        if on_event is not None:
            on_event(event)
        if on_progress is not None and isinstance(event, Progressed):
            on_progress(Progress(event.cloth, event.doing, event.share, event.length))

    session = Session(order, options, LayWork(spread, start, tuple(keep)), on_event=hear).start()
    try:
        while session.running:
            session.wait(0.1)
            if stop is not None and stop():
                session.stop()
        result = session.wait()
    except KeyboardInterrupt:
        session.stop()
        result = session.wait()
    if result is None:
        raise KeyboardInterrupt
    return result.lays


def lay_proved(
    order: Order,
    options: SearchOptions,
    *,
    spread: SpreadName | None = None,
    start: Lay | None = None,
    keep: Sequence[Keep] = (),
) -> tuple[tuple[Lay, Verdict], ...]:
    """The same right here, in this process, with ready-made options; each lay with its proof."""

    def hear(event: Event) -> None:
        if options.on_progress is not None and isinstance(event, Progressed):
            options.on_progress(Progress(event.cloth, event.doing, event.share, event.length))

    quiet = replace(options, on_progress=None)
    result = do(order, resolve(order), quiet, LayWork(spread, start, tuple(keep)), hear)
    return tuple(zip(result.lays, result.verdicts, strict=True))
