"""The report: one self-contained page, read at the shop and at the table, that prints well."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files
from typing import Any

from nesting.findings import Finding
from nesting.laid import Lay
from nesting.order import Order
from nesting.report.drawing import lay_scene
from nesting.report.folding import cross_section, folding_steps
from nesting.report.fonts import shown
from nesting.report.sheet import bundles, sheet
from nesting.report.sheet_pdf import how_measured
from nesting.report.shopping import shopping
from nesting.report.summary import above_bound, cost
from nesting.report.svg import svg
from nesting.report.view import picture
from nesting.report.words import (
    cautions,
    column_length,
    first_words,
    given_words,
    lay_words,
    long_length,
    reason_words,
    shop_column,
    shop_length,
    unit_name,
)
from nesting.units import format_width

__all__ = ["report_page"]

#: mm. Outlines on the page may lose points this near to the rest, to keep the file small.
_THIN_MM = 0.1


def report_page(
    lays: Sequence[Lay],
    order: Order | None,
    *,
    extra: Iterable[str] = (),
    findings: Iterable[Finding] = (),
    verdicts: Mapping[int, Any] | None = None,
) -> bytes:
    """The page for one or more lays.

    ``extra`` are further sections as trusted HTML, shown before the spreads that were considered; where all lays are
    on leftovers they come first, as the plan that the lays belong to. ``findings`` come
    after the order's own. ``verdicts`` holds the proof of each lay by its number in ``lays``.
    """
    from jinja2 import Environment, StrictUndefined, select_autoescape

    folder = files("nesting.report") / "templates"
    environment = Environment(
        autoescape=select_autoescape(default=True), undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["shown"] = lambda value: shown(str(value))
    template = environment.from_string((folder / "report.html.jinja").read_text(encoding="utf-8"))
    every = (*(order.findings if order is not None else ()), *findings)
    title = next((lay.title for lay in lays if lay.title), "Lay")
    text = template.render(
        title=title,
        css=(folder / "report.css").read_text(encoding="utf-8"),
        lays=[_lay(lay, order, (verdicts or {}).get(n)) for n, lay in enumerate(lays)],
        extra=tuple(extra),
        leftovers=all(lay.remnant is not None for lay in lays),
        shopping=shopping(lays, order),
        findings=every,
        cautions=cautions(),
        several=len(lays) > 1,
    )
    return text.encode("utf-8")


def _lay(lay: Lay, order: Order | None, verdict: Any) -> dict[str, Any]:
    imperial = lay.imperial

    def length(mm: float) -> str:
        return long_length(mm, imperial)

    numbers = sheet(lay)
    scene = lay_scene(lay, picture(lay, thin=_THIN_MM), order)
    price = cost(lay, order)
    total = sum(g.count * g.length_each for g in lay.garments)
    em = picture(lay).em
    return {
        "cloth": lay.cloth,
        "remnant": lay.remnant,
        "buy": shop_length(lay.buy_length, imperial),
        "width": format_width(lay.width, imperial=imperial),
        "kinds": ", then ".join(s.spread.kind for s in lay.sections),
        "length": length(lay.lay_length),
        "which": lay_words(lay),
        "bound": length(lay.lower_bound),
        "bound_reason": reason_words(lay),
        "above": 100 * above if (above := above_bound(lay)) is not None else None,
        "used": f"{100 * lay.utilisation:.1f} %",
        "away": f"{100 * (1 - lay.utilisation):.1f} %",
        "cost": f"{price:.2f}" if price is not None else None,
        "gives": given_words(lay),
        "garments": [
            {
                "name": g.name,
                "size": g.size or "",
                "count": g.count,
                "each": column_length(g.length_each, imperial) if lay.remnant is None else "",
                "all": column_length(g.count * g.length_each, imperial) if lay.remnant is None else "",
            }
            for g in lay.garments
        ],
        "batch": column_length(total, imperial),
        "svg": svg(scene, decimals=1, inline=True),
        # wide enough that the words can be read; the page scrolls sideways if it must
        "least": round(scene.width / em * 10.5),
        "most": round(scene.width / em * 17.0),
        "sections": [
            {
                "number": n + 1,
                "kind": section.spread.kind,
                "title": first_words(section.spread.kind),
                "steps": folding_steps(lay, section),
                "figure": svg(cross_section(lay, section), decimals=2, inline=True),
                "rows": [row for row in numbers.rows if row.section == n],
            }
            for n, section in enumerate(lay.sections)
        ],
        "unit": unit_name(imperial),
        "how": how_measured(lay),
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
                "refused": t.refused,
                "chosen": t.chosen,
            }
            for t in lay.tried
        ],
        "notes": lay.notes,
        "gap": length(lay.gap),
        "allowance": length(lay.end_allowance),
        "verdict": verdict,
        "seconds": f"{lay.seconds:.0f}",
        "seed": lay.seed,
    }
