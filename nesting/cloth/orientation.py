"""Which turns a piece may lie in on a cloth, and the figure that refused the others."""

from __future__ import annotations

import math
from dataclasses import dataclass

from nesting.model.order import Cloth, CutPiece
from nesting.pieces.grain import GRAIN_KEY

__all__ = ["Orientation", "drawn_on_the_bias", "orientation"]

#: degrees between the turns tried for a piece without grain
ANY_STEP = 15.0
#: degrees by which a grainline may miss 45° and still count as drawn on the bias
BIAS_SLACK = 5.0


@dataclass(frozen=True)
class Orientation:
    """``turns`` in degrees. ``states``: for nap by garment, the state (0 up, 1 down) that each turn belongs to, else
    None for each. ``refused``: (turn in degrees, reason with its figure)."""

    turns: tuple[float, ...]
    states: tuple[int | None, ...]
    refused: tuple[tuple[float, str], ...]


def drawn_on_the_bias(cut: CutPiece) -> bool:
    """Whether the pattern's grain, drawn or given by the order, already runs on the bias of the drawing (45° off the
    page's axes)."""
    if cut.drawn is None:
        return False
    kept = dict(cut.piece.extra).get(GRAIN_KEY)
    if kept is not None:
        grain = float(kept)
    elif cut.drawn.grainline is not None:
        (x0, y0), (x1, y1) = cut.drawn.grainline
        grain = math.degrees(math.atan2(y1 - y0, x1 - x0))
    else:
        return False
    return abs(grain % 90.0 - 45.0) <= BIAS_SLACK


def _percent(share: float) -> str:
    return f"{share * 100:.4g} %"


def orientation(cut: CutPiece, cloth: Cloth) -> Orientation:
    """The turns that the piece's rule and the cloth allow together.

    ``turns`` may come out empty: then ``refused`` says why.
    """
    refused: list[tuple[float, str]] = []
    if cut.turn == "any":
        turns = [i * ANY_STEP for i in range(round(360.0 / ANY_STEP))]
        return Orientation(tuple(turns), (None,) * len(turns), ())
    if cut.turn == "bias" and not drawn_on_the_bias(cut):
        forward, backward = [45.0, 315.0], [225.0, 135.0]
    else:
        forward, backward = [0.0], [180.0]

    need, across, along = cut.needs_stretch, cloth.stretch_across, cloth.stretch_along
    straight_ok = True
    if need is not None and cut.turn != "bias":
        if across is None:
            # Not measured: the cloth is trusted at 0/180; checking warns about it.
            pass
        elif across < need - 1e-9:
            straight_ok = False
            reason = f"needs {_percent(need)} across its grain, the cloth stretches {_percent(across)} crosswise"
            refused += [(0.0, reason), (180.0, reason)]
    if not straight_ok:
        forward, backward = [], []

    quarter: list[float] = []
    if cut.turn in (None, "quarter turns"):
        why = _why_no_quarter(cut, cloth, straight_ok)
        if why is None:
            quarter = [90.0, 270.0]
        elif cut.turn == "quarter turns" or not straight_ok or (across is not None and along is not None):
            refused += [(90.0, why), (270.0, why)]

    pairs: list[tuple[float, int | None]]
    if cut.turn == "one way" or cloth.nap == "one way":
        who = "the cloth lies one way (nap)" if cloth.nap == "one way" else "the piece is marked one way"
        refused += [(t, who) for t in backward]
        # a piece that lies one way takes the others of its garment with it
        pairs = [(t, 0 if cloth.nap == "by garment" else None) for t in forward]
        if cut.turn == "one way":
            quarter = []
    elif cloth.nap == "by garment":
        pairs = [*((t, 0) for t in forward), *((t, 1) for t in backward)]
    else:
        pairs = [(t, None) for t in forward + backward]
    pairs += [(t, None) for t in quarter]
    return Orientation(tuple(t for t, _ in pairs), tuple(s for _, s in pairs), tuple(refused))


def _why_no_quarter(cut: CutPiece, cloth: Cloth, straight_ok: bool) -> str | None:
    need, across, along = cut.needs_stretch, cloth.stretch_across, cloth.stretch_along
    if cloth.nap != "none":
        return "nap or a one-way print runs along the cloth"
    if across is None or along is None:
        return "the cloth's stretch is not stated in both directions (stretch_across and stretch_along)"
    if need is not None and along < need - 1e-9:
        return f"needs {_percent(need)} across its grain, the cloth stretches {_percent(along)} lengthwise"
    if straight_ok and abs(across - along) > cloth.stretch_tolerance + 1e-9:
        return (
            f"the cloth stretches {_percent(across)} crosswise and {_percent(along)} lengthwise: "
            f"they differ by more than {_percent(cloth.stretch_tolerance)}"
        )
    return None
