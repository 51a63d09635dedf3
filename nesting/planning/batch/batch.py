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

    Lay lengths are not known beforehand. Each is estimated by area / (usable width · efficiency), the ratios that a
    plan uses are laid and measured, and the plan is made again until it uses only measured ones. With the efficiency
    at 1 the estimate is a bound, so the final plan is then the best over all ratios considered; below 1 the best
    efficiency measured on several garments takes its place as soon as there is one. The ratios considered are all
    there are if they are few (``BatchPlan.complete``), else a pool grown from the order's proportions.
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from nesting.model.errors import CannotLayError
from nesting.model.order import Cloth, Garment, Order, SpreadName
from nesting.model.units import round_up
from nesting.planning.batch.measuring import LengthOf, Measuring, Mode, modes_of
from nesting.planning.batch.ratios import Chosen, Plan, Ratio, choose_sections, ratio_pool
from nesting.planning.buying.steps import Steps
from nesting.planning.layout.laying import (
    LayOne,
    cloths_used,
    garment_area,
    garment_label,
    led_by,
    pieces_on,
    with_counts,
)

__all__ = [
    "BatchPlan",
    "PlannedSection",
    "batch",
    "batch_work",
    "length_by_laying",
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
    the cloth by area. Lengths mm. ``one_at_a_time``: what cutting each garment by itself would take.
    ``measured`` lays were made. ``settled``: the plan uses measured lengths and none better was in sight.
    ``complete``: every possible ratio was considered. ``optimal``: the solver proved it best for these lengths."""

    cloth: str
    garments: tuple[str, ...]
    counts: tuple[int, ...]
    sections: tuple[PlannedSection, ...]
    cloth_length: float
    buy_length: float
    shares: tuple[float, ...]
    one_at_a_time: float
    measured: int
    settled: bool
    complete: bool
    optimal: bool
    imperial: bool = False
    cost: float | None = None
    #: the cloth over which it would lie if its pieces were not counted as cut apart
    apart_from: str | None = None

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
            "complete": self.complete,
            "optimal": self.optimal,
        }


def _cuts(order: Order, garment: Garment, cloth: str, mode: Mode) -> int:
    if mode.plies == 1:
        return sum(piece.cut for piece in pieces_on(order, garment, cloth))
    return sum(math.ceil(piece.cut / 2) for piece in pieces_on(order, garment, cloth))


def length_by_laying(order: Order, cloth: str, lay: LayOne, on_lay: Callable[[], None] | None = None) -> LengthOf:
    """Measures lay lengths with the search, each once; ``on_lay`` is told of each."""
    plain = replace(order.cloth_named(cloth), length=None, table_length=None, spreads=None, max_plies=None)
    known: dict[tuple[Ratio, SpreadName], float] = {}

    def length_of(ratio: Ratio, spread: SpreadName) -> float:
        kind: SpreadName = "open" if spread == "stacked face up" else spread
        if (ratio, kind) not in known:
            spread_cloth = replace(plain, plies=2 if kind == "stacked face to face" else 1)
            part = with_counts(_with(order, spread_cloth), _over_garments(order, cloth, ratio))
            if on_lay is not None:
                on_lay()
            known[ratio, kind] = lay(part, cloth, spread=kind).lay_length
        return known[ratio, kind]

    return length_of


def _with(order: Order, cloth: Cloth) -> Order:
    return replace(order, cloths=tuple(cloth if c.name == cloth.name else c for c in order.cloths))


def _types(order: Order, cloth: str) -> list[int]:
    """Indices of the garments that use the cloth."""
    return [i for i, g in enumerate(order.garments) if g.count and pieces_on(order, g, cloth)]


def _over_garments(order: Order, cloth: str, ratio: Ratio) -> list[int]:
    """A ratio over the garments of this cloth as counts over all garments of the order."""
    counts = [0] * len(order.garments)
    for i, n in zip(_types(order, cloth), ratio, strict=True):
        counts[i] = n
    return counts


def section_order(order: Order, cloth: str, section: PlannedSection) -> Order:
    """The order for one section alone: its counts, and the cloth with that many plies, to be laid with its spread."""
    stacked = section.spread in ("stacked face up", "stacked face to face")
    changed = replace(
        order.cloth_named(cloth), plies=section.plies if stacked else 1, spreads=None, max_plies=None, length=None
    )
    return with_counts(
        _with(order, changed), _over_garments(order, cloth, tuple(n * section.layers for n in section.ratio))
    )


def batch_work(order: Order) -> int:
    """How many lays ``batch`` makes, about, and seldom more: one of every garment by itself, then the lays of plans."""
    return sum(_lays_of(order, name) for name in cloths_used(order))


def _lays_of(order: Order, cloth: str) -> int:
    return len(_types(order, cloth)) + MEASURES


def batch(order: Order, lay: LayOne, *, steps: Steps | None = None, **how: Any) -> tuple[BatchPlan, ...]:
    """A plan for every cloth that the order uses, with lengths measured by the search; ``how`` as for plan_batch.
    ``steps`` is told of every lay."""
    plans: list[BatchPlan] = []
    before = 0
    for name in cloths_used(order):
        made, most = itertools.count(1), _lays_of(order, name)

        def told(name: str = name, made: Iterator[int] = made, most: int = most) -> None:
            if steps is not None:
                steps.begin(name, f"lay {next(made)} of about {most}", 1.0)

        plans.append(plan_batch(order, name, length_by_laying(order, name, lay, told), **how))
        before += most
        if steps is not None:
            steps.reach(before)
    return tuple(plans)


def plan_batch(
    order: Order,
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

    Raises CannotLayError where a garment cannot be laid alone or does not fit on the table, or the cloth is too short.
    """
    stuff = order.cloth_named(cloth)
    types = _types(order, cloth)
    garments = [order.garments[i] for i in types]
    counts = tuple(g.count for g in garments)
    table = table_length if table_length is not None else stuff.table_length
    ways = tuple(modes) if modes is not None else modes_of(stuff, max_plies)
    areas = [garment_area(order, g, cloth) for g in garments]
    measuring = Measuring(stuff, ways, areas, length_of, table, efficiency)
    singles = measuring.singles(garments)

    @cache
    def fits(ratio: Ratio) -> bool:
        return sum(ratio) <= most_per_section and any(measuring.may_fit(ratio, mode) for mode in ways)

    ratios, complete, plans = ratio_pool(counts, areas, fits, max(mode.most for mode in ways), pool)
    cuts = [[_cuts(order, g, cloth, mode) for g in garments] for mode in ways]
    chosen, settled, optimal = _settle(counts, ratios, plans, measuring, ways, cuts, measures, seconds)
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
    used = math.fsum(s.cloth_length for s in sections)
    if stuff.length is not None and used > stuff.length:
        raise CannotLayError(
            f"the batch takes {used / 10:.1f} cm of '{cloth}', but there are only {stuff.length / 10:.1f} cm: "
            "order fewer garments or get more cloth",
            file=order.path,
            key="cloth.length",
        )
    total_area = math.fsum(a * n for a, n in zip(areas, counts, strict=True))
    buy = round_up(used, stuff.increment)
    return BatchPlan(
        cloth,
        tuple(garment_label(g) for g in garments),
        counts,
        tuple(sections),
        used,
        buy,
        tuple(a * n / total_area for a, n in zip(areas, counts, strict=True)),
        math.fsum(n * length for n, length in zip(counts, singles, strict=True)),
        measuring.made,
        settled,
        complete,
        optimal,
        order.imperial,
        None if stuff.price is None else round(buy / stuff.price_unit * stuff.price, 2),
        led_by(order, cloth),
    )


def _settle(
    counts: Ratio,
    ratios: Sequence[Ratio],
    plans: Sequence[Plan],
    measuring: Measuring,
    ways: Sequence[Mode],
    cuts: Sequence[Sequence[int]],
    measures: int | None,
    seconds: float,
) -> tuple[list[Chosen], bool, bool]:
    """Plan, measure what the plan uses, and plan again; the best plan that is measured throughout, whether the last
    plan asked for nothing new, and whether the solver proved it best."""
    best: list[Chosen] = []
    best_cost: tuple[int, int, int] | None = None
    hint: list[Chosen] = []
    spent, left = 0, seconds
    while True:
        out_of_measures = measures is not None and spent >= measures
        if out_of_measures and best:
            return best, False, False
        columns = measuring.columns(ratios, measured_only=out_of_measures)
        began = time.monotonic()
        hint, optimal = choose_sections(
            counts,
            [(ratio, mode, ways[mode].most, tenths, _total(cuts[mode], ratio)) for ratio, mode, tenths in columns],
            seconds=max(left / 3.0, 0.5),
            hint=best or hint,
            plans=plans,
        )
        left -= time.monotonic() - began
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
                return best, not out_of_measures, optimal


def _total(each: Sequence[int], ratio: Ratio) -> int:
    return sum(k * n for k, n in zip(each, ratio, strict=True))
