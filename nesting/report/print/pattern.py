"""The pattern of an order back on paper: each piece once, as it will be cut, altered and finished, with its old line.

Pieces stand with their grain upwards. The frame is the page's: mm, x to the right, y up. The cut line is the only dark
line, drawn with its middle on the outline, so that a print can be traced again; nothing dark reaches out of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from nesting.model.order import CutPiece, Order
from nesting.model.piece import Line, Notch, Piece, Point, Ring, mapped
from nesting.report.drawing import looks
from nesting.report.drawing.fonts import shown, text_width
from nesting.report.drawing.scene import Item, Scene, Shape, Stroke, Text, moved
from nesting.report.drawing.shapes import arrow_head, box_of, turned
from nesting.report.print.pattern_words import block_inside, text_inside, text_ring
from nesting.report.words import counted, long_length

__all__ = ["CUT_WIDTH_MM", "pattern_outputs", "pattern_scene"]

#: mm. Width of the printed cut line.
CUT_WIDTH_MM = 0.35
_GAP_MM = 25.0
#: mm. Points of the old and the new outline that agree this nearly are the same point.
_SAME_MM = 0.05
_MARK = "#7d7d7d"
_OLD = "#9a9a9a"
_GRAIN = "grain"


def pattern_outputs(order: Order, paper: str, date: str) -> dict[str, bytes]:
    """The pattern as tiles on ``paper``, on one page, as SVG and as DXF. ``date`` stands on each piece."""
    from nesting.report.backends.to_dxf import dxf_bytes
    from nesting.report.backends.to_pdf import pdf_bytes
    from nesting.report.backends.to_svg import svg_bytes
    from nesting.report.print.paged import scene_tiles_pdf
    from nesting.report.words import slug

    scene = pattern_scene(order, date)
    stem = slug(order.title)
    return {
        f"pattern-{stem}-{paper}.pdf": scene_tiles_pdf([scene], paper, order.imperial),
        f"pattern-{stem}-whole.pdf": pdf_bytes(scene),
        f"pattern-{stem}.svg": svg_bytes(scene),
        f"pattern-{stem}.dxf": dxf_bytes(scene),
    }


def pattern_scene(order: Order, date: str) -> Scene:
    """All pieces that the order's garments need, each once per size, side by side on one sheet with a test square."""
    blocks = []
    for cut in order.pieces:
        items = _piece(cut, order, date)
        blocks.append((items, _box(items)))
    blocks.sort(key=lambda b: -(b[1][3] - b[1][1]))
    area = sum((b[2] - b[0] + _GAP_MM) * (b[3] - b[1] + _GAP_MM) for _, b in blocks)
    width = max([math.sqrt(1.4 * area), *((b[2] - b[0]) for _, b in blocks), 260.0])
    placed: list[Item] = []
    x = y = row = right = 0.0
    for items, box in blocks:
        w, h = box[2] - box[0], box[3] - box[1]
        if x > 0 and x + w > width:
            x, y, row = 0.0, y - row - _GAP_MM, 0.0
        placed += [moved(item, x - box[0], y - h - box[1]) for item in items]
        right = max(right, x + w)
        x, row = x + w + _GAP_MM, max(row, h)
    y -= row + _GAP_MM
    side = 50.8 if order.imperial else 50.0
    square = f"Test square: {long_length(side, order.imperial)} on each side; print at 100 %."
    placed.append(Shape("square", "legend", (box_of(0.0, y - side, side, y),), True, Stroke(_MARK, 0.3)))
    placed.append(Text("legend", "legend", (side + 5.0, y - 8.0), shown(square), 4.0, anchor="start"))
    words = f"{order.title}: {counted(len(order.pieces), 'piece')}, {date}. Dashed: the line before alterations."
    placed.append(Text("legend", "legend", (side + 5.0, y - 16.0), shown(words), 4.0, anchor="start"))
    box = (-10.0, y - side - 10.0, max(right, side + 15.0 + text_width(words, 4.0, False)) + 10.0, 10.0)
    return Scene(f"{order.title}: pattern", box, tuple(placed))


def _box(items: Sequence[Item]) -> tuple[float, float, float, float]:
    points = [p for item in items if isinstance(item, Shape) for line in item.lines for p in line]
    points += [p for item in items if isinstance(item, Text) for p in text_ring(item)]
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return (min(xs), min(ys), max(xs), max(ys))


def _up(p: Point) -> Point:
    return (-p[1], p[0])


