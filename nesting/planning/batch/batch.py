"""How to cut a batch: which garments lie together in which section, how it is spread, and in how many plies.

Glossary
    *Ratio*: how many of each garment and size lie in one layer of a section. *Layer*: what is cut at one place: a
    single ply face up, two plies face to face, or one folded cloth. *Section*: a ratio, a spread and a number of
    layers; it gives layers · ratio garments.

Model (an integer programme over ratios, solved by CP-SAT)
    Columns are pairs (ratio, spread) that the table can take: lay length + 2 · end allowance ≤ table length, garments
    per layer ≤ ``most_per_section``. z[column, n] counts sections of that column with n layers, 1 ≤ n ≤ what the
    cutter takes. For each garment: the sum of n · ratio · z is exactly what is ordered. Cloth of a section:
    n · widths · (lay length + 2 · end allowance) / (1 − shrinkage), widths = 2 face to face, else 1, in tenths of a
    millimetre rounded up. Least cloth first, then fewest sections, then fewest cuts (outlines cut per layer; two plies
    face to face or folded halve the number of pairs).

    Lay lengths are not known beforehand. Each is estimated by area / (usable width · efficiency), or by measured lays
    one behind the other where that is shorter; the ratios that a plan uses are laid and measured, and the plan is made
    again until it uses only measured ones. The best efficiency measured on several garments takes the place of the
    usual one as soon as there is one. The ratios considered are all there are if they are few, else a pool grown from
    the order's proportions. So a plan is the best found; what is proved is the least that any plan takes, by area.

    The whole order in one lay, spread as it comes out best, stands beside the plan, and is taken where it needs no more
    cloth: a batch is never longer than a lay.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Any

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay
from nesting.model.order import SpreadName
from nesting.model.units import round_up, to_cents
from nesting.planning.batch.measuring import LengthOf, Measuring, Mode, flaps_of, modes_of
from nesting.planning.batch.ratios import Chosen, Plan, Ratio, choose_sections, ratio_pool
from nesting.planning.layout.laying import LayOne, garment_area
from nesting.resolving.cutting_list import CuttingList, GarmentEntry

__all__ = [
    "BatchPlan",
    "LengthsByLaying",
    "PlannedSection",
    "garment_kinds",
    "over_garments",
    "plan_batch",
    "section_order",
]

#: What a lay of several garments may reach ("80-85 % very good", Industrial Cutting of Textile Materials, ch. 3).
USUAL_EFFICIENCY = 0.85
#: Garments in one layer, where the table sets no narrower limit.
MOST_PER_SECTION = 24
#: Lays measured for plans of one cloth, beyond those of the single garments.
MEASURES = 12


@dataclass(frozen=True)
class PlannedSection:
    """One section: ``ratio`` garments per layer, ``layers`` of them, ``plies`` in all; gives layers · ratio garments.

    ``lay_length`` mm on the table, ``cloth_length`` mm of cloth as sold, allowances and shrinkage included. ``cuts``
    outlines cut.
    """

    ratio: Ratio
    spread: SpreadName
    layers: int
    plies: int
    lay_length: float
    cloth_length: float
    cuts: int


@dataclass(frozen=True)
class BatchPlan:
    """The plan of one cloth. ``garments`` are labels, ``counts`` what is ordered; ``shares`` each garment's share of
    the cloth by area. Lengths mm. ``one_at_a_time``: what cutting each garment by itself would take, None where that
    was not measured. ``measured`` lays were made and compared. ``settled``: the plan uses measured lengths and none
    better was in sight. ``least``: no plan takes less cloth than that, by area. ``lays``: the lay of each section, in
    their sequence, where they were made; each says which garments it holds."""

    cloth: str
    garments: tuple[str, ...]
    counts: tuple[int, ...]
    sections: tuple[PlannedSection, ...]
    cloth_length: float
    buy_length: float
    shares: tuple[float, ...]
    one_at_a_time: float | None
    measured: int
    settled: bool
    least: float
    increment: float = 0.0
    imperial: bool = False
    cost: float | None = None
    #: the cloth over which it would lie if its pieces were not counted as cut apart
    apart_from: str | None = None
    lays: tuple[Lay, ...] = ()

    def with_sections(self, listed: CuttingList, sections: tuple[PlannedSection, ...]) -> BatchPlan:
        """The plan with these sections, and the cloth that they take."""
        stuff = listed.cloth_named(self.cloth)
        used = math.fsum(s.cloth_length for s in sections)
        buy = round_up(used, stuff.increment)
        cost = None if stuff.price is None else to_cents(buy / stuff.price_unit * stuff.price)
        return replace(self, sections=sections, cloth_length=used, buy_length=buy, cost=cost)

    @property
    def proved(self) -> bool:
        """Whether less cloth than the plan's cannot be bought: what any plan takes, rounded up, is as much."""
        return self.buy_length <= round_up(self.least, self.increment) + 1e-6

    @property
    def per_garment(self) -> float:
        """Length to buy per garment, mm, all garments alike."""
        return self.buy_length / sum(self.counts)

    @property
    def cuts(self) -> int:
        """Outlines cut in all sections."""
        return sum(s.cuts for s in self.sections)

    def length_each(self, i: int) -> float:
        """The length to buy for one garment of kind ``i``, by its share of the area, mm."""
        return self.buy_length * self.shares[i] / self.counts[i]

    def as_dict(self) -> dict[str, Any]:
        """The plan as the JSON document shows it (mm)."""
        return {
            "cloth": self.cloth,
            "cloth_length": self.cloth_length,
            "buy_length": self.buy_length,
            "per_garment": self.per_garment,
            "one_at_a_time": self.one_at_a_time,
            "cost": self.cost,
            "apart_from": self.apart_from,
            "garments": [
                {"garment": name, "count": n, "share": share, "length_each": self.length_each(i)}
                for i, (name, n, share) in enumerate(zip(self.garments, self.counts, self.shares, strict=True))
            ],
            "sections": [
                {
                    "spread": s.spread,
                    "plies": s.plies,
                    "layers": s.layers,
                    "per_layer": {name: n for name, n in zip(self.garments, s.ratio, strict=True) if n},
                    "lay_length": s.lay_length,
                    "cloth_length": s.cloth_length,
                    "cuts": s.cuts,
                }
                for s in self.sections
            ],
            "measured": self.measured,
            "settled": self.settled,
            "least": self.least,
            "proved": self.proved,
        }


