"""Stripes, checks and prints: do the match points of joined pieces meet, and are motifs at their place in the repeat?

All is measured on the opened-out cloth, right side up, x from the lay's first edge and y from the selvage at 0.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import LinearRing, Point

from nesting.lay import Lay
from nesting.order import Cloth, CutPiece, Order, Seam
from nesting.pieces.piece import Notch
from nesting.proof.motion import Array, over_line
from nesting.proof.placing import Judged
from nesting.proof.unfold import ClothPiece
from nesting.proof.verdict import Failure
from nesting.tolerances import REPEAT_MM

__all__ = ["check_repeats", "match_notches"]

#: mm. A notch belongs to an edge that its place on the seam line reaches within this.
ON_EDGE = 1.0


@dataclass(frozen=True)
class _EdgeNotch:
    """A notch of an edge: its place on the seam line, and how far it is from the edge's start (of ``length``), mm."""

    name: str | None
    at: tuple[float, float]
    along: float
    length: float


def match_notches(seam: Seam, cuts: Sequence[CutPiece]) -> list[tuple[float, float]] | None:
    """For each edge of a seam the point (grain frame, mm, on the seam line) that has to meet those of the others.

    The first notch of the first edge that all edges have under one name; without such a name, the notch of the first
    edge that is nearest its start and the notch that meets it on each other edge. None where an edge has no notch.
    """
    lists = [_edge_notches(cut, name.partition(".")[2]) for name, cut in zip(seam.edges, cuts, strict=True)]
    if not all(lists):
        return None
    for notch in lists[0]:
        same = [next((n for n in others if n.name == notch.name), None) for others in lists]
        if notch.name and all(same):
            return [n.at for n in same if n is not None]
    first = lists[0]
    return [first[0].at] + [_meeting(first, others).at for others in lists[1:]]


def _meeting(first: list[_EdgeNotch], others: list[_EdgeNotch]) -> _EdgeNotch:
    """The notch that meets the first one of the other edge, from the common end that fits the notches better."""

    def places(backwards: bool) -> list[float]:
        return [n.length - n.along if backwards else n.along for n in others]

    def misfit(backwards: bool) -> float:
        return sum(min(abs(n.along - s) for s in places(backwards)) for n in first)

    # Two edges that are both run anticlockwise meet head to tail, so that is tried first.
    there = places(misfit(True) <= misfit(False))
    return others[int(np.argmin([abs(first[0].along - s) for s in there]))]


def _edge_notches(cut: CutPiece, edge_name: str) -> list[_EdgeNotch]:
    edge = next((e for e in cut.piece.edges if e.name == edge_name), None)
    if edge is None:
        return []
    line = LinearRing(cut.piece.seam or cut.piece.outline)
    if not line.is_ccw:
        line = line.reverse()
    start = line.project(Point(edge.start))
    length = (line.project(Point(edge.end)) - start) % line.length or line.length
    found = []
    for notch in cut.piece.notches:
        along = (line.project(Point(notch.at)) - start + ON_EDGE) % line.length - ON_EDGE
        if along <= length + ON_EDGE:
            at = line.interpolate(line.project(Point(notch.at)))
            found.append(_EdgeNotch(_name(notch), (at.x, at.y), along, length))
    return sorted(found, key=lambda n: n.along)


def _name(notch: Notch) -> str | None:
    return notch.name or None


def check_repeats(
    lay: Lay, order: Order, cloth: Cloth, judged: Mapping[int, Judged], pieces: Sequence[ClothPiece]
) -> list[Failure]:
    """Failures of matching seams and of motifs; none where the cloth has no repeat."""
    repeats = (cloth.repeat_along, cloth.repeat_across)
    if max(repeats) <= 0.0:
        return []
    failures: list[Failure] = []
    for piece in pieces:
        j = judged[piece.placement]
        motif = j.cut.motif
        if motif is None:
            continue
        at = piece.to_cloth.points(motif.point) - np.array(motif.offset)
        for axis, repeat, way in zip((0, 1), repeats, ("lengthwise", "crosswise"), strict=True):
            off = _off(float(at[axis]), repeat)
            if abs(off) > REPEAT_MM:
                failures.append(_off_place(j, f"its motif is {off:.2f} mm off its place in the {way} repeat"))
    for seam in order.seams:
        if seam.match:
            failures += _check_seam(order, cloth, seam, judged, pieces)
    return failures


