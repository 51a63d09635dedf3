"""Patches in the drawing: where they lie on the first cloth, and as they are cut from their own."""

from __future__ import annotations

from nesting.model.lay import Lay
from nesting.model.piece import Ring
from nesting.report.drawing import looks
from nesting.report.drawing.scene import Item, Shape, Stroke, Text
from nesting.report.drawing.view import View

__all__ = ["patch_items"]


def _ring(x0: float, y0: float, x1: float, y1: float) -> Ring:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def patch_items(lay: Lay, number: int, view: View) -> list[Item]:
    """The patches of section ``number``, in its own frame: dashed and called "patch n" where they lie on this cloth,
    with a full line where they are cut from it."""
    em = view.em
    items: list[Item] = []
    dashed = Stroke(looks.INK, 0.7 * view.line, (0.9 * em, 0.5 * em))
    for n, _, on in lay.patch_places:
        if on.section == number:
            ring = _ring(on.x, on.y, on.x + on.length, on.y + on.width)
            items.append(Shape("patch", "marks", (ring,), True, dashed))
            items += _named(f"patch {n}", on.x, on.y + on.width, view)
    for p in lay.patches if number == 0 else ():
        along, across = (p.length, p.width) if p.turn % 180.0 == 0.0 else (p.width, p.length)
        ring = _ring(p.x - along / 2, p.y - across / 2, p.x + along / 2, p.y + across / 2)
        items.append(Shape("patch", "marks", (ring,), True, Stroke(looks.INK, view.line)))
        items += _named(f"patch {p.number}", ring[3][0], ring[3][1], view)
    return items


def _named(words: str, x: float, y: float, view: View) -> list[Item]:
    if not view.surroundings:
        return []
    size = 0.8 * view.em
    return [Text("label", "text", (x + 0.3 * size, y + 0.3 * size), words, size, anchor="start")]
