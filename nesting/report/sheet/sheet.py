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
*the line*
    a line along the piece's grain, right through it from cut edge to cut edge: the grainline itself, drawn on.
    Where that does not run inside the piece (a grainline on a fold edge), a parallel line at a stated distance.
    Its two ends are the arrow's tail and the arrow's head. A half that is opened out is set by its centre line, over
    which its pattern is turned; the head is the end that lies farther along the arrow, or on its left.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from nesting.model.lay import Lay, Placement, Section
from nesting.report.drawing.grainline import measured_line
from nesting.report.drawing.plies import covering, cut_through, leaders_of
from nesting.report.drawing.shapes import ring_box
from nesting.report.words import (
    copies_of,
    copy_words,
    edge_names,
    hands,
    measure,
    parse_measure,
    part_of_plies,
    ply_words,
    side_words,
    turn_words,
    unit_name,
)

__all__ = ["Bundle", "Row", "Sheet", "bundles", "end_allowance_of", "garment_order", "rows", "sheet"]

#: mm. Pieces that begin within a hand's breadth of each other count as equally near the cut end.
_BAND_MM = 100.0


@dataclass(frozen=True)
class Row:
    """One line of the sheet. Measures are text as printed (cm or in without unit); ``number`` is on the drawing too.

    ``edge`` is "A" or "B"; ``tail`` and ``head`` hold (from the edge, from the cut end) for the two ends of the line;
    ``line``: it runs along the grain, or it is the centre line of a half that is opened out; ``line_offset`` is the
    distance of a line along the grain from the grainline ("0": the grainline itself; positive on the arrow's left as
    the pattern is printed). ``part``: which ply alone is cut ("top", "bottom", numbers), None where all that lie
    there are, or something is cut together with it. ``index`` is the placement's place in ``Lay.placements``.
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
    part: str | None
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
    line: Literal["grain", "centre"] = "grain"
    follows: str | None = None
    second_cloth: str | None = None

    @property
    def name(self) -> str:
        """Piece and size, once where the piece is called by its size."""
        return f"{self.piece} {self.size}" if self.size and not self.piece.endswith(f" {self.size}") else self.piece

    @property
    def whose(self) -> str:
        """The garment that it is for, with its size and copy: number 1 is there once in every size."""
        return " ".join(words for words in (self.garment, self.size or "", self.copy) if words)


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


def rows(lay: Lay) -> tuple[Row, ...]:
    """The rows of the sheet in cutting order.

    Section by section: single pieces of a top ply first, then what goes through all plies, then what is left on a
    bottom ply; in each, near the cut end first, and where two begin within 10 cm of each other the one on a fold first.
    A piece that is cut together with another comes right after it. Placements that have their numbers keep them, so
    that what people have before them stays number 3 when it is moved, or another search goes on from there; else the
    rows are numbered from 1.
    """
    imperial = lay.imperial
    hand = hands(lay)
    first = 0
    drafts: list[tuple[tuple[float, ...], Row]] = []
    for s, section in enumerate(lay.sections):
        names = edge_names(section.spread, lay.remnant is not None)
        # from printed numbers on both sides of a sum, so that only one rounding remains in each distance
        from_end = _as_printed(end_allowance_of(lay), imperial) if s == 0 else 0.0
        width = _as_printed(section.spread.table_width, imperial)
        through, leaders, covers = cut_through(section), leaders_of(section), covering(section)
        for i, p in enumerate(section.placements):
            phase = _phase(through[i], covers[i])
            box = ring_box(section.placements[leaders.get(i, i)].outline)
            followers = [section.placements[k].piece for k, j in leaders.items() if j == i]
            cut = p.plies if i in leaders else through[i]
            words = ply_words(cut, covers[i])
            if followers:
                words += " with " + ", ".join(followers)
            edge = _edge(p, section)
            at = 0.0 if edge == "A" else section.spread.table_width if p.on_fold else width
            line = measured_line(p, imperial)
            tail, head = line.tail, line.head
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
                part=None if followers or p.second_cloth else part_of_plies(cut, covers[i]),
                on_fold=p.on_fold,
                opened=p.opened,
                lies=_lies(p, section, names, line.kind == "centre"),
                edge=edge,
                edge_name=names[0] if edge == "A" else names[1],
                tail=(measure(abs(tail[1] - at), imperial), measure(tail[0] + from_end, imperial)),
                head=(measure(abs(head[1] - at), imperial), measure(head[0] + from_end, imperial)),
                line_offset=measure(line.offset, imperial),
                line=line.kind,
                turn=f"{round(p.turn % 360.0, 2) % 360.0:g}°",
                turn_words=turn_words(p.turn),
                gives=p.gives,
                follows=p.follows,
                second_cloth=p.second_cloth,
            )
            band = math.floor(round(box[0], 2) / _BAND_MM)
            # rounded, so that a lay that was written and read again is in the same order
            x, y = round(box[0], 2), round(box[1], 2)
            drafts.append(((s, phase, band, 0.0 if p.on_fold else 1.0, x, y, float(i in leaders)), row))
        first += len(section.placements)
    drafts.sort(key=lambda pair: pair[0])
    kept = [p.number for p in lay.placements if p.number is not None]
    known = kept if len(set(kept)) == len(drafts) else None
    return tuple(
        replace(row, number=n if known is None else known[row.index]) for n, (_, row) in enumerate(drafts, start=1)
    )


def sheet(lay: Lay) -> Sheet:
    """The rows with the measures that go with them."""
    return Sheet(
        rows(lay),
        tuple(measure(s.spread.table_width, lay.imperial) for s in lay.sections),
        measure(end_allowance_of(lay), lay.imperial),
        lay.imperial,
    )


def garment_order(lay: Lay) -> tuple[tuple[str, str | None], ...]:
    """The garments and sizes of a lay as the order lists them (others after them, by name)."""
    here = {(p.garment, p.size) for p in lay.placements}
    listed = [(g.name, g.size) for g in lay.garments if (g.name, g.size) in here]
    return (*dict.fromkeys(listed), *sorted(here - set(listed), key=lambda k: (k[0], k[1] or "")))


def bundles(lay: Lay) -> tuple[Bundle, ...]:
    """The labels to pin on, garment by garment, size by size, copy by copy."""
    found: dict[tuple[str, str | None, int], dict[str, int]] = {}
    for p in lay.placements:
        for copy in copies_of(p):
            mine = found.setdefault((p.garment, p.size, copy), {})
            mine[p.piece] = mine.get(p.piece, 0) + 1
    order = {key: n for n, key in enumerate(garment_order(lay))}
    ordered = sorted(found.items(), key=lambda item: (order[item[0][:2]], item[0][2]))
    return tuple(Bundle(g, s, c, tuple(sorted(pieces.items()))) for (g, s, c), pieces in ordered)


def end_allowance_of(lay: Lay) -> float:
    """What lies between the cut end and x = 0, mm."""
    return 0.0 if lay.remnant is not None else lay.end_allowance


def _phase(through: Sequence[int], cover: Sequence[int]) -> int:
    if len(cover) <= 1 or set(cover) <= set(through):
        return 1
    return 0 if cover[-1] in through else 2


def _edge(p: Placement, section: Section) -> str:
    """The edge that a placement is measured from: "B" for what lies on the far flap of a double fold."""
    return "B" if section.spread.kind == "double fold" and any(k >= 2 for k in p.plies) else "A"


def _as_printed(mm: float, imperial: bool) -> float:
    return parse_measure(measure(mm, imperial), unit_name(imperial))


def _lies(p: Placement, section: Section, names: tuple[str, str], centre: bool) -> str:
    if p.opened:
        return "opened out: its centre line" if centre else "opened out"
    if not p.on_fold or p.fold is None:
        return "on the fold" if p.on_fold else ""
    (x0, y0), (x1, y1) = p.fold
    for fold in section.spread.folds:
        if fold.along == "y" and abs(x0 - fold.at) < 0.1 and abs(x1 - fold.at) < 0.1:
            return "fold edge on the fold across the cloth"
        if fold.along == "x" and abs(y0 - fold.at) < 0.1 and abs(y1 - fold.at) < 0.1:
            return f"fold edge on {names[0] if abs(fold.at) < 0.1 else names[1]}"
    return "on the fold"
