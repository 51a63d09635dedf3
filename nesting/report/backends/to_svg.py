"""A scene as SVG, true to scale: width and height in mm, one unit of the viewBox is one millimetre."""

from __future__ import annotations

from itertools import groupby
from xml.sax.saxutils import escape, quoteattr

from nesting.model.piece import Line
from nesting.report.drawing.fonts import FAMILY, shown, text_width
from nesting.report.drawing.scene import Item, Scene, Shape, Text

__all__ = ["svg", "svg_bytes"]

_TITLES = {
    "cloth": "cloth",
    "pieces": "pieces",
    "cut": "cut lines",
    "marks": "marks",
    "text": "text",
    "measure": "rulers and dimensions",
    "legend": "key",
}


def svg_bytes(scene: Scene, *, decimals: int = 3) -> bytes:
    """The scene as a file of its own."""
    return ('<?xml version="1.0" encoding="UTF-8"?>\n' + svg(scene, decimals=decimals) + "\n").encode("utf-8")


def svg(scene: Scene, *, decimals: int = 3, inline: bool = False) -> str:
    """The ``svg`` element. ``inline`` leaves width and height to the page that holds it.

    y is turned (page y = top of the box − y); nothing is mirrored. Layers are groups with an id and a title.
    """
    x0, _, _, y1 = scene.box
    w, h = scene.width, scene.height
    size = "" if inline else f' width="{_n(w, 3)}mm" height="{_n(h, 3)}mm"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg"{size} viewBox="0 0 {_n(w, 3)} {_n(h, 3)}" role="img" '
        f'font-family="{FAMILY}, Verdana, sans-serif">',
        f"<title>{escape(shown(scene.title))}</title>",
    ]
    if scene.note:
        parts.append(f"<desc>{escape(shown(scene.note))}</desc>")
    if scene.background:
        parts.append(f'<rect width="{_n(w, 3)}" height="{_n(h, 3)}" fill="{scene.background}"/>')
    prefix = "in-" if inline else ""
    for layer, layer_items in groupby(scene.items, key=lambda item: item.layer):
        name = f' id="{layer}"' if not prefix else ""
        parts.append(f'<g{name} class="layer-{layer}"><title>{_TITLES[layer]}</title>')
        for of, items in groupby(layer_items, key=lambda item: item.of):
            drawn = [_item(item, x0, y1, decimals) for item in items]
            if of is None:
                parts += drawn
            else:
                parts.append(f'<g data-piece="{of}">')
                parts += drawn
                parts.append("</g>")
        parts.append("</g>")
    parts.append("</svg>")
    return "\n".join(parts)


def _item(item: Item, x0: float, y1: float, decimals: int) -> str:
    if isinstance(item, Text):
        return _text(item, x0, y1)
    return _shape(item, x0, y1, decimals)


def _shape(shape: Shape, x0: float, y1: float, decimals: int) -> str:
    d = " ".join(_path(line, shape.closed, x0, y1, decimals) for line in shape.lines)
    looks = [f'fill="{shape.fill}" fill-rule="evenodd"' if shape.fill else 'fill="none"']
    if shape.stroke is not None:
        looks.append(
            f'stroke="{shape.stroke.colour}" stroke-width="{_n(shape.stroke.width, 3)}" stroke-linejoin="round"'
        )
        if shape.stroke.dash:
            looks.append(f'stroke-dasharray="{" ".join(_n(v, 3) for v in shape.stroke.dash)}"')
    if shape.opacity < 1:
        looks.append(f'opacity="{_n(shape.opacity, 2)}"')
    kind = f" data-kind={quoteattr(shape.kind)}" if shape.kind else ""
    return f'<path class="{shape.role}"{kind} {" ".join(looks)} d="{d}"/>'


def _path(line: Line, closed: bool, x0: float, y1: float, decimals: int) -> str:
    # as ``_n`` does, in a third of the time: there are hundreds of thousands; adding 0.0 turns −0.0 into 0.0
    points = " ".join(
        ["%.9g,%.9g" % (round(x - x0, decimals) + 0.0, round(y1 - y, decimals) + 0.0) for x, y in line]  # noqa: UP031
    )
    return f"M{points}{'Z' if closed else ''}"


def _text(text: Text, x0: float, y1: float) -> str:
    x, y = _n(text.at[0] - x0, 3), _n(y1 - text.at[1], 3)
    words = shown(text.words)
    turn = f' transform="rotate({_n(-text.turn, 3)} {x} {y})"' if text.turn % 360.0 else ""
    bold = ' font-weight="bold"' if text.bold else ""
    # the measured width is fixed, so that another typeface on the reader's machine does not run into its neighbour
    wide = _n(text_width(words, text.size, text.bold), 2)
    return (
        f'<text class="{text.role}" x="{x}" y="{y}" font-size="{_n(text.size, 3)}" text-anchor="{text.anchor}"{bold} '
        f'textLength="{wide}" lengthAdjust="spacingAndGlyphs" fill="{text.colour}"{turn}>{escape(words)}</text>'
    )


def _n(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
