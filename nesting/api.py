"""The public functions: read, lay, prove."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import Executor

from nesting.model.lay import Lay
from nesting.model.order import Order, SpreadName
from nesting.planning.layout.options import Progress, SearchOptions
from nesting.planning.layout.solve import Keep, lay_order
from nesting.proof import Verdict, require

__all__ = ["lay", "lay_proved"]


def lay(
    order: Order,
    *,
    seconds: float | None = 20.0,
    rounds: int | None = None,
    seed: int = 0,
    workers: int | None = None,
    spread: SpreadName | None = None,
    executor: Executor | None = None,
    on_progress: Callable[[Progress], None] | None = None,
) -> tuple[Lay, ...]:
    """One proved lay for each cloth that the order cuts from.

    ``seconds`` of search for each cloth, or ``rounds`` to repeat exactly (same seed, same workers). Raises
    CannotLayError if something cannot lie (which piece and why), ProofError if a lay does not stand its proof.
    """
    options = SearchOptions(
        seconds=None if rounds is not None else seconds,
        rounds=rounds,
        seed=seed,
        workers=workers or os.cpu_count() or 1,
        executor=executor,
        on_progress=on_progress,
    )
    return tuple(one for one, _ in lay_proved(order, options, spread=spread))


def lay_proved(
    order: Order,
    options: SearchOptions,
    *,
    spread: SpreadName | None = None,
    start: Lay | None = None,
    keep: Sequence[Keep] = (),
) -> tuple[tuple[Lay, Verdict], ...]:
    """``lay`` with ready-made options, each lay with its proof; ``start`` is a lay of one of the cloths to continue
    from, ``keep`` stays."""
    def divide(lay: Lay, part: SearchOptions) -> Lay:
        from nesting.planning.batch.on_table import divided

        return divided(order, lay, part)

    lays = lay_order(order, options, spread=spread, start=start, keep=keep, divide=divide)
    by_cloth = {one.cloth: one for one in lays}
    return tuple((one, require(one, order, first=by_cloth.get(one.leaders_on or ""))) for one in lays)
