"""Pages for a projector over the cutting table: lines and names at true size, high contrast, over a grid."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

from nesting.model.lay import Lay
from nesting.model.piece import Line
from nesting.report.backends.to_pdf import MM, canvas_for, colour, draw_items, finished
from nesting.report.drawing.drawing import lay_scene
from nesting.report.drawing.scene import Item, Scene, Shape, Stroke, Text
from nesting.report.drawing.view import View
from nesting.report.print.paged import square_side, stretches
from nesting.report.words import edge_names, long_length, measure, unit_name

__all__ = ["DARK_ON_LIGHT", "LIGHT_ON_DARK", "MARGIN_MM", "projector_pdf", "projector_scene"]

#: (ground, lines, grid)
LIGHT_ON_DARK = ("#000000", "#ffffff", "#5a5a5a")
DARK_ON_LIGHT = ("#ffffff", "#000000", "#a8a8a8")

#: mm. Room around the cloth for the grid's numbers and the names of its edges.
MARGIN_MM = 45.0

_ROLES = ("cut", "cutout", "inside", "notch", "drill", "grain", "fold", "fold-line", "flaw", "label")


def projector_scene(lay: Lay, scene: Scene, colours: tuple[str, str, str], mirrored: bool, section: int = 0) -> Scene:
    """One page from a section's plain ``scene``: its lines and names over the grid, which is numbered from the origin,
    where the cut end meets edge A; ``mirrored`` turns it over left to right, words not."""
    ground, ink, grid = colours
    x0, y0, x1, y1 = scene.box
    step = square_side(lay.imperial)
    lines: list[Line] = []
    for k in range(math.floor((x1 - x0) / step + 1e-9) + 1):
        lines.append(((x0 + k * step, y0), (x0 + k * step, y1)))
    for k in range(math.floor((y1 - y0) / step + 1e-9) + 1):
        lines.append(((x0, y0 + k * step), (x1, y0 + k * step)))
    items: list[Item] = [Shape("grid", "cloth", tuple(lines), stroke=Stroke(grid, 0.5))]
    for item in scene.items:
        if item.role not in _ROLES:
            continue
        if isinstance(item, Text):
            items.append(replace(item, colour=ink))
            continue
        pen = Stroke(ink, max(1.0, item.stroke.width), item.stroke.dash) if item.stroke else None
        items.append(replace(item, stroke=pen, fill=ink if item.fill and item.kind == "head" else None, opacity=1.0))
    items += _guides(lay, section, scene.box, step, ink)
    said = f"grid {long_length(step, lay.imperial)}, numbers in {unit_name(lay.imperial)}"
    said += ", mirrored" if mirrored else ""
    items.append(Text("label", "text", (x0 + 90.0, y1 + 28.0), said, 11.0, anchor="start", bold=True, colour=ink))
    if lay.do_not_cut:
        items.append(Text("label", "text", ((x0 + x1) / 2, y1 + 28.0), "DO NOT CUT YET", 14.0, bold=True, colour=ink))
    if mirrored:
        items = [_mirrored(item, x0 + x1) for item in items]
    m = MARGIN_MM
    return Scene(scene.title, (x0 - m, y0 - m, x1 + m, y1 + m), tuple(items), ground)


def _guides(lay: Lay, section: int, box: tuple[float, float, float, float], step: float, ink: str) -> list[Item]:
    """What the cloth is brought under: cut end, edges, origin, centre lines, and the grid's numbers around it."""
    x0, y0, x1, y1 = box
    near, far = edge_names(lay.sections[section].spread, lay.remnant is not None)
    first = "leftmost point" if lay.remnant is not None else "cut end" if section == 0 else "line of this section"
    middle_x, middle_y = (x0 + x1) / 2, (y0 + y1) / 2
    items: list[Item] = [
        # the edges of the cloth, along which it is laid
        Shape("ruler", "measure", (((x0, y0 - 20.0), (x0, y1 + 20.0)),), stroke=Stroke(ink, 2.5), kind="cut end"),
        Shape(
            "ruler",
            "measure",
            (((x0 - 20.0, y0), (x1 + 20.0, y0)), ((x0 - 20.0, y1), (x1 + 20.0, y1))),
            stroke=Stroke(ink, 2.5),
            kind="edges",
        ),
        Shape(
            "ruler",
            "measure",
            (((x0 - 20.0, middle_y), (x1 + 20.0, middle_y)), ((middle_x, y0 - 20.0), (middle_x, y1 + 20.0))),
            stroke=Stroke(ink, 1.2, (30.0, 6.0, 4.0, 6.0)),
            kind="centre",
        ),
    ]
    ring = tuple((x0 + 12 * math.cos(k * math.pi / 18), y0 + 12 * math.sin(k * math.pi / 18)) for k in range(36))
    items.append(Shape("ruler", "measure", (ring,), True, Stroke(ink, 2.0), kind="origin"))

    def say(x: float, y: float, words: str, size: float = 11.0, turn: float = 0.0, bold: bool = True) -> None:
        items.append(Text("label", "text", (x, y), words, size, turn=turn, bold=bold, colour=ink))

    say(x0 - 26.0, y0 + 0.25 * (y1 - y0), first, turn=90.0)
    say(x0 - 26.0, middle_y + 3.0, "centre", 9.0, 90.0)
    say(middle_x, y0 - 40.0, "centre", 9.0)
    say(x0 + 0.25 * (x1 - x0), y0 - 40.0, near)
    say(x0 + 0.75 * (x1 - x0), y1 + 28.0, far)
    say(x0 - 22.0, y0 - 40.0, "origin", 9.0)
    every = 2
    for k in range(0, math.floor((x1 - x0) / step + 1e-9) + 1, every):
        for y in (y0 - 18.0, y1 + 10.0):
            say(x0 + k * step + 7.0, y, _number(k * step, lay.imperial), 8.0, bold=False)
    for k in range(0, math.floor((y1 - y0) / step + 1e-9) + 1, every):
        for x in (x0 - 13.0, x1 + 12.0):
            say(x, y0 + k * step + 3.0, _number(k * step, lay.imperial), 8.0, bold=False)
    return items


