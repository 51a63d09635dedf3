"""A lay for a plotter or cutting machine: cut lines, marks and text on layers of their own, one file for each pass.

What goes through all plies is one pass; pieces of a single ply where two lie are a pass of their own, because a machine
cuts through everything that lies under it. A fold edge that lies on a fold is not a cut line. Cutouts are cut before
outlines, so that the piece still holds when they are cut.
"""

from __future__ import annotations

from dataclasses import dataclass

from nesting.model.lay import Lay, Placement, Section
from nesting.model.piece import Line
from nesting.report.drawing.fonts import shown
from nesting.report.drawing.labels import Block, Labeller, upright
from nesting.report.drawing.looks import INK
from nesting.report.drawing.plies import ply_styles
from nesting.report.drawing.scene import Item, Role, Scene, Shape, Stroke, Text
from nesting.report.drawing.shapes import box_of
from nesting.report.drawing.symbols import drill_lines, notch_lines
from nesting.report.print.route import Cut, joined, travel
from nesting.report.sheet.sheet import Row, rows
from nesting.report.words import cautions, long_length

__all__ = ["Pass", "cut_line", "cutter_notes", "cutter_passes"]

_PASSES = {"top": "top-ply", "all": "", "middle": "middle-ply", "bottom": "bottom-ply", "with": "cut-together"}
_HAIR = Stroke(INK, 0.2)


@dataclass(frozen=True)
class Pass:
    """One run of the machine. ``name`` is for the file name ("" where there is only one); ``travel`` in mm without
    cutting, ``travel_before`` as it would be in the order of the sheet."""

    name: str
    what: str
    scene: Scene
    pieces: int
    travel: float
    travel_before: float


def cut_line(p: Placement) -> tuple[Line, bool]:
    """What is cut of an outline, and whether it is closed: all of it, or for a piece on a fold all but the fold edge.

    The fold edge is found as the side of the outline between the fold's two ends.
    """
    ring = p.outline
    if not p.on_fold or p.fold is None:
        return ring, True
    on = [_on_fold(point, p) for point in ring]
    n = len(ring)
    # the one stretch off the fold, with the fold's points at both its ends
    starts = [i for i in range(n) if on[i] and not on[(i + 1) % n]]
    if len(starts) != 1:
        return ring, True
    line = [ring[starts[0]]]
    k = starts[0] + 1
    while not on[k % n]:
        line.append(ring[k % n])
        k += 1
    line.append(ring[k % n])
    return tuple(line), False


def _on_fold(point: tuple[float, float], p: Placement) -> bool:
    assert p.fold is not None
    (ax, ay), (bx, by) = p.fold
    length = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
    return bool(abs((bx - ax) * (point[1] - ay) - (by - ay) * (point[0] - ax)) / length < 0.01)


def cutter_passes(lay: Lay, *, join: bool = True) -> tuple[Pass, ...]:
    """The passes in the order in which they are cut. ``join`` puts the cuts of a pass in an order with little travel;
    otherwise they come in the order of the placement sheet."""
    listed = rows(lay)
    out: list[Pass] = []
    first = 0
    for s, section in enumerate(lay.sections):
        styles = ply_styles(section)
        for style in _PASSES:
            chosen = [
                (row, section.placements[row.index - first])
                for row in listed
                if row.section == s and styles[row.index - first] == style
            ]
            if not chosen:
                continue
            parts = [f"section-{s + 1}"] if len(lay.sections) > 1 else []
            if set(styles) - {"all"}:
                parts.append(_PASSES[style] or "all-plies")
            out.append(_pass(lay, section, "-".join(parts), chosen, join))
        first += len(section.placements)
    return tuple(out)


