"""One figure for one question: what a row of the table and a curve tell of the same cloth is made the same.

Rows and curve are searched one after the other, each with its own luck. What either found serves both: a lay of n
garments, and one of n + 1, which serves n as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from nesting.model.order import Cloth
from nesting.model.units import to_cents
from nesting.planning.buying.buy_rows import BuyRow
from nesting.planning.buying.curve import Curve, CurvePoint
from nesting.planning.layout.yardage import cloth_used
from nesting.resolving.cutting_list import CuttingList

__all__ = ["one_figure"]


def one_figure(
    listed: CuttingList, rows: Sequence[BuyRow], curves: Sequence[Curve]
) -> tuple[list[BuyRow], list[Curve]]:
    """The rows and the curves, so that the length to buy and what one more garment adds are the same in both, for each
    cloth in its own width and nap, cut by itself."""
    now, drawn = list(rows), []
    for curve in curves:
        cloth = listed.cloth_named(curve.cloth)
        mine = [i for i, r in enumerate(now) if _same(r, cloth)]
        if not mine:
            drawn.append(curve)
            continue
        by_count = {p.count: p for p in curve.points}
        last, beyond = by_count.get(curve.garments), by_count.get(curve.garments + 1)
        after = [
            (r.buy_length + r.one_more, _opened(r, cloth, r.more_length))
            for r in (now[i] for i in mine)
            if r.one_more is not None and r.more_length is not None
        ]
        after += [(beyond.buy_length, beyond.lay_length)] if beyond is not None else []
        larger = min(after, default=None)
        more = None if larger is None else larger[0]
        first = min(mine, key=lambda i: (now[i].buy_length, now[i].lay_length))
        if last is not None and last.buy_length < now[first].buy_length - 1e-6:
            # a lay of the curve: it lies on the curve's spread
            at = next((i for i in mine if now[i].spread == curve.spread), first)
            kept = now[at].lay_length if now[at].spread != curve.spread else min(now[at].lay_length, last.lay_length)
            now[at] = _bought(now[at], cloth, kept, last.buy_length)
            first = at
        least = now[first].buy_length
        for i in mine:
            if now[i].buy_length <= least + 1e-6:
                now[i] = replace(now[i], one_more=None if more is None else more - now[i].buy_length)
        lengths = {curve.garments: (least, _opened(now[first], cloth, now[first].lay_length))}
        if larger is not None:
            lengths[curve.garments + 1] = larger
        drawn.append(_served(curve, lengths))
    told = {curve.cloth for curve in curves}
    for key in dict.fromkeys((r.cloth, r.width, r.nap) for r in now if r.over is None):
        group = [i for i, r in enumerate(now) if (r.cloth, r.width, r.nap) == key and r.over is None]
        if key[0] not in told or not _same(now[group[0]], listed.cloth_named(key[0])):
            _one_for_all(now, group)
    return now, drawn


def _one_for_all(rows: list[BuyRow], group: Sequence[int]) -> None:
    """What one more adds where the least is bought, of one width that no curve is drawn for: on whichever spread."""
    after = [r.buy_length + r.one_more for r in (rows[i] for i in group) if r.one_more is not None]
    least = min(rows[i].buy_length for i in group)
    for i in group if after else ():
        if rows[i].buy_length <= least + 1e-6:
            rows[i] = replace(rows[i], one_more=min(after) - rows[i].buy_length)


def _same(row: BuyRow, cloth: Cloth) -> bool:
    return (row.cloth, row.width, row.nap, row.over) == (cloth.name, cloth.width, cloth.nap, None)


def _bought(row: BuyRow, cloth: Cloth, lay_length: float, buy_length: float) -> BuyRow:
    cost = None if cloth.price is None else to_cents(buy_length / cloth.price_unit * cloth.price)
    used = row.utilisation * row.lay_length / lay_length if lay_length > 0.0 else row.utilisation
    return replace(row, lay_length=lay_length, buy_length=buy_length, cost=cost, utilisation=used)


def _opened(row: BuyRow, cloth: Cloth, lay_length: float) -> float:
    """A lay length of the row's spread as open cloth, which the curve is told in."""
    return lay_length if row.spread == "sections" else cloth_used(row.spread, cloth, lay_length)


def _served(curve: Curve, lengths: dict[int, tuple[float, float]]) -> Curve:
    """The curve with these (length to buy, lay length) by count, none of fewer garments longer, and what is free told
    anew."""
    points: list[CurvePoint] = []
    bought = laid = math.inf
    for p in reversed(curve.points):
        buy, lay = lengths.get(p.count, (math.inf, math.inf))
        bought, laid = min(bought, p.buy_length, buy), min(laid, p.lay_length, lay)
        points.append(replace(p, buy_length=bought, lay_length=laid))
    points.reverse()
    # what was not measured for one less says nothing of what the one more adds
    free = [
        k > 0 and p.measured and points[k - 1].measured and p.buy_length <= points[k - 1].buy_length + 1e-6
        for k, p in enumerate(points)
    ]
    return replace(curve, points=tuple(replace(p, free=f) for p, f in zip(points, free, strict=True)))