def _number(mm: float, imperial: bool) -> str:
    return measure(mm, imperial).removesuffix(".0")


def _mirrored(item: Item, double: float) -> Item:
    """Turned over about the middle of the page; words stay readable and in their place."""
    if isinstance(item, Shape):
        return replace(item, lines=tuple(tuple((double - x, y) for x, y in line) for line in item.lines))
    # the mirror image of a line of words at angle t is one at −t (mod 180), read from its other end
    anchor: Literal["start", "middle", "end"] = "middle"
    if item.anchor != "middle":
        anchor = "end" if item.anchor == "start" else "start"
    return replace(item, at=(double - item.at[0], item.at[1]), turn=-item.turn, anchor=anchor)


def projector_pdf(lay: Lay) -> bytes:
    """For each section: light on dark and dark on light, then both mirrored (for cloth that lies with its other side
    up). The grid of 5 cm or 2 in begins at the cut end and at edge A."""
    plain = [
        lay_scene(lay, View(em=11.0, tints=False, surroundings=False, section=n)) for n in range(len(lay.sections))
    ]
    pages = [
        projector_scene(lay, scene, colours, mirrored, n)
        for n, scene in enumerate(plain)
        for mirrored in (False, True)
        for colours in (LIGHT_ON_DARK, DARK_ON_LIGHT)
    ]
    first = stretches(pages[0])[0]
    canvas, stream = canvas_for(pages[0].title, first[2] - first[0], first[3] - first[1])
    for scene in pages:
        for x0, y0, x1, y1 in stretches(scene):
            canvas.setPageSize(((x1 - x0) * MM, (y1 - y0) * MM))
            canvas.setFillColor(colour(scene.background or "#ffffff"))
            canvas.rect(0, 0, (x1 - x0) * MM, (y1 - y0) * MM, stroke=0, fill=1)
            canvas.translate(-x0 * MM, -y0 * MM)
            draw_items(canvas, scene)
            canvas.showPage()
    return finished(canvas, stream)
