"""Small helpers that what-to-buy, remnants and batch share: parts of an order, and the one way to ask for a lay."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Protocol

from nesting.model.lay import Lay
from nesting.model.order import Cloth, CutPiece, Garment, Order, Remnant, SpreadName

if TYPE_CHECKING:
    from nesting.planning.layout.options import SearchOptions

__all__ = [
    "LayOne",
    "area_of",
    "cloths_used",
    "garment_area",
    "garment_label",
    "laying",
    "led_by",
    "pieces_on",
    "ring_area",
    "with_cloths",
    "with_counts",
]


class LayOne(Protocol):
    """Lays one cloth of an order, or raises CannotLayError that says which piece and why.

    ``spread`` None tries every sound spread; ``start`` is a lay to begin from; ``remnant`` lays on that leftover;
    ``share`` is the part of the usual time or rounds that may be spent.
    """

    def __call__(
        self,
        order: Order,
        cloth: str,
        *,
        spread: SpreadName | None = None,
        start: Lay | None = None,
        remnant: Remnant | None = None,
        share: float = 1.0,
    ) -> Lay:
        """The lay."""


def laying(options: SearchOptions) -> LayOne:
    """The program's own search with these options."""
    from nesting.planning.layout.one_cloth import lay_cloth

    def lay(
        order: Order,
        cloth: str,
        *,
        spread: SpreadName | None = None,
        start: Lay | None = None,
        remnant: Remnant | None = None,
        share: float = 1.0,
    ) -> Lay:
        part = options
        if share != 1.0:
            part = replace(
                options,
                seconds=None if options.seconds is None else options.seconds * share,
                rounds=None if options.rounds is None else max(1, round(options.rounds * share)),
            )
        return lay_cloth(order, cloth, part, start=start, remnant=remnant, spread=spread)

    return lay


def garment_label(garment: Garment) -> str:
    """Name and size for people."""
    return f"{garment.name} {garment.size}" if garment.size else garment.name


def pieces_on(order: Order, garment: Garment, cloth: str) -> tuple[CutPiece, ...]:
    """The pieces that this garment cuts from ``cloth``."""
    cut = (order.cut_piece(name, garment.size) for name in garment.pieces)
    return tuple(piece for piece in cut if order.cloth_of(garment, piece) == cloth)


def cloths_used(order: Order) -> tuple[str, ...]:
    """The names of the cloths from which some garment cuts something, in the order's sequence."""
    return tuple(
        cloth.name for cloth in order.cloths if any(g.count and pieces_on(order, g, cloth.name) for g in order.garments)
    )


def led_by(order: Order, cloth: str) -> str | None:
    """The other cloth with whose pieces the order cuts those of ``cloth`` together; None where there is none such."""
    for together in order.together:
        for garment in order.garments:
            if garment.count and {together.leader, together.follower} <= set(garment.pieces):
                first, second = (
                    order.cloth_of(garment, order.cut_piece(name, garment.size))
                    for name in (together.leader, together.follower)
                )
                if second == cloth != first:
                    return first
    return None


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


def garment_area(order: Order, garment: Garment, cloth: str) -> float:
    """The area of all that one garment cuts from ``cloth``, mm²."""
    return sum(piece.cut * area_of(piece) for piece in pieces_on(order, garment, cloth))


def with_cloths(order: Order, cloths: Iterable[Cloth]) -> Order:
    """The order with these cloths in place of those of the same names."""
    new = {cloth.name: cloth for cloth in cloths}
    return replace(order, cloths=tuple(new.get(cloth.name, cloth) for cloth in order.cloths))


def with_counts(order: Order, counts: Sequence[int]) -> Order:
    """The order with these counts, one for each of ``order.garments``; garments with none are left out."""
    kept = tuple(replace(g, count=n) for g, n in zip(order.garments, counts, strict=True) if n > 0)
    return replace(order, garments=kept)
