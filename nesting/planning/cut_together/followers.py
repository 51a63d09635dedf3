"""Where a piece that is cut together with another comes to lie."""

from __future__ import annotations

import math

from nesting.pieces.agreement import Agreement

__all__ = ["follower_motion"]


def follower_motion(
    fits: Agreement, x: float, y: float, turn: float, flipped: bool
) -> tuple[float, float, float, bool]:
    """(x, y, turn, flipped) of the follower at the place of its leader, on which it lies as ``fits`` says."""
    a = math.radians(turn)
    sx, sy = fits.shift
    fy = -sy if flipped else sy
    dx, dy = math.cos(a) * sx - math.sin(a) * fy, math.sin(a) * sx + math.cos(a) * fy
    own = -fits.turn if flipped else fits.turn
    return x + dx, y + dy, (turn + own) % 360.0, flipped != fits.flipped
