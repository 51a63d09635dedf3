"""Whole garments from leftovers: which piece goes on which, and what must still be bought.

Glossary
    *class*: cloth pieces that are the same (piece, size, cloth, hand). *Load*: how many of each class lie on one
    remnant. *Refusal*: a load that does not fit, hence no larger one either; it is *proven* where the area or a
    single piece's outline forbids it, else the search did not find room in its time.

Garments are added one by one, each kept where it lies. Then comes an assignment of all of them by CP-SAT (numbers of
each class per remnant; cloth enough by area; the most value, then the fewest remnants, then the least of their area),
laid out by the search, whose refusals go back to the solver as cuts until every load lies. Both are repeated with more
effort. A cloth of which there is no remnant at all is bought for all garments.
"""

from __future__ import annotations

import math
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from nesting.model.errors import CannotLayError, OrderError
from nesting.model.lay import Lay
from nesting.model.order import Remnant
from nesting.model.units import to_cents
from nesting.planning.layout.laying import LayOne, garment_area, ring_area
from nesting.planning.leftovers.assigning import assign
from nesting.planning.leftovers.cloth_pieces import (
    Fits,
    Kind,
    Numbers,
    PieceClass,
    Unit,
    class_area,
    classes_of,
    copy_numbers,
    lay_with_only,
    renumbered,
    unbound,
    units_of,
)
from nesting.planning.leftovers.knowledge import Knowledge, load_of
from nesting.planning.leftovers.remnant_plan import Made, RemnantPlan, ToBuy, Use
from nesting.planning.leftovers.shortfall import why_no_more
from nesting.resolving.cutting_list import CuttingList, GarmentEntry

__all__ = ["plan_remnants"]

#: Shares of each remnant's area that the assignment may fill, one after the other.
_ROOM_SHARES = (0.6, 0.75, 0.85, 0.93, 1.0)
#: Assignments that are tried for one garment more, and for each share of the room, with one effort.
_TRIES = 8
_DIVISIONS = 12
#: Searches for divisions that give more, with one effort, after which no further division is tried.
_SEARCHES = 30


def plan_remnants(
    listed: CuttingList,
    fits: Fits,
    *,
    lay: LayOne | None = None,
    over: Callable[[CuttingList, tuple[Lay, ...]], tuple[Lay, ...]] | None = None,
    seconds: float | None = 60.0,
    on_plan: Callable[[RemnantPlan], None] | None = None,
) -> RemnantPlan:
    """The greatest value of whole garments that is found on the order's remnants.

    ``fits`` proves that units do not lie on a remnant, or lays them; ``lay``, where given, finds out what must still
    be bought of each cloth, and ``over`` what second cloths take at their leaders, where both are bought for the same
    garments. ``seconds`` bounds the whole assignment (None: the efforts of ``fits`` alone do); when they
    are over, the best plan that lies is given. ``on_plan`` hears of each better one, with what must be bought left out.
    Raises OrderError where the order has no remnants of a cloth that it
    cuts from.
    """
    began = time.monotonic()
    used = listed.cloths_used
    remnants = [r for r in listed.remnants if r.cloth in used]
    if not remnants:
        raise OrderError(
            f"there are no remnants of {' or '.join(used)} in the order: add [[remnant]] tables, or take some from the "
            "stash",
            file=listed.path,
            key="remnant",
            code="remnant.none",
        )
    listed = _with_tops(listed, remnants)
    known = Knowledge(listed, fits, remnants, math.inf if seconds is None else began + seconds)
    stock = _Stock.of(listed, remnants, known)
    if on_plan is not None:
        stock = replace(stock, tell=lambda best: on_plan(_so_far(stock, best, began)))
    found = _searched(stock, fits.efforts)
    bound = max(found.value, stock.bound())
    proved = found.value >= bound - 1e-9
    placed = [u for own in found.units.values() for u in own]
    return _plan(
        stock,
        found,
        began,
        to_buy=_to_buy(listed, found.made, {r.cloth for r in remnants}, lay, over),
        bound=bound,
        proved=proved,
        why=why_no_more(
            stock.kinds, remnants, stock.room, stock.areas, known, placed, found.made, proved, listed.imperial
        ),
    )


