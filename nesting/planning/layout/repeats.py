"""Stripes, checks and prints: where the repeat of the cloth lets a piece lie.

A seam that is to match ties one notch of each of its pieces, taken at the seam line, to the same place within the
repeat.
All pieces of one garment that are joined by such seams share one way up, so that their match points stay in step.
A motif ties a point of the piece to a multiple of the repeat plus an offset. Both become lattices of the packing
problem, which the search honours exactly.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from nesting.model.errors import CannotLayError, OrderError
from nesting.model.order import Cloth, CutPiece, Motif
from nesting.model.piece import Point
from nesting.model.tolerances import REPEAT_MM
from nesting.resolving.cutting_list import CuttingList, MatchPoint

__all__ = [
    "Matching",
    "Phase",
    "match_points",
    "matching_for",
    "phases",
    "unmatched_sides",
]


@dataclass(frozen=True)
class Matching:
    """What the repeat asks of one piece: its match points (all in step) and its motif."""

    points: tuple[MatchPoint, ...] = ()
    motif: Motif | None = None

    @property
    def any(self) -> bool:
        """Whether anything is asked."""
        return bool(self.points) or self.motif is not None


def match_points(listed: CuttingList, size: str | None) -> tuple[MatchPoint, ...]:
    """The match points of all seams with ``match = true``, for one size.

    OrderError where a seam has no notch to match at.
    """
    found: list[MatchPoint] = []
    for seam in listed.matched:
        if seam.size != size:
            continue
        if seam.bare is not None:
            raise OrderError(
                f"the seam is to match stripes, but edge '{seam.bare}' has no notch to match at: add one "
                "(add_centre_notches) or leave match out",
                file=listed.path,
                key="seam",
                code="repeat.no-notch",
            )
        found += seam.points
    return tuple(found)


def matching_for(listed: CuttingList, cloth: Cloth, cut: CutPiece) -> Matching:
    """What the cloth's repeat asks of this piece. CannotLayError where two seams of it cannot both match."""
    if cloth.repeat_along <= 0.0 and cloth.repeat_across <= 0.0:
        return Matching()
    points = tuple(p for p in match_points(listed, cut.size) if p.piece == cut.name)
    return Matching(points, cut.motif)


@dataclass(frozen=True)
class Phase:
    """Where a piece lies within the repeat. ``offset`` (mm, unflipped and at 0°): its reference point from the zero of
    its *chain*, the pieces of a garment that matching seams join. Flipped, a piece lies as mirrored across that zero.
    ``at``: where a motif puts the zero within the repeat; None where any place will do. ``chain``: those pieces.
    ``both_sides``: crosswise, halves that are opened out match on their other side as well."""

    offset: Point
    chain: tuple[CutPiece, ...]
    at: Point | None = None
    both_sides: bool = True


def phases(listed: CuttingList, cloth: Cloth, size: str | None) -> dict[str, Phase]:
    """The phase of each piece that matching seams join, by its name.

    The zero of a chain is a motif, if one of its pieces has one, else the fold edge of a half: opened out, a half then
    meets the right piece on one side and the left piece, which is mirrored, on the other. CannotLayError where a chain
    closes on itself with another phase, naming the pieces and the difference.
    """
    points = match_points(listed, size)
    cuts = {p.piece: p.cut for p in points}
    found: dict[str, Phase] = {}
    for first in sorted({p.piece for p in points}):
        if first not in found:
            offsets = _chained(cloth, points, first)
            zero, at = _zero(cloth, {name: cuts[name] for name in sorted(offsets)}, offsets)
            folds = [offsets[name][1] + y - zero[1] for name in offsets if (y := _fold_y(cuts[name])) is not None]
            both = all(abs(_wrapped(2.0 * y, cloth.repeat_across)) <= REPEAT_MM / 2 for y in folds)
            for name, (x, y) in offsets.items():
                found[name] = Phase((x - zero[0], y - zero[1]), tuple(cuts[n] for n in offsets), at, both)
    return found


def _wrapped(value: float, period: float) -> float:
    return value - period * round(value / period) if period > 0.0 else 0.0


