"""What the report shows of what to buy, trims, leftovers and batches; ``drawn`` puts it on the page."""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping, Sequence
from typing import Any

from nesting.model.units import format_share, format_width
from nesting.planning.batch.batch import BatchPlan, PlannedSection
from nesting.planning.buying.buy_rows import Buying, BuyRow
from nesting.planning.buying.curve import Curve
from nesting.planning.buying.trims import TrimNeed
from nesting.planning.leftovers.remnant_plan import Made, RemnantPlan, ToBuy
from nesting.report.html.buy_curve import curve_png, curve_svg
from nesting.report.words import column_length, counted, least_length, long_length, shop_column, shop_length, slug

__all__ = [
    "adds_words",
    "apart_words",
    "batch_apart_words",
    "batch_section",
    "buying_section",
    "curve_adds_words",
    "curve_pictures",
    "curve_words",
    "found_words",
    "layer_words",
    "made_words",
    "one_more_words",
    "pieces_by_copy",
    "plies_words",
    "proof_words",
    "remnants_section",
    "rows_first",
    "saved_words",
    "saving_rows",
    "spread_words",
    "sure_words",
    "to_buy_words",
    "trim_words",
    "trims_section",
]


def _money(cost: float | None) -> str:
    return "" if cost is None else f"{cost:.2f}"


def one_more_words(row: BuyRow, imperial: bool) -> str:
    """What one more garment would add to the length to buy."""
    return "" if row.one_more is None else adds_words(row.next_garment, row.one_more, imperial)


def adds_words(garment: str, adds: float, imperial: bool) -> str:
    """What one more of a garment adds to what must be bought; about, as another search may find other lays."""
    if adds < 1e-6:
        return f"another {garment} is free"
    return f"another {garment} adds about {shop_length(adds, imperial)}"


def _adds(row: BuyRow, imperial: bool) -> str:
    if row.one_more is None:
        return ""
    return "free" if row.one_more < 1e-6 else shop_column(row.one_more, imperial)


def spread_words(row: BuyRow) -> str:
    """How the cloth of a row is spread, and whether it lies over another."""
    if row.patches:
        patches = "1 patch" if row.patches == 1 else f"{row.patches} patches"
        return f"{row.spread}, in {patches} laid at their leaders on {row.over}"
    if row.over is not None:
        return f"{row.spread}, laid over {row.over}"
    return f"{row.spread}, cut apart" if row.apart_from is not None else row.spread


def rows_first(bought: Buying) -> tuple[tuple[BuyRow, ...], tuple[BuyRow, ...]]:
    """One row for each cloth and width, the one to take there (for a cloth that lies over another also the one cut
    apart), and all others: other spreads and naps."""
    best: dict[tuple[str, float, bool], BuyRow] = {}
    for r in bought.rows:
        key = (r.cloth, r.width, r.over is not None)
        old = best.get(key)
        if old is None or _rank(r) < _rank(old):
            best[key] = r
    first = tuple(r for r in bought.rows if any(r is one for one in best.values()))
    return first, tuple(r for r in bought.rows if not any(r is one for one in first))


def _rank(r: BuyRow) -> tuple[bool, bool, float, float]:
    return (not r.best, not r.own, r.cost if r.cost is not None else r.buy_length, r.buy_length)


def apart_words(bought: Buying, row: BuyRow) -> str:
    """What a cloth that is laid over another would take if it were cut by itself; empty for others."""
    apart = [
        r.buy_length
        for r in bought.rows
        if r.apart_from == row.over and (r.cloth, r.width, r.nap) == (row.cloth, row.width, row.nap)
    ]
    if row.over is None or not apart:
        return ""
    return f"cut apart, {shop_length(min(apart), bought.imperial)} would do"


def curve_words(curve: Curve) -> str:
    """Where the next garment is free, and how a second cloth is counted."""
    apart = f" Counted as cut apart from {curve.apart_from}." if curve.apart_from is not None else ""
    if not curve.free:
        return f"No further garment was found that is free.{apart}"
    counts = ", ".join(str(n) for n in curve.free)
    return f"Free, as the length bought already holds them: number {counts}.{apart}"


