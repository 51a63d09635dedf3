"""What one cloth has to give: every cloth piece of every garment, by hand.

Glossary
    *cloth piece*: one piece of cloth as cut. *Hand*: "right" when the printed side of the pattern and the right side of
    the cloth face the same way, "left" when they face opposite ways, None when it makes no difference: the
    outline is symmetric about an axis along its grainline, marks included, or the cloth has no right side.
    *Need*: one cloth piece that one copy of a garment needs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from nesting.model.errors import CannotLayError, OrderError
from nesting.model.lay import mirrored_over_fold
from nesting.model.order import Cloth, CutPiece, Garment, Order, Together
from nesting.model.piece import Piece
from nesting.planning.cut_together.followers import agreed, comes_out_left

__all__ = ["Counts", "Hand", "Need", "Stack", "garment_counts", "handless", "is_symmetric", "needs_of", "stacks_of"]

Hand = Literal["right", "left"]
#: (garment name, size) -> how many
Counts = Mapping[tuple[str, str | None], int]


@dataclass(frozen=True)
class Need:
    """One cloth piece for one copy of a garment. ``follower`` is cut through at this piece's place, same cloth."""

    cut: CutPiece
    garment: str
    size: str | None
    copy: int
    hand: Hand | None
    follower: CutPiece | None = None
    faces: Literal["same", "to the leader"] = "same"
    tolerance: float | None = None


@dataclass(frozen=True)
class Stack:
    """All needs for one piece of one garment and size, in the order of their copies."""

    needs: tuple[Need, ...]

    @property
    def cut(self) -> CutPiece:
        """The piece."""
        return self.needs[0].cut


@lru_cache(maxsize=512)
def is_symmetric(piece: Piece) -> bool:
    """Whether the piece equals its own mirror image across an axis along its grainline, marks included.

    The axis may lie beside the grainline. Compared to 0.01 mm by the symmetric difference's width.
    """
    from shapely.affinity import scale
    from shapely.geometry import Polygon

    outline = Polygon(piece.outline, piece.cutouts)
    _, y0, _, y1 = outline.bounds
    axis = (y0 + y1) / 2
    mirror = scale(outline, xfact=1.0, yfact=-1.0, origin=(0.0, axis))
    tolerance = 0.01
    # Thin slivers vanish when both are compared with one of them grown by the tolerance.
    if not (outline.buffer(tolerance).covers(mirror) and mirror.buffer(tolerance).covers(outline)):
        return False

    def same(points: list[tuple[float, float]]) -> bool:
        left = list(points)
        for x, y in points:
            for other in left:
                if abs(other[0] - x) <= 0.05 and abs(other[1] - (2 * axis - y)) <= 0.05:
                    left.remove(other)
                    break
            else:
                return False
        return True

    marks = [n.at for n in piece.notches]
    drills = [d.at for d in piece.drills]
    lines = [p for line in piece.inside for p in (line[0], line[-1])]
    return same(marks) and same(drills) and same(lines)


def garment_counts(order: Order) -> dict[tuple[str, str | None], int]:
    """How many of each garment and size the order asks for."""
    counts: dict[tuple[str, str | None], int] = {}
    for garment in order.garments:
        counts[garment.name, garment.size] = counts.get((garment.name, garment.size), 0) + garment.count
    return counts


def handless(cut: CutPiece, cloth: Cloth) -> bool:
    """Whether right and left make no difference on this cloth."""
    if not cloth.right_side or cut.alike_ok:
        return True
    if cut.piece.fold is not None:
        (_, ay), (_, by) = cut.piece.fold
        # opened out over a fold along the grain: symmetric by itself, unless marks say otherwise
        return abs(ay - by) < 1e-6 or is_symmetric(mirrored_over_fold(cut.piece))
    return is_symmetric(cut.piece)


def _together(order: Order, name: str) -> Together | None:
    return next((t for t in order.together if t.leader == name), None)