def _with_tops(listed: CuttingList, remnants: Sequence[Remnant]) -> CuttingList:
    """The order with a count for every garment of which as many are asked for as there is cloth: one bundle more than
    the remnants' area could hold, so that what keeps from one more is always told."""
    if not listed.open_ended:
        return listed
    stocked = {r.cloth for r in remnants}
    counts = [g.count for g in listed.garments]
    for group, step in _groups(listed.garments):
        if not listed.garments[group[0]].most:
            continue
        tops = []
        for cloth in stocked:
            one = math.fsum(n * garment_area(listed.garments[i], cloth) for i, n in zip(group, step, strict=True))
            if one > 0.0:
                tops.append(math.floor(sum(_room(r) for r in remnants if r.cloth == cloth) / one) + 1)
        for i, n in zip(group, step, strict=True):
            counts[i] = n * min(tops, default=0)
    return replace(listed, garments=tuple(replace(g, count=n) for g, n in zip(listed.garments, counts, strict=True)))


def _groups(garments: Sequence[GarmentEntry | Kind]) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Which garments are made together, by their places in the order, and how many of each: those that have a ratio in
    that ratio, every other by itself."""
    tied = tuple(i for i, g in enumerate(garments) if g.ratio is not None)
    alone = [((i,), (1,)) for i in range(len(garments)) if i not in tied]
    return [*([(tied, tuple(garments[i].ratio or 1 for i in tied))] if tied else []), *alone]


def _so_far(stock: _Stock, best: _Assigned, began: float) -> RemnantPlan:
    """The plan while the search goes on: nothing of it is proved to be the most."""
    return _plan(
        stock,
        best,
        began,
        to_buy=(),
        bound=stock.bound() if stock.listed.open_ended else math.fsum(g.count * g.value for g in stock.listed.garments),
        proved=False,
        why="the search was stopped here; what must still be bought was not worked out",
    )


def _plan(
    stock: _Stock,
    found: _Assigned,
    began: float,
    *,
    to_buy: tuple[ToBuy, ...],
    bound: float,
    proved: bool,
    why: str | None,
) -> RemnantPlan:
    """The plan of what lies where, and what is said of it."""
    listed = stock.listed
    placed = [u for own in found.units.values() for u in own]
    numbers = copy_numbers(listed, {(u.garment, u.copy) for u in placed})
    return RemnantPlan(
        listed.title,
        listed.imperial,
        tuple(
            Made(g.name, g.size, n, None if g.most else g.count)
            for g, n in zip(listed.garments, found.made, strict=True)
        ),
        found.uses(listed, numbers),
        tuple(renumbered(lay_, found.units[name], listed, numbers) for name, lay_ in found.lays.items()),
        tuple(r.name for r in stock.remnants if r.name not in found.lays),
        to_buy,
        found.value,
        bound,
        proved,
        why,
        time.monotonic() - began,
        stock.known.texts(),
        unbound(listed, placed),
        any(g.value != 1.0 for g in listed.garments),
    )


@dataclass(frozen=True)
class _Stock:
    """What is asked for, what there is, and what is known of it."""

    listed: CuttingList
    remnants: Sequence[Remnant]
    kinds: Sequence[Kind]
    room: Mapping[str, float]
    areas: Mapping[PieceClass, float]
    known: Knowledge
    #: hears of each better plan
    tell: Callable[[_Assigned], None] | None = None

    @classmethod
    def of(cls, listed: CuttingList, remnants: Sequence[Remnant], known: Knowledge) -> _Stock:
        kinds = [_kind(listed, g, {r.cloth for r in remnants}) for g in listed.garments]
        areas = {c: class_area(listed, c) for kind in kinds for c, _ in kind.needs}
        _each_alone(known, kinds, remnants)
        return cls(listed, remnants, kinds, {r.name: _room(r) for r in remnants}, areas, known)

    def bound(self) -> float:
        """What no plan can exceed, by area and by what is proved not to lie."""
        proven = [r for r in self.known.refusals() if r.proven]
        return assign(self.kinds, self.remnants, self.room, self.areas, proven, seconds=3.0).bound

    def named(self, name: str) -> Remnant:
        return next(r for r in self.remnants if r.name == name)


def _searched(stock: _Stock, efforts: int) -> _Assigned:
    """Whole garments one by one, each kept; then divisions of the pieces that give more; then both again with more
    effort for each search. Every state is a plan that lies, and none is given up but for one of greater value."""
    best = _Assigned([0] * len(stock.kinds), {}, {}, 0.0)
    for effort in range(efforts):
        stock.known.effort = effort
        best = _one_by_one(stock, best)
        if stock.known.over or best.value >= stock.bound() - 1e-9:
            break
        best = _rearranged(stock, best)
        if stock.known.over:
            break
    return best


def _one_by_one(stock: _Stock, best: _Assigned) -> _Assigned:
    """One garment more, the most valuable first, those of equal value in turn, until none finds room any more. What
    lies on a remnant stays there, so that with more asked for the same comes about first."""
    groups = _groups(stock.kinds)
    stuck: set[int] = set()

    def worth(number: int) -> float:
        return math.fsum(stock.kinds[i].value * n for i, n in zip(*groups[number], strict=True))

    while True:
        open_groups = [
            number
            for number, (group, _) in enumerate(groups)
            if number not in stuck and all(best.made[i] < stock.kinds[i].count for i in group)
        ]
        if not open_groups:
            return best
        number = min(open_groups, key=lambda g: (-worth(g), best.made[groups[g][0][0]], groups[g][0]))
        more = _one_more(stock, best, *groups[number])
        if more is None:
            stuck.add(number)
        else:
            best = more
            if stock.tell is not None:
                stock.tell(best)
        if stock.known.over:
            return best


def _one_more(stock: _Stock, best: _Assigned, group: Sequence[int], step: Sequence[int]) -> _Assigned | None:
    """The plan with so many more (``step``) of the garments ``group``, None where no room is found for them."""
    more = dict(zip(group, step, strict=True))
    counts = [n + more.get(k, 0) for k, n in enumerate(best.made)]
    kinds = [replace(kind, count=n) for kind, n in zip(stock.kinds, counts, strict=True)]
    loads = {name: _by_kind(own) for name, own in best.units.items()}
    for _ in range(_TRIES):
        refusals = stock.known.refusals()
        asked = assign(kinds, stock.remnants, stock.room, stock.areas, refusals, seconds=1.0, at_least=loads)
        if asked.made != tuple(counts):
            return None
        units = {name: list(own) for name, own in best.units.items()}
        slots: Counter[tuple[int, PieceClass]] = Counter()
        for name, of_kind in asked.loads.items():
            for i in group:
                per = dict(kinds[i].needs)
                for c, n in of_kind.get(i, {}).items():
                    for _ in range(n - loads.get(name, {}).get(i, {}).get(c, 0)):
                        copy, slot = divmod(slots[i, c], per[c])
                        unit = Unit(c, i, stock.listed.garments[i].name, best.made[i] + 1 + copy, slot)
                        units.setdefault(name, []).append(unit)
                        slots[i, c] += 1
        lays = dict(best.lays)
        for name, own in units.items():
            if len(own) > len(best.units.get(name, [])):
                lay = stock.known.lay(stock.named(name), own)
                if lay is None:
                    break
                lays[name] = lay
        else:
            value = sum(n * g.value for n, g in zip(counts, stock.listed.garments, strict=True))
            return _Assigned(counts, units, lays, value)
        if stock.known.over and best.value > 0.0:
            return None
    return None


def _by_kind(units: Sequence[Unit]) -> dict[int, dict[PieceClass, int]]:
    loads: dict[int, dict[PieceClass, int]] = {}
    for u in units:
        loads.setdefault(u.garment, {})
        loads[u.garment][u.kind] = loads[u.garment].get(u.kind, 0) + 1
    return loads


def _rearranged(stock: _Stock, best: _Assigned) -> _Assigned:
    """Assign anew and lay, at first with much of each remnant left over, then ever more tightly; each refusal goes back
    to the solver until all loads of an assignment lie or none is better."""
    known = stock.known
    most = known.searches + _SEARCHES
    for share in _ROOM_SHARES:
        part = {name: share * area for name, area in stock.room.items()}
        for _ in range(_DIVISIONS):
            asked = assign(stock.kinds, stock.remnants, part, stock.areas, known.refusals(), seconds=0.5)
            if asked.value <= best.value + 1e-9:
                break
            units = units_of(stock.listed, stock.kinds, asked.loads)
            lays: dict[str, Lay] = {}
            for remnant in stock.remnants:
                mine = units.get(remnant.name, [])
                if not mine or known.known(remnant, load_of(mine)) is False:
                    continue
                lay = known.lay(remnant, mine)
                if lay is not None:
                    lays[remnant.name] = lay
                elif not known.over:
                    known.refine(remnant, mine)
            now = _Assigned.whole(stock, units, lays)
            if now.value > best.value:
                best = now
                if stock.tell is not None:
                    stock.tell(best)
            if known.over or known.searches >= most:
                return best
    return best


@dataclass
class _Assigned:
    """A plan that lies: garments made, units per remnant, lays, value."""

    made: list[int]
    units: dict[str, list[Unit]]
    lays: dict[str, Lay]
    value: float

    @classmethod
    def whole(cls, stock: _Stock, units: Mapping[str, list[Unit]], lays: Mapping[str, Lay]) -> _Assigned:
        """Only garments all of whose pieces lie count; the pieces of the others are taken off their lays again. Where
        that cannot be done by taking them off, it is laid anew, and what does not lie then is left out."""
        listed, laid, own = stock.listed, dict(lays), {name: list(units[name]) for name in lays}
        while True:
            lying = [u for mine in own.values() for u in mine]
            there = {
                (g, c)
                for g, c in {(u.garment, u.copy) for u in lying}
                if sum(u.garment == g and u.copy == c for u in lying) == sum(n for _, n in stock.kinds[g].needs)
            }
            there = _in_ratio(there, stock.kinds)
            broken = [name for name, mine in own.items() if any((u.garment, u.copy) not in there for u in mine)]
            if not broken:
                break
            for name in broken:
                kept = [u for u in own[name] if (u.garment, u.copy) in there]
                remnant = stock.named(name)
                lay = lay_with_only(laid[name], own[name], kept, listed, remnant) if kept else None
                if kept and lay is None:
                    lay = stock.known.lay(remnant, kept)
                if lay is None:
                    own.pop(name)
                    laid.pop(name)
                else:
                    own[name], laid[name] = kept, lay
        made = [sum(g == i for g, _ in there) for i in range(len(stock.kinds))]
        value = sum(n * g.value for n, g in zip(made, listed.garments, strict=True))
        return cls(made, own, laid, value).renumbered()

    def renumbered(self) -> _Assigned:
        """Copies counted from 1 without a gap, so that one more has the next number; lays follow the same sequence."""
        copies = sorted({(u.garment, u.copy) for own in self.units.values() for u in own})
        number: dict[tuple[int, int], int] = {}
        given: Counter[int] = Counter()
        for g, c in copies:
            given[g] += 1
            number[g, c] = given[g]
        units = {name: [replace(u, copy=number[u.garment, u.copy]) for u in own] for name, own in self.units.items()}
        return replace(self, units=units)

    def uses(self, listed: CuttingList, numbers: Numbers) -> tuple[Use, ...]:
        """Every cloth piece of the garments made, by remnant."""
        return tuple(
            Use(
                name,
                u.name,
                listed.garments[u.garment].size,
                numbers[u.garment, u.copy],
                u.kind.piece,
                u.kind.hand or None,
            )
            for name, own in self.units.items()
            for u in own
        )


def _in_ratio(copies: set[tuple[int, int]], kinds: Sequence[Kind]) -> set[tuple[int, int]]:
    """Of these copies, (garment, copy), those that are left where garments with a ratio are made in it: the first of
    each, as many as there are whole bundles."""
    for group, step in _groups(kinds):
        if kinds[group[0]].ratio is None:
            continue
        own = {i: sorted(c for g, c in copies if g == i) for i in group}
        bundles = min(len(own[i]) // n for i, n in zip(group, step, strict=True))
        over = {(i, c) for i, n in zip(group, step, strict=True) for c in own[i][bundles * n :]}
        copies = copies - over
    return copies


def _kind(listed: CuttingList, garment: GarmentEntry, stocked: set[str]) -> Kind:
    """The garment as the solver sees it: only pieces of cloths of which there are remnants."""
    needs = Counter(c for c in classes_of(listed, garment) if c.cloth in stocked)
    return Kind(
        garment.label,
        garment.count if needs else 0,
        garment.value,
        garment.same_cloth,
        tuple(sorted(needs.items())),
        garment.ratio if needs else None,
    )


def _room(remnant: Remnant) -> float:
    """Area that may be covered, mm²; flaws may overlap each other and the edge."""
    if not remnant.flaws:
        return ring_area(remnant.outline)
    from shapely.geometry import Polygon
    from shapely.ops import unary_union

    return float(Polygon(remnant.outline).difference(unary_union([Polygon(f) for f in remnant.flaws])).area)


def _each_alone(known: Knowledge, kinds: Sequence[Kind], remnants: Sequence[Remnant]) -> None:
    """Every piece by itself on every remnant: what cannot lie even alone is the strongest cut of all."""
    seen: set[tuple[PieceClass, object]] = set()
    for index, kind in enumerate(kinds):
        for c, _ in kind.needs:
            for remnant in remnants:
                key = (c, (remnant.outline, remnant.flaws, remnant.cloth))
                if c.cloth != remnant.cloth or key in seen or kind.count == 0:
                    continue
                seen.add(key)
                if class_area(known.listed, c) > _room(remnant) * (1 + 1e-9):
                    continue
                garment = known.listed.garments[index]
                known.refuses(remnant, [Unit(c, index, garment.name, 1, 0)])


def _to_buy(
    listed: CuttingList,
    made: Sequence[int],
    stocked: set[str],
    lay: LayOne | None,
    over: Callable[[CuttingList, tuple[Lay, ...]], tuple[Lay, ...]] | None,
) -> tuple[ToBuy, ...]:
    asked: dict[str, list[int]] = {}
    for cloth in listed.cloths_used:
        counts = [
            _still(g, n, cloth in stocked) if g.on(cloth) else 0 for g, n in zip(listed.garments, made, strict=True)
        ]
        if any(counts):
            asked[cloth] = counts
    lays: dict[str, Lay] = {}
    reasons: dict[str, str] = {}
    for cloth, counts in asked.items() if lay is not None else ():
        try:
            lays[cloth] = lay(listed.with_counts(counts), cloth) if lay is not None else lays[cloth]
        except CannotLayError as error:
            reasons[cloth] = str(error)
    together: set[str] = set()
    if over is not None:
        for cloth, first in listed.leading().items():
            alike = first in lays and cloth in lays and _leads_all(listed, asked[first], asked[cloth], cloth)
            if alike and not together & {first, cloth}:
                part = listed.with_counts(asked[first])
                lays[first], lays[cloth] = over(part, (lays[first], lays[cloth]))
                together |= {first, cloth} if lays[cloth].leaders_on else set()
    wanted = []
    for cloth, counts in asked.items():
        garments = tuple((g.label, n) for g, n in zip(listed.garments, counts, strict=True) if n)
        stuff = listed.cloth_named(cloth)
        found = lays.get(cloth)
        if found is None:
            wanted.append(ToBuy(cloth, garments, None, None, None, reasons.get(cloth)))
            continue
        cost = None if stuff.price is None else to_cents(found.buy_length / stuff.price_unit * stuff.price)
        apart = None if cloth in together else listed.led_by(cloth)
        wanted.append(ToBuy(cloth, garments, found.lay_length, found.buy_length, cost, apart_from=apart))
    return tuple(wanted)


def _still(garment: GarmentEntry, made: int, stocked: bool) -> int:
    """For how many garments a cloth must be bought: those that the remnants do not give, or all where there is none of
    that cloth. Of a garment of which as many are made as there are remnants for, these alone."""
    asked = made if garment.most else garment.count
    return asked - made if stocked else asked


def _leads_all(listed: CuttingList, first: Sequence[int], second: Sequence[int], cloth: str) -> bool:
    """Whether every garment that takes of the second cloth is cut as often from the first."""
    return all(n == m or (n == 0 and not g.on(cloth)) for g, m, n in zip(listed.garments, first, second, strict=True))
