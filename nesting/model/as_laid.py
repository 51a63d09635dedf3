"""An order with garments of count "most", as lays of it settle how many they are."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from nesting.model.lay import Lay
from nesting.model.order import Order

__all__ = ["counts_laid", "order_as_laid"]


def counts_laid(open_ended: Iterable[tuple[str, str | None, int, bool]], lays: Sequence[Lay]) -> list[int]:
    """The count of each garment, given as (name, size, count, most): as ordered, or as many as the lays hold where it
    is "most" (0 where none holds any)."""
    held: dict[tuple[str, str | None], int] = {}
    for lay in lays:
        for share in lay.garments:
            held[share.name, share.size] = max(share.count, held.get((share.name, share.size), 0))
    return [held.get((name, size), 0) if most else count for name, size, count, most in open_ended]


def order_as_laid(order: Order, lays: Sequence[Lay]) -> Order:
    """The order with the numbers that its lays hold in place of every "most"; itself where it has none."""
    if not order.open_ended:
        return order
    counts = counts_laid(((g.name, g.size, g.count, g.most) for g in order.garments), lays)
    garments = (replace(g, count=n, most=False) for g, n in zip(order.garments, counts, strict=True))
    return replace(order, garments=tuple(garments))
