"""Drawings for checking: each piece with its edges named and what does not fit marked in place, and each drawing with
its corners numbered."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from nesting.checking.judging import Check, SeamLine, small_length
from nesting.model.order import AlteredStep, CutPiece
from nesting.model.piece import Line, Notch, Piece, Point, mapped
from nesting.pieces.agreement import put
from nesting.pieces.contour import Contour, cleaned
from nesting.pieces.edges import anchors_of
from nesting.pieces.grain import GRAIN_KEY
from nesting.pieces.prepare import sound
from nesting.report.drawing.looks import INK, SOFT
from nesting.report.drawing.scene import Item, Scene, Shape, Stroke, Text
from nesting.report.drawing.symbols import drill_lines, grain_arrow, notch_lines, place_on_fold
from nesting.report.html.check_labels import Room, beside, text_corners
from nesting.resolving.cutting_list import Agreed

__all__ = [
    "Mark",
    "alteration_scene",
    "alterations_of",
    "corner_scene",
    "corner_sheet",
    "in_rows",
    "marks_of",
    "piece_scene",
    "together_scene",
]

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

    titles = walked.titles
    for k, (length, want) in enumerate(zip(walked.lengths, walked.wanted, strict=True)):
        if abs(length - want) > walked.tolerance:
            signs = ("+", "−") if length > want else ("−", "+")
            off = small_length(length - want, imperial)
            for side, sign, other in ((k, signs[0], titles[0]), (0, signs[1], titles[k])):
                row = " together" if len(walked.sides[side]) > 1 else ""
                for number in walked.sides[side]:
                    edge = walked.edges[number].rpartition(".")[2]
                    add(number, Mark(f"{sign}{off}{row} to {other}", edge=edge))
    for gap in walked.notches:
        if abs(gap.difference) > walked.tolerance:
            off = small_length(gap.difference, imperial)
            for number, at, join in ((gap.first, gap.at[0], gap.joins[0]), (gap.edge, gap.at[1], gap.joins[1])):
                add(number, Mark(f"join off by {off}" if join else f"notch off by {off}", at=at))
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


def _box(items: Sequence[Item], pad: float) -> tuple[float, float, float, float]:
    xs: list[float] = []
    ys: list[float] = []
    for item in items:
        if isinstance(item, Shape):
            xs += [p[0] for line in item.lines for p in line]
            ys += [p[1] for line in item.lines for p in line]
        else:
            corners = text_corners(item)
            xs += [p[0] for p in corners]
            ys += [p[1] for p in corners]
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
    cut_ring = Contour(cleaned(piece.outline))
    room = _room(items, em)
    for edge in piece.edges:
        line = _edge_line(piece, edge.start, edge.end)
        if edge.name == "fold":
            continue
        told = wrong.get(edge.name)
        if told:
            items.append(Shape("sew", "marks", (line,), False, Stroke(WRONG, em * 0.34)))
            words = "; ".join(dict.fromkeys(told))
            items += room.put(beside(cut_ring, line, words, em, 0.5, bold=True, colour=WRONG))
            items += room.put(beside(cut_ring, line, edge.name, em, 1.8, bold=True, colour=WRONG))
        else:
            soft = _default(edge.name)
            colour = SOFT if soft else INK
            items += room.put(beside(cut_ring, line, edge.name, em, 0.5, bold=not soft, colour=colour))
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


def together_scene(line: Agreed, imperial: bool) -> Scene:
    """The follower on its leader, and the place where they differ most."""
    found = line.fits
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
    items.append(Text("label", "text", (float(centre[0]), float(centre[1])), line.rule.follower, em, bold=True))
    if found.at is not None and not found.agrees:
        x, y = c * found.at[0] - s * found.at[1], s * found.at[0] + c * found.at[1]
        items.append(Shape("notch", "marks", (_circle((x, y), em),), True, Stroke(WRONG, em * 0.22)))
        words = f"differ by {small_length(found.largest, imperial)}"
        items.append(
            Text(
                "label", "text", (x + 1.4 * em, y - 0.3 * em), words, em * 0.9, anchor="start", bold=True, colour=WRONG
            )
        )
    return Scene(f"{line.rule.follower} on {line.rule.leader}", _box(items, em), tuple(items))


def corner_scene(cut: CutPiece, em: float | None = None, *, every: bool = False) -> Scene:
    """The piece as drawn, with its corners and bends numbered and its notches named: what an order may point at.

    ``em`` is the size of the words, mm; default by the size of the piece. ``every``: number all that was drawn, however
    little the outline turns there.
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
    room = _room(items, em)
    shown = anchors.numbered if every else (*anchors.corners, *anchors.bends)
    for number, corner in enumerate(shown, 1):
        items.append(Shape("label", "text", (_circle(corner, em * 0.18),), True, None, INK))
        items += room.put(_numbered(str(number), corner, ring.outward(ring.locate(corner)[0]), cut_ring, em))
    for edge in piece.edges:
        line = ring.stretch(ring.locate(edge.start)[0], ring.locate(edge.end)[0])
        items += room.put(beside(cut_ring, line, edge.name, em, 0.5, bold=False, colour=INK))
    for (name, _), notch in zip(anchors.notches, piece.notches, strict=True):
        items += room.put(_named(name, notch, em))
    x0, y0, x1, _ = _box(items, 0.0)
    items.append(Text("label", "text", ((x0 + x1) / 2, y0 - 1.8 * em), piece.label, em * 1.1, bold=True))
    more = len(ring.drawn_vertices) - len(anchors.others) if every else 0
    if more > 0:
        told = f'{more} more bends of curves have no number: "1 + 40 %" is a place between corners'
        items.append(Text("label", "text", ((x0 + x1) / 2, y0 - 3.2 * em), told, em * 0.7))
    return Scene(piece.label, _box(items, em), tuple(items))


