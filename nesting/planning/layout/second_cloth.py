"""Second cloths, whose pieces are cut together with leaders of another cloth and lie over these."""

from __future__ import annotations

import time
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay, SpreadTried
from nesting.model.order import SpreadName
from nesting.model.units import format_alike
from nesting.planning.layout.assemble import NeedKey
from nesting.planning.layout.limits import within_limits
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.yardage import cloth_used
from nesting.resolving.cutting_list import CuttingList

__all__ = ["COMPARED", "at_once", "laid_together", "spread_by_whole_price", "way_over", "worth", "worth_of"]

#: share of the time for a lay that is only compared with
COMPARED = 0.25
#: seconds: with less, gathering the leaders is not searched for
_GATHERED = 1.0
#: share of what is left of the time for one more search of the first cloth
_ONE_MORE = 0.4
#: how often the first cloth is laid again at most, each time with more of its leaders apart
_AGAIN = 3


def laid_together(
    listed: CuttingList, lays: tuple[Lay, ...], options: SearchOptions, *, continued: bool = False
) -> tuple[Lay, ...]:
    """Lays of every cloth by itself with second cloths laid over their leaders: where these lie, or gathered at the cut
    end if that costs less in all, which is searched for in part of the time; or in patches at the leaders, where these
    cost less. ``continued``: leaders stay. All searches together take ``COMPARED`` of the options' seconds; each has
    that share of their rounds, but the first cloth laid again has all of them."""
    left = _Left(options)
    if not continued:
        lays = spread_by_whole_price(listed, lays)
    whole = _way_over(listed, lays, left, continued=continued)
    best = _cheapest(listed, lays, whole, left, continued=continued)
    in_all = worth(listed, best)

    def told(row: SpreadTried) -> SpreadTried:
        return replace(row, in_all=in_all) if row.chosen and row.in_all is not None else row

    return tuple(replace(lay, tried=tuple(map(told, lay.tried))) for lay in best)


class _Left:
    """The time of all searches for second cloths, which each take a share of what is left of it; rounds do not end."""

    def __init__(self, options: SearchOptions) -> None:
        self._options = options
        self._until = None if options.seconds is None else time.monotonic() + options.seconds * COMPARED

    @property
    def seconds(self) -> float | None:
        """None where rounds are counted."""
        return None if self._until is None else self._until - time.monotonic()

    def share(self, rounds: float, seconds: float, *, least: float) -> SearchOptions:
        """Options with this share of the rounds, or of the seconds that are left, ``least`` of them at least."""
        left, counted = self.seconds, self._options.rounds
        return replace(
            self._options,
            seconds=None if left is None else max(least, left * seconds),
            rounds=None if counted is None else max(1, round(counted * rounds)),
            on_lays=None,
        )


def way_over(
    listed: CuttingList, lays: tuple[Lay, ...], options: SearchOptions, *, continued: bool = False
) -> tuple[Lay, ...]:
    """The lays with second cloths over the whole length of their leaders, without a look at patches."""
    return _way_over(listed, lays, _Left(options), continued=continued)


def _way_over(listed: CuttingList, lays: tuple[Lay, ...], left: _Left, *, continued: bool) -> tuple[Lay, ...]:
    """The lays with second cloths over the whole length of their leaders: where these lie, or gathered at the cut end
    if that costs less in all. ``continued``: leaders stay."""
    from nesting.planning.cut_together.layered import lay_over

    over = lay_over(listed, lays)
    if over == lays or continued:
        return over
    own = {lay.cloth: lay.buy_length for lay in lays}
    if all(lay.buy_length <= own[lay.cloth] + 1e-6 for lay in over):
        return over
    gathered: list[Lay] = []
    for lay in lays:
        names = frozenset(
            pair.leader.name for pair in listed.pairs if pair.cloths[0] == lay.cloth and not pair.same_cloth
        )
        if not names or len(lay.sections) != 1:
            gathered.append(lay)
            continue
        seconds = left.seconds
        if seconds is not None and seconds * _ONE_MORE < _GATHERED:
            return over
        part = left.share(COMPARED, _ONE_MORE, least=_GATHERED)
        kind = lay.sections[0].spread.kind
        try:
            new = lay_cloth(listed, lay.cloth, part, spread=kind, gather=names)
            if new.buy_length > lay.buy_length + 1e-6 or not _still_shortest(listed, lay, new):
                return over
            tried = tuple(
                replace(t, lay_length=new.lay_length, utilisation=new.utilisation) if t.chosen else t for t in lay.tried
            )
            gathered.append(replace(new, tried=tried))
        except CannotLayError:
            return over
    other = lay_over(listed, tuple(gathered))
    return min((over, other), key=lambda result: worth(listed, result))


