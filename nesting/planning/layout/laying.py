"""Small helpers that what-to-buy, remnants and batch share: parts of an order, and the one way to ask for a lay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Protocol, TypedDict, Unpack

from nesting.model.lay import Lay
from nesting.model.order import CutPiece, Remnant, SpreadName
from nesting.resolving.cutting_list import CuttingList, GarmentEntry

if TYPE_CHECKING:
    from nesting.planning.layout.options import SearchOptions

__all__ = ["LayHow", "LayOne", "area_of", "garment_area", "laying", "ring_area"]


class LayHow(TypedDict, total=False):
    """``spread`` None tries every sound spread; ``start`` is a lay to begin from; ``remnant`` lays on that leftover;
    ``share`` is the part of the usual time or rounds that may be spent."""

    spread: SpreadName | None
    start: Lay | None
    remnant: Remnant | None
    share: float


class LayOne(Protocol):
    """Lays one cloth of an order, or raises CannotLayError that says which piece and why."""

    def __call__(self, listed: CuttingList, cloth: str, **how: Unpack[LayHow]) -> Lay:
        """The lay."""


def laying(options: SearchOptions) -> LayOne:
    """The program's own search with these options."""
    from nesting.planning.layout.one_cloth import lay_cloth

    def lay(listed: CuttingList, cloth: str, **how: Unpack[LayHow]) -> Lay:
        part = options
        share = how.get("share", 1.0)
        if share != 1.0:
            part = replace(
                options,
                seconds=None if options.seconds is None else options.seconds * share,
                rounds=None if options.rounds is None else max(1, round(options.rounds * share)),
            )
        return lay_cloth(
            listed, cloth, part, start=how.get("start"), remnant=how.get("remnant"), spread=how.get("spread")
        )

    return lay


def ring_area(ring: Sequence[tuple[float, float]]) -> float:
    """The area of a closed ring by the shoelace formula, mm², positive."""
    total = 0.0
    for (x0, y0), (x1, y1) in zip(ring, (*ring[1:], ring[0]), strict=True):
        total += x0 * y1 - x1 * y0
    return abs(total) / 2.0


def area_of(cut: CutPiece) -> float:
    """The area of one cloth piece, mm², less its cutouts; a half on the fold counts opened out."""
    area = ring_area(cut.piece.outline) - sum(ring_area(c) for c in cut.piece.cutouts)
    return 2.0 * area if cut.on_fold else area


def garment_area(garment: GarmentEntry, cloth: str) -> float:
    """The area of all that one garment cuts from ``cloth``, mm²."""
    return sum(piece.cut * area_of(piece) for piece in garment.on(cloth))
