"""Placements get the numbers under which drawing and sheet show them, and their hands."""

from __future__ import annotations

from dataclasses import replace

from nesting.model.identity import with_ids
from nesting.model.lay import Lay
from nesting.model.order import Order

__all__ = ["numbered"]


def numbered(lay: Lay, order: Order) -> Lay:
    """The lay with the ids, numbers and hands of its placements."""
    from nesting.report.sheet.sheet import rows

    lay = with_ids(lay, order)
    row = {one.index: one for one in rows(lay)}
    first = 0
    sections = []
    for section in lay.sections:
        placements = tuple(
            replace(p, number=row[first + i].number, hand=row[first + i].hand or None) if first + i in row else p
            for i, p in enumerate(section.placements)
        )
        sections.append(replace(section, placements=placements))
        first += len(section.placements)
    return replace(lay, sections=tuple(sections))