def _cuts(listed: CuttingList, garment: GarmentEntry, cloth: str, mode: Mode) -> int:
    if mode.plies == 1:
        return sum(piece.cut for piece in garment.on(cloth))
    return sum(math.ceil(piece.cut / 2) for piece in garment.on(cloth))


class LengthsByLaying:
    """Measures lay lengths with the search, each once, and keeps the lays. ``on_lay`` is told of each."""

    def __init__(self, listed: CuttingList, cloth: str, lay: LayOne, on_lay: Callable[[], None] | None = None) -> None:
        self._order, self._cloth, self._lay, self._on_lay = listed, cloth, lay, on_lay
        self._plain = replace(listed.cloth_named(cloth), length=None, table_length=None, spreads=None, max_plies=None)
        self.lays: dict[tuple[Ratio, SpreadName], Lay] = {}

    def lay_of(self, ratio: Ratio, spread: SpreadName) -> Lay:
        """The lay of one layer: an open ply stands for each of a stack that lies face up."""
        kind: SpreadName = "open" if spread == "stacked face up" else spread
        if (ratio, kind) not in self.lays:
            spread_cloth = replace(self._plain, plies=2 if kind == "stacked face to face" else 1)
            counts = over_garments(self._order, self._cloth, ratio)
            part = self._order.with_cloths([spread_cloth]).with_counts(counts)
            if self._on_lay is not None:
                self._on_lay()
            self.lays[ratio, kind] = self._lay(part, self._cloth, spread=kind)
        return self.lays[ratio, kind]

    def __call__(self, ratio: Ratio, spread: SpreadName) -> float:
        """The lay length of one layer, mm."""
        return self.lay_of(ratio, spread).lay_length


def garment_kinds(listed: CuttingList, cloth: str) -> list[int]:
    """Indices of the garments that use the cloth."""
    return [i for i, g in enumerate(listed.garments) if g.count and g.on(cloth)]


def over_garments(listed: CuttingList, cloth: str, ratio: Ratio) -> list[int]:
    """A ratio over the garments of this cloth as counts over all garments of the order."""
    counts = [0] * len(listed.garments)
    for i, n in zip(garment_kinds(listed, cloth), ratio, strict=True):
        counts[i] = n
    return counts


def section_order(listed: CuttingList, cloth: str, section: PlannedSection) -> CuttingList:
    """The order for one section alone: its counts, and the cloth with that many plies, to be laid with its spread."""
    stacked = section.spread in ("stacked face up", "stacked face to face")
    changed = replace(
        listed.cloth_named(cloth), plies=section.plies if stacked else 1, spreads=None, max_plies=None, length=None
    )
    counts = over_garments(listed, cloth, tuple(n * section.layers for n in section.ratio))
    return listed.with_cloths([changed]).with_counts(counts)