def _piece(cut: CutPiece, order: Order, date: str) -> list[Item]:
    """One piece with its marks and words, grain upwards."""
    piece = mapped(cut.piece, _up, turn_deg=90.0)
    items: list[Item] = []
    old = _old_lines(cut)
    if old:
        items.append(Shape("inside", "marks", old, stroke=Stroke(_OLD, 0.25, (4.0, 2.5)), kind="old"))
    if piece.seam is not None and piece.seam != piece.outline:
        seam = (*piece.seam, piece.seam[0])
        items.append(Shape("sew", "marks", (seam,), stroke=Stroke(_MARK, 0.2)))
    if piece.inside:
        items.append(Shape("inside", "marks", piece.inside, stroke=Stroke(_MARK, 0.2)))
    for cutout in piece.cutouts:
        items.append(Shape("cutout", "cut", (cutout,), True, Stroke(looks.INK, CUT_WIDTH_MM)))
    for drill in piece.drills:
        x, y = drill.at
        cross: tuple[Line, ...] = (((x - 2.5, y), (x + 2.5, y)), ((x, y - 2.5), (x, y + 2.5)))
        items.append(Shape("drill", "marks", cross, stroke=Stroke(_MARK, 0.25)))
    for notch in piece.notches:
        items.append(Shape("notch", "marks", _notch(notch), stroke=Stroke(_MARK, 0.3), kind=notch.kind))
    if not any(b.role == "grain" for b in items) and piece.grainline is not None:
        items += _grain(piece.grainline)
    if piece.fold is not None:
        items += _fold(piece)
    for edge in piece.edges:
        if edge.name.casefold().startswith(("centre", "center")) and piece.fold is None:
            items.append(_along(edge.start, edge.end, piece.outline, edge.name))
    items.append(Shape("cut", "cut", (piece.outline,), True, Stroke(looks.INK, CUT_WIDTH_MM)))
    # Words that find no room where they belong stand with the name.
    placed: list[Item] = []
    more: list[str] = []
    for item in items:
        if isinstance(item, Text):
            fitted = text_inside(item, piece.outline)
            if fitted is not None:
                placed.append(fitted)
            elif item.words != _GRAIN:
                more.append(item.words)
        else:
            placed.append(item)
    return [*placed, *_words(cut, piece, order, date, placed, more)]


def _notch(notch: Notch) -> tuple[Line, ...]:
    """A notch as it is drawn, within the piece."""
    a, depth = math.radians(notch.direction), notch.depth
    tip = (notch.at[0] + depth * math.cos(a), notch.at[1] + depth * math.sin(a))
    if notch.kind == "slit":
        return ((notch.at, tip),)
    side = (-math.sin(a) * depth / 2, math.cos(a) * depth / 2)
    one, other = (notch.at[0] + side[0], notch.at[1] + side[1]), (notch.at[0] - side[0], notch.at[1] - side[1])
    if notch.kind == "t":
        return ((notch.at, tip), ((tip[0] + side[0], tip[1] + side[1]), (tip[0] - side[0], tip[1] - side[1])))
    if notch.kind in ("castle", "u"):
        return ((one, (one[0] + tip[0] - notch.at[0], one[1] + tip[1] - notch.at[1]),
                 (other[0] + tip[0] - notch.at[0], other[1] + tip[1] - notch.at[1]), other),)  # fmt: skip
    return ((one, tip, other),)


def _grain(line: tuple[Point, Point]) -> list[Item]:
    (ax, ay), (bx, by) = line
    middle = ((ax + bx) / 2, (ay + by) / 2)
    deg = math.degrees(math.atan2(by - ay, bx - ax))
    pen = Stroke(_MARK, 0.3)
    return [
        Shape("grain", "marks", (line,), stroke=pen),
        Shape("grain", "marks", (arrow_head(line[1], deg, 5.0),), True, pen),
        Shape("grain", "marks", (arrow_head(line[0], deg + 180.0, 5.0),), True, pen),
        Text("label", "text", (middle[0] - 2.0, middle[1]), _GRAIN, 3.5, turn=deg, colour=_MARK),
    ]


def _inward(a: Point, b: Point, outline: Ring) -> tuple[float, float]:
    """The unit normal of a side that points into the piece."""
    from shapely import Point as Dot
    from shapely import Polygon

    size = math.dist(a, b) or 1.0
    n = (-(b[1] - a[1]) / size, (b[0] - a[0]) / size)
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    inside = Polygon(outline).covers(Dot(middle[0] + 2 * n[0], middle[1] + 2 * n[1]))
    return n if inside else (-n[0], -n[1])


def _fold(piece: Piece) -> list[Item]:
    """The bracket that stands for the fold: a line along it, its ends turned to the edge with arrows."""
    assert piece.fold is not None
    a, b = piece.fold
    n = _inward(a, b, piece.outline)
    size = math.dist(a, b)
    share = min(0.25, 15.0 / size) if size else 0.25
    foot = [(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])) for t in (share, 1 - share)]
    off = min(10.0, 0.2 * size)
    top = [(x + off * n[0], y + off * n[1]) for x, y in foot]
    short = [(x + 1.0 * n[0], y + 1.0 * n[1]) for x, y in foot]
    deg = math.degrees(math.atan2(-n[1], -n[0]))
    pen = Stroke(_MARK, 0.3)
    name = piece.name.casefold()
    centre = "centre front, " if "front" in name else "centre back, " if "back" in name else ""
    return [
        Shape("fold", "marks", ((short[0], top[0], top[1], short[1]),), stroke=pen),
        *(Shape("fold", "marks", (arrow_head(p, deg, 4.0),), True, pen) for p in short),
        _along(top[0], top[1], piece.outline, f"{centre}place on fold"),
    ]


