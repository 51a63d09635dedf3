"""Bundles over all cloths: for each garment, copy and wearer its pieces, where they are cut, and its cut trims."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from nesting.model.lay import Lay
from nesting.planning.buying.trims import TrimNeed, trim_needs
from nesting.report.sheet.sheet import garment_order, rows
from nesting.report.words import copies_of, hands
from nesting.resolving.cutting_list import CuttingList

__all__ = ["GarmentBundle", "PieceOf", "TrimOf", "gathered"]


@dataclass(frozen=True)
class PieceOf:
    """``count`` cloth pieces of one name and hand ("" where it makes no difference) from one cloth or leftover, with
    their numbers on its drawing and sheet."""

    piece: str
    hand: str
    count: int
    where: str
    numbers: tuple[int, ...]


@dataclass(frozen=True)
class TrimOf:
    """``count`` lengths of a trim, each ``length`` mm, joins included."""

    name: str
    kind: str
    count: int
    length: float


@dataclass(frozen=True)
class GarmentBundle:
    """What belongs to one copy of a garment. ``of``: how many copies there are; ``size`` without the wearer's name."""

    garment: str
    size: str | None
    wearer: str | None
    copy: int
    of: int
    pieces: tuple[PieceOf, ...]
    trims: tuple[TrimOf, ...]

    @property
    def title(self) -> str:
        """Garment and size."""
        return f"{self.garment} {self.size}" if self.size else self.garment


def gathered(lays: Sequence[Lay], listed: CuttingList | None) -> tuple[GarmentBundle, ...]:
    """The bundles of the lays of one order, garment by garment, size by size, copy by copy.

    ``listed`` None: trims and the number of copies ordered are not known, ``of`` is then the highest copy. Raises
    OrderError for a trim on an edge that no garment has.
    """
    found: dict[tuple[str, str | None, int], dict[tuple[str, str, str], tuple[Counter[int], int]]] = {}
    in_sequence: dict[tuple[str, str | None], None] = {}
    wearers: dict[tuple[str, str | None], str] = {}
    for lay in lays:
        in_sequence |= dict.fromkeys(garment_order(lay))
        numbers = {row.index: row.number for row in rows(lay)}
        hand = hands(lay)
        where = lay.where
        for i, p in enumerate(lay.placements):
            name = _wearer(p.ids)
            if name:
                wearers.setdefault((p.garment, p.size), name)
            each = _hands_of(hand.get(i, ""), len(copies_of(p)))
            for copy, which in zip(copies_of(p), each, strict=True):
                mine = found.setdefault((p.garment, p.size, copy), {})
                seen, count = mine.get((p.piece, which, where), (Counter(), 0))
                seen[numbers[i]] += 1
                mine[p.piece, which, where] = (seen, count + 1)
    if listed is not None:
        asked = ((g.name, g.size) for g in listed.garments)
        in_sequence = {k: None for k in (*asked, *in_sequence) if k in in_sequence}
    place = {key: n for n, key in enumerate(in_sequence)}
    trims = _trims(listed)
    counts = _counts(listed, list(found))
    out = []
    for key in sorted(found, key=lambda k: (place[k[0], k[1]], k[2])):
        garment, size, copy = key
        wearer = wearers.get((garment, size))
        pieces = tuple(
            PieceOf(piece, which, count, where, tuple(sorted(seen)))
            for (piece, which, where), (seen, count) in sorted(found[key].items(), key=lambda i: (i[0][2], i[0]))
        )
        of = counts[garment, size]
        cut = trims.get((garment, size), ())
        out.append(GarmentBundle(garment, _plain_size(size, wearer), wearer, copy, of, pieces, cut))
    return tuple(out)


def _wearer(ids: Sequence[str]) -> str:
    parts = ids[0].split("/") if ids else []
    return parts[2] if len(parts) == 6 else ""


def _plain_size(size: str | None, wearer: str | None) -> str | None:
    if size is None or wearer is None:
        return size
    return None if size == wearer else size.removesuffix(f" {wearer}")


def _hands_of(words: str, count: int) -> list[str]:
    """The hands of ``count`` cloth pieces; "left + right" gives as many of both."""
    both = [word for word in words.split(" + ") if word] or [""]
    return [both[k % len(both)] for k in range(count)]


def _trims(listed: CuttingList | None) -> Mapping[tuple[str, str | None], tuple[TrimOf, ...]]:
    found: dict[tuple[str, str | None], tuple[TrimOf, ...]] = {}
    needs: Sequence[TrimNeed] = trim_needs(listed) if listed is not None else ()
    for need in needs:
        for o in need.openings:
            one = TrimOf(need.opening, need.kind, o.openings, o.trim_length)
            found[o.garment, o.size] = (*found.get((o.garment, o.size), ()), one)
    return found


def _counts(
    listed: CuttingList | None, keys: Sequence[tuple[str, str | None, int]]
) -> Mapping[tuple[str, str | None], int]:
    found: dict[tuple[str, str | None], int] = {}
    for garment, size, copy in keys:
        found[garment, size] = max(copy, found.get((garment, size), 0))
    for g in listed.garments if listed is not None else ():
        if (g.name, g.size) in found:
            found[g.name, g.size] = max(g.count, found[g.name, g.size])
    return found
