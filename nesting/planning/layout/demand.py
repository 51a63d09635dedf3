"""What one cloth has to give: every cloth piece of every garment, by hand.

Glossary
    *cloth piece*: one piece of cloth as cut. *Need*: one cloth piece that one copy of a garment needs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from nesting.model.errors import CannotLayError, OrderError
from nesting.model.order import Cloth, CutPiece
from nesting.resolving.cutting_list import CuttingList, Hand, Pair

__all__ = ["Counts", "Need", "Stack", "needs_of", "stacks_of"]

#: (garment name, size) -> how many
Counts = Mapping[tuple[str, str | None], int]


@dataclass(frozen=True)
class Need:
    """One cloth piece for one copy of a garment. ``pair``: what is cut through at its place, from the same cloth."""

    cut: CutPiece
    garment: str
    size: str | None
    copy: int
    hand: Hand | None
    pair: Pair | None = None


@dataclass(frozen=True)
class Stack:
    """All needs for one piece of one garment and size, in the order of their copies."""

    needs: tuple[Need, ...]

    @property
    def cut(self) -> CutPiece:
        """The piece."""
        return self.needs[0].cut


def stacks_of(
    listed: CuttingList, cloth: Cloth, counts: Counts | None = None, *, apart: bool = False
) -> tuple[Stack, ...]:
    """What ``cloth`` has to give, grouped by garment, size and piece.

    ``counts`` replaces the list's counts. ``apart`` cuts followers by themselves. OrderError for a mirrored piece that
    is cut an odd number of times; CannotLayError for a follower that does not lie on its leader.
    """
    asked = dict(counts) if counts is not None else {}
    stacks: list[Stack] = []
    numbered: dict[tuple[str, str | None], int] = {}
    for garment in listed.garments:
        key = (garment.name, garment.size)
        count = asked.pop(key, 0) if counts is not None else garment.count
        first = numbered.get(key, 0)
        numbered[key] = first + count
        for entry in garment.pieces:
            if entry.cloth != cloth.name or (entry.follows_here and not apart):
                continue
            pair = None if apart else entry.leads_here
            _check_counts(listed, entry.cut, pair)
            needs = [
                Need(entry.cut, garment.name, garment.size, copy, hand, pair)
                for copy in range(first + 1, first + count + 1)
                for hand in (entry.hands_apart if apart else entry.hands)
            ]
            if needs:
                stacks.append(Stack(tuple(needs)))
    return tuple(stacks)


def _check_counts(listed: CuttingList, cut: CutPiece, pair: Pair | None) -> None:
    if cut.mirrored and cut.cut % 2:
        raise OrderError(
            f"a mirrored piece is cut in pairs, but cut = {cut.cut}: give an even number, or mirrored = false",
            file=listed.path,
            piece=cut.piece.label,
            key="cut",
            code="piece.odd-count",
        )
    if pair is None:
        return
    follower = pair.follower
    if follower.cut != cut.cut or follower.mirrored != cut.mirrored:
        raise OrderError(
            f"'{follower.name}' is cut together with '{cut.name}', so both must be cut equally often: "
            f"found cut = {follower.cut} and cut = {cut.cut}",
            file=listed.path,
            key="together",
            code="together.counts",
        )
    if not pair.fits.agrees:
        raise CannotLayError(
            f"cannot be cut together with '{follower.piece.label}': {'; '.join(pair.fits.messages)}",
            piece=cut.piece.label,
            code="together.does-not-fit",
        )


def needs_of(stacks: tuple[Stack, ...]) -> tuple[Need, ...]:
    """All needs in one row."""
    return tuple(need for stack in stacks for need in stack.needs)
