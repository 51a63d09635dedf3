"""Small orders of rectangles, and a lay that is nothing but arithmetic, so that tests are quick and exact."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from nesting.model.errors import CannotLayError
from nesting.model.findings import Reason
from nesting.model.lay import Lay, PlyRegion, Section, Spread, SpreadTried
from nesting.model.order import Cloth, CutPiece, Garment, Order, Remnant, SpreadName
from nesting.model.piece import Edge, Piece, Point
from nesting.model.units import round_up
from nesting.planning.layout.laying import garment_area
from nesting.resolving.cutting_list import CuttingList


def rectangle(
    name: str, along: float, across: float, *, size: str | None = None, cloth: str = "main", **how: Any
) -> CutPiece:
    """A rectangle with its reference point in the middle."""
    a, b = along / 2, across / 2
    ring = ((-a, -b), (a, -b), (a, b), (-a, b))
    piece = Piece(name, ring, size=size, grainline=((-a, 0.0), (a, 0.0)))
    return CutPiece(piece, None, cloth=cloth, **how)


def shape(name: str, ring: Sequence[Point], *, edges: Sequence[Edge] = (), **how: Any) -> CutPiece:
    """A piece of any outline."""
    fold = how.pop("fold", None)
    seam = how.pop("seam", None)
    size = how.pop("size", None)
    # The reference point is the middle of the grainline, which is the origin.
    grainline = ((-1.0, 0.0), (1.0, 0.0))
    piece = Piece(name, tuple(ring), size=size, edges=tuple(edges), fold=fold, seam=seam, grainline=grainline)
    return CutPiece(piece, None, **how)


def order_of(
    pieces: Sequence[CutPiece], garments: Sequence[Garment], cloths: Sequence[Cloth] = (), **more: Any
) -> Order:
    """An order in cm of these."""
    units = more.pop("units", "cm")
    cloths = tuple(cloths) or (Cloth("main", 1500.0),)
    return Order("Chorus", units, None, "", tuple(pieces), tuple(cloths), tuple(garments), **more)


def scrap(name: str, along: float, across: float, cloth: str = "main", **more: Any) -> Remnant:
    """A rectangular leftover."""
    return Remnant(name, cloth, ((0.0, 0.0), (along, 0.0), (along, across), (0.0, across)), **more)


def lay_of(order: CuttingList, cloth: Cloth, lay_length: float, kind: SpreadName = "open", **more: Any) -> Lay:
    """A lay without placements of that length, with the length to buy by the published formula, worked out here."""
    buy = round_up((lay_length + 2 * cloth.end_allowance) / (1 - cloth.shrink_along), cloth.increment)
    box = ((0.0, 0.0), (lay_length, 0.0), (lay_length, cloth.width), (0.0, cloth.width))
    spread = Spread(kind, cloth.width, lay_length, (PlyRegion(0, "up", box),))
    values: dict[str, Any] = {
        "title": order.title,
        "cloth": cloth.name,
        "width": cloth.width,
        "width_washed": cloth.width_washed,
        "usable_width": cloth.usable_width,
        "sections": (Section(spread, lay_length, ()),),
        "lay_length": lay_length,
        "buy_length": buy,
        "lower_bound": 0.0,
        "bound_reason": "",
        "utilisation": 0.8,
        "garments": (),
    }
    return Lay(**{**values, **more})


class AreaLay:
    """Lays by arithmetic: area over usable width at a fixed efficiency, a fold somewhat longer; remembers its calls."""

    def __init__(self, efficiency: float = 0.8, extra: float = 0.0) -> None:
        self.efficiency, self.extra = efficiency, extra
        self.calls: list[tuple[tuple[int, ...], SpreadName | None, Lay | None, float]] = []

    def __call__(
        self,
        order: CuttingList,
        cloth: str,
        *,
        spread: SpreadName | None = None,
        start: Lay | None = None,
        remnant: Remnant | None = None,
        share: float = 1.0,
    ) -> Lay:
        """The lay."""
        stuff = order.cloth_named(cloth)
        if spread is None:
            return self._all(order, stuff, start, remnant, share)
        widest = max(
            (max(p[1] for p in c.piece.outline) - min(p[1] for p in c.piece.outline), c.piece.name)
            for g in order.garments
            for c in g.on(cloth)
        )
        table = stuff.usable_width / 2 if spread == "lengthwise fold" else stuff.usable_width
        if widest[0] > table:
            raise CannotLayError(f"{widest[0]:g} mm wide on {table:g} mm", piece=widest[1])
        area = sum(g.count * garment_area(g, cloth) for g in order.garments)
        length = area / (stuff.usable_width * self.efficiency)
        if spread != "open":
            length *= 1.0 + self.extra
        if stuff.nap != "none":
            length *= 1.05
        if stuff.length is not None and length > stuff.length:
            raise CannotLayError(f"{length:g} mm, {stuff.length:g} mm there")
        self.calls.append((tuple(g.count for g in order.garments), spread, start, share))
        return lay_of(order, stuff, length, spread or "open")

    def _all(self, order: CuttingList, stuff: Cloth, start: Lay | None, remnant: Remnant | None, share: float) -> Lay:
        """Every spread of the cloth, the shortest chosen; the others listed as tried."""
        kinds = stuff.spreads or ("open",)
        found: dict[SpreadName, Lay] = {}
        refused: dict[SpreadName, str] = {}
        for kind in kinds:
            try:
                found[kind] = self(order, stuff.name, spread=kind, start=start, remnant=remnant, share=share)
            except CannotLayError as error:
                refused[kind] = str(error)
        if not found:
            raise CannotLayError("; ".join(refused.values()))
        best = min(found.values(), key=lambda lay: lay.buy_length)
        tried = [
            SpreadTried(kind, lay.lay_length, lay.buy_length, lay.utilisation, (1, 0, 0), chosen=lay is best)
            for kind, lay in found.items()
        ]
        tried += [
            SpreadTried(kind, None, None, None, None, refused=Reason(why, code="spread.test"))
            for kind, why in refused.items()
        ]
        return replace(best, tried=tuple(tried))
