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

import math
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from nesting.errors import CannotLayError, OrderError
from nesting.lay import Lay
from nesting.order import Garment, Order, Remnant
from nesting.planning.assigning import Kind, Refusal, assign
from nesting.planning.laying import LayOne, cloths_used, garment_label, pieces_on, ring_area, with_counts
from nesting.planning.parts import Fits, PieceClass, Unit, class_area, classes_of, part_order, restored, units_of

__all__ = ["Made", "RemnantPlan", "ToBuy", "Use", "plan_remnants"]

#: Subsets tried to make a refusal stronger before it is handed to the solver.
_SHRINK_TRIES = 4


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
    """What of a cloth must still be bought, mm; ``reason`` where it cannot be laid, with no lengths then."""

    cloth: str
    garments: tuple[tuple[str, int], ...]
    lay_length: float | None
    buy_length: float | None
    cost: float | None
    reason: str | None = None


@dataclass(frozen=True)
class RemnantPlan:
    """What the remnants give. ``lays`` has one lay for each remnant used; ``parts`` the order that it was laid from,
    for proof: there every cloth piece is an own piece, named "piece#n". ``value`` reached, ``bound`` what no
    plan can exceed (area and single pieces); ``proved``: the value is the best there is. ``reason`` says why nothing
    (more) can be cut."""

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
                }
                for b in self.to_buy
            ],
            "refused": list(self.refused),
        }


class _Memory:
    """What is known of loads on remnants; remnants of the same shape share it."""

    def __init__(self, order: Order, fits: Fits, remnants: Sequence[Remnant], until: float) -> None:
        self.order, self.fits, self.until = order, fits, until
        self.alike = {r.name: _shape(r) for r in remnants}
        self.laid: dict[tuple[str, tuple[Unit, ...]], Lay] = {}
        self.lies: dict[tuple[object, ...], list[Counter[PieceClass]]] = {}
        self.refusals: list[tuple[tuple[object, ...], Refusal]] = []

    def known(self, remnant: Remnant, load: Counter[PieceClass]) -> bool | None:
        shape = self.alike[remnant.name]
        if any(load <= other for other in self.lies.get(shape, [])):
            return True
        if any(s == shape and Counter(dict(r.load)) <= load for s, r in self.refusals):
            return False
        return None

    def refuses(self, remnant: Remnant, units: Sequence[Unit]) -> bool:
        """Whether it can be proved that these units (of one cloth) do not lie there; remembered as a refusal."""
        why = self.fits.refuses(part_order(self.order, units), units[0].kind.cloth, remnant)
        if why is not None:
            self._refuse(remnant, _load(units), proven=True, reason=why)
        return why is not None

    def try_to_lay(self, remnant: Remnant, units: Sequence[Unit]) -> Lay | None:
        """The lay of these units, or None, remembered as a refusal."""
        key = (remnant.name, tuple(units))
        if key in self.laid:
            return self.laid[key]
        if self.refuses(remnant, units):
            return None
        lay = self.fits.lay(part_order(self.order, units), units[0].kind.cloth, remnant)
        if lay is None:
            self._refuse(remnant, _load(units), proven=False, reason="no room was found in time")
            return None
        self.lies.setdefault(self.alike[remnant.name], []).append(_load(units))
        self.laid[key] = lay
        return lay

    def _refuse(self, remnant: Remnant, load: Counter[PieceClass], *, proven: bool, reason: str) -> None:
        shape = self.alike[remnant.name]
        self.refusals.append((shape, Refusal(remnant.name, tuple(sorted(load.items())), proven, reason)))

    def shrink(self, remnant: Remnant, units: Sequence[Unit]) -> None:
        """Make the refusal of ``units`` stronger: leave out small pieces as long as the rest is refused too."""
        left = list(units)
        for unit in sorted(units, key=lambda u: class_area(self.order, u.kind))[:_SHRINK_TRIES]:
            rest = [u for u in left if u is not unit]
            if not rest or time.monotonic() > self.until:
                return
            known = self.known(remnant, Counter(u.kind for u in rest))
            if known is True or (known is None and self.try_to_lay(remnant, rest) is not None):
                continue
            left = rest

    def all_refusals(self) -> list[Refusal]:
        """Every refusal, for every remnant of its shape."""
        return [
            replace(refusal, remnant=name)
            for shape, refusal in self.refusals
            for name, own in self.alike.items()
            if own == shape and refusal.load
        ]


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
    memory = _Memory(order, fits, remnants, began + seconds)
    _each_alone(memory, kinds, remnants)
    areas = {c: class_area(order, c) for kind in kinds for c, _ in kind.needs}
    best: _Assigned | None = None
    best_units: Mapping[str, list[Unit]] = {}
    bound: float | None = None
    settled = False
    while True:
        left = memory.until - time.monotonic()
        asked = assign(kinds, remnants, room, areas, memory.all_refusals(), seconds=max(1.0, left / 2))
        if bound is None:
            bound = asked.bound
        units = units_of(order, kinds, asked.loads)
        lays: dict[str, Lay] = {}
        for remnant in remnants:
            mine = units.get(remnant.name, [])
            if not mine:
                continue
            found = memory.try_to_lay(remnant, mine) if memory.known(remnant, _load(mine)) is not False else None
            if found is not None:
                lays[remnant.name] = found
            elif time.monotonic() < memory.until:
                memory.shrink(remnant, mine)
        now = _Assigned.whole(order, kinds, units, lays)
        if best is None or now.value > best.value:
            best, best_units = now, units
        if len(lays) == sum(1 for own in units.values() if own):
            settled = asked.optimal
            if now.value >= best.value:
                best, best_units = now, units
            break
        if time.monotonic() > memory.until:
            break
    best.finished(memory, remnants, best_units)
    proven_only = [r for r in memory.all_refusals() if r.proven]
    bound = min(bound, assign(kinds, remnants, room, areas, proven_only, seconds=2.0).bound)
    proved = best.value >= bound - 1e-9 or (settled and all(r.proven for r in memory.all_refusals()))
    return RemnantPlan(
        order.title,
        order.imperial,
        tuple(Made(g.name, g.size, n, g.count) for g, n in zip(order.garments, best.made, strict=True)),
        best.uses(order),
        tuple(restored(lay_, best.units[name], order) for name, lay_ in best.lays.items()),
        tuple((lay_, part_order(order, best.units[name])) for name, lay_ in best.lays.items()),
        tuple(r.name for r in remnants if r.name not in best.lays),
        _to_buy(order, best.made, {r.cloth for r in remnants}, lay),
        best.value,
        max(bound, best.value),
        proved,
        _reason(kinds, remnants, room, areas, memory, best, proved),
        time.monotonic() - began,
        tuple(dict.fromkeys(r.text() for _, r in memory.refusals)),
    )