def _room(items: Sequence[Item], em: float) -> Room:
    """The room that the lines of a piece leave for words."""
    lines = [
        (*line, line[0]) if item.closed else line
        for item in items
        if isinstance(item, Shape) and item.role != "fill"
        for line in item.lines
    ]
    return Room(lines, em * 0.07)


def _towards(at: Point, deg: float, far: float) -> Point:
    return (at[0] + far * math.cos(math.radians(deg)), at[1] + far * math.sin(math.radians(deg)))


def _numbered(number: str, corner: Point, outward: Point, cut: Contour, em: float) -> Iterator[tuple[Item, ...]]:
    """Choices for a corner's number in its circle: outside the corner, or near there, with a line to it."""
    _, gap = cut.locate(corner)
    straight = math.degrees(math.atan2(outward[1], outward[0]))
    thin = Stroke(INK, em * 0.1)
    for far in (1.3, 2.2, 3.2, 4.2):
        for aside in (0.0, 35.0, -35.0, 70.0, -70.0):
            x, y = _towards(corner, straight + aside, gap + far * em)
            rim = _towards((x, y), straight + aside + 180.0, em * 0.85)
            yield (
                Shape("label", "text", ((corner, rim),), False, thin),
                Shape("label", "text", (_circle((x, y), em * 0.85),), True, thin, "#ffffff"),
                Text("label", "text", (x, y - 0.36 * em), number, em, bold=True),
            )


def _named(name: str, notch: Notch, em: float) -> Iterator[tuple[Item, ...]]:
    """Choices for a notch's name: inside, at its tip, or outside the cut line, with a line to it where it is far."""
    tip = _towards(notch.at, notch.direction, notch.depth)
    for far in (0.6, 1.6, 2.6):
        for begin, straight in ((tip, notch.direction), (notch.at, notch.direction + 180.0)):
            for aside in (0.0, 40.0, -40.0):
                deg = straight + aside
                x, y = _towards(begin, deg, far * em)
                c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
                anchor: Literal["start", "middle", "end"] = "start" if c > 0.4 else "end" if c < -0.4 else "middle"
                drop = 0.3 if anchor != "middle" else (0.0 if s > 0 else 0.8)
                words = Text("label", "text", (x, y - drop * em), name, em * 0.8, anchor=anchor)
                line = (_towards(begin, deg, 0.2 * em), _towards(begin, deg, (far - 0.2) * em))
                leader = Shape("label", "text", (line,), False, Stroke(SOFT, em * 0.05))
                yield (words,) if far < 1.0 else (leader, words)


def alteration_scene(step: AlteredStep, name: str) -> Scene:
    """An alteration, before (dashed) and after over each other, what lies at the tail of the grain in its place; the
    line or the edge drawn, both its ends labelled."""
    em = _em((*step.before, *step.after))
    dashed = Stroke(SOFT, em * 0.1, (em * 0.6, em * 0.4))
    items: list[Item] = [
        Shape("fill", "pieces", (step.after,), True, None, FILL),
        Shape("cut", "cut", (step.before,), True, dashed),
        Shape("cut", "cut", (step.after,), True, Stroke(INK, em * 0.14)),
    ]
    reach = Stroke(INK, em * 0.07)
    if step.lines:
        items.append(Shape("inside", "marks", step.lines, False, Stroke(INK, em * 0.22, (em * 0.9, em * 0.4))))
    if step.lines_after:
        items.append(Shape("inside", "marks", step.lines_after, False, Stroke(INK, em * 0.22)))
    xs = [p[0] for p in (*step.before, *step.after)]
    low, high = min(xs), max(xs)
    left, right = sorted(zip(step.ends, step.labels, strict=True), key=lambda pair: pair[0][0])
    for (end, words), side in ((left, -1.0), (right, 1.0)):
        x = low - em if side < 0 else high + em
        items.append(Shape("label", "text", ((end, (x, end[1])),), False, reach))
        items.append(Shape("label", "text", (_circle(end, em * 0.22),), True, None, INK))
        anchor: Literal["start", "end"] = "end" if side < 0 else "start"
        at = (x + side * em * 0.3, end[1] - 0.3 * em)
        items.append(Text("label", "text", at, f"{step.number}: {words}", em, anchor=anchor, bold=True))
    below = min(p[1] for p in (*step.before, *step.after)) - 2.2 * em
    title = f"{name}: {step.number}. {step.words}"
    items.append(Text("label", "text", ((low + high) / 2, below), title, em * 1.1, bold=True))
    return Scene(title, _box(items, em), tuple(items))


def alterations_of(cuts: Sequence[CutPiece]) -> list[Scene]:
    """A drawing of every alteration of every piece."""
    return [alteration_scene(step, cut.piece.label) for cut in cuts for step in cut.altered]


def corner_sheet(cuts: Sequence[CutPiece], title: str, *, every: bool = False) -> Scene:
    """All drawings with their corners numbered, side by side in rows, at one scale."""
    drawn = [cut for cut in cuts if cut.drawn is not None]
    ems = sorted(_em(cut.drawn.outline) for cut in drawn if cut.drawn is not None)
    em = ems[len(ems) // 2]
    return in_rows([corner_scene(cut, em, every=every) for cut in drawn], title)


def in_rows(scenes: Sequence[Scene], title: str) -> Scene:
    """Drawings side by side in rows, at one scale."""
    from nesting.report.drawing.scene import moved

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
