"""All files of a lay, by name: what ``nesting lay`` and ``nesting print`` write."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from nesting.model.errors import InputError
from nesting.model.lay import Lay
from nesting.report.words import slug
from nesting.resolving.cutting_list import CuttingList

__all__ = ["KINDS", "lay_outputs", "lay_stem", "print_outputs"]

#: What can be printed from a lay.
KINDS = ("sheet", "whole", "tiles", "projector", "cutter")


def lay_stem(lay: Lay) -> str:
    """The part of a file name that tells lays apart: the cloth, the leftover if it lies on one, which part it is."""
    part = f"part {lay.part.number}" if lay.part is not None else ""
    return slug(" ".join(word for word in (lay.cloth, lay.remnant, part) if word))


def lay_outputs(lay: Lay, listed: CuttingList | None = None, verdict: Any = None) -> dict[str, bytes]:
    """The drawing (SVG true to scale, PNG) and the placement sheet (PDF; A4, or Letter where inches are read).

    ``verdict`` is the proof's; a lay that failed is not drawn (ValueError).
    """
    from nesting.report.backends.to_png import png_bytes
    from nesting.report.backends.to_svg import svg_bytes
    from nesting.report.drawing.drawing import lay_scene
    from nesting.report.drawing.view import picture
    from nesting.report.sheet.sheet_pdf import sheet_pdf

    if verdict is not None and not verdict.ok:
        raise ValueError("a lay that failed its proof is not drawn")
    view = picture(lay)
    scene = lay_scene(lay, view, listed)
    stem = lay_stem(lay)
    return {
        f"lay-{stem}.svg": svg_bytes(scene),
        f"lay-{stem}.png": png_bytes(scene, em=view.em),
        f"sheet-{stem}.pdf": sheet_pdf(lay, "letter" if lay.imperial else "a4"),
    }


def print_outputs(lay: Lay, kinds: Sequence[str], paper: str = "a4", *, join: bool = True) -> dict[str, bytes]:
    """The files of the ``kinds`` asked for. ``paper`` "a4", "letter" or "a3" is for the sheet and the tiles; ``join``
    orders a cutter's lines so that the tool travels little between them.

    InputError for an unknown kind or paper.
    """
    from nesting.report.backends.to_pdf import PAPERS

    if paper not in PAPERS:
        raise InputError(f"found '{paper}'; expected one of {', '.join(PAPERS)}", key="--paper", code="option.paper")
    unknown = [kind for kind in kinds if kind not in KINDS]
    if unknown or not kinds:
        found = f"'{unknown[0]}'" if unknown else "nothing"
        raise InputError(
            f"found {found}; expected one or more of {', '.join(KINDS)}", key="--as", code="option.print-kind"
        )
    stem = lay_stem(lay)
    out: dict[str, bytes] = {}
    if "sheet" in kinds:
        from nesting.report.sheet.sheet_pdf import sheet_pdf

        out[f"sheet-{stem}-{paper}.pdf"] = sheet_pdf(lay, paper)
    if "whole" in kinds:
        from nesting.report.print.paged import whole_pdf

        out[f"whole-{stem}.pdf"] = whole_pdf(lay)
    if "tiles" in kinds:
        from nesting.report.print.paged import tiles_pdf

        out[f"tiles-{stem}-{paper}.pdf"] = tiles_pdf(lay, paper)
    if "projector" in kinds:
        from nesting.report.print.projector import projector_pdf

        out[f"projector-{stem}.pdf"] = projector_pdf(lay)
    if "cutter" in kinds:
        from nesting.report.backends.to_dxf import dxf_bytes
        from nesting.report.backends.to_svg import svg_bytes
        from nesting.report.print.cutter import cutter_notes, cutter_passes

        passes = cutter_passes(lay, join=join)
        for one in passes:
            name = f"cut-{stem}-{one.name}" if one.name else f"cut-{stem}"
            out[f"{name}.svg"] = svg_bytes(one.scene)
            out[f"{name}.dxf"] = dxf_bytes(one.scene)
        out[f"cut-{stem}.txt"] = cutter_notes(lay, passes).encode("utf-8")
    return out
