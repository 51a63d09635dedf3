"""Whole garments from leftovers: which piece goes on which, and what must still be bought.

Glossary
    *class*: cloth pieces that are the same (piece, size, cloth, hand). *Load*: how many of each class lie on one
    remnant. *Refusal*: a load that does not fit, hence no larger one either; it is *proven* where the area or a
    single piece's outline forbids it, else the search did not find room in its time.

Assignment by CP-SAT (numbers of each class per remnant; cloth enough by area; the most value, then the fewest
remnants, then the least of their area), laid out by the search, whose refusals go back to the solver as cuts until
every load lies. A cloth of which there is no remnant at all is bought for all garments.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from nesting.model.errors import CannotLayError, OrderError
from nesting.model.lay import Lay
from nesting.model.order import Garment, Order, Remnant
from nesting.planning.layout.laying import LayOne, cloths_used, garment_label, led_by, pieces_on, ring_area, with_counts
from nesting.planning.leftovers.assigning import assign
from nesting.planning.leftovers.holding_parts import (
    Fits,
    Kind,
    Numbers,
    PieceClass,
    Unit,
    class_area,
    classes_of,
    copy_numbers,
    part_order,
    restored,
    unbound,
    units_of,
)
from nesting.planning.leftovers.knowledge import Knowledge, load_of
from nesting.planning.leftovers.shortfall import why_no_more

__all__ = ["Made", "RemnantPlan", "ToBuy", "Use", "plan_remnants"]

#: Shares of each remnant's area that the assignment may fill, one after the other.
_ROOM_SHARES = (0.6, 0.75, 0.85, 0.93, 1.0)


@dataclass(frozen=True)
class Made:
    """How many of one garment the remnants give, out of how many asked for."""

    garment: str
    size: str | None
    made: int
    asked: int


@dataclass(frozen=True)
class Use:
    """One cloth piece and the remnant that it is cut from."""

    remnant: str
    garment: str
    size: str | None
    copy: int
    piece: str
    hand: str | None


@dataclass(frozen=True)
class ToBuy:
    """What of a cloth must still be bought, mm; ``reason`` where it cannot be laid, with no lengths then.
    ``apart_from``: it is counted as cut by itself, though the order cuts it together with that cloth."""

    cloth: str
    garments: tuple[tuple[str, int], ...]
    lay_length: float | None
    buy_length: float | None
    cost: float | None
    reason: str | None = None
    apart_from: str | None = None


@dataclass(frozen=True)
class RemnantPlan:
    """What the remnants give.

    ``lays`` has one lay for each remnant used. ``parts`` are the same lays as they were found, each with the order for
    those cloth pieces alone: against it a lay is proved, also where the pieces of a garment, or left and right of a
    pair, come from different remnants. ``value`` reached, ``bound`` what no plan can exceed (area, and what is proved
    not to lie); ``proved``: the value is the best there is. ``reason`` says why nothing (more) can be cut.
    ``unbound``: what the order asks of these pieces and leftovers do not keep to.
    """

    title: str
    imperial: bool
    made: tuple[Made, ...]
    uses: tuple[Use, ...]
    lays: tuple[Lay, ...]
    parts: tuple[tuple[Lay, Order], ...]
    unused: tuple[str, ...]
    to_buy: tuple[ToBuy, ...]
    value: float
    bound: float
    proved: bool
    reason: str | None
    seconds: float = 0.0
    refused: tuple[str, ...] = field(default=())
    unbound: tuple[str, ...] = field(default=())

    @property
    def number(self) -> int:
        """Whole garments in all."""
        return sum(m.made for m in self.made)

    def as_dict(self) -> dict[str, Any]:
        """The plan as the JSON document shows it (mm)."""
        return {
            "number": self.number,
            "value": self.value,
            "bound": self.bound,
            "proved": self.proved,
            "reason": self.reason,
            "garments": [{"name": m.garment, "size": m.size, "made": m.made, "asked": m.asked} for m in self.made],
            "pieces": [
                {
                    "remnant": u.remnant,
                    "garment": u.garment,
                    "size": u.size,
                    "copy": u.copy,
                    "piece": u.piece,
                    "hand": u.hand,
                }
                for u in self.uses
            ],
            "unused": list(self.unused),
            "to_buy": [
                {
                    "cloth": b.cloth,
                    "garments": [{"garment": name, "count": n} for name, n in b.garments],
                    "lay_length": b.lay_length,
                    "buy_length": b.buy_length,
                    "cost": b.cost,
                    "reason": b.reason,
                    "apart_from": b.apart_from,
                }
                for b in self.to_buy
            ],
            "refused": list(self.refused),
            "unbound": list(self.unbound),
        }


def plan_remnants(order: Order, fits: Fits, *, lay: LayOne | None = None, seconds: float = 60.0) -> RemnantPlan:
    """The greatest value of whole garments that the order's remnants give.

    ``fits`` proves or lays a part of the order on one remnant; ``lay``, where given, finds out what must still be
    bought of each cloth. ``seconds`` bounds the whole assignment; when they are over, the best plan that lies is given.
    Raises OrderError where the order has no remnants of a cloth that it cuts from.
    """
    began = time.monotonic()
    used = cloths_used(order)
    remnants = [r for r in order.remnants if r.cloth in used]
    if not remnants:
        raise OrderError(
            f"there are no remnants of {' or '.join(used)} in the order: add [[remnant]] tables, or take some from the "
            "stash",
            file=order.path,
            key="remnant",
        )
    kinds = [_kind(order, g, {r.cloth for r in remnants}) for g in order.garments]
    room = {r.name: _room(r) for r in remnants}
    known = Knowledge(order, fits, remnants, began + seconds)
    _each_alone(known, kinds, remnants)
    areas = {c: class_area(order, c) for kind in kinds for c, _ in kind.needs}
    found = _search(order, kinds, remnants, room, areas, known)
    proven = [r for r in known.refusals() if r.proven]
    bound = max(found.value, assign(kinds, remnants, room, areas, proven, seconds=3.0).bound)
    proved = found.value >= bound - 1e-9
    placed = [u for own in found.units.values() for u in own]
    numbers = copy_numbers(order, found.there, {(u.garment, u.copy) for u in placed} - found.there)
    return RemnantPlan(
        order.title,
        order.imperial,
        tuple(Made(g.name, g.size, n, g.count) for g, n in zip(order.garments, found.made, strict=True)),
        found.uses(order, numbers),
        tuple(restored(lay_, found.units[name], order, numbers) for name, lay_ in found.lays.items()),
        tuple((lay_, part_order(order, found.units[name])) for name, lay_ in found.lays.items()),
        tuple(r.name for r in remnants if r.name not in found.lays),
        _to_buy(order, found.made, {r.cloth for r in remnants}, lay),
        found.value,
        bound,
        proved,
        why_no_more(kinds, remnants, room, areas, known, placed, found.made, proved),
        time.monotonic() - began,
        known.texts(),
        unbound(order, placed),
    )


def _search(
    order: Order,
    kinds: Sequence[Kind],
    remnants: Sequence[Remnant],
    room: Mapping[str, float],
    areas: Mapping[PieceClass, float],
    known: Knowledge,
) -> _Assigned:
    """Assign and lay, at first with much of each remnant left over, so that there soon is a plan that lies, then ever
    more tightly; each refusal goes back to the solver until all loads of an assignment lie or none is better."""
    best = _Assigned([0] * len(kinds), {}, {}, 0.0)
    best_units: Mapping[str, list[Unit]] = {}
    for share in _ROOM_SHARES:
        part = {name: share * area for name, area in room.items()}
        while True:
            left = known.until - time.monotonic()
            asked = assign(kinds, remnants, part, areas, known.refusals(), seconds=max(1.0, left / 4))
            if asked.value <= best.value + 1e-9:
                break
            units = units_of(order, kinds, asked.loads)
            lays: dict[str, Lay] = {}
            for remnant in remnants:
                mine = units.get(remnant.name, [])
                if not mine or known.known(remnant, load_of(mine)) is False:
                    continue
                lay = known.lay(remnant, mine)
                if lay is not None:
                    lays[remnant.name] = lay
                elif not known.over:
                    known.refine(remnant, mine)
            now = _Assigned.whole(order, kinds, units, lays)
            if now.value > best.value:
                best, best_units = now, units
            if known.over:
                best.finished(known, remnants, best_units)
                return best
    best.finished(known, remnants, best_units)
    return best


@dataclass
class _Assigned:
    """A plan that lies: garments made, units per remnant, lays, value, and which copies are whole."""

    made: list[int]
    units: dict[str, list[Unit]]
    lays: dict[str, Lay]
    value: float
    there: set[tuple[int, int]] = field(default_factory=set)

    @classmethod
    def whole(
        cls, order: Order, kinds: Sequence[Kind], units: Mapping[str, list[Unit]], lays: Mapping[str, Lay]
    ) -> _Assigned:
        """Only garments all of whose pieces lie count; lays without any of them are dropped."""
        broken = {(u.garment, u.copy) for name, own in units.items() if name not in lays for u in own}
        there = {(u.garment, u.copy) for own in units.values() for u in own} - broken
        made = [0] * len(kinds)
        for garment, _ in there:
            made[garment] += 1
        kept = {name: [u for u in own if (u.garment, u.copy) in there] for name, own in units.items() if name in lays}
        value = sum(n * g.value for n, g in zip(made, order.garments, strict=True))
        return cls(made, {n: own for n, own in kept.items() if own}, dict(lays), value, there)

    def finished(self, known: Knowledge, remnants: Sequence[Remnant], all_units: Mapping[str, list[Unit]]) -> None:
        """Lay anew what holds pieces of garments that came to nothing, without those."""
        for remnant in remnants:
            own = self.units.get(remnant.name)
            if own is None:
                self.lays.pop(remnant.name, None)
            elif len(own) < len(all_units[remnant.name]):
                # Less than what lies there already always lies; if the search should miss it, its old lay stays.
                lay = known.lay(remnant, own)
                if lay is None:
                    self.units[remnant.name] = all_units[remnant.name]
                else:
                    self.lays[remnant.name] = lay

    def uses(self, order: Order, numbers: Numbers) -> tuple[Use, ...]:
        """Every cloth piece of the garments made, by remnant."""
        return tuple(
            Use(
                name,
                u.name,
                order.garments[u.garment].size,
                numbers[u.garment, u.copy],
                u.kind.piece,
                u.kind.hand or None,
            )
            for name, own in self.units.items()
            for u in own
        )


def _kind(order: Order, garment: Garment, stocked: set[str]) -> Kind:
    """The garment as the solver sees it: only pieces of cloths of which there are remnants."""
    needs = Counter(c for c in classes_of(order, garment) if c.cloth in stocked)
    return Kind(
        garment_label(garment),
        garment.count if needs else 0,
        garment.value,
        garment.same_cloth,
        tuple(sorted(needs.items())),
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
                if class_area(known.order, c) > _room(remnant) * (1 + 1e-9):
                    continue
                garment = known.order.garments[index]
                known.refuses(remnant, [Unit(c, index, garment.name, 1, 0)])


def _to_buy(order: Order, made: Sequence[int], stocked: set[str], lay: LayOne | None) -> tuple[ToBuy, ...]:
    wanted = []
    for cloth in cloths_used(order):
        counts = [
            (g.count - n if cloth in stocked else g.count) if pieces_on(order, g, cloth) else 0
            for g, n in zip(order.garments, made, strict=True)
        ]
        if not any(counts):
            continue
        garments = tuple((garment_label(g), n) for g, n in zip(order.garments, counts, strict=True) if n)
        stuff = order.cloth_named(cloth)
        if lay is None:
            wanted.append(ToBuy(cloth, garments, None, None, None))
            continue
        try:
            found = lay(with_counts(order, counts), cloth)
        except CannotLayError as error:
            wanted.append(ToBuy(cloth, garments, None, None, None, str(error)))
            continue
        cost = None if stuff.price is None else round(found.buy_length / stuff.price_unit * stuff.price, 2)
        apart = led_by(order, cloth)
        wanted.append(ToBuy(cloth, garments, found.lay_length, found.buy_length, cost, apart_from=apart))
    return tuple(wanted)
