"""Lay a whole order: each cloth by itself, then second cloths over their leaders."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from nesting.cloth.spreads import sound_spreads
from nesting.model.errors import CannotLayError, OrderError
from nesting.model.lay import Lay
from nesting.model.order import Cloth, SpreadName
from nesting.planning.layout.demand import stacks_of
from nesting.planning.layout.laying import garment_area
from nesting.planning.layout.limits import within_limits
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions, search_pool
from nesting.planning.layout.second_cloth import COMPARED, at_once, laid_together
from nesting.planning.layout.stages import first_lay, warm_for
from nesting.planning.layout.starts import lying_in
from nesting.planning.layout.trials import Keep, Search
from nesting.planning.layout.wording import why_never
from nesting.resolving.cutting_list import CuttingList

__all__ = ["Keep", "SearchOptions", "laid_together", "lay_cloth", "lay_order", "why_never"]


def lay_order(
    listed: CuttingList,
    options: SearchOptions,
    *,
    spread: SpreadName | None = None,
    start: Lay | None = None,
    keep: Sequence[Keep] = (),
    divide: Callable[[Lay, SearchOptions], Lay] | None = None,
    known: Mapping[str, Lay] | None = None,
) -> tuple[Lay, ...]:
    """One lay for each cloth that the order cuts from; see ``lay_cloth``. ``start`` and ``keep`` belong to one of them.
    ``divide`` may divide a lay that is too long for the table into sections. ``known``: cloth -> a lay of it to begin
    from, in which nothing need stay.

    A second cloth whose pieces are cut together with leaders of another cloth lies over those leaders.
    """
    counts = listed.counts
    if not any(counts.values()):
        raise OrderError(
            "nothing to cut: every count is 0", file=listed.path, key="garment", code="order.nothing-to-cut"
        )
    clock = _Clock(listed, options)
    with search_pool(options) as pool:
        shared = replace(options, executor=pool)
        together = _Together(listed, clock.cloths, options.on_lays)
        if options.on_lays is not None:
            shared = replace(shared, on_lays=together.take)
        for number, cloth in enumerate(clock.cloths):
            own = start if start is not None and start.cloth == cloth.name else (known or {}).get(cloth.name)
            ahead = Search(listed, cloth, stacks_of(listed, cloth), shared, pool, None, counts=counts)
            if own is not None:
                ahead.start, ahead.keep = lying_in(own.placements), tuple(keep) if own is start else ()
            if number == 0 or options.on_lays is not None:
                first_lay(ahead, sound_spreads(cloth, None, spread)[0][: 1 if options.on_lays is None else None])
        clock.first_lays_are_there()
        if options.executor is None:
            for cloth in clock.cloths:
                warm_for(Search(listed, cloth, stacks_of(listed, cloth), shared, pool, None))
        lays: list[Lay] = []
        for cloth in clock.cloths:
            own = start if start is not None and start.cloth == cloth.name else (known or {}).get(cloth.name)
            kept = keep if own is not None and own is start else ()
            part = replace(shared, seconds=clock.share(cloth))
            found = lay_cloth(listed, cloth.name, part, spread=spread, start=own, keep=kept)
            lays.append(within_limits(listed, found if divide is None else divide(found, replace(part, on_lays=None))))
            together.take((lays[-1],), ended=True)
        rest = replace(shared, seconds=clock.rest(), on_lays=None)
        return laid_together(listed, tuple(lays), rest, continued=start is not None)


#: share of the time that is kept for what follows the searches, at most
_MOST_FOR_ENDS = 0.25
#: seconds by which a command may end after its time, less a little; how much longer drawing and proof take than what
#: came before the search; what of it is given to the search at most
_BEYOND, _END_TO_BEGIN, _MOST_GRACE = 3.0, 1.45, 1.0


class _Clock:
    """The time of the whole order, shared among its cloths by the area that is cut from them. A second cloth that is
    only cut where its leaders lie has little, as its own lay is only compared with."""

    def __init__(self, listed: CuttingList, options: SearchOptions) -> None:
        self._seconds, now = options.seconds, time.monotonic()
        if self._seconds is not None and options.begun is not None:
            self._seconds += _grace(now - options.begun)
        self._made, self._ends = now, 0.0
        # what came before the search takes of its time, a third of it at most
        self._begun = now if options.begun is None else min(now, max(options.begun, now - (self._seconds or 0.0) / 3))
        self.cloths = [cloth for cloth in listed.cloths if stacks_of(listed, cloth)]
        self._weights = {
            cloth.name: sum(garment_area(g, cloth.name) * g.count for g in listed.garments)
            * (COMPARED if listed.only_followers(cloth.name) else 1.0)
            for cloth in self.cloths
        }
        #: share of the whole that is kept for leaders gathered anew
        self._kept = 0.15 if any(listed.only_followers(cloth.name) for cloth in self.cloths) else 0.0

    def first_lays_are_there(self) -> None:
        """What follows the searches (second cloths at their leaders, the choice, the proof) takes about as long as
        laying everything plainly did, however fast the machine is: that much is kept for it."""
        if self._seconds is not None:
            self._ends = min(time.monotonic() - self._made, _MOST_FOR_ENDS * self._seconds)

    def share(self, cloth: Cloth) -> float | None:
        """Seconds for this cloth, of what is left of them; None where rounds are counted."""
        rest = sum(self._weights.values())
        weight = self._weights.pop(cloth.name)
        if self._seconds is None:
            return None
        left = self._seconds - max(self._seconds * self._kept, self._ends) - (time.monotonic() - self._begun)
        return max(0.2, left * weight / rest if rest > 0.0 else left)

    def rest(self) -> float | None:
        """Seconds whose part ``laid_together`` takes, so that it ends with the whole."""
        if self._seconds is None:
            return None
        return max(0.2, self._seconds - self._ends / 2.0 - (time.monotonic() - self._begun)) / COMPARED


def _grace(before: float) -> float:
    """Seconds that the search may go on for after its time, as a command may end some three seconds after it: what is
    left of those when drawing and proof have theirs, which is told by what the beginning took (``before``). On a slow
    machine there is none."""
    return min(_MOST_GRACE, max(0.0, _BEYOND - _END_TO_BEGIN * before))


class _Together:
    """The best lays of all cloths so far, told together as soon as every cloth has one."""

    def __init__(
        self, listed: CuttingList, cloths: Sequence[Cloth], tell: Callable[[tuple[Lay, ...]], None] | None
    ) -> None:
        self._order, self._names, self._tell = listed, [cloth.name for cloth in cloths], tell
        self._latest: dict[str, Lay] = {}

    def take(self, lays: tuple[Lay, ...], *, ended: bool = False) -> None:
        """Lays of some of the cloths. While the search has not ``ended``, one that takes more than the last of its
        cloth is left aside: what is told only ever gets better."""
        if self._tell is None:
            return
        for lay in lays:
            before = self._latest.get(lay.cloth)
            if ended or before is None or (lay.buy_length, lay.lay_length) <= (before.buy_length, before.lay_length):
                self._latest[lay.cloth] = lay
        if len(self._latest) < len(self._names):
            return
        try:
            for lay in self._latest.values():
                within_limits(self._order, lay)
            self._tell(at_once(self._order, tuple(self._latest[name] for name in self._names)))
        except CannotLayError:
            return  # a lay that there is not cloth or table enough for is not one yet
