"""Patches of a second cloth in words: how to cut them, and where on the first cloth each one lies."""

from __future__ import annotations

from nesting.model.lay import Lay, Patch
from nesting.report.sheet.sheet import end_allowance_of
from nesting.report.words import edge_names, measure, unit_name

__all__ = ["checked_words", "cut_words", "lay_words_of_patches"]


def _size(patch: Patch, imperial: bool) -> str:
    unit = unit_name(imperial)
    return f"{measure(patch.length, imperial)} along the grain × {measure(patch.width, imperial)} across, {unit}"


def cut_words(lay: Lay) -> tuple[str, ...]:
    """For the sheet of the second cloth: each patch with its size and where it is cut from."""
    if not lay.patches:
        return ()
    imperial, section = lay.imperial, lay.sections[0]
    edge = edge_names(section.spread, lay.remnant is not None)[0]
    said = [
        f"Cut these rectangles first, then lay each one at its pieces on “{lay.patches[0].on.cloth}”; the pieces are "
        "cut there, both cloths at once."
    ]
    for p in lay.patches:
        (x, y), *_ = p.outline
        pieces = ", ".join(lay.placements[i].label for i in p.placements)
        said.append(
            f"Patch {p.number}: {_size(p, imperial)}; from {measure(x + end_allowance_of(lay), imperial)} off the cut "
            f"end and {measure(y, imperial)} from {edge}. For {pieces}."
        )
    return tuple(said)


def checked_words(lay: Lay) -> str:
    """What the table of a second cloth in patches is for; empty for others."""
    if not lay.patches:
        return ""
    return (
        f"The pieces are cut out on “{lay.patches[0].on.cloth}”, each in its patch. The table tells where they lie "
        "before the patches are cut: a check, not a cutting list."
    )


def lay_words_of_patches(lay: Lay, number: int) -> tuple[str, ...]:
    """For the sheet of the first cloth: where each patch of section ``number`` lies, after the cloth is spread and
    before it is cut."""
    imperial = lay.imperial
    unit = unit_name(imperial)
    said = []
    for patch, cloth, on in lay.patch_places:
        if on.section != number:
            continue
        section = lay.sections[on.section]
        edge = edge_names(section.spread, lay.remnant is not None)[0]
        ends = end_allowance_of(lay) if on.section == 0 else 0.0
        grain = "its grain along the cloth" if on.grain % 180.0 == 0.0 else "its grain across the cloth"
        if len(on.plies) > 1:
            plies = "folded with this cloth round the fold"
        elif len(section.spread.plies) == 1:
            plies = "on the cloth"
        else:
            plies = f"on ply {on.plies[0] + 1} from below"
        said.append(
            f"Lay patch {patch} of “{cloth}” here: {plies}, right side {on.face}, {grain}; "
            f"{measure(on.length, imperial)} × {measure(on.width, imperial)} {unit}, from "
            f"{measure(on.x + ends, imperial)} off the cut end and {measure(on.y, imperial)} from {edge}."
        )
    return tuple(said)