def _still_shortest(listed: CuttingList, lay: Lay, new: Lay) -> bool:
    """Whether an open lay is still no longer than the folded ones that were tried."""
    if lay.sections[0].spread.kind != "open":
        return True
    cloth = listed.cloth_named(lay.cloth)
    others = [
        cloth_used(t.kind, cloth, t.lay_length) for t in lay.tried if t.lay_length is not None and t.kind != "open"
    ]
    return new.lay_length <= min(others, default=new.lay_length) + 1e-6


def _cheapest(
    listed: CuttingList, lays: tuple[Lay, ...], whole: tuple[Lay, ...], left: _Left, *, continued: bool
) -> tuple[Lay, ...]:
    """The cheapest of the ways that cut at the same time: whole lengths over the leaders, or patches; what each way
    would take is said beside it."""
    best = whole
    own = {lay.cloth: lay for lay in lays}
    for first, seconds in _led(listed, own).items():
        candidates = [best]
        patched = _patched(listed, own, best, first, seconds, left.share(COMPARED / 4, 0.2, least=0.2))
        if patched is not None:
            candidates.append(patched)
        if not continued and not all(lay.patches for lay in patched or best if lay.cloth in seconds):
            # leaders stay where they cost the first cloth least; only where their patches would lie on one another is
            # it laid again, with these leaders farther apart, then with all of them
            for apart in _apart_again(listed, own, first, seconds, left):
                there = {**own, first: apart}
                again = _patched(listed, there, best, first, seconds, left.share(COMPARED / 4, 0.3, least=0.2))
                if again is not None:
                    candidates.append(again)
                    if _cut_apart(again, seconds) == 0:
                        break
        best = min(candidates, key=lambda result: (_cut_apart(result, seconds), worth(listed, result)))
    return best


def at_once(listed: CuttingList, lays: tuple[Lay, ...]) -> tuple[Lay, ...]:
    """The same without any search: whole lengths over the leaders or patches as they first fall, whichever costs less
    where the leaders lie. For lays that are shown while the search goes on."""
    from nesting.planning.cut_together.layered import lay_over

    best = lay_over(listed, lays)
    own = {lay.cloth: lay for lay in lays}
    for first, seconds in _led(listed, own).items():
        patched = _patched(listed, own, best, first, seconds, None)
        if patched is not None:
            best = min((best, patched), key=lambda result: (_cut_apart(result, seconds), worth(listed, result)))
    return best


def spread_by_whole_price(listed: CuttingList, lays: tuple[Lay, ...]) -> tuple[Lay, ...]:
    """The lays of every cloth by itself, those that lead second cloths on the spread with which all cloths together
    cost least (the easier one of two that cost the same); the table of spreads says what each would cost in all.

    No search: second cloths are laid at the leaders of each lay as they first fall, over them or in patches."""
    result = {lay.cloth: lay for lay in lays}
    for first, seconds in _led(listed, result).items():
        chosen = result[first]
        costs: list[tuple[tuple[int, float, int], Lay]] = []
        for number, lay in enumerate((chosen, *_possible(listed, chosen.others))):
            there = at_once(listed, tuple({**result, first: replace(lay, others=())}.values()))
            costs.append(((_cut_apart(there, seconds), worth(listed, there), number), lay))
        best = min(costs, key=lambda cost: cost[0])[1]
        in_all = {_kind(lay): total for (_, total, _), lay in costs}
        tried = tuple(replace(t, in_all=in_all.get(t.kind), chosen=t.kind == _kind(best)) for t in chosen.tried)
        others = tuple(replace(lay, others=()) for _, lay in costs if lay is not best)
        result[first] = replace(best, tried=tried, others=others, seconds=chosen.seconds)
    return tuple(result[lay.cloth] for lay in lays)


def _possible(listed: CuttingList, lays: Sequence[Lay]) -> Iterator[Lay]:
    """Those for which there is cloth and table enough."""
    for lay in lays:
        try:
            yield within_limits(listed, lay)
        except CannotLayError:
            continue


def _kind(lay: Lay) -> SpreadName:
    return lay.sections[0].spread.kind if len(lay.sections) == 1 else "sections"


def _led(listed: CuttingList, own: Mapping[str, Lay]) -> dict[str, tuple[str, ...]]:
    """Cloth -> the cloths of which only followers of its leaders are cut."""
    found: dict[str, tuple[str, ...]] = {}
    for second, first in listed.leading().items():
        if second in own and first in own and listed.only_followers(second):
            found[first] = (*found.get(first, ()), second)
    return found