def curve_adds_words(curve: Curve, imperial: bool) -> str:
    """What the garment beyond those ordered would add, as the headline says it; empty where it does not fit."""
    more = curve.one_more
    return "" if more is None else adds_words(more["garment"], more["adds"], imperial)


def saving_rows(bought: Buying) -> list[dict[str, Any]]:
    """What each change of the order would save, of each cloth and in money, and what it asks in handling; a minus where
    it takes more."""

    def saved(mm: float) -> str:
        sign = "−" if mm < -1e-6 else ""
        return f"{sign}{column_length(abs(mm), bought.imperial)}"

    rows = []
    for one in bought.what_if or ():
        if one.refused is not None:
            why = f"cannot be laid: {one.refused}"
            rows.append({"what": one.what, "saves": "", "money": "", "handling": why, "refused": True})
            continue
        lengths = ", ".join(
            saved(mm) if len(one.lengths) == 1 else f"{saved(mm)} of {cloth}"
            for cloth, mm in one.lengths
            if abs(mm) > 1e-6
        )
        rows.append(
            {
                "what": one.what,
                "saves": lengths or ("nothing" if one.lengths else "can be laid then"),
                "money": _money(one.money).replace("-", "−"),
                "handling": one.handling,
                "refused": False,
            }
        )
    return rows


# long: one line for each key
def buying_section(bought: Buying) -> dict[str, Any]:
    """The section on what to buy: answers, the table, refusals, the curves."""
    imperial = bought.imperial
    first, others = rows_first(bought)

    def length(mm: float) -> str:
        return long_length(mm, imperial)

    return {
        "answers": [
            {
                "buy": shop_length(r.buy_length, imperial),
                "cloth": r.cloth,
                "width": format_width(r.width, imperial=imperial),
                "cost": _money(r.cost),
                "spread": spread_words(r),
                "apart": apart_words(bought, r),
                "lay": length(r.lay_length),
                "garments": r.garments,
                "each": length(r.per_garment),
                "more": one_more_words(r, imperial),
            }
            for r in bought.rows
            if r.best
        ],
        "rows": [
            {
                "cloth": r.cloth,
                "width": format_width(r.width, imperial=imperial),
                "nap": r.nap,
                "spread": spread_words(r),
                "buy": shop_column(r.buy_length, imperial),
                "lay": column_length(r.lay_length, imperial),
                "each": column_length(r.per_garment, imperial),
                "cost": _money(r.cost),
                "more": _adds(r, imperial),
                "used": format_share(r.utilisation, 1),
                "best": r.best,
                "first": any(r is one for one in first),
            }
            for r in (*first, *others)
        ],
        "others": len(others),
        "second": any(r.over is not None for r in bought.rows),
        "refused": [
            {
                "cloth": r.cloth,
                "width": format_width(r.width, imperial=imperial),
                "nap": r.nap,
                "spread": r.spread or "",
                "reason": r.reason,
            }
            for r in bought.refused
        ],
        "curves": [
            {
                "cloth": c.cloth,
                "words": curve_words(c),
                "adds": curve_adds_words(c, imperial),
                "svg": curve_svg(c, imperial=imperial),
                "points": [
                    {
                        "count": p.count,
                        "garment": p.garment,
                        "buy": shop_column(p.buy_length, imperial),
                        "lay": column_length(p.lay_length, imperial),
                        "note": "free" if p.free else "" if p.measured else "laid with the next larger",
                    }
                    for p in c.points
                ],
            }
            for c in bought.curves
        ],
        "what_if": saving_rows(bought),
    }


def curve_pictures(bought: Buying) -> dict[str, bytes]:
    """File name to content: a picture ``curve-<cloth>.png`` for each cloth."""
    return {f"curve-{slug(c.cloth)}.png": curve_png(c, imperial=bought.imperial) for c in bought.curves}


def trim_words(need: TrimNeed, imperial: bool) -> str:
    """How a trim's length comes about."""
    parts = [(need.way or f"{need.ratio:g} × edge") + (" (practice)" if need.practice else "")]
    if need.join:
        parts.append(f"{long_length(need.join, imperial)} for each join")
    return " + ".join(parts) + f"; {long_length(need.total, imperial)} in all, buy"


