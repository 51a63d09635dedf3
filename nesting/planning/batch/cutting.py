"""A batch as it is cut: plans for every cloth, the whole order in one lay beside them, and a lay for every section."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay, LayPart, PieceHeld, Placement
from nesting.model.order import SpreadName
from nesting.model.units import format_apart
from nesting.planning.batch.batch import (
    MEASURES,
    BatchPlan,
    LengthsByLaying,
    PlannedSection,
    garment_kinds,
    plan_batch,
    section_order,
)
from nesting.planning.batch.measuring import modes_of
from nesting.planning.batch.ratios import Ratio
from nesting.planning.buying.steps import Steps
from nesting.planning.layout.demand import needs_of, stacks_of
from nesting.planning.layout.laying import LayOne, garment_area
from nesting.planning.layout.yardage import buy_length, garment_shares, utilisation
from nesting.resolving.cutting_list import CuttingList

__all__ = ["batch", "batch_work", "with_lays", "with_whole"]

#: Lays that the one of the whole order counts for.
WHOLE = 4


def batch_work(listed: CuttingList, cloths: Sequence[str] | None = None) -> int:
    """How many lays ``batch`` makes, about, and seldom more: one of every garment by itself, the lays of plans, and one
    of the whole order, which counts for more."""
    return sum(_lays_of(listed, name) for name in (listed.cloths_used if cloths is None else cloths))


def _lays_of(listed: CuttingList, cloth: str) -> int:
    return len(garment_kinds(listed, cloth)) + MEASURES + WHOLE


def batch(
    listed: CuttingList,
    lay: LayOne,
    *,
    steps: Steps | None = None,
    on_plans: Callable[[tuple[BatchPlan, ...]], None] | None = None,
    cloths: Sequence[str] | None = None,
    begun: Mapping[tuple[str, str | None], int] | None = None,
    **how: Any,
) -> tuple[BatchPlan, ...]:
    """A plan for every cloth that the order uses, with its lays, lengths measured by the search; ``how`` as for
    plan_batch. ``steps`` is told of every lay. ``on_plans`` hears of what there is so far:
    at first the whole order in one lay of each cloth, then the plan of each. ``cloths``: only these; ``begun``: how
    many of each garment and size come from elsewhere, so that the first here has the number after."""
    plans: list[BatchPlan] = []
    before = 0
    names = listed.cloths_used if cloths is None else tuple(name for name in listed.cloths_used if name in cloths)
    given = dict(begun or {})
    simple = [] if on_plans is None else [_simple(listed, name, lay, given) for name in names]

    def so_far() -> None:
        there = [*plans, *simple[len(plans) :]]
        if on_plans is not None and None not in there:
            on_plans(tuple(plan for plan in there if plan is not None))

    so_far()
    for name in names:
        made, most = itertools.count(1), _lays_of(listed, name)

        def told(weight: float = 1.0, name: str = name, made: Iterator[int] = made, most: int = most) -> None:
            if steps is not None:
                steps.begin(name, f"lay {next(made)} of about {most}", weight)

        if how.get("modes") is None and not modes_of(listed.cloth_named(name), how.get("max_plies")):
            plans.append(_in_one(listed, name, lay, given))
            so_far()
            continue
        measured = LengthsByLaying(listed, name, lay, told)
        plan = plan_batch(listed, name, measured, **how)
        told(WHOLE)
        plan = _as_much_as_there_is(listed, with_whole(listed, plan, _whole_lay(listed, name, lay)))
        plans.append(with_lays(listed, plan, lay, measured.lays, given))
        so_far()
        before += most
        if steps is not None:
            steps.reach(before)
    return tuple(plans)


def _in_one(
    listed: CuttingList, cloth: str, lay: LayOne, begun: Mapping[tuple[str, str | None], int]
) -> BatchPlan:
    """The plan for cloth that may only lie in ways in which no sections are planned: the whole order in one lay."""
    endless = listed.with_cloths([replace(listed.cloth_named(cloth), length=None)])
    plan = _simple(endless, cloth, lay, begun, share=WHOLE)
    if plan is None:
        # where it does not lie at all, that is the reason to tell
        lay(endless.with_cloths([replace(endless.cloth_named(cloth), table_length=None)]), cloth, share=WHOLE)
        only = " or ".join(f"'{kind}'" for kind in listed.cloth_named(cloth).spreads or ())
        raise CannotLayError(
            f"the batch does not go into one lay of '{cloth}', and cloth that may only lie as {only} is not divided "
            "into sections: let it lie open or folded lengthwise",
            key="cloth.spreads",
            code="batch.spreads",
        )
    return _as_much_as_there_is(listed, plan)


def _simple(
    listed: CuttingList,
    cloth: str,
    lay: LayOne,
    begun: Mapping[tuple[str, str | None], int],
    share: float = 0.02,
) -> BatchPlan | None:
    """The whole order in one lay as a plan, a quick one to have something at once; None where it cannot be laid so."""
    whole = _whole_lay(listed, cloth, lay, share=share)
    if whole is None:
        return None
    kinds = garment_kinds(listed, cloth)
    counts = tuple(listed.garments[i].count for i in kinds)
    areas = [garment_area(listed.garments[i], cloth) for i in kinds]
    total = math.fsum(a * n for a, n in zip(areas, counts, strict=True))
    shares = tuple(a * n / total for a, n in zip(areas, counts, strict=True))
    labels = tuple(listed.garments[i].label for i in kinds)
    stuff = listed.cloth_named(cloth)
    least = (total / (stuff.usable_width * (2 if stuff.tubular else 1)) + 2.0 * stuff.end_allowance) / (
        1.0 - stuff.shrink_along
    )
    plan = BatchPlan(
        cloth,
        labels,
        counts,
        (),
        math.inf,
        math.inf,
        shares,
        None,
        0,
        False,
        least,
        stuff.increment,
        listed.imperial,
    )
    plan = with_whole(listed, plan, whole)
    return with_lays(listed, plan, lay, {}, begun) if plan.lays else None


def _whole_lay(listed: CuttingList, cloth: str, lay: LayOne, share: float = WHOLE) -> Lay | None:
    """The whole order in one lay; None where it cannot be laid so, or not on the table, or with these plies."""
    stuff = listed.cloth_named(cloth)
    most = stuff.max_plies or stuff.plies
    changed = replace(stuff, plies=min(stuff.plies, most), length=None, table_length=None)
    try:
        found = lay(listed.with_cloths([changed]), cloth, share=share)
    except CannotLayError:
        return None
    on_table = [s.lay_length + 2.0 * stuff.end_allowance for s in found.sections]
    return found if stuff.table_length is None or max(on_table) <= stuff.table_length + 1e-6 else None


def with_whole(listed: CuttingList, plan: BatchPlan, whole: Lay | None) -> BatchPlan:
    """The plan, or the whole order in one lay where that takes no more cloth."""
    stuff = listed.cloth_named(plan.cloth)
    if whole is None:
        return plan
    plan = replace(plan, measured=plan.measured + 1)
    kind = whole.sections[0].spread.kind if len(whole.sections) == 1 else "sections"
    takes = buy_length("open" if kind == "sections" else kind, stuff, whole.lay_length, rounded=False)
    if takes > plan.cloth_length + 1e-6 or (stuff.length is not None and takes > stuff.length + 1e-6):
        return plan
    plies = max(len(s.spread.plies) for s in whole.sections)
    section = PlannedSection(plan.counts, kind, 1, plies, whole.lay_length, takes, len(whole.placements))
    return replace(plan, lays=(whole,)).with_sections(listed, (section,))


def _as_much_as_there_is(listed: CuttingList, plan: BatchPlan) -> BatchPlan:
    """The plan, if there is cloth enough for it. CannotLayError says what is missing; that no other division would do
    is claimed only where the area proves it."""
    length = listed.cloth_named(plan.cloth).length
    if length is None or plan.cloth_length <= length + 1e-6:
        return plan
    takes, there = format_apart(plan.cloth_length, length, imperial=listed.imperial)
    sure = (
        "no division of it takes less than there is, by the area of its pieces"
        if plan.least > length + 1e-6
        else "that is the least found; more --seconds may find less"
    )
    raise CannotLayError(
        f"the batch takes {takes} of '{plan.cloth}', but there are only {there}: {sure}. Order fewer garments, or get "
        "more cloth",
        file=listed.path,
        key="cloth.length",
        code="cloth.too-short",
    )


def with_lays(
    listed: CuttingList,
    plan: BatchPlan,
    lay: LayOne,
    measured: Mapping[tuple[Ratio, SpreadName], Lay],
    begun: Mapping[tuple[str, str | None], int] | None = None,
) -> BatchPlan:
    """The plan with a lay for each of its sections: garments numbered through all of them (on from those ``begun``
    elsewhere), each lay saying which of them it holds. What the sections take is what their lays take, in the end."""
    given: Counter[tuple[str, str | None]] = Counter(begun or {})
    if plan.lays:
        parts = (_part(listed, plan, one, listed, given, n, 1) for n, one in enumerate(plan.lays))
        return replace(plan, lays=tuple(parts))
    lays: list[Lay] = []
    sections: list[PlannedSection] = []
    for number, section in enumerate(plan.sections):
        own = section_order(listed, plan.cloth, section)
        known = measured.get((section.ratio, "open" if section.spread == "stacked face up" else section.spread))
        if known is not None and section.layers == 1 and len(known.sections[0].spread.plies) == section.plies:
            found = known
        else:
            begin = None if known is None else _stacked_from(known, section)
            found = lay(own, plan.cloth, spread=section.spread, start=begin)
        lays.append(_part(listed, plan, found, own, given, number, len(plan.sections)))
        stuff = own.cloth_named(plan.cloth)
        takes = buy_length(section.spread, stuff, found.lay_length, rounded=False)
        sections.append(replace(section, lay_length=found.lay_length, cloth_length=takes, cuts=len(found.placements)))
        for garment in own.garments:
            given[garment.name, garment.size] += garment.count
    return replace(plan, lays=tuple(lays)).with_sections(listed, tuple(sections))


def _stacked_from(known: Lay, section: PlannedSection) -> Lay:
    """The lay of one layer as the beginning of one through all layers: each placement through as many plies more, for
    as many copies more."""

    def through(p: Placement) -> Placement:
        n = section.layers
        copies = tuple((c - 1) * n + k + 1 for c in (p.copies or (p.copy,)) for k in range(n))
        return replace(p, plies=tuple(range(len(p.plies) * n)), copy=copies[0], copies=copies)

    first = known.sections[0]
    return replace(known, sections=(replace(first, placements=tuple(through(p) for p in first.placements)),))


def _part(
    listed: CuttingList,
    plan: BatchPlan,
    found: Lay,
    own: CuttingList,
    given: Counter[tuple[str, str | None]],
    number: int,
    of: int,
) -> Lay:
    """The lay of a section as one part of the batch: its copies numbered on from those of the parts before it."""
    before = dict(given)

    def called(p: Placement) -> Placement:
        shift = before.get((p.garment, p.size), 0)
        return replace(p, copy=p.copy + shift, copies=tuple(c + shift for c in p.copies))

    stuff = own.cloth_named(plan.cloth)
    held = Counter(
        (n.garment, n.size, n.copy + before.get((n.garment, n.size), 0), n.cut.name, n.hand)
        for n in needs_of(stacks_of(own, stuff, apart=True))
    )
    sections = tuple(replace(s, placements=tuple(called(p) for p in s.placements)) for s in found.sections)
    kind = "open" if len(sections) > 1 else sections[0].spread.kind
    takes = buy_length(kind, stuff, found.lay_length, rounded=False)
    counts = {(g.name, g.size): g.count for g in own.garments}
    placements = [p for s in sections for p in s.placements]
    note = f"part {number + 1} of {of} of the batch; the cloth for all parts is bought together"
    return replace(
        found,
        sections=sections,
        buy_length=takes,
        garments=garment_shares(placements, counts, takes),
        utilisation=utilisation(sections, stuff.width_washed),
        order_file=None if listed.path is None else listed.path.name,
        order_sha256=listed.sha256,
        part=LayPart(number + 1, of),
        holds=tuple(PieceHeld(*key, count) for key, count in held.items()),
        notes=(*found.notes, note) if of > 1 else found.notes,
    )
