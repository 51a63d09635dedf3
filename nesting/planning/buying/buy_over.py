"""What to buy of a second cloth that is laid over its leaders, as the lay of the whole order has it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

from nesting.model.errors import CannotLayError
from nesting.model.findings import Reason
from nesting.model.lay import Lay
from nesting.model.units import to_cents
from nesting.planning.buying.buy_rows import BuyRow, RefusedRow
from nesting.planning.buying.curve import adding_sequence, next_garment
from nesting.planning.layout.laying import LayOne
from nesting.resolving.cutting_list import CuttingList

__all__ = ["LayOver", "over_row"]

#: Lays of every cloth by itself -> the same with second cloths laid over their leaders.
LayOver = Callable[[CuttingList, tuple[Lay, ...]], tuple[Lay, ...]]


def over_row(
    listed: CuttingList,
    second: str,
    lays: tuple[Lay, ...],
    together: tuple[Lay, ...],
    lay: LayOne,
    over: LayOver,
    *,
    one_more: bool,
) -> BuyRow | RefusedRow:
    """The row of the cloth ``second`` laid over its leaders, or why it cannot be.

    ``order`` has the cloths in the widths of ``lays``, which holds one lay for each cloth by itself; ``together``: what
    ``over`` makes of them.
    """
    cloth = listed.cloth_named(second)
    apart = next(one for one in lays if one.cloth == second)
    there = next(one for one in together if one.cloth == second)
    if there.leaders_on is None:
        why = there.apart or Reason("it cannot lie over its leaders", code="together.apart")
        return RefusedRow(second, cloth.width, cloth.nap, None, why)
    part = listed.on_cloth(second)
    counts = [g.count for g in part.garments]
    following = next_garment(part, adding_sequence(counts), sum(counts))
    adds = None
    if one_more:
        plus = replace(
            listed, garments=tuple(replace(g, count=g.count + 1) if g == following else g for g in listed.garments)
        )
        first = next(one for one in lays if one.cloth == there.leaders_on)
        with suppress(CannotLayError):
            more = lay(plus.on_cloth(first.cloth), first.cloth, spread=first.sections[0].spread.kind, start=first)
            longer = next(one for one in over(plus, (more, apart)) if one.cloth == second)
            if longer.leaders_on is not None:
                # A lay of more garments may be the better one by chance; it serves fewer as well.
                adds = max(0.0, longer.buy_length - there.buy_length)
    return BuyRow(
        second,
        cloth.width,
        cloth.nap,
        there.sections[0].spread.kind,
        sum(counts),
        there.lay_length,
        there.buy_length,
        None if cloth.price is None else to_cents(there.buy_length / cloth.price_unit * cloth.price),
        adds,
        following.label,
        there.utilisation,
        over=there.leaders_on,
        patches=len(there.patches),
    )
