"""Stripes, checks and prints: do the match points of joined pieces meet, and are motifs at their place in the repeat?

All is measured on the opened-out cloth, right side up, x from the lay's first edge and y from the selvage at 0.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import LinearRing, Point

from nesting.model.lay import Lay
from nesting.model.order import Cloth, CutPiece, Order, Seam
from nesting.model.piece import Notch
from nesting.model.tolerances import REPEAT_MM
from nesting.proof.motion import over_line
from nesting.proof.placing import Judged
from nesting.proof.unfold import ClothPiece
from nesting.proof.verdict import Failure

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
        both = _both_sides(order, seam, garment.size, cloth.repeat_across)
        for group in groups.values():
            failures += _check_copy(seam, cloth, by_name, group, judged, both)
    return failures


def _both_sides(order: Order, seam: Seam, size: str | None, repeat: float) -> bool:
    """Whether crosswise the other sides of halves can match as their drawn sides do.

    Drawn sides that match put every fold edge, motif and match point of the joined pieces at fixed places within the
    repeat. Mirrored over its fold edge each has to do so alike, and pairs over their motif: they lie alike within half
    the repeat.
    """
    chain: dict[str, float] = {seam.edges[0].partition(".")[0]: 0.0}
    grown = True
    while grown:
        grown = False
        for other in order.seams:
            names = [edge.partition(".")[0] for edge in other.edges]
            if not other.match or not set(names) & set(chain):
                continue
            try:
                points = match_notches(other, [order.cut_piece(name, size) for name in names])
            except KeyError:
                continue
            ys = dict(zip(names, (y for _, y in points or ()), strict=False))
            known = next(name for name in names if name in chain)
            for name, y in ys.items():
                if name not in chain:
                    chain[name] = chain[known] + ys[known] - y
                    grown = True
    axes: list[float] = []
    for name, at in chain.items():
        cut = order.cut_piece(name, size)
        fold = cut.piece.fold
        if fold is not None and abs(fold[0][1] - fold[1][1]) < ON_EDGE:
            axes.append(at + fold[0][1])
        if cut.motif is not None:
            axes.append(at + cut.motif.point[1])
    return all(abs(_off(2.0 * (axis - axes[0]), repeat)) <= REPEAT_MM / 2 for axis in axes)


def _check_copy(
    seam: Seam,
    cloth: Cloth,
    points: Mapping[str, tuple[float, float]],
    group: Sequence[ClothPiece],
    judged: Mapping[int, Judged],
    both_sides: bool,
) -> list[Failure]:
    """One garment: the match points of its right pieces agree, and those of its left pieces.

    A piece that is drawn as a half has its seam twice: as drawn on one side, mirrored over its fold edge on the other.
    Lengthwise both agree; crosswise they do if ``both_sides``, else halves have to agree on one side.
    """
    failures: list[Failure] = []
    for axis, repeat, way in ((0, cloth.repeat_along, "lengthwise"), (1, cloth.repeat_across, "crosswise")):
        if repeat <= 0.0:
            continue
        sides = [(piece, _on_sides(judged[piece.placement], piece, points, axis)) for piece in group]
        told: set[int] = set()
        for i, (piece, here) in enumerate(sides):
            for first, there in sides[:i]:
                offs = {hand: _off(here[hand] - there[hand], repeat) for hand in here.keys() & there.keys()}
                if axis == 1 and not both_sides and first.hand == piece.hand:
                    offs = {piece.hand: offs[piece.hand]}
                elif axis == 1 and not both_sides and min(len(here), len(there)) < 2:
                    continue
                best = (max if axis == 0 or both_sides else min)(map(abs, offs.values()), default=0.0)
                if best > REPEAT_MM and piece.placement not in told:
                    told.add(piece.placement)
                    message = (
                        f"at the seam {' – '.join(seam.edges)} its match point is {best:.2f} mm off that of "
                        f"{judged[first.placement].placement.label} in the {way} repeat of {repeat:g} mm"
                    )
                    failures.append(_off_place(judged[piece.placement], message))
    return failures


def _on_sides(j: Judged, piece: ClothPiece, points: Mapping[str, tuple[float, float]], axis: int) -> dict[str, float]:
    """Where the match point lies on the opened-out cloth along ``axis``, mm, by the side of the garment on which it is:
    "right", "left", or both for a half."""
    drawn = np.array(points[j.placement.piece])
    at = {piece.hand: float(piece.to_cloth.points(drawn)[axis])}
    fold = j.cut.piece.fold
    if fold is not None and (axis == 0 or _along_grain(j)):
        # over a fold edge across the grain a piece has no other side, only another end
        other = over_line(*fold).points(drawn) if _along_grain(j) else drawn
        at["left" if piece.hand == "right" else "right"] = float(piece.to_cloth.points(other)[axis])
    return at


def _along_grain(j: Judged) -> bool:
    fold = j.cut.piece.fold
    return fold is not None and abs(fold[0][1] - fold[1][1]) < ON_EDGE
