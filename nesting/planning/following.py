"""Where a piece that is cut together with another lies: at the leader's place, by the agreement of their outlines."""

from __future__ import annotations

import math

from nesting.order import CutPiece, Order
from nesting.pieces.together import agreement

__all__ = ["follower_motion", "tolerance_of"]


def tolerance_of(order: Order, leader: str, follower: str) -> float | None:
    """The tolerance that the order states for this pair."""
    return next((t.tolerance for t in order.together if (t.leader, t.follower) == (leader, follower)), None)


def follower_motion(
    leader: CutPiece, follower: CutPiece, x: float, y: float, turn: float, flipped: bool, tolerance: float | None
) -> tuple[float, float, float, bool]:
    """(x, y, turn, flipped) of the follower that lies at the leader's place."""
    agreed = agreement(leader.piece, follower.piece, tolerance)
    a = math.radians(turn)
    sx, sy = agreed.shift
    fy = -sy if flipped else sy
    dx, dy = math.cos(a) * sx - math.sin(a) * fy, math.sin(a) * sx + math.cos(a) * fy
    own = -agreed.turn if flipped else agreed.turn
    return x + dx, y + dy, (turn + own) % 360.0, flipped != agreed.flipped
