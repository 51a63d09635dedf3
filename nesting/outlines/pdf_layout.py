"""Which page lies beside which, for a pattern that is printed on many sheets and glued.

Words
    *whole*: the file draws the entire path on every page that shows some of it. *cut*: each page holds only its own
    part of a line, which ends at the *clip*, the box all lines of a page end at. *pitch*: how far two neighbouring
    pages lie apart once they are glued, the clip's size less the overlap. *end*: where a line ends on the clip.
"""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from nesting.files.drawn import outline
from nesting.model.piece import Point
from nesting.outlines.pdf_sheets import Box, PdfLine, Sheet

__all__ = ["End", "Layout", "by_cut_lines", "by_whole_lines", "reading_order", "same_shape"]

#: mm. Lines drawn whole on several pages agree within this (single precision on a drawing of some metres).
_SAME_MM = 0.05
#: mm. Lines that were cut at a border end there within this.
_BORDER_MM = 0.06
#: mm. A line that goes on across two pages may be out by this much and is still taken as one line.
MEETS_MM = 3.0
#: Degrees by which its direction may differ.
_MEETS_DEG = 15.0
_FEWEST = 2


@dataclass(frozen=True)
class Layout:
    """Where each page lies: ``at`` maps page numbers to the place of the sheet's lower left corner (mm). ``spread`` is
    how far the estimates of these places disagree, ``cells`` the row and column of each page (rows from the top)."""

    at: dict[int, Point]
    spread: float = 0.0
    cells: dict[int, tuple[int, int]] | None = None
    clip: Box | None = None
    pitch: tuple[float, float] | None = None
    how: str = ""


@dataclass(frozen=True)
class End:
    """An end of a line on the clip. ``way``: the direction in which the line would go on, degrees."""

    at: Point
    way: float
    line: int


def _extent(line: PdfLine) -> Box:
    return outline.box(line.points)


@dataclass(frozen=True)
class _Shape:
    """What a line is, wherever it lies."""

    page: int
    line: PdfLine
    box: Box
    length: float
    middle: Point


