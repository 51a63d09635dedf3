"""Elastic, binding and lace that finishes call for, but no trim of the order reckons."""

from __future__ import annotations

from nesting.files.orders.order_finish import finish_from_phrase
from nesting.model.errors import NestingError
from nesting.model.order import Order, Trim
from nesting.model.units import format_length
from nesting.page.survey import Survey
from nesting.resolving.openings import round_of

__all__ = ["not_reckoned"]

#: what is sewn to an edge that is finished so
_TAKES = {"elastic": "elastic", "bound": "binding", "lace": "lace"}


def not_reckoned(survey: Survey) -> list[str]:
    """One line for each finish that takes something, by the name of its edges: what, where, and how long these are.

    Edges along which a trim or a band goes are left out, and those of a piece that is cut together with another, as
    its leader's edge takes the same.
    """
    order = survey.order
    if order is None:
        return []
    there = {edge for trim in order.trims for edge in trim.edges}
    there |= {edge for cut in order.pieces for edge in cut.goes_round}
    followers = {rule.follower for rule in order.together}
    used = {name for garment in order.garments if garment.count for name in garment.pieces}
    groups: dict[tuple[str, str, str], dict[str, None]] = {}
    for (name, _), asked in survey.asked.items():
        if name in followers or name not in used:
            continue
        for edge, phrase in asked["finish"]:
            try:
                kind = finish_from_phrase(phrase, asked.at("finish").at(edge), survey.finishes).kind
            except NestingError:
                continue
            if kind in _TAKES and f"{name}.{edge}" not in there:
                groups.setdefault((_TAKES[kind], str(phrase), edge), {})[f"{name}.{edge}"] = None
    return [_words(order, what, phrase, edge, tuple(edges)) for (what, phrase, edge), edges in groups.items()]


def _words(order: Order, what: str, phrase: str, edge: str, edges: tuple[str, ...]) -> str:
    pieces = ", ".join(text.rpartition(".")[0] for text in edges)
    where = "all edges" if edge == "*" else f"the edge {edge}"
    named = what if phrase == "bound" else phrase
    long = _length(order, edge, Trim(edge, what, edges, 1.0, True))
    if long is None:
        return f"{named} for {where} of {pieces}"
    return f"{named} for {where} of {pieces}: the edges are {format_length(long, imperial=order.imperial)} long in all"


def _length(order: Order, edge: str, trim: Trim) -> float | None:
    """All edges of all garments along which it goes, mm; None where they have no name to be measured by."""
    if edge == "*":
        return None
    try:
        rounds = [(g.count, round_of(order, trim, g)) for g in order.garments if g.count]
    except NestingError:
        return None
    return sum(count * found.number * found.length for count, found in rounds if found is not None)
