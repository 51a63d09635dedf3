"""What to buy goes by a lay that is there already: the table's own searches are shorter and may miss it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from nesting.model.lay import Lay
from nesting.page.lays import Lays

__all__ = ["kept_lays", "with_known"]

#: mm. Lengths that differ by less are alike; widths too.
_ALIKE_MM = 0.01


def kept_lays(lays: Lays) -> list[Lay]:
    """The lays shown that are of the order as it is and hold as they lie, by themselves on cloth that is bought."""
    found = []
    for cloth in lays.cloths():
        lay = lays.now(cloth)
        if lay is None or lay.remnant is not None or lay.over is not None or lay.do_not_cut:
            continue
        verdict = lays.known_verdict(cloth)
        # as it was found it has passed the proof; what was moved by hand counts once it has been judged
        holds = bool(verdict["ok"]) if verdict is not None else not lays.value(cloth).get("moves")
        if holds and lay.order_sha256 == lays.work.sha256:
            found.append(lay)
    return found


def with_known(document: dict[str, Any], lays: Iterable[Lay]) -> dict[str, Any]:
    """The buying document with no cloth longer than its lay that is known.

    The row to go by of the lay's cloth, width and nap takes the lay's spread and lengths where these are shorter to
    buy, ``known`` then being True; it becomes the row to go by of the cloth where no other width takes less. The
    curve's point of these garments is the table's.
    """
    rows = [dict(row) for row in document.get("rows", [])]
    curves = [dict(curve) for curve in document.get("curves", [])]
    for lay in lays:
        mine = [r for r in rows if r["cloth"] == lay.cloth and r["over"] is None and r["apart_from"] is None]
        here = [r for r in mine if abs(r["width"] - lay.width) <= _ALIKE_MM]
        # the first nap of a width is the cloth's own
        here = [r for r in here if r["nap"] == here[0]["nap"]]
        if not here or any(r["in_all"] is not None for r in mine):
            continue
        row = min(here, key=lambda r: (not r["best"], r["buy_length"]))
        if lay.buy_length < row["buy_length"] - _ALIKE_MM:
            _take(row, lay)
        if not row.get("known"):
            continue
        best = next((r for r in mine if r["best"]), None)
        if best is not None and row["buy_length"] <= best["buy_length"] + _ALIKE_MM:
            best["best"], row["best"] = False, True
        for curve in curves:
            if curve["cloth"] == lay.cloth:
                curve["points"] = _served(curve["points"], row["garments"], row["buy_length"])
    return {**document, "rows": rows, "curves": curves}


def _take(row: dict[str, Any], lay: Lay) -> None:
    cost = row["cost"]
    if cost is not None and row["buy_length"] > 0.0:
        row["cost"] = round(cost * lay.buy_length / row["buy_length"], 2)
    if row["one_more"] is not None:
        row["one_more"] += row["buy_length"] - lay.buy_length
    row["lay_length"], row["buy_length"] = lay.lay_length, lay.buy_length
    row["per_garment"] = lay.buy_length / row["garments"]
    row["spread"] = "sections" if len(lay.sections) > 1 else lay.sections[0].spread.kind
    row["known"] = True


def _served(points: list[dict[str, Any]], count: int, length: float) -> list[dict[str, Any]]:
    """The points, none of as many garments or fewer longer than ``length``: that cloth serves them as well."""
    return [
        {**p, "buy_length": min(p["buy_length"], length) if p["count"] <= count else p["buy_length"]} for p in points
    ]
