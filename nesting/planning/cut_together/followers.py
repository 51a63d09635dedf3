"""Pieces that are cut together with another: where they lie on their leader, and in which hand they come out."""

from __future__ import annotations

import math
from functools import lru_cache

from nesting.model.order import CutPiece, Garment, Order
from nesting.model.piece import Piece
from nesting.pieces.agreement import Agreement, agreement

__all__ = ["agreed", "comes_out_left", "follower_motion", "tolerance_of"]


@lru_cache(maxsize=256)
def agreed(leader: Piece, follower: Piece, tolerance: float | None) -> Agreement:
    """``agreement``, worked out once for each pair."""
    return agreement(leader, follower, tolerance)


def tolerance_of(order: Order, leader: str, follower: str) -> float | None:
    """The tolerance that the order states for this pair."""
    return next((t.tolerance for t in order.together if (t.leader, t.follower) == (leader, follower)), None)


def comes_out_left(order: Order, garment: Garment, cut: CutPiece) -> bool:
    """Whether this piece, cut together with its leader as that is drawn, comes out as the mirror image of its drawing.

    One cut goes through both: with the right sides of both facing the same way the follower comes out as it lies on its
    leader's drawing, facing the leader as the mirror image of that. False for a piece that follows none of the garment.
    """
    together = next((t for t in order.together if t.follower == cut.name and t.leader in garment.pieces), None)
    if together is None:
        return False
    leader = order.cut_piece(together.leader, garment.size)
    lies_flipped = agreed(leader.piece, cut.piece, together.tolerance).flipped
    return (together.faces == "to the leader") != lies_flipped


def follower_motion(
    leader: CutPiece, follower: CutPiece, x: float, y: float, turn: float, flipped: bool, tolerance: float | None
) -> tuple[float, float, float, bool]:
    """(x, y, turn, flipped) of the follower that lies at the leader's place."""
    fits = agreed(leader.piece, follower.piece, tolerance)
    a = math.radians(turn)
    sx, sy = fits.shift
    fy = -sy if flipped else sy
    dx, dy = math.cos(a) * sx - math.sin(a) * fy, math.sin(a) * sx + math.cos(a) * fy
    own = -fits.turn if flipped else fits.turn
    return x + dx, y + dy, (turn + own) % 360.0, flipped != fits.flipped
