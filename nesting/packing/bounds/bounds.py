"""Proven lower bounds on the length of a layout: the greatest of several, with the reason in words.

What each rests on is in the modules beside this one: ``bounds_load`` (what the pieces take of the cloth: area, chords,
inscribed rectangles) and ``bounds_order`` (pieces that cannot lie beside each other, pieces on a fold). Every step
under-states, and none trusts the answer of a linear programme: a bound may be weak, but no layout is shorter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from time import thread_time

from nesting.packing.bounds.bounds_lies import Known, Lie, Ply, lies_of, plies_of
from nesting.packing.bounds.bounds_load import Kind, Load
from nesting.packing.bounds.bounds_order import order_bound, warm_up
from nesting.packing.bounds.bounds_outlines import understated
from nesting.packing.problem import Bound, Item, Problem

__all__ = ["lower_bound"]


def lower_bound(problem: Problem, *, seconds: float = 1.0) -> Bound:
    """The greatest proven lower bound on the length (farthest x of any body) found in about ``seconds``.

    The time is counted by the work to be done, so that the same problem gives the same bound each time; only at four
    times ``seconds`` of processor time does the clock cut in.

    With a fixed length, or odd cloth, a bound greater than the cloth's own length proves that nothing fits; the
    reason then says so. ``length`` is 0 if there is nothing to place.

    Raises
    ------
    NeverFits
        if an item is larger than the empty cloth in each of its poses.
    """
    problem = understated(problem)
    warm_up()  # compiling must not eat into the time, or the first run would know less than the second
    until = thread_time() + 4 * seconds
    plies = plies_of(problem)
    kinds = _kinds(problem, plies)
    if not kinds:
        return Bound(0.0, "there is nothing to place")
    best = _longest(kinds, plies)
    load = Load(kinds, plies, seconds, until)
    length, row = load.bars(best.length)
    if math.isinf(length):
        return Bound(length, "the items of one group have no state in common, so nothing fits")
    if row:
        best = Bound(length, _load_reason(row, length, len(load.widths())))
    ordered = order_bound(kinds, plies, load.widths(), best.length, 0.4 * seconds, until)
    if ordered is not None:
        best = Bound(ordered.length, _order_reason(ordered.kinds, ordered.tied))
    length = load.longer(best.length)
    if length > best.length:
        best = Bound(length, _load_reason("blocks", length, len(load.widths())))
    room = min(ply.right for ply in plies)
    if problem.length is not None:
        room = min(room, problem.length)
    if best.length > room * (1 + 1e-9):
        best = replace(best, reason=f"{best.reason}; that is more than there is, so nothing fits")
    return best


def _kinds(problem: Problem, plies: tuple[Ply, ...]) -> tuple[Kind, ...]:
    """Items that are alike, together."""
    members: dict[object, list[int]] = {}
    for number, item in enumerate(problem.items):
        members.setdefault(_likeness(item, number), []).append(number)
    known: Known = {}
    kinds = []
    for own in members.values():
        item = problem.items[own[0]]
        kinds.append(Kind(lies_of(item, own[0], plies, known), tuple(own), item.group, item.label or item.name))
    return tuple(kinds)


def _likeness(item: Item, number: int) -> object:
    if item.fixed is not None:
        return ("fixed", number)
    if item.kind is not None:
        return ("kind", item.kind, item.group)
    poses = tuple(
        (
            p.ring.tobytes(),
            p.body if p.body is None else p.body.tobytes(),
            p.plies,
            p.x,
            p.y,
            p.low,
            p.high,
            p.left,
            p.tilt,
            p.state,
        )
        for p in item.poses
    )
    return (poses, item.group)


def _longest(kinds: Sequence[Kind], plies: tuple[Ply, ...]) -> Bound:
    """No layout is shorter than its longest piece, lying as short as it may."""

    def least(kind: Kind) -> float:
        return min(_end(lie, plies) for lie in kind.lies)

    longest = max(kinds, key=least)
    if longest.lies[0].placed:
        return Bound(least(longest), f"{longest.name} is fixed there")
    return Bound(least(longest), f"{longest.name} alone is that long, however it may lie")


def _end(lie: Lie, plies: tuple[Ply, ...]) -> float:
    if lie.placed and lie.x is not None:
        return lie.x.offset + lie.shape.right
    return lie.first(max(plies[p].left for p in lie.plies))


def _load_reason(row: str, length: float, plies: int) -> str:
    cloth = "the cloth" if plies == 1 else f"the {plies} plies"
    if row == "area":
        return f"area: laid without any waste, the pieces cover {cloth} in full width over that length"
    if row == "blocks":
        return f"too few of the larger pieces fit into {cloth} side by side and one behind the other"
    return f"on any line across {cloth}, too few of the deeper pieces fit beside each other"


def _order_reason(kinds: Sequence[Kind], tied: bool) -> str:
    names = list(dict.fromkeys(f"{k.name} (×{len(k.members)})" if len(k.members) > 1 else k.name for k in kinds))
    listed = ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")
    if tied:
        return f"the pieces on the fold, one behind the other: {listed}"
    return f"pieces that cannot lie beside each other: {listed}"
