"""As many garments as a stated length of cloth holds: built up, each amount laid, and what more is proved not to fit.

Amounts are tried that fill ever more of the cloth by area, then one more at a time; what finds no room is tried again
with more effort. A search ends with the first lay that is short enough. At last the best amount is laid like any order,
beginning from the lay that was found, so that the easiest spread is chosen for it as always.

That no more fit is said only where it is proved: by area, or by the lower bound of every amount of greater value.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from nesting.cloth.spreads import sound_spreads
from nesting.model.as_laid import counts_laid
from nesting.model.errors import CannotLayError, OrderError
from nesting.model.lay import Lay
from nesting.model.order import SpreadName
from nesting.model.units import format_exceeding
from nesting.planning.as_many.bundles import (
    Amount,
    Bundle,
    Room,
    bundles_of,
    counts_at,
    next_amount,
    rooms_of,
    value_of,
)
from nesting.planning.layout.bounding import cloth_bound
from nesting.planning.layout.demand import stacks_of
from nesting.planning.layout.limits import fits_table, within_limits
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import Progress, SearchOptions, search_pool
from nesting.planning.layout.solve import lay_order
from nesting.resolving.cutting_list import CuttingList

__all__ = ["AS_MANY", "lay_as_many", "refuse_open_ended", "settled_by"]

#: the key of a lay file that tells how many it was
AS_MANY = "as_many"
#: shares of the cloth's area that amounts may fill at first, one after the other
_SHARES = (0.6, 0.72, 0.82, 0.9)
#: share of the time for finding how many; the rest is for laying that many well
_FINDING = 0.65
#: of that, for one try at first; each effort doubles it
_FIRST_TRY = 1.0 / 40.0
_EFFORTS = 5
#: amounts of greater value whose lower bound is worked out at the end
_BOUNDED = 12

_STOPPED = "the search was stopped here"

Divide = Callable[[CuttingList, Lay, SearchOptions], Lay]


@dataclass(frozen=True)
class _Fitting:
    """An amount that lies, with the lays of the cloths that are limited."""

    amount: Amount
    value: float
    lays: dict[str, Lay]


def refuse_open_ended(listed: CuttingList, what: str) -> None:
    """Raise the OrderError for a command that needs to know how many: ``what`` it would do."""
    if not listed.open_ended:
        return
    raise OrderError(
        f'found count = "most", but {what} needs a number: "nesting lay" says how many a length of cloth holds, '
        '"nesting remnants" how many the leftovers give; write that number',
        file=listed.path,
        key="garment.count",
        code="garment.most-here",
    )


def lay_as_many(
    listed: CuttingList, options: SearchOptions, *, divide: Divide | None = None, spread: SpreadName | None = None
) -> tuple[Lay, ...]:
    """The lays of an order with garments of count "most": as many of these, by value and in their ratios, as are found
    to lie on the stated lengths of cloth. Each lay says so in a note. ``spread`` forces one.

    OrderError where no length is stated; CannotLayError where not one lies.
    """
    bundles = bundles_of(listed)
    rooms = rooms_of(listed, bundles)
    _refuse_unlimited(listed, bundles, rooms)
    now = time.monotonic()
    begun = now if options.begun is None else max(options.begun, now - (options.seconds or 0.0) / 4)
    with search_pool(options) as pool:
        shared = replace(options, executor=pool, begun=None)
        filling = _Filling(listed, bundles, rooms, shared, begun, divide, spread)
        found = filling.found()
        proved, why = filling.no_more(found[-1].value)
        for one in reversed(found):
            counts = counts_at(listed, bundles, one.amount)
            settled = listed.settled(counts)
            surely = proved and one is found[-1]
            tell = _told_as_many(options.on_lays, listed, counts, (surely, why if surely else _STOPPED))
            rest = replace(options, executor=pool, begun=None, seconds=filling.rest(), on_lays=tell)
            split = None if divide is None else lambda lay, how, of=settled: divide(of, lay, how)
            try:
                lays = lay_order(settled, rest, spread=spread, divide=split, known=one.lays)
                for lay in lays:
                    within_limits(settled, lay)
            except CannotLayError:
                if one is found[0]:
                    raise
                proved = False
                continue  # a smaller amount, of which nothing is proved
            return _marked(lays, listed, counts, surely, why)
    raise AssertionError("the last amount returns or raises")


def _refuse_unlimited(listed: CuttingList, bundles: Sequence[Bundle], rooms: Sequence[Room]) -> None:
    for k, bundle in enumerate(bundles):
        if any(room.per[k] > 0.0 for room in rooms):
            continue
        cloths = dict.fromkeys(e.cloth for g, n in zip(listed.garments, bundle.per, strict=True) if n for e in g.pieces)
        named = ", ".join(f"'{name}'" for name in cloths)
        raise OrderError(
            f'{bundle.label}: found count = "most", but no length of its cloth ({named}): give that [[cloth]] a '
            'length = "2.2 m", or add [[remnant]]s and use "nesting remnants"',
            file=listed.path,
            key="garment.count",
            code="garment.most-unlimited",
        )
    for room in rooms:
        if listed.cloth_named(room.cloth).plies > 1:
            raise OrderError(
                f"found count = \"most\" with plies = {listed.cloth_named(room.cloth).plies} of '{room.cloth}': "
                "stacked plies ask for a number; take plies away, or write how many",
                file=listed.path,
                key="cloth.plies",
                code="garment.most-stacked",
            )


def settled_by(listed: CuttingList, lays: Sequence[Lay]) -> CuttingList:
    """The list with the numbers that these lays hold in place of every "most", none among them; itself where it has no
    "most"."""
    if not listed.open_ended:
        return listed
    counts = counts_laid(((g.name, g.size, g.count, g.most) for g in listed.garments), lays)
    garments = (replace(g, count=n, most=False, ratio=None) for g, n in zip(listed.garments, counts, strict=True))
    return replace(listed, garments=tuple(garments))


def _told_as_many(
    tell: Callable[[tuple[Lay, ...]], None] | None, listed: CuttingList, counts: Sequence[int], sure: tuple[bool, str]
) -> Callable[[tuple[Lay, ...]], None] | None:
    """What hears of better lays, each with what is said of how many it is, should the search end there."""
    if tell is None:
        return None
    return lambda lays: tell(_marked(lays, listed, counts, *sure))


def _marked(
    lays: tuple[Lay, ...], listed: CuttingList, counts: Sequence[int], proved: bool, why: str
) -> tuple[Lay, ...]:
    """The lays with what is said of how many it is."""
    words, told = _told(listed, counts, proved, why)
    return tuple(replace(lay, notes=(*lay.notes, words), extra={**lay.extra, AS_MANY: told}) for lay in lays)


def _told(listed: CuttingList, counts: Sequence[int], proved: bool, why: str) -> tuple[str, dict[str, object]]:
    """What is said of how many it is, in words and in the lay file."""
    rows = [(g, n) for g, n in zip(listed.garments, counts, strict=True) if g.most]
    each = ", ".join(f"{n} × {g.label}" for g, n in rows if n or not any(counts))
    several = len(rows) > 1
    if proved:
        words = f"as many as there is cloth for: {each}; {'nothing of more value fits' if several else 'no more fit'}"
        words += f", which is proved: {why}"
    else:
        words = f"as many as there is cloth for: at least {each} fit; this is the best found: {why}"
    held = [{"name": g.name, "size": g.size, "count": n} for g, n in rows]
    return words, {"garments": held, "proved": proved, "reason": why}


class _Filling:
    """The search for the amount. ``begun`` (``time.monotonic``): when its time began."""

    def __init__(
        self,
        listed: CuttingList,
        bundles: tuple[Bundle, ...],
        rooms: tuple[Room, ...],
        options: SearchOptions,
        begun: float,
        divide: Divide | None,
        forced: SpreadName | None,
    ) -> None:
        self.listed, self.bundles, self.rooms, self.options, self.divide = listed, bundles, rooms, options, divide
        self.forced = forced
        self._end = None if options.seconds is None else begun + options.seconds
        self._until = None if options.seconds is None else begun + _FINDING * options.seconds
        #: amounts proved not to fit, and those that found no room with the present effort
        self.never: list[Amount] = []
        self.not_found: list[Amount] = []
        self.why: CannotLayError | None = None

    def rest(self) -> float | None:
        """Seconds that are left for the last lay; None where rounds are counted."""
        return None if self._end is None else max(0.5, self._end - time.monotonic())

    @property
    def over(self) -> bool:
        """Whether the time for finding is up."""
        return self._until is not None and time.monotonic() > self._until

    def found(self) -> list[_Fitting]:
        """The amounts that lie, each of greater value than the one before. CannotLayError where not one does."""
        zero = (0,) * len(self.bundles)
        fitting: list[_Fitting] = []
        if any(g.count for g in self.listed.garments if not g.most):
            # what is asked for by number comes first; it may take all there is
            fitting.append(self._try(zero, _EFFORTS - 2, {}) or self._raise())
        for effort in range(_EFFORTS):
            self.not_found = []
            for share in (*_SHARES, None):
                self._build_up(fitting, share, effort)
            best = fitting[-1].value if fitting else 0.0
            if self.over or next_amount(self.bundles, self.rooms, self.never, best) is None:
                break
        if not fitting:
            self._raise()
        return fitting

    def _raise(self) -> _Fitting:
        if self.why is not None:
            raise self.why
        raise CannotLayError(
            f"not one {self.bundles[0].label} fits on the cloth that there is: it takes more than its area",
            key="cloth.length",
            code="cloth.too-short",
        )

    def _build_up(self, fitting: list[_Fitting], share: float | None, effort: int) -> None:
        """Try amounts that fill that share of the area (None: the least that is better) until none is better."""
        while not (self.over and self.why):
            refused = [*self.never, *self.not_found]
            best = fitting[-1].value if fitting else 0.0
            amount = next_amount(
                self.bundles, self.rooms, refused, best, share=share or 1.0, least=share is None or not fitting
            )
            if amount is None:
                return
            tried = self._try(amount, effort, fitting[-1].lays if fitting else {})
            if tried is not None:
                fitting.append(tried)
            elif share is not None and not fitting:
                return

    def _try(self, amount: Amount, effort: int, before: dict[str, Lay]) -> _Fitting | None:
        """The lays of that amount, None where one finds no room; it is then refused, for good where that is proved."""
        part = self.listed.settled(counts_at(self.listed, self.bundles, amount))
        lays: dict[str, Lay] = {}
        value = value_of(self.bundles, amount)
        for room in self.rooms:
            if room.cloth not in part.cloths_used:
                continue
            if self.options.on_progress is not None:
                doing = f"do {_named(self.bundles, amount)} fit?"
                so_far = before[room.cloth].lay_length if room.cloth in before else None
                self.options.on_progress(Progress(room.cloth, doing, self._share_done(), so_far))
            try:
                lays[room.cloth] = self._lay(part, room, effort, before.get(room.cloth))
            except CannotLayError as why:
                self.why = why
                self._refuse(part, room, amount)
                return None
        self._tell(part, lays)
        return _Fitting(amount, value, lays)

    def _tell(self, part: CuttingList, lays: dict[str, Lay]) -> None:
        """Better lays for whoever listens, those of cloths without a stated length as they first fall."""
        if self.options.on_lays is None:
            return
        quick = replace(self._with(0), on_progress=None, on_lays=None)
        try:
            shown = tuple(lays.get(name) or lay_cloth(part, name, quick) for name in part.cloths_used)
        except CannotLayError:
            return
        counts = counts_laid(((g.name, g.size, g.count, g.most) for g in self.listed.garments), shown)
        self.options.on_lays(_marked(shown, self.listed, counts, False, _STOPPED))

    def _share_done(self) -> float:
        if self.options.seconds is None or self._end is None:
            return 0.0
        return min(1.0, max(0.0, 1.0 - (self._end - time.monotonic()) / self.options.seconds))

    def _lay(self, part: CuttingList, room: Room, effort: int, before: Lay | None) -> Lay:
        """A lay of one cloth that is short enough. CannotLayError where none is found."""
        options = replace(self._with(effort), enough=room.length, on_progress=None, on_lays=None)
        cloth = part.cloth_named(room.cloth)
        # open cloth holds for every spread, as a folded lay opens out; but not all can be laid on it
        spread = self.forced or ("open" if "open" in sound_spreads(cloth)[0] else None)
        try:
            lay = lay_cloth(part, room.cloth, options, spread=spread, start=before)
        except CannotLayError:
            if spread is None or self.forced is not None:
                raise
            lay = lay_cloth(part, room.cloth, options)
        if not fits_table(part, lay) and self.divide is not None:
            lay = self.divide(part, lay, replace(options, enough=None))
        return within_limits(part, lay)

    def _with(self, effort: int) -> SearchOptions:
        if self.options.seconds is None:
            rounds = self.options.rounds or 1
            return replace(self.options, rounds=max(1, rounds >> (_EFFORTS - 1 - effort)))
        return replace(self.options, seconds=max(0.2, self.options.seconds * _FINDING * _FIRST_TRY * 2**effort))

    def _refuse(self, part: CuttingList, room: Room, amount: Amount) -> None:
        if self._beyond(part, room, 0.2) is not None:
            self.never.append(amount)
        else:
            self.not_found.append(amount)

    def _beyond(self, part: CuttingList, room: Room, seconds: float) -> str | None:
        """Why that part is proved not to fit on that cloth; None where it is not."""
        cloth = part.cloth_named(room.cloth)
        bound = cloth_bound(part, cloth, stacks_of(part, cloth), seconds=seconds)
        if bound.length <= room.length + 1e-6:
            return None
        least, there = format_exceeding(bound.length, room.length, imperial=self.listed.imperial)
        return f"they take at least {least} of the {there} of '{room.cloth}' that can be laid ({bound.reason})"

    def no_more(self, best: float) -> tuple[bool, str]:
        """Whether it is proved that no amount of greater value fits, and why it is or is not."""
        why = ""
        each = 1.0 if self.options.seconds is None else min(1.0, 0.02 * self.options.seconds)
        for _ in range(_BOUNDED):
            amount = next_amount(self.bundles, self.rooms, self.never, best)
            if amount is None:
                smallest = next_amount(self.bundles, self.rooms, [], best, least=True)
                if smallest is None:
                    return True, "more would take more than the area of the cloth"
                return True, why or self._why_not(smallest, each) or "the least that each of them takes is too long"
            part = self.listed.settled(counts_at(self.listed, self.bundles, amount))
            reasons = (self._beyond(part, room, each) for room in self.rooms if room.cloth in part.cloths_used)
            found = next((reason for reason in reasons if reason is not None), None)
            if found is None:
                break
            self.never.append(amount)
            why = f"{_named(self.bundles, amount)}: {found}"
        return False, "that no more would fit is not proved, and more --seconds may find room for more"

    def _why_not(self, amount: Amount, seconds: float) -> str | None:
        part = self.listed.settled(counts_at(self.listed, self.bundles, amount))
        for room in self.rooms:
            reason = self._beyond(part, room, seconds) if room.cloth in part.cloths_used else None
            if reason is not None:
                return f"{_named(self.bundles, amount)}: {reason}"
        return None


def _named(bundles: Sequence[Bundle], amount: Amount) -> str:
    return " and ".join(f"{n} × {b.label}" for n, b in zip(amount, bundles, strict=True) if n) or "the others"
