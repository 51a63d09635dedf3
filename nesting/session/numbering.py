"""Placements get the numbers under which drawing and sheet show them, and their hands."""

from __future__ import annotations

import itertools
from dataclasses import replace

from nesting.model.identity import with_ids
from nesting.model.lay import Lay
from nesting.model.order import Order

__all__ = ["numbered"]


def numbered(lay: Lay, order: Order, start: Lay | None = None) -> Lay:
    """The lay with the ids, numbers and hands of its placements. ``start``: the lay that it went on from, whose pieces
    keep their numbers, so that people can compare the two."""
    from nesting.report.sheet.sheet import rows

    lay = with_ids(lay, order)
    cut = rows(lay)
    numbers = {row.index: row.number for row in cut}
    if start is not None and start.cloth == lay.cloth:
        before = {row.index: row.number for row in rows(start)}
        known = {one: before[i] for i, p in enumerate(start.placements) for one in p.ids}
        own: dict[int, int] = {}
        for row in cut:
            of = next((known[one] for one in lay.placements[row.index].ids if one in known), None)
            if of is not None and of not in own.values():
                own[row.index] = of
        free = (n for n in itertools.count(1) if n not in own.values())
        numbers = {row.index: own[row.index] if row.index in own else next(free) for row in cut}
    hands = {row.index: row.hand or None for row in cut}
    first = 0
    sections = []
    for section in lay.sections:
        placements = tuple(
            replace(p, number=numbers[first + i], hand=hands[first + i]) if first + i in numbers else p
            for i, p in enumerate(section.placements)
        )
        sections.append(replace(section, placements=placements))
        first += len(section.placements)
    return replace(lay, sections=tuple(sections))
