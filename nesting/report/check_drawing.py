"""Drawings for checking: each piece with its edges named and what does not fit marked in place, and each drawing with
its corners numbered."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from nesting.checking import Check, SeamLine, TogetherLine, small_length
from nesting.order import CutPiece
from nesting.pieces.contour import Contour, along, cleaned, length_of
from nesting.pieces.edges import anchors_of
from nesting.pieces.grain import GRAIN_KEY
from nesting.pieces.piece import Line, Piece, Point, mapped
from nesting.pieces.prepare import sound
from nesting.pieces.together import put
from nesting.report.fonts import text_width
from nesting.report.looks import INK, SOFT
from nesting.report.scene import Item, Scene, Shape, Stroke, Text
from nesting.report.symbols import drill_lines, grain_arrow, notch_lines, place_on_fold

__all__ = ["Mark", "corner_scene", "corner_sheet", "marks_of", "piece_scene", "together_scene"]

#: What does not fit: a strong dark red that stays dark in grey, drawn thick so that it does not hang on its hue.
WRONG = "#a02000"
FILL = "#f6f3ee"
SECOND = "#dcecf7"


@dataclass(frozen=True)
class Mark:
    """Something to be shown on a piece: a whole ``edge``, or a place ``at`` (grain frame), with a few words."""

    words: str
    edge: str | None = None
    at: Point | None = None


def marks_of(check: Check) -> dict[tuple[str, str | None], list[Mark]]:
    """What does not fit, piece by piece (name and size)."""
    marks: dict[tuple[str, str | None], list[Mark]] = {}
    for line in check.seams:
        _seam_marks(line, check.imperial, marks)
    return marks


def _seam_marks(line: SeamLine, imperial: bool, marks: dict[tuple[str, str | None], list[Mark]]) -> None:
    walked = line.walked

    def add(k: int, mark: Mark) -> None:
        cut = line.pieces[k]
        marks.setdefault((cut.name, cut.size), []).append(mark)

    for k, (length, want) in enumerate(zip(walked.lengths, walked.wanted, strict=True)):
        if abs(length - want) > walked.tolerance:
            edge = walked.edges[k].rpartition(".")[2]
            sign = "+" if length > want else "−"
            add(k, Mark(f"{sign}{small_length(length - want, imperial)} to {walked.edges[0]}", edge=edge))
            first = walked.edges[0].rpartition(".")[2]
            add(
                0,
                Mark(
                    f"{'−' if length > want else '+'}{small_length(length - want, imperial)} to {walked.edges[k]}",
                    first,
                ),
            )
    for gap in walked.notches:
        if abs(gap.difference) > walked.tolerance:
            words = f"notch off by {small_length(gap.difference, imperial)}"
            add(0, Mark(words, at=gap.at[0]))
            add(gap.edge, Mark(words, at=gap.at[1]))
    for k, lone in walked.lone:
        add(k, Mark("no partner", at=lone.at))


def _as_seen(cut: CutPiece) -> Piece:
    """The ready piece turned as its drawing is on the page."""
    deg = float(dict(cut.piece.extra).get(GRAIN_KEY, "0"))
    a = math.radians(deg)
    c, s = math.cos(a), math.sin(a)
    return mapped(cut.piece, lambda p: (c * p[0] - s * p[1], s * p[0] + c * p[1]), turn_deg=deg)


def _turned(cut: CutPiece, p: Point) -> Point:
    a = math.radians(float(dict(cut.piece.extra).get(GRAIN_KEY, "0")))
    return (math.cos(a) * p[0] - math.sin(a) * p[1], math.sin(a) * p[0] + math.cos(a) * p[1])


def _em(points: Iterable[Point]) -> float:
    """Text size for a drawing of these points, mm."""
    pts = list(points)
    w = max(p[0] for p in pts) - min(p[0] for p in pts)
    h = max(p[1] for p in pts) - min(p[1] for p in pts)
    return max(w, h, 60.0) / 34.0


def _readable(deg: float) -> float:
    """The direction turned so that words along it are not upside down."""
    deg = (deg + 180.0) % 360.0 - 180.0
    if deg > 90.0 + 1e-6:
        return deg - 180.0
    return deg + 180.0 if deg <= -90.0 + 1e-6 else deg


def _default(name: str) -> bool:
    return name.replace("-", "").isdigit()


def _marks_and_lines(piece: Piece, em: float) -> list[Item]:
    items: list[Item] = []
    thin = Stroke(INK, em * 0.06)
    if piece.seam is not None and piece.seam != piece.outline:
        items.append(Shape("sew", "marks", (piece.seam,), True, Stroke(SOFT, em * 0.06, (em * 0.5, em * 0.3))))
    for line in piece.inside:
        items.append(Shape("inside", "marks", (line,), False, Stroke(SOFT, em * 0.05)))
    for ring in piece.cutouts:
        items.append(Shape("cutout", "cut", (ring,), True, thin, "#ffffff"))
    for notch in piece.notches:
        items.append(Shape("notch", "marks", notch_lines(notch), False, Stroke(INK, em * 0.12)))
    for drill in piece.drills:
        items.append(Shape("drill", "marks", drill_lines(drill, em), False, thin))
    if piece.grainline is not None:
        shaft, heads = grain_arrow(*piece.grainline, em * 0.8, bool(piece.axis_drawn))
        items.append(Shape("grain", "marks", shaft, False, thin))
        items.append(Shape("grain", "marks", heads, True, None, INK))
    if piece.fold is not None:
        (ax, ay), (bx, by) = piece.fold
        cx = sum(p[0] for p in piece.outline) / len(piece.outline)
        cy = sum(p[1] for p in piece.outline) / len(piece.outline)
        side = 90.0 if (bx - ax) * (cy - ay) - (by - ay) * (cx - ax) > 0 else -90.0
        inward = math.degrees(math.atan2(by - ay, bx - ax)) + side
        lines, heads = place_on_fold(piece.fold, inward, em)
        items.append(Shape("fold", "marks", lines, False, thin))
        items.append(Shape("fold", "marks", heads, True, None, INK))
    return items


def _edge_line(piece: Piece, start: Point, end: Point) -> Line:
    contour = Contour(cleaned(piece.seam if piece.seam is not None else piece.outline))
    return contour.stretch(contour.locate(start)[0], contour.locate(end)[0])


def _beside(piece: Piece, line: Line, words: str, em: float, far: float, *, bold: bool, colour: str) -> Text:
    """Words along the outside of an edge, ``far`` em away from the cut line at its middle."""
    total = length_of(line)
    p, u = along(line, total / 2)
    n = (u[1], -u[0])
    cut = Contour(cleaned(piece.outline))
    reach = 0.0
    for share in (0.3, 0.4, 0.5, 0.6, 0.7):
        q, _ = along(line, total * share)
        s, gap = cut.locate(q)
        c = cut.at(s)
        if gap < 80.0:
            reach = max(reach, (c[0] - p[0]) * n[0] + (c[1] - p[1]) * n[1], (q[0] - p[0]) * n[0] + (q[1] - p[1]) * n[1])
    size = em * (1.0 if bold else 0.85)
    turn = _readable(math.degrees(math.atan2(u[1], u[0])))
    up = (-math.sin(math.radians(turn)), math.cos(math.radians(turn)))
    above = up[0] * n[0] + up[1] * n[1] > 0
    off = reach + far * em + (0.0 if above else 0.75 * size)
    return Text("label", "text", (p[0] + n[0] * off, p[1] + n[1] * off), words, size, turn, bold=bold, colour=colour)


def _box(items: Sequence[Item], pad: float) -> tuple[float, float, float, float]:
    xs: list[float] = []
    ys: list[float] = []
    for item in items:
        if isinstance(item, Shape):
            xs += [p[0] for line in item.lines for p in line]
            ys += [p[1] for line in item.lines for p in line]
        else:
            w = text_width(item.words, item.size, item.bold)
            a = math.radians(item.turn)
            start = {"start": 0.0, "middle": -w / 2, "end": -w}[item.anchor]
            for along_, up in (
                (start, -0.25 * item.size),
                (start + w, -0.25 * item.size),
                (start, item.size),
                (start + w, item.size),
            ):
                xs.append(item.at[0] + along_ * math.cos(a) - up * math.sin(a))
                ys.append(item.at[1] + along_ * math.sin(a) + up * math.cos(a))
    return (min(xs) - pad, min(ys) - pad, max(xs) + pad, max(ys) + pad)


def piece_scene(cut: CutPiece, marks: Sequence[Mark] = ()) -> Scene:
    """The piece as it will be cut, turned as in its drawing: cut line, seam line, marks, edges by name, and what does
    not fit, each in its place."""
    piece = _as_seen(cut)
    em = _em(piece.outline)
    items: list[Item] = [Shape("fill", "pieces", (piece.outline,), True, None, FILL)]
    items += _marks_and_lines(piece, em)
    items.append(Shape("cut", "cut", (piece.outline,), True, Stroke(INK, em * 0.13)))
    wrong: dict[str, list[str]] = {}
    for mark in marks:
        if mark.edge is not None:
            wrong.setdefault(mark.edge, []).append(mark.words)
    for edge in piece.edges:
        line = _edge_line(piece, edge.start, edge.end)
        if edge.name == "fold":
            continue
        told = wrong.get(edge.name)
        if told:
            items.append(Shape("sew", "marks", (line,), False, Stroke(WRONG, em * 0.34)))
            items.append(_beside(piece, line, edge.name, em, 1.7, bold=True, colour=WRONG))
            items.append(_beside(piece, line, "; ".join(dict.fromkeys(told)), em, 0.5, bold=False, colour=WRONG))
        else:
            soft = _default(edge.name)
            items.append(_beside(piece, line, edge.name, em, 0.5, bold=not soft, colour=SOFT if soft else INK))
    for k, mark in enumerate(m for m in marks if m.at is not None):
        assert mark.at is not None
        x, y = _turned(cut, mark.at)
        items.append(Shape("notch", "marks", (_circle((x, y), em * 0.9),), True, Stroke(WRONG, em * 0.22)))
        inward = 1.0 if x <= sum(p[0] for p in piece.outline) / len(piece.outline) else -1.0
        items.append(
            Text(
                "label",
                "text",
                (x + inward * em * 1.3, y - em * 0.3 - em * 0.1 * (k % 2)),
                mark.words,
                em * 0.85,
                anchor="start" if inward > 0 else "end",
                bold=True,
                colour=WRONG,
            )
        )
    return Scene(cut.piece.label, _box(items, em), tuple(items))


def _circle(at: Point, r: float) -> Line:
    return tuple((at[0] + r * math.cos(t * math.tau / 24), at[1] + r * math.sin(t * math.tau / 24)) for t in range(24))


def together_scene(line: TogetherLine, imperial: bool) -> Scene:
    """The follower on its leader, and the place where they differ most."""
    found = line.agreement
    turn = float(dict(line.leader.piece.extra).get(GRAIN_KEY, "0"))
    a = math.radians(turn)
    c, s = math.cos(a), math.sin(a)

    def seen(piece: Piece) -> Piece:
        return mapped(piece, lambda p: (c * p[0] - s * p[1], s * p[0] + c * p[1]), turn_deg=turn)

    leader = seen(line.leader.piece)
    follower = seen(put(line.follower.piece, found.shift, found.turn, found.flipped))
    em = _em(leader.outline)
    items: list[Item] = [
        Shape("fill", "pieces", (leader.outline,), True, None, FILL),
        Shape("fill", "pieces", (follower.outline,), True, None, SECOND),
        Shape("cut", "cut", (leader.outline,), True, Stroke(INK, em * 0.1)),
        Shape("cut", "cut", (follower.outline,), True, Stroke(INK, em * 0.2, (em * 0.9, em * 0.3, em * 0.2, em * 0.3))),
    ]
    centre = Contour(cleaned(follower.outline)).points.mean(axis=0)
    items.append(Text("label", "text", (float(centre[0]), float(centre[1])), line.together.follower, em, bold=True))
    if found.at is not None and not found.agrees:
        x, y = c * found.at[0] - s * found.at[1], s * found.at[0] + c * found.at[1]
        items.append(Shape("notch", "marks", (_circle((x, y), em),), True, Stroke(WRONG, em * 0.22)))
        words = f"differ by {small_length(found.largest, imperial)}"
        items.append(
            Text(
                "label", "text", (x + 1.4 * em, y - 0.3 * em), words, em * 0.9, anchor="start", bold=True, colour=WRONG
            )
        )
    return Scene(f"{line.together.follower} on {line.together.leader}", _box(items, em), tuple(items))


def corner_scene(cut: CutPiece, em: float | None = None) -> Scene:
    """The piece as drawn, with its corners numbered and its notches named: what an order may point at.

    ``em`` is the size of the words, mm; default by the size of the piece.
    """
    assert cut.drawn is not None
    piece = sound(cut.drawn, file=cut.drawn.file)
    anchors = anchors_of(piece)
    em = em or _em(piece.outline)
    items: list[Item] = [Shape("fill", "pieces", (piece.outline,), True, None, FILL)]
    items += _marks_and_lines(piece, em)
    items.append(Shape("cut", "cut", (piece.outline,), True, Stroke(INK, em * 0.13)))
    ring = Contour(cleaned(piece.seam if piece.seam is not None else piece.outline))
    cut_ring = Contour(cleaned(piece.outline))
    for edge in piece.edges:
        line = ring.stretch(ring.locate(edge.start)[0], ring.locate(edge.end)[0])
        items.append(_beside(piece, line, edge.name, em, 0.5, bold=False, colour=INK))
    for (name, at), notch in zip(anchors.notches, piece.notches, strict=True):
        a = math.radians(notch.direction)
        reach = notch.depth + 0.6 * em
        x, y = at[0] + reach * math.cos(a), at[1] + reach * math.sin(a)
        anchor = "start" if math.cos(a) > 0.4 else "end" if math.cos(a) < -0.4 else "middle"
        drop = 0.3 if anchor != "middle" else (0.0 if math.sin(a) > 0 else 0.8)
        items.append(
            Text("label", "text", (x, y - drop * em), name, em * 0.8, anchor=anchor, colour=INK)  # type: ignore[arg-type]
        )
    for number, corner in enumerate(anchors.corners, 1):
        n = ring.outward(ring.locate(corner)[0])
        _, gap = cut_ring.locate(corner)
        far = gap + 1.3 * em
        x, y = corner[0] + far * n[0], corner[1] + far * n[1]
        items.append(Shape("label", "text", (_circle((x, y), em * 0.85),), True, Stroke(INK, em * 0.1), "#ffffff"))
        items.append(Shape("label", "text", (_circle(corner, em * 0.18),), True, None, INK))
        items.append(Text("label", "text", (x, y - 0.36 * em), str(number), em, bold=True))
    x0, y0, x1, _ = _box(items, 0.0)
    items.append(Text("label", "text", ((x0 + x1) / 2, y0 - 1.8 * em), piece.label, em * 1.1, bold=True))
    return Scene(piece.label, _box(items, em), tuple(items))


def corner_sheet(cuts: Sequence[CutPiece], title: str) -> Scene:
    """All drawings with their corners numbered, side by side in rows, at one scale."""
    from nesting.report.scene import moved

    drawn = [cut for cut in cuts if cut.drawn is not None]
    ems = sorted(_em(cut.drawn.outline) for cut in drawn if cut.drawn is not None)
    em = ems[len(ems) // 2]
    scenes = [corner_scene(cut, em) for cut in drawn]
    width = max([s.width for s in scenes] + [math.sqrt(sum(s.width * s.height for s in scenes)) * 1.4])
    items: list[Item] = []
    x = y = row = 0.0
    for scene in scenes:
        if x > 0 and x + scene.width > width:
            x, y, row = 0.0, y - row, 0.0
        items += [moved(item, x - scene.box[0], y - scene.box[3]) for item in scene.items]
        x += scene.width
        row = max(row, scene.height)
    return Scene(title, _box(items, 10.0), tuple(items), "#ffffff")