def _shape(line: PdfLine) -> _Shape:
    box = _extent(line)
    first = line.points[0]
    half = line.points[len(line.points) // 2]
    return _Shape(
        line.page, line, box, outline.length(line.points, line.closed), (half[0] - first[0], half[1] - first[1])
    )


def same_shape(a: PdfLine, b: PdfLine) -> Point | None:
    """How far ``b`` lies from ``a`` if it is the same line moved, None if it is another one."""
    return _moved(_shape(a), _shape(b))


def _moved(a: _Shape, b: _Shape) -> Point | None:
    if a.line.closed != b.line.closed or a.line.style.dash != b.line.style.dash:
        return None
    if abs(a.length - b.length) > _SAME_MM + 1e-5 * a.length:
        return None
    shift = (b.box[0] - a.box[0], b.box[1] - a.box[1])
    other = (b.box[2] - a.box[2], b.box[3] - a.box[3])
    if abs(shift[0] - other[0]) > _SAME_MM or abs(shift[1] - other[1]) > _SAME_MM:
        return None
    if len(a.line.points) == len(b.line.points):
        mine = np.asarray(a.line.points) + shift
        if float(np.abs(mine - np.asarray(b.line.points)).max()) > 2 * _SAME_MM:
            return None
    elif abs(len(a.line.points) - len(b.line.points)) > 2 + 0.02 * len(a.line.points):
        return None
    return ((shift[0] + other[0]) / 2, (shift[1] + other[1]) / 2)


def _beyond(shape: _Shape, sheet: Sheet) -> bool:
    """Whether the line reaches out of what the page shows."""
    x0, y0, x1, y1 = sheet.clip or (0.0, 0.0, sheet.width, sheet.height)
    a, b, c, d = shape.box
    return a < x0 - 0.5 or b < y0 - 0.5 or c > x1 + 0.5 or d > y1 + 0.5


def by_whole_lines(sheets: Sequence[Sheet]) -> list[Layout]:
    """Groups of pages that draw the same lines whole, each with the places of its pages; pages alone are left out."""
    shapes: dict[int, list[_Shape]] = {}
    for sheet in sheets:
        shapes[sheet.number] = [s for s in map(_shape, sheet.lines) if s.length > 5.0]
    by_number = {sheet.number: sheet for sheet in sheets}
    table: dict[int, list[_Shape]] = defaultdict(list)
    for mine in shapes.values():
        for shape in mine:
            for key in (math.floor(shape.length), math.floor(shape.length) + 1):
                table[key].append(shape)
    moves: dict[tuple[int, int], list[tuple[Point, float]]] = defaultdict(list)
    seen: set[tuple[int, int]] = set()
    for same in table.values():
        if len(same) > 4000:
            continue
        for i, a in enumerate(same):
            for b in same[i + 1 :]:
                if a.page == b.page or (id(a), id(b)) in seen:
                    continue
                reach = _beyond(a, by_number[a.page]) or _beyond(b, by_number[b.page])
                if not reach:
                    continue
                shift = _moved(a, b)
                if shift is None or math.hypot(*shift) < 1.0:
                    continue
                seen.add((id(a), id(b)))
                moves[(a.page, b.page)].append((shift, a.length))
    links: dict[int, list[tuple[int, Point, float]]] = defaultdict(list)
    for (p, q), found in moves.items():
        shift, spread = _agreed(found)
        # what b lies off a on the sheets is how far page q lies the other way
        links[p].append((q, (-shift[0], -shift[1]), spread))
        links[q].append((p, shift, spread))
    return _laid_by(links, sheets)


def _laid_by(links: Mapping[int, Sequence[tuple[int, Point, float]]], sheets: Sequence[Sheet]) -> list[Layout]:
    """Pages placed one from another along ``links`` (page, how far it lies off, mm, how sure that is, mm)."""
    layouts = []
    placed: set[int] = set()
    for sheet in sheets:
        if sheet.number in placed or sheet.number not in links:
            continue
        at: dict[int, Point] = {sheet.number: (0.0, 0.0)}
        worst = 0.0
        queue = [sheet.number]
        while queue:
            p = queue.pop(0)
            for q, shift, spread in links[p]:
                there = (at[p][0] + shift[0], at[p][1] + shift[1])
                if q in at:
                    worst = max(worst, math.dist(at[q], there))
                else:
                    at[q] = there
                    queue.append(q)
                worst = max(worst, spread)
        placed |= set(at)
        layouts.append(Layout(at, worst, how="the lines that several pages draw whole"))
    return layouts


def _agreed(found: Sequence[tuple[Point, float]]) -> tuple[Point, float]:
    """The shift that most of the length agrees on, and how far those that agree with it differ."""
    best: list[tuple[Point, float]] = []
    weight = -1.0
    for shift, _ in found[:200]:
        near = [one for one in found if math.dist(one[0], shift) <= 4 * _SAME_MM]
        total = sum(length for _, length in near)
        if total > weight:
            best, weight = near, total
    x = sum(s[0] * w for s, w in best) / weight
    y = sum(s[1] * w for s, w in best) / weight
    return (x, y), max(math.dist(s, (x, y)) for s, _ in best)


# --- lines cut at the border ---------------------------------------------------------------------------------------


def clip_of(sheets: Sequence[Sheet]) -> Box:
    """The box that all lines of all pages lie in."""
    boxes = [_extent(line) for sheet in sheets for line in sheet.lines]
    return (min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes), max(b[3] for b in boxes))


def ends_on(sheet: Sheet, clip: Box) -> dict[str, list[End]]:
    """The ends of the sheet's open lines on each side of the clip: left, right, bottom, top."""
    found: dict[str, list[End]] = {"left": [], "right": [], "bottom": [], "top": []}
    for index, line in enumerate(sheet.lines):
        if line.closed or len(line.points) < 2:
            continue
        for end, other in ((line.points[0], line.points[1]), (line.points[-1], line.points[-2])):
            way = math.degrees(math.atan2(end[1] - other[1], end[0] - other[0]))
            for side, away, out in (
                ("left", end[0] - clip[0], 180.0),
                ("right", clip[2] - end[0], 0.0),
                ("bottom", end[1] - clip[1], -90.0),
                ("top", clip[3] - end[1], 90.0),
            ):
                if abs(away) <= _BORDER_MM and turn(way, out) < 89.0:
                    found[side].append(End(end, way, index))
    return found


def turn(a: float, b: float) -> float:
    """The angle between two directions, degrees, 0 to 180."""
    return abs((a - b + 180.0) % 360.0 - 180.0)


