"""Which way a piece may lie: the turns that its rule and the cloth allow together."""

from __future__ import annotations

import math

from nesting.model.order import Cloth, CutPiece
from nesting.pieces.grain import GRAIN_KEY

__all__ = ["allowed_turns", "heading", "why_not_turned"]

#: degrees. Turns are compared to this.
TURN_SLACK = 1e-6
#: degrees. A grain this near to 45° of the page is on the bias in the drawing.
BIAS_SLACK = 5.0
#: Stretch shares are compared to this.
SHARE_SLACK = 1e-9


def allowed_turns(cut: CutPiece, cloth: Cloth) -> tuple[float, ...] | None:
    """The turns in degrees, tilt left aside; None where any turn will do.

    Straight and bias turns go the arrow's way and back (the way back not with a nap or a piece that lies one way).
    A piece that needs stretch across its grain lies at 0/180 only if the cloth's crosswise stretch, where it is stated,
    reaches that, and at 90/270 only if the lengthwise stretch does. Quarter turns ask for measured stretch both ways,
    equal within the cloth's tolerance (unless only lengthwise reaches the need), and for no nap.
    """
    if cut.turn == "any":
        return None
    need, across, along = cut.needs_stretch, cloth.stretch_across, cloth.stretch_along
    bias = cut.turn == "bias" and not _drawn_on_bias(cut)
    straight = [45.0, 315.0] if bias else [0.0]
    if cut.turn != "one way" and cloth.nap != "one way":
        straight += [225.0, 135.0] if bias else [180.0]
    enough_across = cut.turn == "bias" or need is None or across is None or across >= need - SHARE_SLACK
    turns = straight if enough_across else []
    if cut.turn in (None, "quarter turns") and cloth.nap == "none" and across is not None and along is not None:
        equal = abs(across - along) <= cloth.stretch_tolerance + SHARE_SLACK
        enough_along = need is None or along >= need - SHARE_SLACK
        if enough_along and (equal or not enough_across):
            turns = [*turns, 90.0, 270.0]
    return tuple(turns)


def why_not_turned(cut: CutPiece, cloth: Cloth, turn: float, *, on_fold: bool) -> str | None:
    """Why ``turn`` is not allowed, None if it is. On a fold of the cloth no tilt is granted."""
    allowed = allowed_turns(cut, cloth)
    if allowed is None:
        return None
    grace = (0.0 if on_fold else cut.tilt) + TURN_SLACK
    off = min((abs((turn - a + 180.0) % 360.0 - 180.0) for a in allowed), default=math.inf)
    if off <= grace:
        return None
    listed = ", ".join(f"{a:g}°" for a in sorted(allowed)) or "no turn at all"
    tilt = f" ± {cut.tilt:g}°" if cut.tilt and not on_fold else ""
    return f"turned by {turn % 360.0:.4g}°, allowed: {listed}{tilt}{_reason(cut, cloth)}"


def heading(cut: CutPiece, turn: float) -> str | None:
    """Which way the piece points along the cloth, "up" or "down"; None for a piece that has no grain."""
    if cut.turn == "any":
        return None
    return "up" if math.cos(math.radians(turn)) > 0.0 else "down"


def _drawn_on_bias(cut: CutPiece) -> bool:
    """Whether the grain, as the drawing has it or as the order gives it, runs at 45° to the page."""
    if cut.drawn is None:
        return False
    told = [float(value) for key, value in cut.piece.extra if key == GRAIN_KEY]
    if not told and cut.drawn.grainline is not None:
        (x0, y0), (x1, y1) = cut.drawn.grainline
        told = [math.degrees(math.atan2(y1 - y0, x1 - x0))]
    return any(abs(degrees % 90.0 - 45.0) <= BIAS_SLACK for degrees in told)


def _reason(cut: CutPiece, cloth: Cloth) -> str:
    if cloth.nap == "one way":
        return " (the cloth has a nap: everything lies one way)"
    if cut.turn == "one way":
        return " (the piece lies one way)"
    if cut.needs_stretch is not None and cloth.stretch_across is not None:
        along = f", {cloth.stretch_along:.4g} along" if cloth.stretch_along is not None else ""
        return f" (needs {cut.needs_stretch:.4g} of stretch, the cloth has {cloth.stretch_across:.4g} across{along})"
    return ""