def stacks_of(order: Order, cloth: Cloth, counts: Counts | None = None, *, apart: bool = False) -> tuple[Stack, ...]:
    """What ``cloth`` has to give, grouped by garment, size and piece.

    ``counts`` replaces the order's counts. ``apart`` cuts followers by themselves. OrderError for a mirrored piece that
    is cut an odd number of times.
    """
    asked = dict(counts) if counts is not None else garment_counts(order)
    stacks: list[Stack] = []
    numbered: dict[tuple[str, str | None], int] = {}
    for garment in order.garments:
        key = (garment.name, garment.size)
        count = asked.get(key, 0) if counts is not None else garment.count
        if counts is not None:
            asked[key] = 0
        first = numbered.get(key, 0)
        numbered[key] = first + count
        followers_here = {
            t.follower
            for t in order.together
            if t.leader in garment.pieces and _same_cloth(order, garment, t) and not apart
        }
        for name in garment.pieces:
            cut = order.cut_piece(name, garment.size)
            if order.cloth_of(garment, cut) != cloth.name or name in followers_here:
                continue
            together = _together(order, name)
            follower = None
            if together is not None and together.follower in followers_here:
                follower = order.cut_piece(together.follower, garment.size)
                if follower.cut != cut.cut or follower.mirrored != cut.mirrored:
                    raise OrderError(
                        f"'{together.follower}' is cut together with '{name}', so both must be cut equally often: "
                        f"found cut = {follower.cut} and cut = {cut.cut}",
                        file=order.path,
                        key="together",
                        code="together.counts",
                    )
                fits = agreed(cut.piece, follower.piece, together.tolerance)
                if not fits.agrees:
                    raise CannotLayError(
                        f"cannot be cut together with '{follower.piece.label}': {'; '.join(fits.messages)}",
                        piece=cut.piece.label,
                        code="together.does-not-fit",
                    )
            needs = []
            for copy in range(first + 1, first + count + 1):
                for hand in _hands(order, garment, cut, cloth, apart):
                    needs.append(
                        Need(
                            cut,
                            garment.name,
                            garment.size,
                            copy,
                            hand,
                            follower,
                            together.faces if together is not None and follower is not None else "same",
                            together.tolerance if together is not None else None,
                        )
                    )
            if needs:
                stacks.append(Stack(tuple(needs)))
    return tuple(stacks)


def _same_cloth(order: Order, garment: Garment, together: Together) -> bool:
    leader = order.cut_piece(together.leader, garment.size)
    if together.follower not in garment.pieces:
        return False
    follower = order.cut_piece(together.follower, garment.size)
    return order.cloth_of(garment, leader) == order.cloth_of(garment, follower)


def _hands(order: Order, garment: Garment, cut: CutPiece, cloth: Cloth, apart: bool) -> list[Hand | None]:
    """The hands in which one garment wants the piece. A follower's follows from the way it faces its leader, and is
    the same where it is cut by itself."""
    if cut.mirrored and cut.cut % 2:
        raise OrderError(
            f"a mirrored piece is cut in pairs, but cut = {cut.cut}: give an even number, or mirrored = false",
            file=order.path,
            piece=cut.piece.label,
            key="cut",
            code="piece.odd-count",
        )
    if handless(cut, cloth) and (apart or not _leads_one_sided(order, garment, cut)):
        return [None] * cut.cut
    if cut.mirrored:
        return ["right", "left"] * (cut.cut // 2)
    return ["left" if comes_out_left(order, garment, cut) else "right"] * cut.cut


def _leads_one_sided(order: Order, garment: Garment, cut: CutPiece) -> bool:
    """Whether a piece whose right and left differ is cut together with this one, so that it matters how this one lies
    even where it is symmetric itself."""
    for together in order.together:
        if together.leader == cut.name and together.follower in garment.pieces:
            follower = order.cut_piece(together.follower, garment.size)
            cloth = next((c for c in order.cloths if c.name == order.cloth_of(garment, follower)), None)
            if cloth is not None and not handless(follower, cloth):
                return True
    return False


def needs_of(stacks: tuple[Stack, ...]) -> tuple[Need, ...]:
    """All needs in one row."""
    return tuple(need for stack in stacks for need in stack.needs)