def _pass(lay: Lay, section: Section, name: str, chosen: list[tuple[Row, Placement]], join: bool) -> Pass:
    holes = [Cut(c, True, row.number) for row, p in chosen for c in p.cutouts]
    outlines = [Cut(*cut_line(p), row.number) for row, p in chosen]
    before = travel([*holes, *outlines])
    if join:
        cut_holes = joined(holes)
        # the outlines go on from where the last hole ended
        cuts = [*cut_holes, *joined(outlines, cut_holes[-1].line[0] if cut_holes else (0.0, 0.0))]
    else:
        cuts = [*holes, *outlines]
    items: list[Item] = []
    labeller = Labeller(8.0)
    for row, p in chosen:
        items += _marks(row, p)
        for notch in p.notches:
            labeller.keep_clear(notch_lines(notch), 1.0)
        for drill in p.drills:
            labeller.keep_clear(drill_lines(drill, 5.0), 1.0)
        labeller.keep_clear((p.grainline,), 2.0)
    for row, p in chosen:
        words = (
            shown(f"{row.number} {row.name}"),
            shown(f"{row.garment} {row.copy}" + (f" {row.hand}" if row.hand else "")),
        )
        blocks = [Block(words, s) for s in (1.0, 0.8, 0.6)] + [Block((words[0],), s) for s in (0.8, 0.6, 0.45)]
        blocks += [Block((str(row.number),), s) for s in (0.7, 0.5, 0.35)]
        fitted = labeller.place(p.outline, p.cutouts, upright(p.turn), blocks)
        items += [
            Text("label", "text", at, line, fitted.size, fitted.turn, bold=bold, colour=INK, of=row.number)
            for line, at, bold in fitted.lines()
        ]
    side = 50.8 if lay.imperial else 50.0
    width = section.spread.table_width
    if lay.do_not_cut:
        at = (side + 5.0, width + 35.0)
        items.insert(0, Text("label", "text", at, "DO NOT CUT YET", 14.0, anchor="start", bold=True, colour=INK))
    items.append(Shape("square", "text", (box_of(0.0, width + 15.0, side, width + 15.0 + side),), True, _HAIR))
    said = f"test square {long_length(side, lay.imperial)}, not to be cut"
    items.append(Text("label", "text", (side + 5.0, width + 15.0), said, 6.0, anchor="start", colour=INK))
    for k, cut in enumerate(cuts):
        role: Role = "cutout" if k < len(holes) else "cut"
        items.append(Shape(role, "cut", (cut.line,), cut.closed, _HAIR, of=cut.tag))
    box = (-10.0, -10.0, section.lay_length + 10.0, width + 75.0)
    stop = "DO NOT CUT YET – " if lay.do_not_cut else ""
    title = f"{stop}{lay.title} – {lay.remnant or lay.cloth}" + (f" – {name}" if name else "")
    what = name.replace("-", " ") or "all cuts"
    layers = {"marks": 0, "text": 1, "cut": 2}
    items.sort(key=lambda item: layers[item.layer])
    scene = Scene(shown(title), box, tuple(items), note=" ".join(cautions(("cutter",))))
    return Pass(name, what, scene, len(chosen), travel(cuts), before)


def _marks(row: Row, p: Placement) -> list[Item]:
    n = row.number
    items: list[Item] = [
        Shape("notch", "marks", notch_lines(notch), stroke=_HAIR, of=n, kind=notch.kind) for notch in p.notches
    ]
    items += [Shape("drill", "marks", drill_lines(drill, 5.0), stroke=_HAIR, of=n) for drill in p.drills]
    if p.inside:
        items.append(Shape("inside", "marks", p.inside, stroke=_HAIR, of=n))
    if p.seam is not None:
        items.append(Shape("sew", "marks", (p.seam,), True, _HAIR, of=n))
    items.append(Shape("grain", "marks", (p.grainline,), stroke=_HAIR, of=n))
    if p.on_fold and p.fold is not None:
        items.append(Shape("fold", "marks", (p.fold,), stroke=_HAIR, of=n))
    return items


def cutter_notes(lay: Lay, passes: tuple[Pass, ...]) -> str:
    """What goes with the files: the passes in order, what each layer is, and the cautions."""
    stop = f"DO NOT CUT YET: {'; '.join(lay.do_not_cut)}. Laid for a look only." if lay.do_not_cut else ""
    lines = [f"{lay.title} – {lay.remnant or lay.cloth}: files for a plotter or cutter", ""]
    if stop:
        lines.insert(0, stop)
    for k, one in enumerate(passes, start=1):
        lines.append(
            f"{k}. {one.what}: {one.pieces} to cut; the tool moves {long_length(one.travel, lay.imperial)} without "
            f"cutting (in the order of the placement sheet: {long_length(one.travel_before, lay.imperial)})."
        )
    lines += [
        "",
        "One unit is one millimetre. x runs along the cloth from the beginning of the lay (the cut end lies one end",
        f"allowance of {long_length(lay.end_allowance, lay.imperial)} before it), y across it from edge A. Nothing is",
        "mirrored, and the width of the tool is not allowed for.",
        "SVG layers: cut, marks, text. DXF layers, numbered as in ASTM D6673: 1 cuts, 11 cutouts, 4 notches (80 T,",
        "81 castle, 82 check, 83 U), 6 fold edges, 7 grain, 8 inside lines, 13 drill marks, 14 sew lines, 15 text.",
        "Only 1 and 11 are cut, and notches if your machine cuts them; fold edges that lie on a fold are never cut.",
        "A machine cuts everything that lies under it: a pass for one ply only is for that ply lying alone. On folded",
        "cloth cut those pieces by hand, the top ply's first.",
        "",
        *cautions(("cutter",)),
    ]
    return "\n".join(lines) + "\n"
