"""The result in the terminal (rich)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from nesting.model.lay import Lay
from nesting.model.units import format_share, format_width
from nesting.report.html.summary import above_bound, cost, in_all_words, share_by_area
from nesting.report.words import (
    column_length,
    given_words,
    kind_words,
    lay_words,
    least_length,
    long_length,
    reason_words,
    shop_column,
    shop_length,
    tried_words,
)
from nesting.resolving.cutting_list import CuttingList

if TYPE_CHECKING:
    from rich.console import RenderableType

__all__ = ["summary"]


def summary(lays: Sequence[Lay], listed: CuttingList | None = None) -> RenderableType:
    """What to buy and how to cut, cloth by cloth, then the spreads that were tried or refused."""
    from rich.console import Group
    from rich.text import Text

    parts: list[RenderableType] = []
    for reason in dict.fromkeys(reason for lay in lays for reason in lay.do_not_cut):
        parts.append(Text(f"Do not cut yet: {reason}", style="bold"))
    for lay in lays:
        if parts:
            parts.append(Text(""))
        parts.append(_answer(lay, listed))
        if lay.remnant is None:
            parts.append(_garments(lay))
        if lay.tried:
            parts.append(Text(tried_words(lay), style="dim"))
            parts += _tried(lay, listed)
        parts += [Text(f"note: {note}") for note in lay.notes]
    return Group(*parts)


def _answer(lay: Lay, listed: CuttingList | None) -> RenderableType:
    from rich.text import Text

    kinds = ", then ".join(kind_words(s.spread) for s in lay.sections)
    if lay.remnant:
        words = Text.assemble((f"Leftover {lay.remnant}", "bold"), f" of {lay.cloth}: {kinds}")
    else:
        words = Text.assemble(
            ("Buy ", "bold"),
            (shop_length(lay.buy_length, lay.imperial), "bold underline"),
            (f" of {lay.cloth}", "bold"),
            f", {format_width(lay.width, imperial=lay.imperial)} wide: {kinds}",
        )
        price = cost(lay, listed)
        if price is not None:
            words.append(f", costs {price:.2f}")
    words.append(
        f"\nlay {long_length(lay.lay_length, lay.imperial)} {lay_words(lay)}; "
        f"{100 * lay.utilisation:.1f} % of the cloth used, {given_words(lay)}"
    )
    if above_bound(lay) is not None:
        words.append(f"; no lay is shorter than {least_length(lay.lower_bound, lay.imperial)}")
        if lay.bound_reason:
            words.append(f" ({reason_words(lay)})")
    return words


def _garments(lay: Lay) -> RenderableType:
    from rich.box import SIMPLE
    from rich.table import Table

    table = Table(box=SIMPLE, show_footer=len(lay.garments) > 1, pad_edge=False)
    total = sum(g.count * g.length_each for g in lay.garments)
    count = sum(g.count for g in lay.garments)
    table.add_column("garment", footer="batch")
    table.add_column("size")
    table.add_column("count", justify="right", footer=str(count))
    table.add_column("share by area", justify="right")
    table.add_column("each", justify="right", footer=column_length(total / max(1, count), lay.imperial))
    table.add_column("together", justify="right", footer=column_length(total, lay.imperial))
    for g in lay.garments:
        each, both = (column_length(n * g.length_each, lay.imperial) for n in (1, g.count))
        table.add_row(g.name, g.size or "", str(g.count), format_share(share_by_area(lay, g), 1), each, both)
    return table


def _tried(lay: Lay, listed: CuttingList | None) -> list[RenderableType]:
    """The spreads that were tried; below, as their reasons are long, those that were refused."""
    from rich.box import SIMPLE
    from rich.table import Table
    from rich.text import Text

    table = Table(box=SIMPLE, pad_edge=False)
    for name in ("spread", "buy", "lay", "used", "outlines to cut"):
        table.add_column(name, justify="left" if name == "spread" else "right")
    told = any(t.in_all is not None for t in lay.tried)
    if told:
        table.add_column("all cloths", justify="right")
    table.add_column("")
    refused: list[RenderableType] = []
    for t in lay.tried:
        if t.refused is not None or t.lay_length is None:
            tried = t.refused is not None and t.refused.code != "spread.no-time"
            why = f"refused: {t.refused}" if tried else str(t.refused or "not laid")
            refused.append(Text(f"{t.kind}, {why}", style="dim"))
            continue
        table.add_row(
            t.kind,
            shop_column(t.buy_length, lay.imperial) if t.buy_length is not None and not lay.remnant else "",
            column_length(t.lay_length, lay.imperial),
            f"{100 * t.utilisation:.1f} %" if t.utilisation is not None else "",
            str(t.handling[0]) if t.handling else "",
            *([in_all_words(t.in_all, lay, listed) if t.in_all is not None else ""] if told else []),
            "← taken" if t.chosen else "",
            style="bold" if t.chosen else "",
        )
    return [*([table] if table.row_count else []), *refused]
