"""What a lay on a leftover is asked to hold: pieces of garments whose other pieces may come from elsewhere.

The lay is held to exactly the pieces that it names, copy by copy, and these to the order: a copy gets no more of a
piece than a garment needs.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

from nesting.model.findings import Finding
from nesting.model.lay import Lay
from nesting.model.order import CutPiece, Order
from nesting.proof.following import left_on_leader
from nesting.proof.verdict import Failure

__all__ = ["Held", "garments_held", "holds_of", "parts_told", "ratios_kept", "with_leftover"]

#: (garment, size, piece) -> copy -> hand ("right", "left", or "" where it makes no difference) -> how many
Held = dict[tuple[str, str | None, str], dict[int, Counter[str]]]


def holds_of(lay: Lay, order: Order) -> tuple[Held | None, list[Failure]]:
    """What the lay says that it holds, None where it says nothing (it then holds whole garments), and what is wrong
    with that."""
    if lay.holds is None:
        return None, []
    if lay.remnant is None and lay.part is None:
        return None, [_wrong("only a lay on a leftover, or one of several parts, may hold some of the garments")]
    held: Held = {}
    for h in lay.holds:
        held.setdefault((h.garment, h.size, h.piece), {}).setdefault(h.copy, Counter())[h.hand or ""] += h.count
    failures: list[Failure] = []
    for key, copies in held.items():
        failures += _beyond_order(order, lay.cloth, key, copies)
    return held, failures


def garments_held(held: Held) -> dict[tuple[str, str | None], int]:
    """How many copies of each garment and size have a piece here."""
    copies: dict[tuple[str, str | None], set[int]] = {}
    for (garment, size, _), parts in held.items():
        copies.setdefault((garment, size), set()).update(parts)
    return {key: len(found) for key, found in copies.items()}


def ratios_kept(lay: Lay, order: Order) -> list[Failure]:
    """Whether garments asked for in a ratio, as many as there is cloth for, come in that ratio on this lay."""
    tied = [
        g
        for g in order.garments
        if g.most
        and g.ratio is not None
        and any(order.cloth_of(g, order.cut_piece(name, g.size)) == lay.cloth for name in g.pieces)
    ]
    held = {(share.name, share.size): share.count for share in lay.garments}
    numbers = [(held.get((g.name, g.size), 0), g.ratio or 1) for g in tied]
    if all(n * numbers[0][1] == numbers[0][0] * ratio for n, ratio in numbers):
        return []
    found = ", ".join(f"{n} × {g.name} {g.size or ''}".rstrip() for g, (n, _) in zip(tied, numbers, strict=True))
    asked = " to ".join(str(ratio) for _, ratio in numbers)
    return [Failure("garments", f"{found}: not {asked}, as the order has their ratio")]


def parts_told(lay: Lay, order: Order) -> tuple[Finding, ...]:
    """A note that names the copies of which only some pieces lie here."""
    held, _ = holds_of(lay, order)
    partly: list[str] = []
    for name, size in garments_held(held or {}):
        of = [(key, copies) for key, copies in (held or {}).items() if key[:2] == (name, size)]
        whole = sum(
            order.cut_piece(piece, size).cut
            for g in order.garments
            if (g.name, g.size) == (name, size)
            for piece in g.pieces
            if order.cloth_of(g, order.cut_piece(piece, size)) == lay.cloth
        )
        numbers = sorted({copy for _, copies in of for copy in copies})
        for number in numbers:
            if sum(copies[number].total() for _, copies in of if number in copies) < whole:
                partly.append(f"{name} {size} no. {number}" if size else f"{name} no. {number}")
    if not partly:
        return ()
    here = "leftover" if lay.remnant is not None else "part"
    note = f"this {here} gives some pieces only of {', '.join(partly)}; the others come from elsewhere"
    return (Finding("note", note, code="lay.holds"),)


def with_leftover(order: Order, lay: Lay) -> tuple[Order, tuple[Finding, ...]]:
    """The order with the leftover that the lay lies on, if only the lay's own file knows it (one from the stash)."""
    if lay.leftover is None or any(r.name == lay.leftover.name for r in order.remnants):
        return order, ()
    note = f"the leftover '{lay.leftover.name}' is not in the order; its outline is taken as the lay file has it"
    return replace(order, remnants=(*order.remnants, lay.leftover)), (Finding("note", note, code="lay.leftover"),)


def _wrong(message: str) -> Failure:
    return Failure("garments", f"what the lay holds: {message}")


def _beyond_order(
    order: Order, cloth: str, key: tuple[str, str | None, str], copies: Mapping[int, Counter[str]]
) -> list[Failure]:
    """Copies that are not ordered, pieces that the garment does not cut from this cloth, and more than it needs."""
    name, size, piece = key
    what = f"{piece} of {name} {size}" if size else f"{piece} of {name}"
    garments = [g for g in order.garments if (g.name, g.size) == (name, size) and piece in g.pieces]
    if not any(order.cloth_of(g, order.cut_piece(piece, size)) == cloth for g in garments):
        return [_wrong(f"{what}: the order cuts no such piece from {cloth}")]
    same = [g for g in order.garments if (g.name, g.size) == (name, size)]
    ordered = math.inf if any(g.most for g in same) else sum(g.count for g in same)
    failures = []
    for copy, hands in sorted(copies.items()):
        if copy > ordered:
            failures.append(_wrong(f"{what}: no. {copy}, but {ordered} are ordered"))
        needs = _needs_less(order.cut_piece(piece, size), hands, left_on_leader(order, garments[0], piece))
        if needs:
            failures.append(_wrong(f"{what}: no. {copy} needs {needs}"))
    return failures


def _needs_less(cut: CutPiece, hands: Counter[str], left_ones: bool) -> str | None:
    if hands.total() > cut.cut:
        return f"{cut.cut}, not {hands.total()}"
    if cut.mirrored:
        right, left = (cut.cut + 1) // 2, cut.cut // 2
        if hands["right"] > right or hands["left"] > left:
            return f"{right} right and {left} left, not {hands['right']} right and {hands['left']} left"
    elif hands["right" if left_ones else "left"]:
        return "left ones, not right ones" if left_ones else "right ones, not left ones"
    return None
