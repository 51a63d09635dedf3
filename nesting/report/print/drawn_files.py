"""All files of a lay, by name: what ``nesting lay`` and ``nesting print`` write."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from nesting.model.errors import InputError
from nesting.model.lay import Lay
from nesting.report.drawing.scene import Scene
from nesting.report.words import slug
from nesting.resolving.cutting_list import CuttingList

__all__ = ["KINDS", "bundle_outputs", "lay_outputs", "lay_stem", "print_outputs", "sheet_output"]

#: What can be printed from a lay.
KINDS = ("sheet", "whole", "tiles", "projector", "cutter", "labels", "list")


def lay_stem(lay: Lay) -> str:
    """The part of a file name that tells lays apart: the cloth, the leftover if it lies on one, which part it is."""
    part = f"part {lay.part.number}" if lay.part is not None else ""
    return slug(" ".join(word for word in (lay.cloth, lay.remnant, part) if word))


def sheet_output(lay: Lay) -> dict[str, bytes]:
    """The placement sheet (PDF; A4, or Letter where inches are read)."""
    from nesting.report.sheet.sheet_pdf import sheet_pdf

    return {f"sheet-{lay_stem(lay)}.pdf": sheet_pdf(lay, "letter" if lay.imperial else "a4")}


def lay_outputs(
    lay: Lay, listed: CuttingList | None = None, verdict: Any = None, scene: Scene | None = None
) -> dict[str, bytes]:
    """The drawing: SVG true to scale, and PNG. ``scene``: where it is drawn already.

    ``verdict`` is the proof's; a lay that failed is not drawn (ValueError).
    """
    from nesting.report.backends.to_png import png_bytes
    from nesting.report.backends.to_svg import svg_bytes
    from nesting.report.drawing.drawing import lay_scene
    from nesting.report.drawing.view import picture

    if verdict is not None and not verdict.ok:
        raise ValueError("a lay that failed its proof is not drawn")
    view = picture(lay)
    scene = scene or lay_scene(lay, view, listed)
    stem = lay_stem(lay)
    return {
        f"lay-{stem}.svg": svg_bytes(scene),
        f"lay-{stem}.png": png_bytes(scene, em=view.em),
    }


def bundle_outputs(
    lays: Sequence[Lay], listed: CuttingList | None, kinds: Sequence[str] = ("labels", "list"), paper: str = "a4"
) -> dict[str, bytes]:
    """Labels to cut apart and the cutting list, over all ``lays`` of an order. ``order`` gives the trims."""
    from nesting.report.bundles.cutting_list import cutting_list_csv
    from nesting.report.bundles.gathered import gathered
    from nesting.report.bundles.labels_pdf import labels_pdf

    bundles = gathered(lays, listed)
    imperial = lays[0].imperial
    stop = tuple(dict.fromkeys(reason for lay in lays for reason in lay.do_not_cut))
    out: dict[str, bytes] = {}
    if "labels" in kinds:
        title = next((lay.title for lay in lays if lay.title), "")
        out[f"labels-{paper}.pdf"] = labels_pdf(bundles, title, paper, imperial=imperial, do_not_cut=stop)
    if "list" in kinds:
        out["cutting-list.csv"] = cutting_list_csv(bundles, imperial=imperial, do_not_cut=stop)
    return out


def print_outputs(
    lay: Lay,
    kinds: Sequence[str],
    paper: str = "a4",
    *,
    join: bool = True,
    beside: Sequence[Lay] = (),
    listed: CuttingList | None = None,
) -> dict[str, bytes]:
    """The files of the ``kinds`` asked for. ``paper`` "a4", "letter" or "a3" is for sheet, tiles and labels; ``join``
    orders a cutter's lines so that the tool travels little between them. Labels and the cutting list are over this lay
    and those ``beside`` it, with the trims of the cutting list.

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
    if {"labels", "list"} & set(kinds):
        out |= bundle_outputs((lay, *beside), listed, kinds, paper)
    return out
