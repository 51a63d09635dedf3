"""The piece listing of a check, and what it notes besides seams: notches, stretch, and the area that is cut."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from nesting.model.findings import Finding
from nesting.model.order import Order
from nesting.model.units import format_fraction, format_length
from nesting.pieces.edge_walk import seam_to_cut
from nesting.resolving.cutting_list import CuttingList

__all__ = ["PieceLine", "areas", "notch_depths", "small_length", "stretch"]


@dataclass(frozen=True)
class PieceLine:
    """One piece as it will be cut. ``width`` and ``height`` mm as the drawing is seen on the page (a half: the half),
    ``area`` and ``drawn_area`` mm² of cut outline now and as drawn, ``grain`` degrees in the drawing (90 is up)."""

    name: str
    size: str | None
    file: str | None
    width: float
    height: float
    area: float
    drawn_area: float | None
    grain: float
    notches: int
    drills: int
    cut: int
    mirrored: bool
    on_fold: bool
    cloth: str
    edges: tuple[str, ...]
    #: False: the pattern file has it, but no garment of the order, so none is cut
    in_garment: bool = True

    @property
    def label(self) -> str:
        """Name and size."""
        return f"{self.name} {self.size}" if self.size else self.name


def small_length(mm: float, imperial: bool) -> str:
    """A length in words, fine enough for seams: tenths of a millimetre below 10 cm, or sixteenths of an inch."""
    if imperial:
        sixteenths = round(abs(mm) / 25.4 * 16)
        if sixteenths == 0:
            return "less than 1/16 in" if abs(mm) > 1e-6 else "0 in"
        return f"{format_fraction(sixteenths / 16, 16)} in"
    if abs(mm) < 100.0:
        return f"{abs(mm):.1f} mm"
    return format_length(abs(mm), imperial=False, step="mm")


def areas(listed: CuttingList, pieces: Iterable[PieceLine]) -> list[Finding]:
    """What finishes and alterations do to the cut area of the whole order, and roughly to the cloth."""
    lines = {(p.name, p.size): p for p in pieces}
    change: dict[str, float] = {}
    base: dict[str, float] = {}
    for garment in listed.garments:
        for entry in garment.pieces:
            cut, cloth = entry.cut, entry.cloth
            line = lines[cut.name, cut.size]
            if line.drawn_area is None:
                continue
            each = garment.count * cut.cut * (2.0 if line.on_fold else 1.0)
            change[cloth] = change.get(cloth, 0.0) + each * (line.area - line.drawn_area)
            base[cloth] = base.get(cloth, 0.0) + each * line.drawn_area
    found = []
    for name, extra in change.items():
        if abs(extra) <= 1e-4 * base[name]:
            continue
        width = listed.cloth_named(name).usable_width
        length = format_length(abs(extra) / width, imperial=listed.imperial, step=None)
        more = "more" if extra > 0 else "less"
        found.append(
            Finding(
                "note",
                f"finishes and alterations change what is cut from '{name}' by {extra / base[name] * 100:+.1f} % of "
                f"the area as drawn, by area some {length} {more} of its width; what the lay takes may change by "
                "more or by less: lay it to see the length to buy",
                code="cloth.area-changed",
                figures={"cloth": name, "share": extra / base[name]},
            )
        )
    return found


def notch_depths(order: Order) -> list[Finding]:
    """A notch must not be deeper than the seam allowance (Woodhead, Industrial Cutting of Textile Materials)."""
    found = []
    for cut in order.pieces:
        if cut.piece.seam is None:
            continue
        deep = []
        for notch in cut.piece.notches:
            allowance = seam_to_cut(cut.piece, notch.at)
            on_fold = cut.piece.fold is not None and min(math.dist(notch.at, p) for p in cut.piece.fold) < 1.0
            if notch.depth > allowance + 0.05 and not on_fold:
                deep.append((notch, allowance))
        if deep:
            notch, allowance = max(deep, key=lambda pair: pair[0].depth - pair[1])
            many = "1 notch is" if len(deep) == 1 else f"{len(deep)} notches are"
            depths = [small_length(max(0.0, mm), order.imperial) for mm in (notch.depth, allowance)]
            found.append(
                Finding(
                    "warning",
                    f"{many} deeper than the allowance there (up to {depths[0]} deep in {depths[1]}): mark them "
                    "instead of snipping",
                    cut.piece.file,
                    cut.piece.label,
                    code="notch.too-deep",
                )
            )
    return found


def stretch(listed: CuttingList, least_fibre: float) -> list[Finding]:
    """Pieces that need stretch, and cloths that do not say, or do not have, enough. ``least_fibre``: the share of
    stretch fibre that such pieces ask of their cloth."""
    found: dict[Finding, None] = {}
    for garment in listed.garments:
        for entry in garment.pieces:
            cut, cloth = entry.cut, listed.cloth_named(entry.cloth)
            if cut.needs_stretch is None:
                continue
            need = f"{cut.needs_stretch * 100:g} %"
            best = max((s for s in (cloth.stretch_across, cloth.stretch_along) if s is not None), default=None)
            if best is None:
                found[
                    Finding(
                        "question",
                        f"needs {need} stretch across its grain, but cloth '{cloth.name}' does not say its own: "
                        "measure it and give stretch_across and stretch_along",
                        piece=cut.piece.label,
                        code="stretch.cloth-unknown",
                        figures={"cloth": cloth.name},
                    )
                ] = None
            elif best < cut.needs_stretch - 1e-9:
                found[
                    Finding(
                        "warning",
                        f"needs {need} stretch, but cloth '{cloth.name}' has {best * 100:g} % at most",
                        piece=cut.piece.label,
                        code="stretch.too-little",
                        figures={"cloth": cloth.name, "stretch": best},
                    )
                ] = None
            if cloth.fibre_stretch is not None and cloth.fibre_stretch < least_fibre - 1e-9:
                found[
                    Finding(
                        "warning",
                        f"cloth '{cloth.name}' has {cloth.fibre_stretch * 100:g} % of stretch fibre, less than the "
                        f"{least_fibre * 100:g} % asked for pieces that must spring back",
                        code="stretch.fibre-too-little",
                        figures={"cloth": cloth.name, "fibre_stretch": cloth.fibre_stretch},
                    )
                ] = None
    return list(found)