def _off(value: float, repeat: float) -> float:
    """Distance from the nearest multiple of the repeat, with its sign, mm; 0 where there is no repeat."""
    return value - repeat * round(value / repeat) if repeat > 0.0 else 0.0


def _off_place(j: Judged, message: str) -> Failure:
    p = j.placement
    return Failure("repeat", f"{p.label}: {message}", p.piece, (p.x, p.y), j.section)


def _check_seam(
    order: Order, cloth: Cloth, seam: Seam, judged: Mapping[int, Judged], pieces: Sequence[ClothPiece]
) -> list[Failure]:
    failures: list[Failure] = []
    names = [edge.partition(".")[0] for edge in seam.edges]
    for garment in order.garments:
        if not set(names) <= set(garment.pieces):
            continue
        points = match_notches(seam, [order.cut_piece(name, garment.size) for name in names])
        if points is None:
            failures.append(
                Failure("repeat", f"seam {' – '.join(seam.edges)} is to match, but an edge has no notch to match at")
            )
            continue
        by_name = dict(zip(names, points, strict=True))
        groups: dict[int, list[ClothPiece]] = {}
        for piece in pieces:
            p = judged[piece.placement].placement
            if (p.garment, p.size) == (garment.name, garment.size) and p.piece in by_name:
                for copy in set(p.copies or (p.copy,)):
                    groups.setdefault(copy, []).append(piece)
        for group in groups.values():
            failures += _check_copy(seam, cloth, by_name, group, judged)
    return failures


def _check_copy(
    seam: Seam,
    cloth: Cloth,
    points: Mapping[str, tuple[float, float]],
    group: Sequence[ClothPiece],
    judged: Mapping[int, Judged],
) -> list[Failure]:
    """One garment: all match points of its right side agree, and all of its left side.

    A piece that was half drawn has a match point on either side; which of them is the right one is left open, so every
    way of reading it is tried and the best one judged.
    """
    sided: dict[str, list[tuple[ClothPiece, Array]]] = {"right": [], "left": []}
    both: list[tuple[ClothPiece, Array, Array]] = []
    for piece in group:
        j = judged[piece.placement]
        point = points[j.placement.piece]
        at = piece.to_cloth.points(point)
        if j.cut.piece.fold is None:
            sided[piece.hand].append((piece, at))
        else:
            other = over_line(*j.cut.piece.fold).points(point)
            both.append((piece, at, piece.to_cloth.points(other)))
    best: list[Failure] | None = None
    for ways in itertools.islice(itertools.product((False, True), repeat=len(both)), 256):
        right, left = list(sided["right"]), list(sided["left"])
        for (piece, one, other), swapped in zip(both, ways, strict=True):
            right.append((piece, other if swapped else one))
            left.append((piece, one if swapped else other))
        found = _apart(seam, cloth, right, judged) + _apart(seam, cloth, left, judged)
        if best is None or len(found) < len(best):
            best = found
        if not best:
            break
    return best or []


def _apart(
    seam: Seam, cloth: Cloth, side: Sequence[tuple[ClothPiece, Array]], judged: Mapping[int, Judged]
) -> list[Failure]:
    failures: list[Failure] = []
    for axis, repeat, way in ((0, cloth.repeat_along, "lengthwise"), (1, cloth.repeat_across, "crosswise")):
        if repeat <= 0.0 or len(side) < 2:
            continue
        first = float(side[0][1][axis])
        for piece, at in side[1:]:
            off = _off(float(at[axis]) - first, repeat)
            if abs(off) > REPEAT_MM:
                other = judged[side[0][0].placement].placement.label
                message = (
                    f"at the seam {' – '.join(seam.edges)} its match point is {off:.2f} mm off that of {other} "
                    f"in the {way} repeat of {repeat:g} mm"
                )
                failures.append(_off_place(judged[piece.placement], message))
    return failures
