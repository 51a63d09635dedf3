"""Trims: elastic, binding and lace per opening, by what each opening takes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from nesting.model.order import Trim
from nesting.model.units import round_up, to_cents
from nesting.resolving.cutting_list import CuttingList

__all__ = ["Opening", "TrimNeed", "trim_needs"]


@dataclass(frozen=True)
class Opening:
    """The openings of one garment and size that one trim goes round: ``each`` garment has ``openings`` of them, each
    ``edge_length`` mm round; ``count`` garments. ``trim_length`` mm of trim for one opening, joins included."""

    garment: str
    size: str | None
    count: int
    openings: int
    edge_length: float
    trim_length: float

    @property
    def total(self) -> float:
        """All the trim for these garments, mm."""
        return self.count * self.openings * self.trim_length


@dataclass(frozen=True)
class TrimNeed:
    """One trim of the batch. ``ratio`` trim per edge length; ``practice``: the ratio was not stated in the order and
    is common practice, not a published standard. ``length`` mm to buy, rounded up. ``cost`` None without a price."""

    kind: str
    opening: str
    ratio: float
    practice: bool
    join: float
    openings: tuple[Opening, ...]
    total: float
    length: float
    cost: float | None
    #: how it is reckoned where not by one ratio: "0.9 × waist", "brief front.leg 1, brief back.leg 0.75"
    way: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """The trim as the JSON document shows it (mm). ``length`` is what to buy for the batch."""
        return {
            "kind": self.kind,
            "opening": self.opening,
            "length": self.length,
            "total": self.total,
            "ratio": self.ratio,
            "ratio_is_practice": self.practice,
            "way": self.way,
            "join": self.join,
            "cost": self.cost,
            "openings": [
                {
                    "garment": o.garment,
                    "size": o.size,
                    "count": o.count,
                    "openings": o.openings,
                    "edge_length": o.edge_length,
                    "trim_length": o.trim_length,
                }
                for o in self.openings
            ],
        }


def trim_needs(listed: CuttingList) -> tuple[TrimNeed, ...]:
    """What each trim of the order takes for the batch.

    trim for an opening = ratio · edge length + join; the batch's total is rounded up to the trim's increment.
    A trim of garments none of which is cut is left out.
    """
    needs: list[TrimNeed] = []
    for number, trim in enumerate(listed.trims):
        rounds = [(g, found) for g in listed.garments if (found := g.trims[number]) is not None and g.count]
        openings = [
            Opening(g.name, g.size, g.count, found.number, found.length, (found.takes or 0.0) + trim.join)
            for g, found in rounds
        ]
        if not openings:
            continue  # this time nothing is cut that has it; its pieces are there, or the order would have been refused
        by_measure = all(found.measured for _, found in rounds)
        total = math.fsum(o.total for o in openings)
        length = round_up(total, trim.increment)
        cost = None if trim.price is None else to_cents(length * trim.price / _price_unit(listed))
        needs.append(
            TrimNeed(
                trim.kind,
                trim.name,
                trim.ratio,
                not trim.ratio_stated and not by_measure and not all(e in dict(trim.ratios) for e in trim.edges),
                trim.join,
                tuple(openings),
                total,
                length,
                cost,
                _way(trim, by_measure),
            )
        )
    return tuple(needs)


def _way(trim: Trim, by_measure: bool) -> str | None:
    if trim.measure is not None:
        body = f"{trim.factor:g} × {trim.measure} of the wearer"
        return body if by_measure else f"{body}; without one {trim.ratio:g} × edge"
    if trim.ratios:
        return ", ".join(f"{trim.ratio_at(edge):g} × {edge}" for edge in trim.edges)
    return None


def _price_unit(listed: CuttingList) -> float:
    # As for cloth: per metre, or per yard where inches or yards are read.
    return 914.4 if listed.imperial else 1000.0