def _cut_apart(lays: tuple[Lay, ...], seconds: Collection[str]) -> int:
    """How many of the second cloths are not cut at the same time as their leaders."""
    return sum(lay.cloth in seconds and lay.leaders_on is None for lay in lays)


def _patched(
    listed: CuttingList,
    own: Mapping[str, Lay],
    others: tuple[Lay, ...],
    first: str,
    seconds: Sequence[str],
    options: SearchOptions | None,
) -> tuple[Lay, ...] | None:
    """The lays ``others`` with the second cloths of ``first`` in patches on its own lay; those that cannot be, or that
    cost less so, over the leaders there. None where none is cut at the same time."""
    from nesting.planning.cut_together.layered import lay_over
    from nesting.planning.cut_together.patches import in_patches

    base = own[first]
    there: dict[str, Lay] = {}
    for second in seconds:
        over_first, over = lay_over(listed, (replace(base, patch_places=(), notes=own[first].notes), own[second]))
        lies_over = over.over is not None
        try:
            patched_first, patched = in_patches(listed, base, own[second], options)
        except CannotLayError as why:
            base = replace(base, notes=_joined(base.notes, over_first.notes))
            there[second] = over if lies_over else replace(over, notes=(*over.notes, f"{why}; laid by itself"))
            continue
        if lies_over and worth(listed, (over,)) <= worth(listed, (patched,)) + 1e-9:
            base, there[second] = replace(base, notes=_joined(base.notes, over_first.notes)), over
            continue
        note = ways_note(listed, patched, over.buy_length if lies_over else None, own[second].buy_length)
        base = replace(patched_first, notes=(*base.notes, note))
        there[second] = replace(patched, notes=(*patched.notes, note))
    if not any(lay.leaders_on for lay in there.values()):
        return None
    there[first] = base
    return tuple(there.get(lay.cloth, lay) for lay in others)


def _joined(notes: tuple[str, ...], more: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*notes, *more)))


def _apart_again(
    listed: CuttingList, own: Mapping[str, Lay], first: str, seconds: Sequence[str], left: _Left
) -> Iterator[Lay]:
    """The first cloth laid again with the leaders apart whose patches would lie on one another; then with all apart.
    Where the time is over, with all apart at once."""
    from nesting.planning.cut_together.leaders_apart import all_leaders, leaders_apart, leaders_at
    from nesting.planning.cut_together.patches import patch_conflict

    lay, apart = own[first], frozenset[NeedKey]()
    every = all_leaders(listed, lay, seconds)
    for _ in range(_AGAIN):
        found = [patch_conflict(listed, lay, own[second]) for second in seconds]
        close = frozenset(key for one in found if one is not None for key in leaders_at(lay, one.leaders))
        if not close:
            return
        over = left.seconds is not None and left.seconds <= 0.0
        apart = apart | close if not close <= apart and not over else every
        try:
            # by rounds it has as many as it had before: in fewer it would come out longer for want of them alone
            lay = leaders_apart(listed, own[first], seconds, apart, left.share(1.0, _ONE_MORE, least=0.2))
        except CannotLayError:
            return
        yield lay
        if apart == every:
            return


def ways_note(listed: CuttingList, second: Lay, over: float | None, apart: float) -> str:
    """What the ways take of the second cloth, side by side."""
    told = [second.buy_length, apart] + ([over] if over is not None else [])
    bought, by_itself, *over_all = format_alike(*told, imperial=listed.imperial)
    number = len(second.patches)
    patches = "1 patch" if number == 1 else f"{number} patches"
    whole = f"; over the whole length {over_all[0]}" if over_all else ""
    return (
        f"cut together in {patches} of '{second.cloth}', {bought} to buy, laid at the leaders{whole}; "
        f"cut apart, {by_itself} would do"
    )


def worth(listed: CuttingList, lays: tuple[Lay, ...]) -> float:
    """What the cloths cost together; their lengths where a price is missing."""
    return worth_of(listed, [(lay.cloth, lay.buy_length) for lay in lays])


def worth_of(listed: CuttingList, lengths: Iterable[tuple[str, float]]) -> float:
    """What these lengths (mm) of these cloths cost together; their sum where a price is missing."""
    bought = [(listed.cloth_named(name), length) for name, length in lengths]
    if any(cloth.price is None for cloth, _ in bought):
        return sum(length for _, length in bought)
    return sum(length * (cloth.price or 0.0) / cloth.price_unit for cloth, length in bought)
