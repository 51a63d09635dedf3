"""What a placement is, however it is moved, saved or redrawn: an id for each cloth piece that it gives."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from nesting.model.errors import InputError
from nesting.model.lay import Lay, Placement
from nesting.model.order import Order

__all__ = ["chosen", "is_kept", "with_ids"]


def with_ids(lay: Lay, order: Order) -> Lay:
    """The lay with ``Placement.ids`` where they are missing: garment/size/wearer/copy/piece/ordinal, the wearer and the
    size empty where there is none. The ordinal counts the pieces of that name in that copy, from 1."""
    wearers = {(g.name, g.size): g.wearer for g in order.garments}
    taken = {one for p in lay.placements for one in p.ids}
    counted: Counter[str] = Counter()

    def named(p: Placement) -> Placement:
        if p.ids:
            return p
        copies = p.copies or (p.copy,)
        ids = []
        for k in range(p.gives):
            stem = "/".join(
                (p.garment, p.size or "", wearers.get((p.garment, p.size)) or "", str(copies[k % len(copies)]), p.piece)
            )
            counted[stem] += 1
            while f"{stem}/{counted[stem]}" in taken:
                counted[stem] += 1
            ids.append(f"{stem}/{counted[stem]}")
        return replace(p, ids=tuple(ids))

    return replace(
        lay, sections=tuple(replace(s, placements=tuple(named(p) for p in s.placements)) for s in lay.sections)
    )


def is_kept(piece: str, copies: Sequence[int], ids: Sequence[str], keep: Sequence[tuple[str, int] | str]) -> bool:
    """Whether ``keep`` names this placement: by an id, or by its piece and one of its copies."""
    return any(one in ids if isinstance(one, str) else one[0] == piece and one[1] in copies for one in keep)


def chosen(lay: Lay, wanted: Sequence[str]) -> tuple[str, ...]:
    """Ids of the placements that people name: by an id, by the number on drawing and sheet, or as piece:copy.

    InputError for a name that fits none, or several, with the choices. ``lay`` has ids."""
    found: list[str] = []
    for text in wanted:
        fits = [p for p in lay.placements if p.follows is None and _fits(p, text)]
        if len(fits) == 1:
            found.append(fits[0].ids[0])
            continue
        if fits:
            choices = ", ".join(f"{p.number} ({p.ids[0]})" if p.number else p.ids[0] for p in fits)
            raise InputError(
                f"--keep: '{text}' may be any of {choices}: give the number or the id of the one that is meant",
                code="option.keep",
            )
        names = [f"{p.piece}:{p.copy}" for p in lay.placements] + [one for p in lay.placements for one in p.ids]
        near = difflib.get_close_matches(text, names, 1, cutoff=0.4)
        hint = f"; did you mean '{near[0]}'?" if near else ""
        raise InputError(
            f"--keep {text}: the lay that was given has no such piece{hint}. Expected a number on its drawing, an id "
            "from its file, or a piece and its copy, like front:1",
            code="option.keep",
        )
    return tuple(found)


def _fits(p: Placement, text: str) -> bool:
    if text in p.ids:
        return True
    if text.isdigit():
        return p.number == int(text)
    piece, _, copy = text.rpartition(":")
    return piece == p.piece and copy.isdigit() and int(copy) in (p.copies or (p.copy,))