def plan_batch(
    listed: CuttingList,
    cloth: str,
    length_of: LengthOf,
    *,
    max_plies: int | None = None,
    table_length: float | None = None,
    modes: Sequence[Mode] | None = None,
    most_per_section: int = MOST_PER_SECTION,
    efficiency: float = USUAL_EFFICIENCY,
    measures: int | None = MEASURES,
    seconds: float = 20.0,
    pool: int = 600,
) -> BatchPlan:
    """Divide the garments of one cloth into sections (see the module's text for the model).

    ``table_length`` mm and ``max_plies``, ``modes``: None takes the cloth's. ``efficiency``: share of the usable
    area that an unmeasured lay is taken to cover. ``measures``: no further plan is tried once so many lays have been
    measured beyond those of the single garments (None: no limit). ``seconds``: about the time for the solver in all.
    ``pool``: most ratios considered.

    Raises CannotLayError where a garment cannot be laid alone or does not fit on the table.
    """
    stuff = listed.cloth_named(cloth)
    types = garment_kinds(listed, cloth)
    garments = [listed.garments[i] for i in types]
    counts = tuple(g.count for g in garments)
    table = table_length if table_length is not None else stuff.table_length
    areas = [garment_area(g, cloth) for g in garments]
    asked = (tuple(modes), ()) if modes is not None else (modes_of(stuff, max_plies), flaps_of(stuff, max_plies))
    knowing = partial(Measuring, stuff, areas=areas, length_of=length_of, table=table, efficiency=efficiency)
    ways, measuring, singles = _one_by_one(garments, *asked, partial(knowing, imperial=listed.imperial))

    @cache
    def fits(ratio: Ratio) -> bool:
        return sum(ratio) <= most_per_section and any(measuring.may_fit(ratio, mode) for mode in ways)

    ratios, _, plans = ratio_pool(counts, areas, fits, max(mode.most for mode in ways), pool)
    cuts = [[_cuts(listed, g, cloth, mode) for g in garments] for mode in ways]
    chosen, settled = _settle(counts, ratios, plans, measuring, ways, cuts, measures, seconds)
    sections = [
        PlannedSection(
            ratio,
            "open" if ways[mode].kind == "stacked face up" and layers == 1 else ways[mode].kind,
            layers,
            layers * ways[mode].plies,
            measuring.length(ratio, mode),
            layers * measuring.cloth_per_layer(ratio, mode),
            _total(cuts[mode], ratio),
        )
        for ratio, mode, layers in chosen
    ]
    sections.sort(key=lambda s: (-s.cloth_length, s.ratio))
    total_area = math.fsum(a * n for a, n in zip(areas, counts, strict=True))
    plan = BatchPlan(
        cloth,
        tuple(g.label for g in garments),
        counts,
        (),
        0.0,
        0.0,
        tuple(a * n / total_area for a, n in zip(areas, counts, strict=True)),
        math.fsum(n * length for n, length in zip(counts, singles, strict=True)),
        measuring.made,
        settled,
        measuring.least(counts),
        stuff.increment,
        listed.imperial,
        None,
        listed.led_by(cloth),
    )
    return plan.with_sections(listed, tuple(sections))


def _one_by_one(
    garments: Sequence[GarmentEntry],
    plain: tuple[Mode, ...],
    flaps: tuple[Mode, ...],
    measuring: Callable[..., Measuring],
) -> tuple[tuple[Mode, ...], Measuring, list[float]]:
    """Each garment laid by itself: the ways to spread, what is measured, and the cloth that each takes, mm. ``flaps``
    are tried as well where a garment lies in none of the plain ways: a half that may not be opened out, beside a piece
    wider than half the cloth."""
    known = measuring(modes=plain)
    try:
        return plain, known, known.singles(garments)
    except CannotLayError:
        if not flaps:
            raise
        return _one_by_one(garments, (*plain, *flaps), (), measuring)


def _settle(
    counts: Ratio,
    ratios: Sequence[Ratio],
    plans: Sequence[Plan],
    measuring: Measuring,
    ways: Sequence[Mode],
    cuts: Sequence[Sequence[int]],
    measures: int | None,
    seconds: float,
) -> tuple[list[Chosen], bool]:
    """Plan, measure what the plan uses, and plan again; the best plan that is measured throughout, and whether the last
    plan asked for nothing new."""
    best: list[Chosen] = []
    best_cost: tuple[int, int, int] | None = None
    hint: list[Chosen] = []
    spent = 0
    while True:
        out_of_measures = measures is not None and spent >= measures
        if out_of_measures and best:
            return best, False
        columns = measuring.columns(ratios, measured_only=out_of_measures)
        hint, _ = choose_sections(
            counts,
            [(ratio, mode, ways[mode].most, tenths, _total(cuts[mode], ratio)) for ratio, mode, tenths in columns],
            seconds=max(seconds / 4.0, 0.5),
            hint=best or hint,
            plans=plans,
        )
        fresh = list(dict.fromkeys((r, m) for r, m, _ in hint if not measuring.is_measured(r, m)))
        for ratio, mode in fresh:
            measuring.measure(ratio, mode)
        spent += len(fresh)
        if all(measuring.is_measured(r, m) for r, m, _ in hint):
            tenths = sum(n * measuring.tenths(r, m) for r, m, n in hint)
            cost = (tenths, len(hint), sum(_total(cuts[m], r) for r, m, _ in hint))
            if best_cost is None or cost < best_cost:
                best, best_cost = hint, cost
            if not fresh:
                return best, not out_of_measures


def _total(each: Sequence[int], ratio: Ratio) -> int:
    return sum(k * n for k, n in zip(each, ratio, strict=True))
