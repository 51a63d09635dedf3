"""The whole result as one JSON document (``report.json``): lengths in mm, shares as fractions of 1."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from nesting.model.findings import Finding
from nesting.model.lay import GarmentShare, Lay
from nesting.model.units import to_cents
from nesting.report.drawing.leftover_areas import free_rectangles
from nesting.report.words import shop_column
from nesting.resolving.cutting_list import CuttingList

__all__ = ["AS_SHORT_MM", "above_bound", "above_words", "cost", "in_all_words", "share_by_area", "summary_dict"]

#: mm. A lay that exceeds its bound by less is as short as the bound, by the tolerance of exact fits.
AS_SHORT_MM = 0.05
#: A bound that the lay exceeds by more than this share says nothing about the lay.
_WEAK = 0.6


def above_bound(lay: Lay) -> float | None:
    """By what share the lay is longer than its lower bound; None where the bound is too weak to tell anything."""
    if lay.lower_bound <= 0.0:
        return None
    share = lay.lay_length / lay.lower_bound - 1.0
    return share if share <= _WEAK else None


def in_all_words(in_all: float, lay: Lay, listed: CuttingList | None) -> str:
    """What all cloths together cost with a spread; their length where one of them has no price."""
    priced = listed is not None and all(listed.cloth_named(name).price is not None for name in listed.cloths_used)
    return f"{to_cents(in_all):.2f}" if priced else shop_column(in_all, lay.imperial)


def above_words(lay: Lay) -> str:
    """How the lay stands to its lower bound; empty where the bound is too weak. The share is rounded up, so that "at
    most" holds as it is printed."""
    above = above_bound(lay)
    if above is None:
        return ""
    if lay.lay_length <= lay.lower_bound + AS_SHORT_MM:
        return "this one is as short"
    tenths = math.ceil(1000.0 * above - 1e-6)
    return f"this one is at most {tenths / 10:.1f} % longer than the best possible"


def cost(lay: Lay, listed: CuttingList | None) -> float | None:
    """What the cloth to buy costs, in the order's money; None without a price, or on a leftover."""
    if listed is None or lay.remnant is not None:
        return None
    try:
        cloth = listed.cloth_named(lay.cloth)
    except KeyError:
        return None
    return None if cloth.price is None else to_cents(lay.buy_length / cloth.price_unit * cloth.price)


def share_by_area(lay: Lay, garment: GarmentShare) -> float:
    """The share of all that is cut which these garments take, by area; 0 where nothing is cut."""
    total = sum(g.count * g.length_each for g in lay.garments)
    return garment.count * garment.length_each / total if total > 0.0 else 0.0


def summary_dict(
    lays: Sequence[Lay],
    listed: CuttingList | None = None,
    *,
    findings: Iterable[Finding] = (),
    verdicts: Mapping[int, Any] | None = None,
) -> dict[str, Any]:
    """Every lay's figures, without its outlines (those are in the lay files). ``verdicts``: proof by lay number."""
    return {
        "schema": "report/1",
        "units": "mm",
        "title": lays[0].title if lays else "",
        "do_not_cut": list(dict.fromkeys(reason for lay in lays for reason in lay.do_not_cut)),
        "lays": [_lay(lay, listed, (verdicts or {}).get(n)) for n, lay in enumerate(lays)],
        "findings": [finding.as_dict() for finding in findings],
    }


def _lay(lay: Lay, listed: CuttingList | None, verdict: Any) -> dict[str, Any]:
    return {
        "cloth": lay.cloth,
        "remnant": lay.remnant,
        "width": lay.width,
        "width_washed": lay.width_washed,
        "usable_width": lay.usable_width,
        "spread": [s.spread.kind for s in lay.sections],
        "depths": [list(s.spread.depths) for s in lay.sections],
        "lay_length": lay.lay_length,
        "buy_length": 0.0 if lay.remnant else lay.buy_length,
        "lower_bound": lay.lower_bound,
        "bound_reason": lay.bound_reason,
        "utilisation": lay.utilisation,
        "cost": cost(lay, listed),
        "placements": len(lay.placements),
        "cloth_pieces": sum(p.gives for p in lay.placements),
        "seed": lay.seed,
        "seconds": lay.seconds,
        "garments": [
            {
                "name": g.name,
                "size": g.size,
                "count": g.count,
                "length_each": g.length_each,
                "share": share_by_area(lay, g),
            }
            for g in lay.garments
        ],
        "offcuts": [
            {"section": n, "length": o.x1 - o.x0, "width": o.y1 - o.y0, "plies": len(o.plies)}
            for n, section in enumerate(lay.sections)
            for o in free_rectangles(section, tuple(p.outline for p in lay.patches if n == 0))
        ],
        "tried": [
            {
                "spread": t.kind,
                "lay_length": t.lay_length,
                "buy_length": t.buy_length,
                "utilisation": t.utilisation,
                "handling": list(t.handling) if t.handling else None,
                "refused": t.refused and t.refused.message,
                "refused_reason": t.refused and t.refused.as_dict(),
                "chosen": t.chosen,
                "in_all": t.in_all,
            }
            for t in lay.tried
        ],
        "notes": list(lay.notes),
        "proved": None if verdict is None else bool(verdict.ok),
    }