def _along(a: Point, b: Point, outline: Ring, words: str) -> Text:
    """Words along a side, on the piece's side of it."""
    n = _inward(a, b, outline)
    deg = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    if not -90.0 < deg <= 90.0:
        deg = (deg + 180.0 + 180.0) % 360.0 - 180.0
    up = turned((0.0, 1.0), deg)
    off = 2.5 if up[0] * n[0] + up[1] * n[1] > 0 else 5.5
    at = ((a[0] + b[0]) / 2 + off * n[0], (a[1] + b[1]) / 2 + off * n[1])
    size = min(3.5, 0.9 * math.dist(a, b) / max(text_width(words, 1.0, False), 0.1))
    return Text("label", "text", at, shown(words), size, turn=deg, colour="#555555")


def _words(
    cut: CutPiece, piece: Piece, order: Order, date: str, items: Sequence[Item], more: Sequence[str]
) -> list[Text]:
    """Name, size, how many, cloth, title and date, inside the piece and off its other marks where there is room.
    ``more``: words that found no place of their own."""
    name = piece.name + (f", size {piece.size}" if piece.size else "")
    how = f"cut {cut.cut}" + (" on the fold" if piece.fold else ", left and right" if cut.mirrored else "")
    lines = [(name, 6.0, True), (f"{how}, {cut.cloth}", 4.0, False), *((words, 4.0, False) for words in more)]
    lines += [(order.title, 3.2, False), (date, 3.2, False)]
    drawn = [line for item in items if isinstance(item, Shape) and item.role != "cut" for line in item.lines]
    return block_inside(lines, piece.outline, drawn, [text_ring(item) for item in items if isinstance(item, Text)])


def _old_lines(cut: CutPiece) -> tuple[Line, ...]:
    """The outline as the file drew it, where it differs from what is cut, in the page's frame."""
    if cut.drawn is None:
        return ()
    from shapely import LineString

    move = _registered(cut.drawn, cut.piece)
    if move is None:
        return ()
    deg, (dx, dy) = move
    ring = [turned(p, deg) for p in cut.drawn.outline]
    old = LineString([(x + dx, y + dy) for x, y in (*ring, ring[0])])
    new = LineString([*cut.piece.outline, cut.piece.outline[0]])
    apart = old.difference(new.buffer(0.15))
    parts = getattr(apart, "geoms", [apart])
    return tuple(
        tuple(_up((float(x), float(y))) for x, y in g.coords) for g in parts if not g.is_empty and g.length > 1
    )


def _registered(drawn: Piece, ready: Piece) -> tuple[float, Point] | None:
    """The turn (degrees) and shift that bring the drawn piece onto the ready one, by the points that both have.

    Alterations move a part of a piece; the other points stay as they were. None where fewer than three agree.
    """
    turns = {0.0, 90.0, 180.0, 270.0}
    if drawn.grainline is not None:
        (ax, ay), (bx, by) = drawn.grainline
        turns.add(-math.degrees(math.atan2(by - ay, bx - ax)))
    if drawn.fold is not None and ready.fold is not None:
        way = [math.degrees(math.atan2(b[1] - a[1], b[0] - a[0])) for a, b in (drawn.fold, ready.fold)]
        turns |= {way[1] - way[0], way[1] - way[0] + 180.0}
    mine, theirs = np.array(_points(drawn)), np.array(_points(ready))
    best: tuple[int, float, Point] = (2, 0.0, (0.0, 0.0))
    for deg in sorted(turns):
        c, d = math.cos(math.radians(deg)), math.sin(math.radians(deg))
        there = mine @ np.array([[c, d], [-d, c]])
        shifts = (theirs[None, :, :] - there[:, None, :]).reshape(-1, 2)
        if not len(shifts):
            continue
        # the shift that most pairs of points ask for, to the nearest twentieth of a millimetre
        cells, votes = np.unique(np.round(shifts / _SAME_MM).astype(np.int64), axis=0, return_counts=True)
        place = cells[int(np.argmax(votes))] * _SAME_MM
        close = shifts[(np.abs(shifts - place) <= 2 * _SAME_MM).all(axis=1)]
        if len(close) > best[0]:
            best = (len(close), deg, (float(close[:, 0].mean()), float(close[:, 1].mean())))
    return (best[1], best[2]) if best[0] > 2 else None


def _points(piece: Piece) -> list[Point]:
    """Points by which a piece is known again: of its outlines, notches and drill marks; at most some hundred."""
    rings = [*piece.outline, *(piece.seam or ())]
    step = max(1, len(rings) // 300)
    return [*rings[::step], *(n.at for n in piece.notches), *(d.at for d in piece.drills)]