class _Crossings:
    """Where a sheet's lines cross an upright or a level line, with their directions."""

    def __init__(self, sheet: Sheet) -> None:
        rows: list[tuple[float, float, float, float]] = []
        for line in sheet.lines:
            points = line.points if not line.closed else (*line.points, line.points[0])
            rows += [(*points[i], *points[i + 1]) for i in range(len(points) - 1)]
        self.rows = np.asarray(rows, dtype=float).reshape(-1, 4)

    def level(self, y: float) -> list[tuple[float, float]]:
        return self._at(y, 1, 0)

    def upright(self, x: float) -> list[tuple[float, float]]:
        return self._at(x, 0, 1)

    def _at(self, value: float, fixed: int, free: int) -> list[tuple[float, float]]:
        """(place, direction in degrees) of all crossings with the line on which coordinate ``fixed`` has the value."""
        a, b = self.rows[:, fixed], self.rows[:, fixed + 2]
        hit = (np.minimum(a, b) - 0.01 <= value) & (np.maximum(a, b) + 0.01 >= value)
        result = []
        for row in self.rows[hit]:
            rise = row[fixed + 2] - row[fixed]
            t = 0.5 if abs(rise) < 1e-9 else min(1.0, max(0.0, (value - row[fixed]) / rise))
            where = row[free] + t * (row[free + 2] - row[free])
            result.append((float(where), math.degrees(math.atan2(row[3] - row[1], row[2] - row[0]))))
        return result


def _slant(a: float, b: float) -> float:
    """The angle between two lines without direction, 0 to 90 degrees."""
    d = turn(a, b)
    return min(d, 180.0 - d)


class _Jigsaw:
    """Which pages fit beside which."""

    def __init__(self, sheets: Sequence[Sheet]) -> None:
        from shapely import LineString, STRtree

        self.sheets = {s.number: s for s in sheets}
        self.clip = clip_of(sheets)
        self.ends = {s.number: ends_on(s, self.clip) for s in sheets}
        self.cross = {s.number: _Crossings(s) for s in sheets}
        self.trees = {
            s.number: STRtree(
                [LineString(ln.points if not ln.closed else (*ln.points, ln.points[0])) for ln in s.lines]
            )
            for s in sheets
        }
        self.scores: dict[tuple[int, int, bool], float] = {}
        self.pitch = (0.0, 0.0)

    def pitches(self, across: bool) -> list[float]:
        """Pitches that the most ends speak for, the best first; the clip's own size last."""
        low, high = ("left", "right") if across else ("top", "bottom")
        size = self.clip[2] - self.clip[0] if across else self.clip[3] - self.clip[1]
        votes: Counter[int] = Counter()
        exact: dict[int, list[float]] = defaultdict(list)
        numbers = list(self.sheets)
        for p in numbers:
            for q in numbers:
                if p == q:
                    continue
                for end in self.ends[q][low][:60]:
                    crossing = self.cross[p].level(end.at[1]) if across else self.cross[p].upright(end.at[0])
                    self._vote(
                        [(x - self.clip[0] if across else self.clip[3] - x, d) for x, d in crossing],
                        end, size, votes, exact,
                    )  # fmt: skip
                for end in self.ends[p][high][:60]:
                    crossing = self.cross[q].level(end.at[1]) if across else self.cross[q].upright(end.at[0])
                    self._vote(
                        [(self.clip[2] - x if across else x - self.clip[1], d) for x, d in crossing],
                        end, size, votes, exact,
                    )  # fmt: skip
        total = {k: votes[k] + 0.9 * (votes[k - 1] + votes[k + 1]) for k in votes}
        best = sorted(total, key=lambda k: -total[k])[:6]
        found = [float(np.median([*exact[k - 1], *exact[k], *exact[k + 1]])) for k in best]
        return [*found, size]

    @staticmethod
    def _vote(
        crossing: list[tuple[float, float]], end: End, size: float, votes: Counter[int], exact: dict[int, list[float]]
    ) -> None:
        for pitch in {round(p, 3) for p, way in crossing if 0.5 * size < p <= size + 0.2 and _slant(way, end.way) <= 5}:
            votes[round(pitch / 0.1)] += 1
            exact[round(pitch / 0.1)].append(pitch)

    def score(self, p: int, q: int, across: bool) -> float:
        """How well q fits to the right of p (``across``), or below it: ends that meet less ends that do not."""
        key = (p, q, across)
        if key not in self.scores:
            shift = (self.pitch[0], 0.0) if across else (0.0, -self.pitch[1])
            mine, theirs = ("right", "left") if across else ("bottom", "top")
            total = 0.0
            for end in self.ends[p][mine]:
                total += self._meets(q, (end.at[0] - shift[0], end.at[1] - shift[1]), end)
            for end in self.ends[q][theirs]:
                total += self._meets(p, (end.at[0] + shift[0], end.at[1] + shift[1]), end)
            self.scores[key] = total
        return self.scores[key]

    def _meets(self, page: int, at: Point, end: End) -> float:
        from shapely import Point as Dot

        tree = self.trees[page]
        if not len(tree.geometries):
            return -1.0
        dot = Dot(at)
        best = -1.0
        for i in tree.query(dot.buffer(MEETS_MM)):
            line = tree.geometries[int(i)]
            away = line.distance(dot)
            if away > MEETS_MM:
                continue
            where = line.project(dot)
            a, b = line.interpolate(max(0.0, where - 0.5)), line.interpolate(min(line.length, where + 0.5))
            if _slant(math.degrees(math.atan2(b.y - a.y, b.x - a.x)), end.way) <= _MEETS_DEG:
                best = max(best, 1.0 - 0.5 * away / MEETS_MM)
        return best

    def total(self, cells: dict[int, tuple[int, int]]) -> float:
        """The score of a whole layout; ends at a side where there is no page count against it."""
        where = {cell: page for page, cell in cells.items()}
        sum_ = 0.0
        for page, (row, column) in cells.items():
            for side, cell, across in (
                ("right", (row, column + 1), True),
                ("bottom", (row + 1, column), False),
                ("left", (row, column - 1), None),
                ("top", (row - 1, column), None),
            ):
                other = where.get(cell)
                if other is None:
                    sum_ -= len(self.ends[page][side])
                elif across is not None:
                    sum_ += self.score(page, other, across)
        return sum_

    def count(self) -> int:
        """How many ends there are."""
        return sum(len(ends) for sides in self.ends.values() for ends in sides.values())

    def greedy(self) -> dict[int, tuple[int, int]] | None:
        """A layout from the best fits alone, whatever the order of the pages."""
        numbers = list(self.sheets)
        if len(numbers) > 60:
            return None
        fits = [
            (self.score(p, q, across), p, q, across)
            for p in numbers for q in numbers if p != q for across in (True, False)
        ]  # fmt: skip
        fits = sorted((f for f in fits if f[0] > 0), key=lambda f: (-f[0], f[1], f[2]))
        parts: dict[int, dict[int, tuple[int, int]]] = {n: {n: (0, 0)} for n in numbers}
        for _, p, q, across in fits:
            one, other = parts[p], parts[q]
            if one is other:
                continue
            row, column = one[p]
            want = (row, column + 1) if across else (row + 1, column)
            dr, dc = want[0] - other[q][0], want[1] - other[q][1]
            moved = {n: (r + dr, c + dc) for n, (r, c) in other.items()}
            if set(moved.values()) & set(one.values()):
                continue
            one.update(moved)
            for n in moved:
                parts[n] = one
        whole = parts[numbers[0]]
        largest = max(parts.values(), key=len)
        whole = largest if len(largest) > len(whole) else whole
        if len(whole) < 2:
            return None
        low_r, low_c = min(r for r, _ in whole.values()), min(c for _, c in whole.values())
        return {n: (r - low_r, c - low_c) for n, (r, c) in whole.items()}