def trims_section(needs: Sequence[TrimNeed], *, imperial: bool) -> dict[str, Any]:
    """The section on trims; ``imperial``: people read inches."""
    return {
        "practice": any(need.practice for need in needs),
        "needs": [
            {
                "opening": need.opening,
                "kind": need.kind,
                "words": trim_words(need, imperial),
                "buy": shop_length(need.length, imperial),
                "cost": _money(need.cost),
                "openings": [
                    {
                        "garment": f"{o.garment} {o.size or ''}".strip(),
                        "count": o.count,
                        "openings": o.openings,
                        "edge": column_length(o.edge_length, imperial),
                        "trim": column_length(o.trim_length, imperial),
                        "total": column_length(o.total, imperial),
                    }
                    for o in need.openings
                ],
            }
            for need in needs
        ],
    }


def pieces_by_copy(plan: RemnantPlan) -> list[dict[str, Any]]:
    """The pieces of each copy of a garment on each leftover, for a table."""
    rows: dict[tuple[str, str, int], list[str]] = {}
    for u in plan.uses:
        name = f"{u.garment} {u.size or ''}".strip()
        rows.setdefault((u.remnant, name, u.copy), []).append(f"{u.piece} {u.hand or ''}".strip())
    return [
        {"remnant": remnant, "garment": garment, "number": number, "pieces": ", ".join(pieces)}
        for (remnant, garment, number), pieces in rows.items()
    ]


def found_words(plan: RemnantPlan) -> str:
    """How many whole garments the leftovers give, said so that nothing found yet does not sound like nothing there."""
    if plan.number == 0 and not plan.proved:
        return "no whole garment found yet on the leftovers"
    return f"{counted(plan.number, 'whole garment')} from leftovers"


def _worth(value: float, *, up: bool = False) -> str:
    """A worth with three decimals at most; ``up``: never less than it is, so that it holds as printed."""
    if up:
        value = math.ceil(value * 1000.0 - 1e-6) / 1000.0
    return f"{value:.3f}".rstrip("0").rstrip(".")


def proof_words(plan: RemnantPlan) -> str:
    """Whether more could be cut."""
    if plan.proved:
        return f"no plan is worth more than {_worth(plan.value)}" if plan.by_worth else "no plan gives more"
    if not plan.by_worth:
        most = f"more than {math.floor(plan.bound + 1e-6)} are impossible"
    else:
        most = f"worth {_worth(plan.value)}, where more than {_worth(plan.bound, up=True)} is impossible"
    if plan.number == 0:
        return f"that there is room for none is not proved: {most}. More --seconds may find some"
    return f"the most that was found, not proved to be the most there is: {most}. More --seconds may find more"


def made_words(made: Made) -> str:
    """How many garments the leftovers give, of how many; where there was no number, only that."""
    return str(made.made) if made.asked is None else f"{made.made} of {made.asked}"


def to_buy_words(need: ToBuy, imperial: bool) -> str:
    """What of one cloth must still be bought, and for what."""
    garments = ", ".join(f"{n} × {name}" for name, n in need.garments)
    if need.reason is not None:
        return f"{need.cloth}: for {garments}; it cannot be laid: {need.reason}"
    if need.buy_length is None:
        return f"{need.cloth}: for {garments}"
    cost = f", costs {need.cost:.2f}" if need.cost is not None else ""
    apart = f", cut apart from {need.apart_from}" if need.apart_from is not None else ""
    return f"{shop_length(need.buy_length, imperial)} of {need.cloth} for {garments}{cost}{apart}"


