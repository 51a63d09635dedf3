"""A lay that is longer than the table, divided into sections that are laid on it one after the other."""

from __future__ import annotations

from dataclasses import replace

from nesting.model.errors import CannotLayError
from nesting.model.lay import Lay, SpreadTried
from nesting.model.order import Cloth, SpreadName
from nesting.planning.batch.batch import BatchPlan
from nesting.planning.batch.cutting import batch
from nesting.planning.layout.laying import laying
from nesting.planning.layout.limits import fits_table
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.yardage import buy_length, full_widths, garment_shares, utilisation
from nesting.resolving.cutting_list import CuttingList

__all__ = ["divided"]


def divided(listed: CuttingList, lay: Lay, options: SearchOptions) -> Lay:
    """The lay as it is where it lies on the table, else one of several sections, each with its two ends on the table,
    whole garments in each. CannotLayError names the garment that alone is longer than the table."""
    if fits_table(listed, lay):
        return lay
    cloth = listed.cloth_named(lay.cloth)
    if cloth.plies > 1:
        raise CannotLayError(
            f"the lay of '{cloth.name}' is longer than the table and stacked in {cloth.plies} plies, so that it is not "
            "divided here: 'nesting batch' plans sections and plies together",
            key="cloth.table_length",
            code="table.too-short",
        )
    plan = _planned(listed, cloth, options)
    sections = []
    start = 0.0
    for one in plan.lays:
        for section in one.sections:
            sections.append(replace(section, start=start + section.start))
        start += one.lay_length + max(2.0 * cloth.end_allowance, cloth.gap)
    length = sections[-1].start + sections[-1].lay_length
    buy = buy_length("open", cloth, length)
    placements = [p for s in sections for p in s.placements]
    # the bound of the lay before, opened out as the sections are
    bound = lay.lower_bound * (1 if len(lay.sections) > 1 else full_widths(lay.sections[0].spread.kind, cloth))
    used = utilisation(tuple(sections), cloth.width_washed)
    # one section is an ordinary lay after all, shorter than the one that was found before
    kind: SpreadName = "sections" if len(sections) > 1 else sections[0].spread.kind
    handling = (len(placements), sum(len(s.spread.folds) for s in sections), sum(p.opened for p in placements))
    row = SpreadTried(kind, length, buy, used, handling, chosen=True)
    notes = (f"longer than the table: {len(sections)} sections laid one after the other, with their ends in between",)
    return replace(
        lay,
        sections=tuple(sections),
        lay_length=length,
        buy_length=buy,
        lower_bound=min(bound, length),
        utilisation=used,
        garments=garment_shares(placements, listed.counts, buy),
        tried=(*(replace(t, chosen=False) for t in lay.tried if t.kind != kind), row) if lay.tried else (),
        notes=(*lay.notes, *(notes if len(sections) > 1 else ())),
    )


def _planned(listed: CuttingList, cloth: Cloth, options: SearchOptions) -> BatchPlan:
    """The sections of one cloth, each of them on the table: open or on one fold, or on flaps where nothing else will
    do or is allowed."""
    # one ply, unless folded: a lay of sections is no stack
    plain: tuple[SpreadName, ...] = ("open", "lengthwise fold")
    flaps: tuple[SpreadName, ...] = ("partial fold", "double fold")
    if cloth.tubular:
        raise CannotLayError(
            f"the lay of '{cloth.name}', which is a tube, is longer than the table: 'nesting batch' plans it in parts "
            "that are cut off one after the other, or give a longer table",
            key="cloth.table_length",
            code="table.too-short",
        )
    # between sections lie their ends, or the gap where that is more: half of it is counted at each end
    ends = max(cloth.end_allowance, cloth.gap / 2.0)
    table = None if cloth.table_length is None else cloth.table_length + 2.0 * (ends - cloth.end_allowance)
    least = 1 if cloth.max_plies == 1 else None
    each = None if options.seconds is None else max(0.5, options.seconds / 8.0)
    search = laying(replace(options, seconds=each))

    def planned(kinds: tuple[SpreadName, ...]) -> BatchPlan:
        single = tuple(kind for kind in kinds if cloth.spreads is None or kind in cloth.spreads)
        alone = replace(
            cloth, plies=1, max_plies=least, spreads=single, length=None, end_allowance=ends, table_length=table
        )
        part = listed.cut_from(cloth.name).with_cloths([alone])
        return next(p for p in batch(part, search, seconds=4.0) if p.cloth == cloth.name)

    allowed = [kind for kind in (*plain, *flaps) if cloth.spreads is None or kind in cloth.spreads]
    if not allowed:
        only = " or ".join(f"'{kind}'" for kind in cloth.spreads or ())
        raise CannotLayError(
            f"the lay of '{cloth.name}' is longer than the table, and cloth that may only lie as {only} "
            "is not divided into sections: let it lie open or folded lengthwise, or give a longer table",
            key="cloth.table_length",
            code="table.too-short",
        )
    try:
        return planned(plain if allowed[0] in plain else flaps)
    except CannotLayError as error:
        if error.code == "table.too-short" or allowed[-1] in plain:
            raise
        # what lies neither open nor on one fold lies on flaps
        return planned((*plain, *flaps))