def _chained(cloth: Cloth, points: tuple[MatchPoint, ...], first: str) -> dict[str, Point]:
    """The offsets of all pieces that are joined to ``first``, from that one's reference point."""
    by_phase: dict[str, list[MatchPoint]] = {}
    for p in points:
        by_phase.setdefault(p.phase, []).append(p)
    offsets: dict[str, Point] = {first: (0.0, 0.0)}
    queue = [first]
    while queue:
        name = queue.pop()
        ox, oy = offsets[name]
        for p in [q for q in points if q.piece == name]:
            for other in by_phase[p.phase]:
                if other.piece == name:
                    continue
                want = (ox + p.point[0] - other.point[0], oy + p.point[1] - other.point[1])
                known = offsets.get(other.piece)
                if known is None:
                    offsets[other.piece] = want
                    queue.append(other.piece)
                    continue
                for axis, period in ((0, cloth.repeat_along), (1, cloth.repeat_across)):
                    off = _wrapped(known[axis] - want[axis], period)
                    if abs(off) > REPEAT_MM:
                        raise CannotLayError(
                            f"its seams with '{name}' cannot all match the repeat of {period:.4g} mm with both lying "
                            f"one way: two of them differ by {abs(off):.1f} mm; leave match out on one of them",
                            piece=other.piece,
                            code="repeat.seams",
                        )
    return offsets


def _zero(cloth: Cloth, cuts: dict[str, CutPiece], offsets: dict[str, Point]) -> tuple[Point, Point | None]:
    """The zero of a chain, from the reference point of its first piece, and where a motif puts it."""
    tied = [(name, cut.motif) for name, cut in cuts.items() if cut.motif is not None]
    if tied:
        (name, motif), *others = tied
        zero = (offsets[name][0] + motif.point[0], offsets[name][1] + motif.point[1])
        for other, wanted in others:
            turns = cloth.nap != "one way" and cuts[other].turn != "one way"
            _check_motifs(cloth, (name, motif), (other, wanted), zero, offsets[other], turns, cuts[other].mirrored)
        return zero, motif.offset
    return (
        0.0,
        next((offsets[name][1] + y for name, cut in cuts.items() if (y := _fold_y(cut)) is not None), 0.0),
    ), None


def _check_motifs(
    cloth: Cloth,
    first: tuple[str, Motif],
    other: tuple[str, Motif],
    zero: Point,
    offset: Point,
    turns: bool,
    mirrored: bool,
) -> None:
    """Two motifs in one chain agree, as drawn and in the other ways in which their pieces have to lie."""
    for axis, period in ((0, cloth.repeat_along), (1, cloth.repeat_across)):
        apart = offset[axis] + other[1].point[axis] - zero[axis]
        moved = other[1].offset[axis] - first[1].offset[axis]
        off = abs(_wrapped(moved - apart, period))
        if turns or (axis == 1 and mirrored):
            off = max(off, abs(_wrapped(moved + apart, period)))
        if off > REPEAT_MM:
            raise CannotLayError(
                f"its motif and that of '{first[0]}' cannot both lie on the repeat of {period:.4g} mm while the seams "
                f"between them match: {off:.1f} mm are left over; leave out one of the motifs, or match",
                piece=other[0],
                code="repeat.motif",
            )


def _fold_y(cut: CutPiece) -> float | None:
    """Where the fold edge of a half lies across its grain; None for a whole piece, or a fold across the grain."""
    fold = cut.piece.fold
    return fold[0][1] if fold is not None and abs(fold[0][1] - fold[1][1]) < 1e-6 else None


def unmatched_sides(listed: CuttingList, cloth: Cloth, sizes: Iterable[str | None]) -> tuple[str, ...]:
    """What cannot match across the cloth although its order asks for it: the other sides of halves that are opened out.

    Where a seam meets on the drawn side, a half's other side lies where its fold edge puts it; that of a pair is the
    left piece. One sentence for each seam and size.
    """
    repeat = cloth.repeat_across
    found: dict[str, None] = {}
    for size in sizes if repeat > 0.0 else ():
        known = phases(listed, cloth, size)
        for seam in listed.matched:
            if seam.size != size:
                continue
            # how far the other side of each is from the mirror image of the drawn one across the chain's zero
            other: list[tuple[str, float]] = []
            for cut in (p.cut for p in seam.points):
                y = _fold_y(cut)
                if y is not None:
                    other.append((cut.piece.label, 2.0 * (known[cut.name].offset[1] + y)))
                elif cut.mirrored:
                    other.append((cut.piece.label, 0.0))
            for name, there in other[1:]:
                off = abs(_wrapped(there - other[0][1], repeat))
                if off > REPEAT_MM / 2:
                    found[
                        f"across the cloth the seam {' – '.join(seam.edges)} matches on the drawn side only: on the "
                        f"other side '{other[0][0]}' and '{name}' are {off:.1f} mm off within the repeat of "
                        f"{repeat:.4g} mm, as their fold edges put it; a match point {off / 2:.1f} mm nearer to its "
                        "fold edge, or farther from it, would bring both sides together"
                    ] = None
    return tuple(found)
