"""What to take to the shop: every cloth and trim of an order, and what it costs in all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from nesting.model.lay import Lay
from nesting.model.units import to_cents
from nesting.planning.buying.trims import TrimNeed, trim_needs
from nesting.report.html.summary import cost
from nesting.report.words import shop_length
from nesting.resolving.cutting_list import CuttingList

__all__ = ["Shopping", "shopping"]


@dataclass(frozen=True)
class Shopping:
    """``items`` in words; ``total`` of those whose price is known (text, two decimals); ``unpriced`` names the rest."""

    items: tuple[str, ...]
    total: str
    unpriced: tuple[str, ...]


def _trim(need: TrimNeed) -> str:
    return need.opening if need.kind.lower() in need.opening.lower() else f"{need.kind} ({need.opening})"


def shopping(lays: Sequence[Lay], listed: CuttingList | None) -> Shopping | None:
    """The list over all cloths that are bought and all trims; None where there is but one thing, or no price at all.

    Raises OrderError for a trim on an edge that no garment has.
    """
    if listed is None:
        return None
    needed = [
        (f"{shop_length(lay.buy_length, lay.imperial)} of {lay.cloth}", lay.cloth, cost(lay, listed))
        for lay in lays
        if lay.bought
    ]
    if not needed:
        return None
    for n in trim_needs(listed):
        needed.append((f"{shop_length(n.length, listed.imperial)} of {_trim(n)}", _trim(n), n.cost))
    known = [price for _, _, price in needed if price is not None]
    if len(needed) < 2 or not known:
        return None
    return Shopping(
        tuple(words for words, _, _ in needed),
        # as each line is shown, so that the sum is that of the lines
        f"{sum(to_cents(price) for price in known):.2f}",
        tuple(name for _, name, price in needed if price is None),
    )