@dataclass
class _Assigned:
    """A plan that lies: garments made, units per remnant, lays."""

    made: list[int]
    units: dict[str, list[Unit]]
    lays: dict[str, Lay]
    value: float

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
        return cls(made, {n: own for n, own in kept.items() if own}, dict(lays), value)

    def finished(self, memory: _Memory, remnants: Sequence[Remnant], all_units: Mapping[str, list[Unit]]) -> None:
        """Lay anew what holds pieces of garments that came to nothing, without those."""
        for remnant in remnants:
            own = self.units.get(remnant.name)
            if own is None:
                self.lays.pop(remnant.name, None)
            elif len(own) < len(all_units[remnant.name]):
                # Less than what lies there already always lies; if the search should miss it, its old lay stays.
                lay = memory.try_to_lay(remnant, own)
                if lay is None:
                    self.units[remnant.name] = all_units[remnant.name]
                else:
                    self.lays[remnant.name] = lay

    def uses(self, order: Order) -> tuple[Use, ...]:
        """Every cloth piece of the garments made, by remnant."""
        return tuple(
            Use(name, u.name, order.garments[u.garment].size, u.copy, u.kind.piece, u.kind.hand or None)
            for name, own in self.units.items()
            for u in own
        )


def _load(units: Sequence[Unit]) -> Counter[PieceClass]:
    return Counter(u.kind for u in units)


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


def _shape(remnant: Remnant) -> tuple[object, ...]:
    return (remnant.cloth, remnant.outline, remnant.flaws)


def _room(remnant: Remnant) -> float:
    """Area that may be covered, mm²; flaws may overlap each other and the edge."""
    if not remnant.flaws:
        return ring_area(remnant.outline)
    from shapely.geometry import Polygon
    from shapely.ops import unary_union

    return float(Polygon(remnant.outline).difference(unary_union([Polygon(f) for f in remnant.flaws])).area)


