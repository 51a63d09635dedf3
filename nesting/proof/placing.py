"""Each placement by itself: is it that piece, with all its marks, turned and folded as it may be, on the cloth?"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from nesting.model.lay import Placement
from nesting.model.order import Cloth, CutPiece
from nesting.model.piece import Point
from nesting.model.tolerances import FOLD_MM, MARK_MM, SHAPE_MM
from nesting.proof.motion import Array, Motion, lying
from nesting.proof.pattern import Mark, Pattern, near, pattern_of
from nesting.proof.table import Fold, Table
from nesting.proof.turning import why_not_turned
from nesting.proof.unfold import off_fold
from nesting.proof.verdict import Failure, FailureKind

__all__ = ["EDGE_SLACK", "Judged", "area_words", "judge"]

#: mm. What numbers in files round off may stick out of the cloth, or lack of a gap.
EDGE_SLACK = 1e-3
#: degrees. Directions of notches agree to this.
DIRECTION_SLACK = 0.01


@dataclass(frozen=True, eq=False)
class Judged:
    """A placement and what it comes to on the table: ``outline`` is what is cut, ``uncut`` its fold edge on a fold."""

    number: int
    section: int
    placement: Placement
    cut: CutPiece
    pattern: Pattern
    motion: Motion
    outline: Polygon
    uncut: Array | None
    shape_ok: bool


class _Notes:
    """Collects failures of one placement."""

    def __init__(self, p: Placement, section: int) -> None:
        self._p, self._section = p, section
        self.failures: list[Failure] = []

    def add(self, kind: FailureKind, message: str, place: Point | None = None) -> None:
        at = place if place is not None else (self._p.x, self._p.y)
        self.failures.append(Failure(kind, f"{self._p.label}: {message}", self._p.piece, at, self._section))


def judge(
    number: int, section: int, p: Placement, cut: CutPiece, cloth: Cloth, table: Table | None, gap: float
) -> tuple[Judged | None, list[Failure]]:
    """The placement judged by itself; None with the failures where it cannot be judged any further.

    ``table`` None: the plies are not judged (a second cloth laid over, or a spread that cannot be).
    """
    notes = _Notes(p, section)
    if not all(math.isfinite(v) for v in (p.x, p.y, p.turn)):
        where = (0.0, 0.0)
        notes.add("value", f"its place is not a number: x {p.x}, y {p.y}, turn {p.turn}", where)
        return None, notes.failures
    half = cut.piece.fold is not None
    if not half and (p.on_fold or p.opened):
        notes.add("fold", "is not a half, so it can neither lie on a fold nor be opened out")
        return None, notes.failures
    if half and p.on_fold == p.opened:
        notes.add("fold", "is half a piece: it must either lie on a fold of the cloth or be opened out")
        return None, notes.failures
    if p.opened and not cut.unfold:
        notes.add("fold", "is opened out, but the order says that it may not be (unfold = false)")
    try:
        pattern = pattern_of(cut.piece, whole=p.opened)
    except ValueError as error:
        notes.add("fold", str(error))
        return None, notes.failures
    motion = lying(p.x, p.y, p.turn, p.flipped)
    why = why_not_turned(cut, cloth, p.turn, on_fold=p.on_fold)
    if why is not None:
        notes.add("turn", why)
    expected = motion.points(pattern.outline)
    outline, shape_ok = _shape(notes, p, expected)
    _marks(notes, p, pattern, motion)
    uncut = motion.points(pattern.fold) if p.on_fold and pattern.fold is not None else None
    judged = Judged(number, section, p, cut, pattern, motion, outline, uncut, shape_ok)
    if table is not None and _plies(notes, p, table):
        _folds(notes, judged, table, gap)
        _cloth(notes, judged, table)
    elif table is not None:
        return None, notes.failures
    return judged, notes.failures


def _shape(notes: _Notes, p: Placement, expected: Array) -> tuple[Polygon, bool]:
    drawn = Polygon(expected)
    stated = np.array(p.outline, dtype=float).reshape(-1, 2)
    if len(stated) < 3 or not np.isfinite(stated).all():
        notes.add("shape", "its outline is missing or holds something that is not a number")
        return drawn, False
    if not near(expected, stated, SHAPE_MM):
        off = Polygon(stated).exterior.hausdorff_distance(drawn.exterior)
        notes.add("shape", f"the outline in the lay is not the piece at that place and turn: {off:.3g} mm off")
        return drawn, False
    outline = Polygon(stated)
    return (outline, True) if outline.is_valid else (drawn, True)


def _plies(notes: _Notes, p: Placement, table: Table) -> bool:
    there = {ply.number for ply in table.plies}
    if not p.plies or len(set(p.plies)) != len(p.plies):
        notes.add("ply", f"is cut through plies {list(p.plies)}: each ply once, at least one")
        return False
    missing = [number for number in p.plies if number not in there]
    if missing:
        notes.add("ply", f"is cut through ply {missing[0]}, but the plies are {sorted(there)}")
        return False
    if p.on_fold and not any(fold.plies == set(p.plies) for fold in table.folds):
        notes.add("fold", f"lies on a fold, but no fold joins plies {sorted(p.plies)} of the {table.kind}")
        return False
    return True


def _folds(notes: _Notes, judged: Judged, table: Table, gap: float) -> None:
    p = judged.placement
    own: Fold | None = None
    if judged.uncut is not None:
        joining = [fold for fold in table.folds if fold.plies == set(p.plies)]
        own = min(joining, key=lambda fold: off_fold(fold, judged.uncut))  # type: ignore[arg-type]
        off = off_fold(own, judged.uncut)
        if off > FOLD_MM:
            a, b = judged.uncut
            middle = (float(a[0] + b[0]) / 2, float(a[1] + b[1]) / 2)
            notes.add("fold", f"its fold edge is {off:.3g} mm off the fold of the cloth", middle)
    # the other half of the gap is the twin's beyond the fold, as its error is
    needed = gap / 2 + judged.cut.piece.error
    if needed <= 0.0:
        return
    x0, y0, x1, y1 = judged.outline.bounds
    for fold in table.folds:
        if fold is own or not fold.plies & set(p.plies):
            continue
        low, high = (y0, y1) if fold.along == "x" else (x0, x1)
        away = max(low - fold.at, fold.at - high)
        if away < needed - EDGE_SLACK:
            what = "half the gap" if needed == gap / 2 else "half the gap and the error of its outline"
            notes.add("gap", f"is {away:.3g} mm from a fold that it does not lie on, {what} is {needed:.3g} mm")


def _cloth(notes: _Notes, judged: Judged, table: Table) -> None:
    for number in judged.placement.plies:
        cover = table.ply(number).cover
        if cover.covers(judged.outline):
            continue
        outside = judged.outline.difference(cover.buffer(EDGE_SLACK, join_style="mitre"))
        if not outside.is_empty and outside.area > 0.0:
            at = outside.representative_point()
            notes.add(
                "cloth",
                f"reaches beyond what may be covered of ply {number} (selvage, edge or flaw) by "
                f"{area_words(outside.area)}",
                (float(at.x), float(at.y)),
            )


def _marks(notes: _Notes, p: Placement, pattern: Pattern, motion: Motion) -> None:
    notches = [Mark(n.at, n.direction % 360.0, (n.kind, round(n.depth, 6), n.name)) for n in p.notches]
    drills = [Mark(d.at, 0.0, (round(d.diameter, 6), d.name)) for d in p.drills]
    _same_marks(notes, "notch", _moved(pattern.notches, motion, turned=True), notches)
    _same_marks(notes, "drill mark", _moved(pattern.drills, motion, turned=False), drills)
    _same_lines(notes, "inside line", [motion.points(line) for line in pattern.inside], p.inside, closed=False)
    _same_lines(notes, "cutout", [motion.points(ring) for ring in pattern.cutouts], p.cutouts, closed=True)
    seam = pattern.seam if pattern.seam is not None else pattern.seam_alone
    _same_lines(
        notes,
        "seam outline",
        [motion.points(seam)] if seam is not None else [],
        (p.seam,) if p.seam is not None else (),
        closed=True,
    )
    if pattern.grainline is not None:
        _same_ends(notes, "grainline", motion.points(pattern.grainline), p.grainline)
    if pattern.fold is not None:
        if p.fold is None:
            notes.add("mark", "its fold line is missing")
        else:
            _same_ends(notes, "fold line", motion.points(pattern.fold), p.fold, either=True)


def _moved(marks: Iterable[Mark], motion: Motion, *, turned: bool) -> list[Mark]:
    moved = []
    for mark in marks:
        x, y = motion.points(mark.at)
        direction = motion.direction(mark.direction) if turned else 0.0
        moved.append(Mark((float(x), float(y)), direction, mark.sort))
    return moved


def _agree(a: Mark, b: Mark) -> bool:
    turned = abs((a.direction - b.direction + 180.0) % 360.0 - 180.0)
    return math.dist(a.at, b.at) <= MARK_MM and turned <= DIRECTION_SLACK and a.sort == b.sort


def _same_marks(notes: _Notes, what: str, expected: list[Mark], stated: list[Mark]) -> None:
    left = list(stated)
    for i, mark in enumerate(expected):
        found = next((other for other in left if _agree(mark, other)), None)
        if found is None:
            name = f" '{mark.sort[-1]}'" if mark.sort[-1] else ""
            notes.add("mark", f"{what}{name} (no. {i + 1}) is missing, misplaced or changed", mark.at)
        else:
            left.remove(found)
    for mark in left:
        notes.add("mark", f"has a {what} that the pattern does not have there", mark.at)


def _same_lines(
    notes: _Notes, what: str, expected: list[Array], stated: Iterable[Iterable[Point]], *, closed: bool
) -> None:
    left = [np.array(tuple(line), dtype=float).reshape(-1, 2) for line in stated]
    for line in expected:
        found = next((k for k, other in enumerate(left) if near(line, other, MARK_MM, closed=closed)), None)
        if found is None:
            notes.add("mark", f"{what} is missing or misplaced", (float(line[0][0]), float(line[0][1])))
        else:
            left.pop(found)
    for line in left:
        at = (float(line[0][0]), float(line[0][1])) if len(line) else None
        notes.add("mark", f"has a {what} that the pattern does not have there", at)


def _same_ends(notes: _Notes, what: str, expected: Array, stated: tuple[Point, Point], *, either: bool = False) -> None:
    ends = np.array(stated, dtype=float).reshape(-1, 2)
    ok = ends.shape == expected.shape and (
        float(np.abs(ends - expected).max()) <= MARK_MM
        or (either and float(np.abs(ends[::-1] - expected).max()) <= MARK_MM)
    )
    if not ok:
        notes.add("mark", f"its {what} is misplaced", (float(expected[0][0]), float(expected[0][1])))


def area_words(mm2: float) -> str:
    """An area for people, mm² given: in cm² from 10 mm² on."""
    return f"{mm2 / 100.0:.1f} cm²" if mm2 >= 10.0 else f"{mm2:.2g} mm²"
