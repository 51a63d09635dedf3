"""Patches in the drawing: where they lie on the first cloth, and as they are cut from their own."""

from __future__ import annotations

from typing import Any

import numpy as np

from nesting.model.lay import Lay
from nesting.model.piece import Ring
from nesting.report.drawing import looks
from nesting.report.drawing.fonts import text_width
from nesting.report.drawing.scene import Item, Shape, Stroke, Text
from nesting.report.drawing.view import View

__all__ = ["patch_items", "patch_names", "written_names"]

#: what the ways to stand at a patch cost beside each other: inside it, and below it rather than above
_INSIDE, _BELOW = 0.3, 0.05
#: how opaque the paper below the words is: lines are guessed through it, and do not cross the letters
_PAPER = 0.85


def _ring(x0: float, y0: float, x1: float, y1: float) -> Ring:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def _patches(lay: Lay, number: int) -> list[tuple[int, Ring, bool]]:
    """Number, outline and whether it is cut from this cloth, of each patch of section ``number``, in its own frame."""
    found = [
        (n, _ring(on.x, on.y, on.x + on.length, on.y + on.width), False)
        for n, _, on in lay.patch_places
        if on.section == number
    ]
    return found + [(p.number, p.outline, True) for p in lay.patches if number == 0]


def patch_items(lay: Lay, number: int, view: View) -> list[Item]:
    """The patches of section ``number``, in its own frame: dashed where they lie on this cloth, with a full line where
    they are cut from it."""
    em = view.em
    dashed = Stroke(looks.INK, 0.7 * view.line, (0.9 * em, 0.5 * em))
    full = Stroke(looks.INK, view.line)
    return [
        Shape("patch", "marks", (ring,), True, full if cut else dashed) for _, ring, cut in _patches(lay, number)
    ]


def written_names(lay: Lay, number: int, view: View) -> tuple[list[Item], list[Ring]]:
    """ "patch n" for each patch of section ``number``, on paper that keeps the words legible over lines, and the boxes
    that they take."""
    named = patch_names(lay, number, view)
    items: list[Item] = []
    for text, box in named:
        items += [Shape("paper", "text", (box,), True, None, looks.PAPER, _PAPER), text]
    return items, [box for _, box in named]


def patch_names(lay: Lay, number: int, view: View) -> list[tuple[Text, Ring]]:
    """ "patch n" at a corner of each patch of section ``number``, with the box that the words take: where they lie
    least over pieces, other patches and their names."""
    patches = _patches(lay, number)
    if not patches or not view.surroundings:
        return []
    import shapely

    size = 0.8 * view.em
    section = lay.sections[number]
    pieces = [shapely.Polygon(np.asarray(p.outline)) for p in section.placements if p.second_cloth is None]
    areas = [shapely.Polygon(ring) for _, ring, _ in patches]
    cloth = shapely.box(-4.0 * size, 0.0, section.lay_length + 4.0 * size, section.spread.table_width)
    found: list[tuple[Text, Ring]] = []
    for k, (n, ring, _) in enumerate(patches):
        words = f"patch {n}"
        boxes, standing = _ways(ring, text_width(words, size, False), size)
        shapes = [shapely.Polygon(box) for box in boxes]
        costs = np.asarray(standing) * shapes[0].area
        costs += 10.0 * shapely.area(shapely.difference(shapes, cloth))
        taken: list[Any] = [*pieces, *(a for i, a in enumerate(areas) if i != k)]
        for other in taken:
            costs += shapely.area(shapely.intersection(shapes, other))
        for _, other_ring in found:
            costs += 10.0 * shapely.area(shapely.intersection(shapes, shapely.Polygon(other_ring)))
        best = int(np.argmin(np.round(costs, 3)))
        (x, y), *_ = boxes[best]
        found.append((Text("label", "text", (x, y + 0.2 * size), words, size, anchor="start"), boxes[best]))
    return found


def _ways(ring: Ring, wide: float, size: float) -> tuple[list[Ring], list[float]]:
    """The boxes in which words may stand at the four corners of a patch, outside and inside, and what each costs."""
    (x0, y0), _, (x1, y1), _ = ring
    gap, tall = 0.2 * size, 1.1 * size
    boxes, costs = [], []
    for inside in (False, True):
        for below in (False, True):
            if inside:
                y = y0 + gap if below else y1 - gap - tall
                lefts = (x0 + gap, x1 - gap - wide)
            else:
                y = y0 - gap - tall if below else y1 + gap
                lefts = (x0, x1 - wide)
            for x in lefts:
                boxes.append(_ring(x, y, x + wide, y + tall))
                costs.append(_INSIDE * inside + _BELOW * below)
    return boxes, costs
