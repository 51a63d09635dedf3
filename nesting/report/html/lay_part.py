"""What the report shows of lays, and what must be said with every report."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from nesting.model.findings import Finding, in_order_of_weight
from nesting.model.lay import Lay
from nesting.model.units import format_share, format_width
from nesting.report.backends.to_svg import svg
from nesting.report.drawing.drawing import lay_scene
from nesting.report.drawing.scene import Scene, with_fewer_points
from nesting.report.drawing.view import picture
from nesting.report.html.rendering import plain
from nesting.report.html.shopping import shopping
from nesting.report.html.summary import above_words, cost, in_all_words, share_by_area
from nesting.report.sheet.before import before_spreading
from nesting.report.sheet.folding import cross_section, folding_steps
from nesting.report.sheet.patch_words import checked_words, cut_words, lay_words_of_patches
from nesting.report.sheet.sheet import bundles, sheet
from nesting.report.sheet.sheet_pdf import how_measured
from nesting.report.words import (
    cautions,
    column_length,
    first_words,
    given_words,
    kind_words,
    lay_words,
    least_length,
    long_length,
    reason_words,
    shop_column,
    shop_length,
    tried_words,
    unit_name,
)
from nesting.resolving.cutting_list import CuttingList

__all__ = ["care_part", "lay_part"]

#: mm. Outlines on the page may lose points this near to the rest, to keep the file small.
_THIN_MM = 0.1


def lay_part(
    lays: Sequence[Lay],
    listed: CuttingList | None,
    *,
    extra: Iterable[tuple[str, Mapping[str, Any]]] = (),
    verdicts: Mapping[int, Any] | None = None,
    scenes: Sequence[Scene] = (),
) -> dict[str, Any]:
    """One or more lays: what to buy and how to cut, yardage by garment, drawings, sheets, what was tried.

    ``extra`` are further sections, each its name and what it shows, before the spreads that were considered; where all
    lays are on leftovers, or there is none, they come first, as the plan that the lays belong to. ``verdicts`` holds
    the proof of each lay by its number in ``lays``, ``scenes`` their drawings, where they are drawn already.
    """
    shown: dict[str, Any] = plain(
        {
            "lays": [
                _lay(lay, listed, (verdicts or {}).get(n), scenes[n] if scenes else None) for n, lay in enumerate(lays)
            ],
            "extra": [[name, section] for name, section in extra],
            "leftovers": not any(lay.bought for lay in lays),
            "shopping": shopping(lays, listed),
            "several": len(lays) > 1,
        }
    )
    return shown


def care_part(findings: Iterable[Finding]) -> dict[str, Any]:
    """What was noticed in the files, and the cautions."""
    told = [
        {"kind": f.kind, "file": f.file, "piece": f.piece, "message": f.message} for f in in_order_of_weight(findings)
    ]
    return {"findings": told, "cautions": list(cautions())}


# long: one line for each key
def _lay(lay: Lay, listed: CuttingList | None, verdict: Any, drawn: Scene | None) -> dict[str, Any]:
    imperial = lay.imperial

    def length(mm: float) -> str:
        return long_length(mm, imperial)

    numbers = sheet(lay)
    scene = with_fewer_points(drawn or lay_scene(lay, picture(lay), listed), _THIN_MM)
    price = cost(lay, listed)
    total = sum(g.count * g.length_each for g in lay.garments)
    count = sum(g.count for g in lay.garments)
    em = picture(lay).em
    return {
        "cloth": lay.cloth,
        "remnant": lay.remnant,
        "where": lay.where,
        "bought": lay.bought,
        "buy": shop_length(lay.buy_length, imperial),
        "width": format_width(lay.width, imperial=imperial),
        "kinds": ", then ".join(kind_words(s.spread) for s in lay.sections),
        "length": length(lay.lay_length),
        "which": lay_words(lay),
        "bound": least_length(lay.lower_bound, imperial),
        "bound_reason": reason_words(lay),
        "above": above_words(lay),
        "tried_words": tried_words(lay),
        "used": f"{100 * lay.utilisation:.1f} %",
        "away": f"{100 * (1 - lay.utilisation):.1f} %",
        "cost": f"{price:.2f}" if price is not None else None,
        "gives": given_words(lay),
        "garments": [
            {
                "name": g.name,
                "size": g.size or "",
                "count": g.count,
                "share": format_share(share_by_area(lay, g), 1) if total > 0.0 else "",
                "each": column_length(g.length_each, imperial) if lay.remnant is None else "",
                "all": column_length(g.count * g.length_each, imperial) if lay.remnant is None else "",
            }
            for g in lay.garments
        ],
        "batch": column_length(total, imperial),
        "count": count,
        "average": column_length(total / count, imperial) if count else "",
        "svg": svg(scene, decimals=1, inline=True),
        # wide enough that the words can be read; the page scrolls sideways if it must
        "least": round(scene.width / em * 10.5),
        "most": round(scene.width / em * 17.0),
        "sections": [
            {
                "number": n + 1,
                "kind": kind_words(section.spread),
                "title": first_words(kind_words(section.spread)),
                "steps": folding_steps(lay, section),
                "figure": svg(cross_section(lay, section), decimals=2, inline=True),
                "patches": lay_words_of_patches(lay, n),
                "rows": [plain(row) | {"name": row.name} for row in numbers.rows if row.section == n],
            }
            for n, section in enumerate(lay.sections)
        ],
        "unit": unit_name(imperial),
        "how": how_measured(lay),
        "before": before_spreading(lay),
        "cut_first": cut_words(lay),
        "only_checked": checked_words(lay),
        "bundles": bundles(lay),
        "tried": [
            {
                "kind": t.kind,
                "buy": shop_column(t.buy_length, imperial) if t.buy_length is not None and not lay.remnant else "",
                "lay": column_length(t.lay_length, imperial) if t.lay_length is not None else "",
                "used": f"{100 * t.utilisation:.1f} %" if t.utilisation is not None else "",
                "set_down": t.handling[0] if t.handling else "",
                "folds": t.handling[1] if t.handling else "",
                "again": t.handling[2] if t.handling else "",
                "refused": t.refused and t.refused.message,
                "untried": t.refused is not None and t.refused.code == "spread.no-time",
                "chosen": t.chosen,
                "in_all": None if t.in_all is None else in_all_words(t.in_all, lay, listed),
            }
            for t in lay.tried
        ],
        "notes": lay.notes,
        "gap": length(lay.gap),
        "allowance": length(lay.end_allowance),
        "verdict": None if verdict is None else {"ok": bool(verdict.ok), "failures": list(map(str, verdict.failures))},
        "seconds": f"{lay.seconds:.0f}",
        "seed": lay.seed,
    }
