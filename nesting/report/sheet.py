"""The placement sheet: the numbers from which a person with a ruler rebuilds the lay on the table.

Every distance is measured on the spread cloth, flat on the table:

*from edge A or B*
    square to the selvage. A is the edge nearest you (y = 0), B the far one (y = table width); each is a selvage or a
    fold as the row says. Selvages count from their very edge. A piece on the far flap of a double fold is measured
    from fold B, all others from edge A.
*from the cut end*
    along the selvage. x = 0 of the lay lies one end allowance in from the cut end, so it is added. In a later
    section it is measured from the line at which that section begins. On a remnant the cut end is a line across the
    grain that touches its leftmost point, and edge A a line along the grain that touches its lowest.
*the grain line*
    a line along the piece's grain, right through it from cut edge to cut edge: the grainline itself, drawn on.
    Where that does not run inside the piece (a grainline on a fold edge), a parallel line at a stated distance.
    Its two ends are the arrow's tail and the arrow's head.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from nesting.lay import Lay, Placement, Section, mirrored_over_fold
from nesting.pieces.piece import Piece, Point, Ring
from nesting.report.shapes import chords, ring_box, turned
from nesting.report.words import copies_of, copy_words, edge_names, hands, measure, ply_words, side_words, turn_words
from nesting.units import parse_length

__all__ = [
    "Bundle",
    "Rebuilt",
    "Row",
    "Sheet",
    "bundles",
    "covering",
    "cut_through",
    "grain_line",
    "leaders_of",
    "rebuild",
    "rows",
    "sheet",
]

#: mm. Pieces that begin within a hand's breadth of each other count as equally near the cut end.
_BAND_MM = 100.0


@dataclass(frozen=True)
class Row:
    """One line of the sheet. Measures are text as printed (cm or in without unit); ``number`` is on the drawing too.

    ``edge`` is "A" or "B"; ``tail`` and ``head`` hold (from the edge, from the cut end) for the two ends of the grain
    line; ``line_offset`` is the distance of that line from the grainline ("0": the grainline itself; positive on the
    arrow's left as the pattern is printed). ``index`` is the placement's place in ``Lay.placements``.
    """

    number: int
    section: int
    phase: int
    index: int
    piece: str
    garment: str
    size: str | None
    copy: str
    hand: str
    flipped: bool
    side: str
    plies: tuple[int, ...]
    ply_words: str
    on_fold: bool
    opened: bool
    lies: str
    edge: str
    edge_name: str
    tail: tuple[str, str]
    head: tuple[str, str]
    line_offset: str
    turn: str
    turn_words: str
    gives: int
    follows: str | None = None
    second_cloth: str | None = None

    @property
    def name(self) -> str:
        """Piece and size."""
        return f"{self.piece} {self.size}" if self.size else self.piece


@dataclass(frozen=True)
class Bundle:
    """One label to pin on: a garment's copy and the cloth pieces that belong to it, (words, how many)."""

    garment: str
    size: str | None
    copy: int
    pieces: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Sheet:
    """All rows in cutting order. ``table_widths`` holds one printed measure per section, ``end_allowance`` likewise."""

    rows: tuple[Row, ...]
    table_widths: tuple[str, ...]
    end_allowance: str
    imperial: bool


@dataclass(frozen=True)
class Rebuilt:
    """Where a row puts its piece: reference point in mm in its section's frame, turn in degrees."""

    row: Row
    x: float
    y: float
    turn: float


def covering(section: Section) -> tuple[tuple[int, ...], ...]:
    """For each placement of a section the plies that lie at its place, bottom first.

    A ply counts where it covers more than a sliver (a two-hundredth) of the piece.
    """
    plies = section.spread.plies
    if len(plies) == 1:
        return tuple((plies[0].ply,) for _ in section.placements)
    boxes = [ring_box(ply.region) for ply in plies]
    if all(len(ply.region) == 4 for ply in plies) and all(box == boxes[0] for box in boxes):
        return tuple(tuple(ply.ply for ply in plies) for _ in section.placements)
    from shapely.geometry import Polygon

    regions = [(ply.ply, Polygon(ply.region)) for ply in plies]
    out = []
    for placement in section.placements:
        body = Polygon(placement.outline)
        out.append(
            tuple(
                k for k, region in regions if region.intersection(body).area > body.area / 200 or k in placement.plies
            )
        )
    return tuple(out)


def leaders_of(section: Section) -> dict[int, int]:
    """For each placement of a section that is cut together with another, which one (both by place in the section)."""
    out: dict[int, int] = {}
    for i, p in enumerate(section.placements):
        if p.follows is None:
            continue
        from shapely.geometry import Polygon

        body = Polygon(p.outline)
        shared = {
            j: body.intersection(Polygon(q.outline)).area
            for j, q in enumerate(section.placements)
            if q.piece == p.follows and (q.garment, q.size, q.follows) == (p.garment, p.size, None)
        }
        if shared and max(shared.values()) > body.area / 2:
            out[i] = max(shared, key=lambda j: shared[j])
    return out


def cut_through(section: Section) -> tuple[tuple[int, ...], ...]:
    """For each placement the plies that are cut at its place: its own, and those of a piece cut together with it."""
    own = [set(p.plies) for p in section.placements]
    for i, j in leaders_of(section).items():
        if section.placements[i].second_cloth is None:
            own[i] = own[j] = own[i] | own[j]
    return tuple(tuple(sorted(plies)) for plies in own)


def rows(lay: Lay) -> tuple[Row, ...]:
    """The rows of the sheet in cutting order.

    Section by section: single pieces of a top ply first, then what goes through all plies, then what is left on a
    bottom ply; in each, near the cut end first, and where two begin within 10 cm of each other the one on a fold first.
    A piece that is cut together with another comes right after it.
    """
    imperial = lay.imperial
    hand = hands(lay)
    first = 0
    drafts: list[tuple[tuple[float, ...], Row]] = []
    for s, section in enumerate(lay.sections):
        names = edge_names(section.spread, lay.remnant is not None)
        # from printed numbers on both sides of a sum, so that only one rounding remains in each distance
        from_end = _as_printed(_end_allowance(lay), imperial) if s == 0 else 0.0
        width = _as_printed(section.spread.table_width, imperial)
        through, leaders, covers = cut_through(section), leaders_of(section), covering(section)
        for i, p in enumerate(section.placements):
            phase = _phase(through[i], covers[i])
            box = ring_box(section.placements[leaders.get(i, i)].outline)
            followers = [section.placements[k].piece for k, j in leaders.items() if j == i]
            words = ply_words(p.plies if i in leaders else through[i], covers[i])
            if followers:
                words += " with " + ", ".join(followers)
            edge = _edge(p, section)
            at = 0.0 if edge == "A" else section.spread.table_width if p.on_fold else width
            (tail, head), offset = grain_line(p, imperial)
            row = Row(
                number=0,
                section=s,
                phase=phase,
                index=first + i,
                piece=p.piece,
                garment=p.garment,
                size=p.size,
                copy=copy_words(p),
                hand=hand.get(first + i, ""),
                flipped=p.flipped,
                side=side_words(p.flipped),
                plies=p.plies,
                ply_words=f"on {p.second_cloth}" if p.second_cloth else words,
                on_fold=p.on_fold,
                opened=p.opened,
                lies=_lies(p, section, names),
                edge=edge,
                edge_name=names[0] if edge == "A" else names[1],
                tail=(measure(abs(tail[1] - at), imperial), measure(tail[0] + from_end, imperial)),
                head=(measure(abs(head[1] - at), imperial), measure(head[0] + from_end, imperial)),
                line_offset=measure(offset, imperial),
                turn=f"{round(p.turn % 360.0, 2) % 360.0:g}°",
                turn_words=turn_words(p.turn),
                gives=p.gives,
                follows=p.follows,
                second_cloth=p.second_cloth,
            )
            band = math.floor(box[0] / _BAND_MM)
            drafts.append(((s, phase, band, 0.0 if p.on_fold else 1.0, box[0], box[1], float(i in leaders)), row))
        first += len(section.placements)
    drafts.sort(key=lambda pair: pair[0])
    return tuple(_numbered(row, n) for n, (_, row) in enumerate(drafts, start=1))


def sheet(lay: Lay) -> Sheet:
    """The rows with the measures that go with them."""
    return Sheet(
        rows(lay),
        tuple(measure(s.spread.table_width, lay.imperial) for s in lay.sections),
        measure(_end_allowance(lay), lay.imperial),
        lay.imperial,
    )


def bundles(lay: Lay) -> tuple[Bundle, ...]:
    """The labels to pin on, garment by garment, size by size, copy by copy."""
    found: dict[tuple[str, str | None, int], dict[str, int]] = {}
    for p in lay.placements:
        for copy in copies_of(p):
            mine = found.setdefault((p.garment, p.size, copy), {})
            mine[p.piece] = mine.get(p.piece, 0) + 1
    ordered = sorted(found.items(), key=lambda item: (item[0][0], item[0][1] or "", item[0][2]))
    return tuple(Bundle(g, s, c, tuple(sorted(pieces.items()))) for (g, s, c), pieces in ordered)


def rebuild(numbers: Sheet, pieces: Mapping[tuple[str, str | None], Piece]) -> tuple[Rebuilt, ...]:
    """Where the printed numbers put each piece: what a person with a ruler does, done by arithmetic.

    ``pieces`` are in the grain frame, by name and size. KeyError if one is missing. A fold edge that lies on fold A
    or B is set on it; for all else the ruler decides.
    """
    unit = "in" if numbers.imperial else "cm"
    allowance = _read(numbers.end_allowance, unit)
    out = []
    for row in numbers.rows:
        piece = pieces[(row.piece, row.size)]
        outline = (mirrored_over_fold(piece) if row.opened else piece).outline
        offset = _read(row.line_offset, unit)
        a, b = _through(outline, offset)
        turn = float(row.turn.rstrip("°"))
        width = _read(numbers.table_widths[row.section], unit)
        shifts = []
        for at, (from_edge, from_end) in ((a, row.tail), (b, row.head)):
            across = _read(from_edge, unit)
            x = _read(from_end, unit) - (allowance if row.section == 0 else 0.0)
            y = across if row.edge == "A" else width - across
            dx, dy = turned((at, -offset if row.flipped else offset), turn)
            shifts.append((x - dx, y - dy))
        x, y = (shifts[0][0] + shifts[1][0]) / 2, (shifts[0][1] + shifts[1][1]) / 2
        on = {"fold edge on fold A": 0.0, "fold edge on fold B": width}.get(row.lies)
        if on is not None and piece.fold is not None:
            # a fold edge is pushed against its fold, whatever the ruler says
            fx, fy = piece.fold[0]
            y = on - turned((fx, -fy if row.flipped else fy), turn)[1]
        out.append(Rebuilt(row, x, y, turn))
    return tuple(out)


def grain_line(p: Placement, imperial: bool) -> tuple[tuple[Point, Point], float]:
    """The grain line of a placement on the table (tail, head), and its offset from the grainline, mm."""
    sign = -1.0 if p.flipped else 1.0

    def back(q: Point) -> Point:
        x, y = turned((q[0] - p.x, q[1] - p.y), -p.turn)
        return (x, sign * y)

    def to_table(q: Point) -> Point:
        x, y = turned((q[0], sign * q[1]), p.turn)
        return (x + p.x, y + p.y)

    outline = tuple(back(q) for q in p.outline)
    offset = _line_offset(outline, 25.4 / 4 if imperial else 5.0)
    a, b = _through(outline, offset)
    return (to_table((a, offset)), to_table((b, offset))), offset


def _line_offset(outline: Ring, step: float) -> float:
    _, y0, _, y1 = ring_box(outline)
    near = [chords([outline], (0.0, y), 0.0) for y in (-1.0, 0.0, 1.0)]
    if all(near):
        return 0.0
    # on a whole step, so that the printed number is the number
    return round((y0 + y1) / 2 / step) * step


def _through(outline: Ring, offset: float) -> tuple[float, float]:
    inside = chords([outline], (0.0, offset), 0.0)
    if inside:
        return inside[0][0], inside[-1][1]
    x0, _, x1, _ = ring_box(outline)
    return x0, x1


def _read(text: str, unit: str) -> float:
    return parse_length(text, unit, negative=True)


def _numbered(row: Row, number: int) -> Row:
    return replace(row, number=number)


def _end_allowance(lay: Lay) -> float:
    return 0.0 if lay.remnant is not None else lay.end_allowance


def _phase(through: Sequence[int], cover: Sequence[int]) -> int:
    if len(cover) <= 1 or set(cover) <= set(through):
        return 1
    return 0 if cover[-1] in through else 2


def _edge(p: Placement, section: Section) -> str:
    """The edge that a placement is measured from: "B" for what lies on the far flap of a double fold."""
    return "B" if section.spread.kind == "double fold" and any(k >= 2 for k in p.plies) else "A"


def _as_printed(mm: float, imperial: bool) -> float:
    return _read(measure(mm, imperial), "in" if imperial else "cm")


def _lies(p: Placement, section: Section, names: tuple[str, str]) -> str:
    if p.opened:
        return "opened out"
    if not p.on_fold or p.fold is None:
        return "on the fold" if p.on_fold else ""
    (x0, y0), (x1, y1) = p.fold
    for fold in section.spread.folds:
        if fold.along == "y" and abs(x0 - fold.at) < 0.1 and abs(x1 - fold.at) < 0.1:
            return "fold edge on the fold across the cloth"
        if fold.along == "x" and abs(y0 - fold.at) < 0.1 and abs(y1 - fold.at) < 0.1:
            return f"fold edge on {names[0] if abs(fold.at) < 0.1 else names[1]}"
    return "on the fold"
