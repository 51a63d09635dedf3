"""How long, how much to buy, how well used: the definitions, each once."""

from __future__ import annotations

from collections.abc import Iterable

from nesting.model.lay import GarmentShare, Placement, Section
from nesting.model.order import Cloth, SpreadName
from nesting.model.units import round_up
from nesting.pieces.contour import signed_area

__all__ = ["buy_length", "cloth_used", "cut_area", "full_widths", "garment_shares", "utilisation"]


def full_widths(kind: SpreadName, cloth: Cloth) -> int:
    """How many lengths of cloth, one behind the other when opened out, a lay of this spread takes."""
    if kind == "crosswise fold":
        return 2
    if kind in ("stacked face up", "stacked face to face"):
        return cloth.plies
    return 1


def cloth_used(kind: SpreadName, cloth: Cloth, lay_length: float) -> float:
    """Length of washed cloth the lay takes, opened out, without end allowances, mm."""
    return full_widths(kind, cloth) * lay_length


def buy_length(kind: SpreadName, cloth: Cloth, lay_length: float, *, rounded: bool = True) -> float:
    """Length to buy, mm: end allowances and shrinkage added, rounded up to the shop's increment.

    One length: (L + 2 e) / (1 − s); crosswise fold: (2 L + 2 e) / (1 − s); stacked: n (L + 2 e) / (1 − s).
    """
    ends = 2.0 * cloth.end_allowance
    count = full_widths(kind, cloth)
    if kind == "crosswise fold":
        length = (count * lay_length + ends) / (1.0 - cloth.shrink_along)
    else:
        length = count * (lay_length + ends) / (1.0 - cloth.shrink_along)
    return round_up(length, cloth.increment) if rounded else length


def placement_area(placement: Placement) -> float:
    """Cut area of a placement over all its plies, mm²."""
    rings = (placement.outline, *placement.cutouts)
    whole, *cut_out = (abs(signed_area(ring)) for ring in rings)
    return (whole - sum(cut_out)) * len(placement.plies)


def cut_area(placements: Iterable[Placement]) -> float:
    """Cut area over all plies, mm² (pieces in a second cloth laid over do not count)."""
    return sum(placement_area(p) for p in placements if p.second_cloth is None)


def utilisation(sections: Iterable[Section], width_washed: float) -> float:
    """Cut area / area of washed cloth used, opened out, end allowances left out."""
    parts = tuple(sections)
    area = sum(cut_area(s.placements) for s in parts)
    used = sum(s.spread.layers * s.lay_length for s in parts) * width_washed
    return area / used if used > 0.0 else 0.0


def garment_shares(
    placements: Iterable[Placement], counts: dict[tuple[str, str | None], int], length: float
) -> tuple[GarmentShare, ...]:
    """Each garment's share of ``length`` (the length to buy), by cut area."""
    areas: dict[tuple[str, str | None], float] = {}
    for p in placements:
        if p.second_cloth is None:
            areas[p.garment, p.size] = areas.get((p.garment, p.size), 0.0) + placement_area(p)
    total = sum(areas.values())
    return tuple(
        GarmentShare(name, size, counts[name, size], length * area / total / counts[name, size])
        for (name, size), area in areas.items()
        if total > 0.0 and counts.get((name, size), 0) > 0
    )