_LETTER_NUMBER = re.compile(r"^([A-Z])\s?[-./]?\s?(\d{1,2})$|^(\d{1,2})\s?[-./]?\s?([A-Z])$")
_ROW_COLUMN = re.compile(r"\b(?:row|reihe|zeile|r)\W{0,2}(\d{1,2})\W+(?:col|column|spalte|c)\W{0,2}(\d{1,2})\b", re.I)
_NUMBER = re.compile(
    r"^(?:(?:page|seite|sheet|blatt|tile|p\.?)\s*)?(\d{1,3})(?:\s*(?:/|of|von|sur|de)\s*\d{1,3})?$", re.I
)


def reading_order(sheets: Sequence[Sheet]) -> tuple[list[int] | None, list[dict[int, tuple[int, int]]]]:
    """What labels on the pages say: the pages in the order of their numbers, and layouts by rows and columns."""
    grids: dict[int, tuple[int, int]] = {}
    numbers: dict[int, int] = {}
    letters: dict[int, tuple[int, int]] = {}
    for sheet in sheets:
        for text in sheet.texts:
            words = text.text.strip()
            both = _ROW_COLUMN.search(words)
            if both:
                grids.setdefault(sheet.number, (int(both[1]), int(both[2])))
            found = _LETTER_NUMBER.match(words)
            if found:
                letter, digit = (found[1], found[2]) if found[1] else (found[4], found[3])
                letters.setdefault(sheet.number, (ord(letter) - 65, int(digit)))
            number = _NUMBER.match(words)
            if number:
                numbers.setdefault(sheet.number, int(number[1]))
    layouts = []
    everyone = {s.number for s in sheets}
    for known in (grids, letters):
        if set(known) == everyone and len(set(known.values())) == len(known):
            layouts.append(_from_zero(known))
            if known is letters:
                layouts.append(_from_zero({n: (c, r) for n, (r, c) in known.items()}))
    order = None
    if set(numbers) == everyone and len(set(numbers.values())) == len(numbers):
        order = sorted(everyone, key=lambda n: numbers[n])
    return order, layouts