def _each_alone(memory: _Memory, kinds: Sequence[Kind], remnants: Sequence[Remnant]) -> None:
    """Every piece by itself on every remnant: what cannot lie even alone is the strongest cut of all."""
    seen: set[tuple[PieceClass, tuple[object, ...]]] = set()
    for index, kind in enumerate(kinds):
        for c, _ in kind.needs:
            for remnant in remnants:
                key = (c, memory.alike[remnant.name])
                if c.cloth != remnant.cloth or key in seen or kind.count == 0:
                    continue
                seen.add(key)
                if class_area(memory.order, c) > _room(remnant) * (1 + 1e-9):
                    continue
                garment = memory.order.garments[index]
                memory.refuses(remnant, [Unit(c, index, garment.name, 1, 0)])


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
        wanted.append(ToBuy(cloth, garments, found.lay_length, found.buy_length, cost))
    return tuple(wanted)


def _reason(
    kinds: Sequence[Kind],
    remnants: Sequence[Remnant],
    room: Mapping[str, float],
    areas: Mapping[PieceClass, float],
    memory: _Memory,
    best: _Assigned,
    proved: bool,
) -> str | None:
    """Why not one (more) garment can be cut, with the figure or the first piece that proves it."""
    missing = [i for i, (k, n) in enumerate(zip(kinds, best.made, strict=True)) if n < k.count]
    if not missing:
        return None
    for i in missing:
        for c, _ in kinds[i].needs:
            here = [r for r in remnants if r.cloth == c.cloth]
            if all(_cannot_alone(c, r, room, areas, memory) for r in here):
                return (
                    f"{kinds[i].label}: piece '{c.label}' cannot lie on any of the {len(here)} remnants of "
                    f"'{c.cloth}', not even alone"
                )
    texts = [
        _area_reason(kinds[i], remnants, room, areas, best)
        or _places_reason(kinds, i, remnants, room, areas, memory, best)
        for i in missing
    ]
    found = [text for text in texts if text]
    if len(found) == len(texts):
        return found[0]
    if proved:
        return (
            "no division of the pieces over the remnants gives more: proved from the areas and from what cannot lie "
            "where (see what was refused)"
        )
    return "the search found no arrangement for more; that there is none is not proved"


def _places_reason(
    kinds: Sequence[Kind],
    i: int,
    remnants: Sequence[Remnant],
    room: Mapping[str, float],
    areas: Mapping[PieceClass, float],
    memory: _Memory,
    best: _Assigned,
) -> str | None:
    """A piece for which there are too few places by area on the remnants that can hold it at all."""
    for c, n in kinds[i].needs:
        here = [r for r in remnants if r.cloth == c.cloth and not _cannot_alone(c, r, room, areas, memory)]
        places = sum(math.floor(room[r.name] / areas[c] * (1 + 1e-9)) for r in here)
        taken = sum(u.kind == c for own in best.units.values() for u in own)
        if taken + n > places:
            return (
                f"{kinds[i].label}: piece '{c.label}' finds at most {places} places on the remnants that can hold it "
                f"({', '.join(r.name for r in here) or 'none'}), and {taken} are taken"
            )
    return None


def _cannot_alone(
    c: PieceClass, r: Remnant, room: Mapping[str, float], areas: Mapping[PieceClass, float], memory: _Memory
) -> bool:
    if areas[c] > room[r.name] * (1 + 1e-9):
        return True
    return any(ref.proven and ref.load == ((c, 1),) and shape == memory.alike[r.name] for shape, ref in memory.refusals)


def _area_reason(
    kind: Kind,
    remnants: Sequence[Remnant],
    room: Mapping[str, float],
    areas: Mapping[PieceClass, float],
    best: _Assigned,
) -> str | None:
    """The proof by area for one more of this garment, None where there would be area enough."""
    made = {(u.kind, u.garment, u.copy, u.slot): areas[u.kind] for own in best.units.values() for u in own}
    for cloth in dict.fromkeys(c.cloth for c, _ in kind.needs):
        there = sum(room[r.name] for r in remnants if r.cloth == cloth)
        taken = sum(a for (c, *_), a in made.items() if c.cloth == cloth)
        one = sum(areas[c] * n for c, n in kind.needs if c.cloth == cloth)
        if taken + one > there * (1 + 1e-9):
            return (
                f"{kind.label}: one more takes {one / 100:.0f} cm² of '{cloth}', but of the remnants' "
                f"{there / 100:.0f} cm² only {(there - taken) / 100:.0f} cm² are left"
            )
        largest = max((room[r.name] for r in remnants if r.cloth == cloth), default=0.0)
        if kind.same_cloth and one > largest * (1 + 1e-9):
            return (
                f"{kind.label}: all its pieces of '{cloth}' are to come from one remnant and take {one / 100:.0f} cm², "
                f"but the largest has {largest / 100:.0f} cm²"
            )
    return None
