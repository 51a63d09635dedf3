"""From a lay to a scene: the one front of every drawing of a lay.

Bottom to top: the cloth, the pieces, their marks, their names, the rulers, the legend.
"""

from __future__ import annotations

from collections.abc import Sequence

from nesting.model.lay import Lay
from nesting.report.drawing import looks
from nesting.report.drawing.fonts import shown, text_width
from nesting.report.drawing.ground import cloth_items, ruler_items
from nesting.report.drawing.legend import legend_items
from nesting.report.drawing.marked import mark_items, piece_items
from nesting.report.drawing.patched import patch_items
from nesting.report.drawing.scene import Item, Layer, Scene, Text, moved
from nesting.report.drawing.view import Laid, View, laid_sections, picture, row_of
from nesting.report.words import kind_words, long_length, shop_length
from nesting.resolving.cutting_list import CuttingList

__all__ = ["either_way", "lay_scene"]

_LAYERS: tuple[Layer, ...] = ("cloth", "pieces", "cut", "marks", "text", "measure", "legend")


def either_way(lay: Lay, asked: CuttingList | None) -> frozenset[int]:
    """The placements (by place in ``Lay.placements``) that may lie with the grain arrow either way, as far as the
    cutting list tells; without one none is known."""
    if asked is None:
        return frozenset()
    try:
        one_way = asked.cloth_named(lay.cloth).nap != "none"
    except KeyError:
        return frozenset()
    out = set()
    for i, p in enumerate(lay.placements):
        try:
            rule = asked.cut(p.piece, p.size).turn
        except KeyError:
            continue
        if not one_way and rule != "one way":
            out.add(i)
    return frozenset(out)


def lay_scene(lay: Lay, view: View | None = None, asked: CuttingList | None = None) -> Scene:
    """The drawing of a lay. ``view`` None: the picture for reading. Coordinates are table mm, true to scale."""
    view = view or picture(lay)
    em = view.em
    rows = row_of(lay)
    both = either_way(lay, asked)
    items: list[Item] = []
    listed: list[int] = []
    placed = laid_sections(lay, view)
    for number, laid in enumerate(placed):
        mine = cloth_items(lay, laid, view) + piece_items(lay, laid, view, rows)
        marks, small = mark_items(lay, laid, view, rows, both)
        listed += small
        mine += marks
        mine += patch_items(lay, number, view)
        mine += ruler_items(lay, laid, view) if view.surroundings else []
        items += [moved(item, laid.dx, 0.0) for item in mine]
    items += _stop_items(lay, placed, em)
    top = max(laid.section.spread.table_width for laid in placed)
    x0 = min(laid.dx - laid.before for laid in placed)
    x1 = max(laid.dx + laid.section.lay_length + laid.after for laid in placed)
    if not view.surroundings:
        return Scene(_title(lay), (x0, 0.0, x1, top), _in_layers(items), looks.PAPER)
    items += _headings(lay, placed, view, x0, top)
    left, right = x0 - 5.0 * em, max(x1 + _room_right(placed, em), x0 + 44.0 * em)
    legend, bottom = legend_items(
        lay, view, [rows[i] for i in sorted(rows) if rows[i].number in set(listed)], both, x0, -5.6 * em, right - em
    )
    items += legend
    above = (7.4 if lay.do_not_cut else 5.4) + (1.6 if len(lay.sections) > 1 else 0.0)
    box = (left, bottom - em, right, top + above * em)
    return Scene(_title(lay), box, _in_layers(items), looks.PAPER, note=" ".join((*_stop_words(lay), *lay.notes)))


def _title(lay: Lay) -> str:
    stop = "DO NOT CUT YET – " if lay.do_not_cut else ""
    return shown(f"{stop}{lay.title} – {lay.where}" if lay.title else f"{stop}{lay.where}")


def _stop_items(lay: Lay, placed: Sequence[Laid], em: float) -> list[Item]:
    """What stands across the cloth of a lay that is for a look only, as large as its width takes."""
    items: list[Item] = []
    for laid in placed if lay.do_not_cut else ():
        length, width = laid.section.lay_length, laid.section.spread.table_width
        words = "DO NOT CUT YET"
        size = min(0.9 * length / text_width(words, 1.0, True), 0.5 * width, 12.0 * em)
        at = (laid.dx + length / 2, width / 2 - size / 3)
        items.append(Text("label", "text", at, words, size, bold=True, colour="#8a8a8a"))
    return items


def _stop_words(lay: Lay) -> tuple[str, ...]:
    return (f"Do not cut yet: {'; '.join(lay.do_not_cut)}.",) if lay.do_not_cut else ()


def _headings(lay: Lay, placed: Sequence[Laid], view: View, x0: float, top: float) -> list[Item]:
    em = view.em
    kinds = ", then ".join(kind_words(laid.section.spread) for laid in placed)
    used = f"{100 * lay.utilisation:.1f} % of the cloth used"
    buy = "" if not lay.bought else f"buy {shop_length(lay.buy_length, lay.imperial)} · "
    up = top + (2.0 if len(lay.sections) > 1 else 0.4) * em
    items: list[Item] = [
        Text("legend", "legend", (x0, up + 3.3 * em), f"{_title(lay)}: {kinds}", 1.4 * em, anchor="start", bold=True),
        Text(
            "legend",
            "legend",
            (x0, up + 1.7 * em),
            f"{buy}lay {long_length(lay.lay_length, lay.imperial)} · {used}",
            em,
            anchor="start",
        ),
    ]
    for words in _stop_words(lay):
        items.append(Text("legend", "legend", (x0, up + 5.4 * em), shown(words), 1.2 * em, anchor="start", bold=True))
    if len(lay.sections) > 1:
        for laid in placed:
            words = f"section {laid.number + 1}: {kind_words(laid.section.spread)}"
            if laid.number > 0:
                words = f"refold → {words}"
            size = em * min(1.0, max(0.55, (laid.section.lay_length + 4 * em) / text_width(words, em, True)))
            items.append(
                Text(
                    "legend",
                    "legend",
                    (laid.dx, laid.section.spread.table_width + 1.7 * em),
                    words,
                    size,
                    anchor="start",
                    bold=True,
                )
            )
    return items


def _room_right(placed: Sequence[Laid], em: float) -> float:
    flaps = placed[-1].section.spread.kind in ("partial fold", "double fold")
    return (7.0 if flaps else 2.5) * em


def _in_layers(items: Sequence[Item]) -> tuple[Item, ...]:
    return tuple(item for layer in _LAYERS for item in items if item.layer == layer)