def _from_zero(cells: dict[int, tuple[int, int]]) -> dict[int, tuple[int, int]]:
    low_r, low_c = min(r for r, _ in cells.values()), min(c for _, c in cells.values())
    return {n: (r - low_r, c - low_c) for n, (r, c) in cells.items()}


def _grids(order: Sequence[int]) -> Iterable[dict[int, tuple[int, int]]]:
    """All ways to lay pages in rows or columns in their order, the usual ones first."""
    n = len(order)
    for columns in range(1, n + 1):
        rows = math.ceil(n / columns)
        yield {p: (i // columns, i % columns) for i, p in enumerate(order)}
        yield {p: (rows - 1 - i // columns, i % columns) for i, p in enumerate(order)}
        # by columns, each from the top or from the bottom
        yield {p: (i % columns, i // columns) for i, p in enumerate(order)}
        yield {p: (columns - 1 - i % columns, i // columns) for i, p in enumerate(order)}
        yield {p: (i // columns, columns - 1 - i % columns) for i, p in enumerate(order)}


def by_cut_lines(sheets: Sequence[Sheet], hints: tuple[float, float] | None = None) -> Layout | None:
    """The layout of pages whose lines are cut at their borders, None where nothing shows that they belong together.

    ``hints``: a pitch across and down that marks on the pages speak for.
    """
    full = [s for s in sheets if s.lines]
    if len(full) < _FEWEST:
        return None
    jigsaw = _Jigsaw(sheets_with_lines(sheets))
    if jigsaw.count() == 0:
        return None
    across, down = jigsaw.pitches(True), jigsaw.pitches(False)
    if hints is not None:
        across.insert(min(2, len(across) - 1), hints[0])
        down.insert(min(2, len(down) - 1), hints[1])
    order, labelled = reading_order(sheets)
    everyone = [s.number for s in sheets]
    blank = {s.number for s in sheets} - set(jigsaw.sheets)
    best: tuple[float, dict[int, tuple[int, int]], tuple[float, float], str] | None = None
    pairs = [(a, d) for a in dict.fromkeys(across[:3] + across[-1:]) for d in dict.fromkeys(down[:3] + down[-1:])]
    for pitch in pairs:
        jigsaw.pitch, jigsaw.scores = pitch, {}
        tries: list[tuple[dict[int, tuple[int, int]], str]] = [(cells, "their labels") for cells in labelled]
        orders = [(order, "their numbers")] if order is not None and order != everyone else []
        orders.append((everyone, "their order"))
        if blank:
            orders.append(([n for n in everyone if n not in blank], "their order"))
        for one, how in orders:
            tries += [(cells, how) for cells in _grids(one)]
        loose = jigsaw.greedy()
        if loose is not None:
            tries.append((loose, "the lines that go on from one to the other"))
        for cells, how in tries:
            known = {n: cell for n, cell in cells.items() if n not in blank}
            total = jigsaw.total(known) + (0.25 if how == "their labels" else 0.0)
            if best is None or total > best[0] + 1e-6:
                best = (total, known, pitch, how)
    if best is None:
        return None
    total, cells, pitch, how = best
    jigsaw.pitch, jigsaw.scores = pitch, {}
    where = {cell: page for page, cell in cells.items()}
    met = 0.0
    for page, (row, column) in cells.items():
        for cell, is_across in (((row, column + 1), True), ((row + 1, column), False)):
            if cell in where:
                met += max(0.0, jigsaw.score(page, where[cell], is_across))
    if met <= 0.0 or met < 0.2 * jigsaw.count():
        return None
    at = {n: (column * pitch[0], -row * pitch[1]) for n, (row, column) in cells.items()}
    return Layout(at, 0.0, cells, jigsaw.clip, pitch, how)


def sheets_with_lines(sheets: Sequence[Sheet]) -> list[Sheet]:
    """Those that draw something."""
    return [s for s in sheets if s.lines]