def remnants_section(
    plan: RemnantPlan, pictures: Mapping[str, tuple[str, bytes]] | None = None, *, batch_follows: bool = False
) -> dict[str, Any]:
    """The section on leftovers: how many garments, which piece goes where, what to buy. ``pictures``: of leftovers by
    their names, each a kind ("image/jpeg") and its bytes; those of leftovers that are used are shown.
    ``batch_follows``: what to buy for the other garments is said by the plans of the batch below."""
    used = list(dict.fromkeys(use["remnant"] for use in pieces_by_copy(plan)))
    return {
        "head": found_words(plan),
        "made": [
            {"garment": f"{m.garment} {m.size or ''}".strip(), "made": made_words(m)}
            for m in plan.made
        ],
        "proof": proof_words(plan),
        "reason": plan.reason,
        "uses": pieces_by_copy(plan),
        "unbound": plan.unbound,
        "pictures": [
            {"name": name, "source": f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"}
            for name in used
            if pictures and name in pictures
            for kind, data in (pictures[name],)
        ],
        "unused": ", ".join(plan.unused),
        "to_buy": [to_buy_words(b, plan.imperial) for b in plan.to_buy],
        "rest": "The other garments are cut from cloth that is bought, as below."
        if batch_follows
        else "Nothing has to be bought.",
        "refused": plan.refused,
    }


def layer_words(plan: BatchPlan, section: PlannedSection) -> str:
    """What lies in one layer of a section."""
    return ", ".join(f"{n} × {name}" for name, n in zip(plan.garments, section.ratio, strict=True) if n)


def batch_apart_words(plan: BatchPlan) -> str:
    """How a second cloth is counted; empty for others."""
    return f"counted as cut apart from {plan.apart_from}" if plan.apart_from is not None else ""


def sure_words(plan: BatchPlan) -> str:
    """How far the plan is certain."""
    if plan.proved:
        return "no division of the batch needs less cloth from the shop: the area of the pieces takes as much"
    least = least_length(plan.least, plan.imperial)
    return f"the best found, at least {least} by area; {counted(plan.measured, 'lay')} measured"


def saved_words(plan: BatchPlan) -> str:
    """What cutting each garment by itself would take, and what the batch saves against that; empty where it was not
    measured."""
    if plan.one_at_a_time is None:
        return ""
    saved = 1.0 - plan.cloth_length / plan.one_at_a_time
    less = f"the batch saves about {format_share(saved, 1)}" if saved > 1e-9 else "nothing is saved"
    return f"about {long_length(plan.one_at_a_time, plan.imperial)}, {less}"


def plies_words(section: PlannedSection) -> str:
    """How the plies of a section lie and what one cut outline gives, so that nobody cuts double."""
    if section.spread == "stacked face to face":
        pairs = section.plies // 2
        return f"{section.plies} plies in {counted(pairs, 'pair')}: one outline gives {pairs} right and {pairs} left"
    if section.spread == "stacked face up" or (section.spread == "open" and section.plies > 1):
        return f"{section.plies} plies face up: one outline gives {section.plies} alike"
    if section.plies > 1:
        return "2 plies at the fold: an outline through both gives a pair, a half on the fold gives one piece"
    return "1 ply: one outline gives one piece"


def batch_section(plans: Sequence[BatchPlan]) -> dict[str, Any]:
    """The section on batches, one plan for each cloth."""
    return {"plans": [_plan(p) for p in plans]}


def _plan(p: BatchPlan) -> dict[str, Any]:
    def length(mm: float) -> str:
        return long_length(mm, p.imperial)

    return {
        "buy": shop_length(p.buy_length, p.imperial),
        "cloth": p.cloth,
        "cost": _money(p.cost),
        "garments": sum(p.counts),
        "each": length(p.per_garment),
        "single": saved_words(p),
        "sure": sure_words(p),
        "apart": batch_apart_words(p),
        "sections": [
            {
                "number": number,
                "spread": s.spread,
                "plies": s.plies,
                "ratio": layer_words(p, s),
                "layers": s.layers,
                "lay": column_length(s.lay_length, p.imperial),
                "cloth": column_length(s.cloth_length, p.imperial),
                "cuts": s.cuts,
                "how": plies_words(s),
            }
            for number, s in enumerate(p.sections, start=1)
        ],
        "shares": [
            {
                "garment": name,
                "count": n,
                "share": format_share(share, 1),
                "each": column_length(p.length_each(i), p.imperial),
                "all": column_length(n * p.length_each(i), p.imperial),
            }
            for i, (name, n, share) in enumerate(zip(p.garments, p.counts, p.shares, strict=True))
        ],
    }
