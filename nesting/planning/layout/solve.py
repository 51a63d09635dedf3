"""Lay a whole order: each cloth by itself, then second cloths over their leaders."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from nesting.cloth.spreads import sound_spreads
from nesting.model.errors import OrderError
from nesting.model.lay import Lay
from nesting.model.order import Order, SpreadName
from nesting.planning.layout.demand import garment_counts, stacks_of
from nesting.planning.layout.limits import within_limits
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions, search_pool
from nesting.planning.layout.second_cloth import COMPARED, laid_together, only_followers
from nesting.planning.layout.stages import first_lay, warm_for
from nesting.planning.layout.trials import Keep, Search
from nesting.planning.layout.wording import why_never

__all__ = ["Keep", "SearchOptions", "laid_together", "lay_cloth", "lay_order", "why_never"]


def lay_order(
    order: Order,
    options: SearchOptions,
    *,
    spread: SpreadName | None = None,
    start: Lay | None = None,
    keep: Sequence[Keep] = (),
    divide: Callable[[Lay, SearchOptions], Lay] | None = None,
) -> tuple[Lay, ...]:
    """One lay for each cloth that the order cuts from; see ``lay_cloth``. ``start`` and ``keep`` belong to one of them.
    ``divide`` may divide a lay that is too long for the table into sections.

    A second cloth whose pieces are cut together with leaders of another cloth lies over those leaders.
    """
    counts = garment_counts(order)
    if not any(counts.values()):
        raise OrderError(
            "nothing to cut: every count is 0", file=order.path, key="garment", code="order.nothing-to-cut"
        )
    with search_pool(options) as pool:
        shared = replace(options, executor=pool)
        if options.executor is None:
            for number, cloth in enumerate(order.cloths):
                if stacks := stacks_of(order, cloth):
                    ahead = Search(order, cloth, stacks, shared, pool, None)
                    if number == 0:
                        first_lay(ahead, sound_spreads(cloth, None, spread)[0][:1])
                    warm_for(ahead)
        lays: list[Lay] = []
        for cloth in order.cloths:
            if not stacks_of(order, cloth):
                continue
            own = start if start is not None and start.cloth == cloth.name else None
            kept = keep if own is not None else ()
            part = shared
            if only_followers(order, cloth.name) and shared.seconds is not None:
                # its own lay is only compared with: it is cut where its leaders lie
                part = replace(shared, seconds=shared.seconds * COMPARED)
            found = lay_cloth(order, cloth.name, part, spread=spread, start=own, keep=kept)
            lays.append(within_limits(order, found if divide is None else divide(found, part)))
        return laid_together(order, tuple(lays), shared, continued=start is not None)
