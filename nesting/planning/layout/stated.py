"""The bound that a lay states, worked out anew from the order."""

from __future__ import annotations

from dataclasses import replace

from nesting.cloth.spreads import cloth_of_remnant
from nesting.model.lay import Lay
from nesting.planning.layout.bounding import cloth_bound, shared
from nesting.planning.layout.demand import Need, Stack, stacks_of
from nesting.resolving.cutting_list import CuttingList

__all__ = ["provable"]


def provable(listed: CuttingList, lay: Lay, *, seconds: float = 1.0) -> float | None:
    """The greatest length, mm, below which no lay of these garments on this spread is proved to be; None where nothing
    is laid."""
    cloth = listed.cloth_named(lay.cloth)
    kind = "open" if len(lay.sections) != 1 else lay.sections[0].spread.kind
    if kind.startswith("stacked"):
        cloth = replace(cloth, plies=len(lay.sections[0].spread.plies))
    remnant = lay.leftover or next((r for r in listed.remnants if r.name == lay.remnant), None)
    if remnant is not None:
        cloth = cloth_of_remnant(cloth, remnant)
        listed = listed.one_by_one()
    counts = {(g.name, g.size): g.count for g in lay.garments}
    held = remnant is not None and lay.holds is not None
    stacks = _held(listed, lay) if held else stacks_of(listed.with_cloths([cloth]), cloth, counts)
    if not stacks:
        return None
    bound = cloth_bound(listed, cloth, stacks, remnant, seconds=seconds)
    return shared(bound, kind, cloth).length


def _held(listed: CuttingList, lay: Lay) -> tuple[Stack, ...]:
    """What a lay on a leftover says that it holds, as needs."""
    rows: dict[tuple[str, str | None, str], list[Need]] = {}
    for h in lay.holds or ():
        need = Need(listed.cut(h.piece, h.size), h.garment, h.size, h.copy, h.hand)
        rows.setdefault((h.garment, h.size, h.piece), []).extend([need] * h.count)
    return tuple(Stack(tuple(needs)) for needs in rows.values())
