"""What to buy, trims, leftovers, batches and the stash in the terminal (rich)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from nesting.model.units import format_share, format_width
from nesting.planning.batch.batch import BatchPlan
from nesting.planning.buying.buy_rows import Buying
from nesting.planning.buying.trims import TrimNeed
from nesting.planning.leftovers.remnant_plan import RemnantPlan
from nesting.planning.leftovers.stash import Stash
from nesting.report.html.buy_page import (
    apart_words,
    batch_apart_words,
    curve_adds_words,
    curve_words,
    found_words,
    layer_words,
    made_words,
    one_more_words,
    pieces_by_copy,
    plies_words,
    proof_words,
    rows_first,
    saved_words,
    saving_rows,
    spread_words,
    sure_words,
    to_buy_words,
    trim_words,
)
from nesting.report.words import column_length, counted, long_length, shop_column, shop_length

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table

__all__ = ["batch_summary", "buying_summary", "remnants_summary", "stash_summary", "trims_summary"]


def _table(*columns: str, left: int = 1) -> Table:
    """A plain table; the first ``left`` columns are words, the others numbers."""
    from rich.box import SIMPLE
    from rich.table import Table

    table = Table(box=SIMPLE, pad_edge=False)
    for number, name in enumerate(columns):
        table.add_column(name, justify="left" if number < left or not name else "right")
    return table


def _what_if(bought: Buying) -> RenderableType:
    """What each change saves, of each cloth and in money, and what it asks in handling."""
    from rich.text import Text

    table = _table("what if", "saves about", "money", "handling", left=1)
    table.title, table.title_justify = Text("What would save"), "left"

    for row in saving_rows(bought):
        style = "dim" if row["refused"] else ""
        table.add_row(row["what"], row["saves"], row["money"], row["handling"], style=style)
    return table


def buying_summary(bought: Buying, *, every: bool = False) -> RenderableType:
    """The answers, a row for each width (``every``: for each spread and nap as well, and refusals), where the next
    garment is free, and the trims."""
    from rich.console import Group
    from rich.text import Text

    imperial = bought.imperial
    parts: list[RenderableType] = []
    first, others = rows_first(bought)
    for r in bought.rows:
        if r.best:
            words = Text.assemble(
                ("Buy ", "bold"),
                (shop_length(r.buy_length, imperial), "bold underline"),
                (f" of {r.cloth}", "bold"),
                f", {format_width(r.width, imperial=imperial)} wide: {spread_words(r)}",
            )
            if r.cost is not None:
                words.append(f", costs {r.cost:.2f}")
            more = [text for text in (apart_words(bought, r), one_more_words(r, imperial)) if text]
            parts.append(words.append("".join(f"; {text}" for text in more)))
    for cloth in dict.fromkeys(r.cloth for r in bought.rows):
        table = _table("spread", "nap", "width", "buy", "each", "cost", "one more", "", left=2)
        over = next((r for r in bought.rows if r.cloth == cloth and r.over is not None), None)
        how = "" if over is None else f", {'in patches on' if over.patches else 'laid over'} {over.over} or cut apart"
        table.title = Text(f"{cloth}{how}")
        table.title_justify = "left"
        for r in bought.rows if every else first:
            if r.cloth != cloth:
                continue
            alone = "apart" if r.apart_from is not None else ""
            lies = "patches" if r.patches else "over" if r.over is not None else alone
            adds = "" if r.one_more is None else "free" if r.one_more < 1e-6 else shop_column(r.one_more, imperial)
            table.add_row(
                r.spread,
                r.nap,
                format_width(r.width, imperial=imperial),
                shop_column(r.buy_length, imperial),
                column_length(r.per_garment, imperial),
                "" if r.cost is None else f"{r.cost:.2f}",
                adds,
                f"{'←' if r.best else ''} {lies}".strip(),
                style="bold" if r.best else "",
            )
        for column in table.columns:
            column.no_wrap = True
        parts.append(table)
    if others and not every:
        hidden = f"{counted(len(others), 'row')} more, of other spreads and naps, with --all and in the report"
        parts.append(Text(hidden, style="dim"))
    for no in bought.refused if every or not bought.rows else ():
        where = f"{no.cloth}, {format_width(no.width, imperial=imperial)}, {no.spread or 'any spread'}, nap {no.nap}"
        parts.append(Text(f"refused: {where}: {no.reason}", style="dim"))
    for c in bought.curves:
        points = "  ".join(f"{p.count}: {shop_column(p.buy_length, imperial)}" for p in c.points)
        adds = curve_adds_words(c, imperial)
        beyond = f" Beyond the order: {adds}." if adds else ""
        parts.append(Text(f"{c.cloth}, garments and length to buy: {points}. {curve_words(c)}{beyond}"))
    if bought.trims:
        parts.append(trims_summary(bought.trims, imperial))
    if bought.what_if is not None:
        parts.append(_what_if(bought))
    return Group(*parts)


def trims_summary(needs: Sequence[TrimNeed], imperial: bool) -> RenderableType:
    """Each trim: what to buy, and how it comes about."""
    table = _table("trim", "kind", "how", "buy", "cost", left=3)
    for need in needs:
        table.add_row(
            need.opening,
            need.kind,
            trim_words(need, imperial).removesuffix(", buy"),
            shop_column(need.length, imperial),
            "" if need.cost is None else f"{need.cost:.2f}",
        )
    return table


def remnants_summary(plan: RemnantPlan, pictures: Mapping[str, str] | None = None) -> RenderableType:
    """How many garments, where their pieces go, what must still be bought. ``pictures``: the files of the leftovers'
    pictures by their names."""
    from rich.console import Group
    from rich.text import Text

    counts = ", ".join(f"{made_words(m)} {m.garment}{f' {m.size}' if m.size else ''}" for m in plan.made)
    parts: list[RenderableType] = [Text.assemble((found_words(plan), "bold"), f": {counts}; {proof_words(plan)}")]
    if plan.reason:
        parts.append(Text(plan.reason))
    if plan.uses:
        table = _table("leftover", "garment", "copy", "pieces", left=2)
        for row in pieces_by_copy(plan):
            table.add_row(row["remnant"], row["garment"], str(row["number"]), row["pieces"])
        table.columns[3].justify = "left"
        parts.append(table)
    parts += [Text(text) for text in plan.unbound]
    if plan.unused:
        parts.append(Text(f"not used: {', '.join(plan.unused)}", style="dim"))
    used = list(dict.fromkeys(use["remnant"] for use in pieces_by_copy(plan)))
    parts += [Text(f"picture of {name}: {pictures[name]}") for name in used if pictures and name in pictures]
    parts += [Text("still to be bought: " + to_buy_words(b, plan.imperial)) for b in plan.to_buy]
    return Group(*parts)


def batch_summary(plans: Sequence[BatchPlan]) -> RenderableType:
    """Each cloth's plan: what to buy, the sections, and the shares of the sizes."""
    from rich.console import Group
    from rich.text import Text

    parts: list[RenderableType] = []
    for p in plans:
        words = Text.assemble(
            ("Buy ", "bold"), (shop_length(p.buy_length, p.imperial), "bold underline"), (f" of {p.cloth}", "bold")
        )
        if p.cost is not None:
            words.append(f", costs {p.cost:.2f}")
        one_by_one = f"one at a time they would take {saved_words(p)}; " if saved_words(p) else ""
        words.append(
            f": {counted(sum(p.counts), 'garment')}, {long_length(p.per_garment, p.imperial)} each on average; "
            f"{one_by_one}{sure_words(p)}"
        )
        if p.apart_from is not None:
            words.append(f"; {batch_apart_words(p)}")
        parts.append(words)
        table = _table("spread", "in each layer", "layers", "plies", "lay", "cloth", "outlines", left=2)
        for s in p.sections:
            table.add_row(
                s.spread,
                layer_words(p, s),
                str(s.layers),
                str(s.plies),
                column_length(s.lay_length, p.imperial),
                column_length(s.cloth_length, p.imperial),
                str(s.cuts),
            )
        parts.append(table)
        parts += [Text(f"section {n}: {plies_words(s)}", style="dim") for n, s in enumerate(p.sections, start=1)]
        shares = _table("garment", "count", "share", "each")
        for i, (name, n, share) in enumerate(zip(p.garments, p.counts, p.shares, strict=True)):
            shares.add_row(name, str(n), format_share(share, 1), column_length(p.length_each(i), p.imperial))
        parts.append(shares)
    return Group(*parts)


def stash_summary(stash: Stash, imperial: bool = False) -> RenderableType:
    """The leftovers that are kept: name, cloth, size of their box, flaws and notes."""
    from rich.text import Text

    if not stash.items:
        return Text("the stash is empty")
    flawed = any(item.remnant.flaws for item in stash.items)
    seen = any(item.picture for item in stash.items)
    more = (*(("flaws",) if flawed else ()), *(("picture",) if seen else ()))
    table = _table("leftover", "cloth", "along", "across", *more, "from", left=2)
    table.columns[-1].justify = "left"
    for item in stash.items:
        xs = [p[0] for p in item.remnant.outline]
        ys = [p[1] for p in item.remnant.outline]
        table.add_row(
            item.remnant.name,
            item.remnant.cloth,
            column_length(max(xs) - min(xs), imperial),
            column_length(max(ys) - min(ys), imperial),
            *((str(len(item.remnant.flaws) or ""),) if flawed else ()),
            *((item.picture,) if seen else ()),
            f"{item.note} (± {item.error:.1f} mm)" if item.error else item.note,
        )
    return table
