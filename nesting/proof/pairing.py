"""Left and right of a garment in one turn, where the cloth asks for that: judged on the opened-out cloth."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from nesting.model.order import Cloth, CutPiece
from nesting.proof.placing import Judged
from nesting.proof.unfold import ClothPiece
from nesting.proof.verdict import Failure

__all__ = ["check_pairs"]

#: degrees. What rounding in a file makes of a turn.
TURN_SLACK = 0.01


def _asks(cut: CutPiece, cloth: Cloth) -> bool:
    """Pairs share a turn where the order says so; where it says nothing, on a cloth without nap whose stretch is
    measured and equal both ways. Pieces on the bias mirror each other, and those without grain have no turn."""
    if not cut.mirrored or cut.cut < 2 or cut.turn in ("bias", "any"):
        return False
    if cloth.pairs is not None:
        return cloth.pairs == "same way"
    across, along = cloth.stretch_across, cloth.stretch_along
    if cloth.nap != "none" or across is None or along is None:
        return False
    return abs(across - along) <= cloth.stretch_tolerance + 1e-9


def check_pairs(cloth: Cloth, judged: Mapping[int, Judged], pieces: Iterable[ClothPiece]) -> list[Failure]:
    """Failures of garments whose left and right pieces point different ways, beyond the grain tolerance of each."""
    found: dict[tuple[str, str | None, int, str], list[tuple[float, Judged]]] = {}
    yielded: dict[int, list[ClothPiece]] = {}
    for piece in pieces:
        yielded.setdefault(piece.placement, []).append(piece)
    for number, own in yielded.items():
        j = judged[number]
        p = j.placement
        if p.second_cloth is not None or not _asks(j.cut, cloth):
            continue
        copies = p.copies or (p.copy,)
        for k, piece in enumerate(sorted(own, key=lambda piece: piece.plies)):
            (x0, y0), (x1, y1) = piece.to_cloth.points(((0.0, 0.0), (1.0, 0.0)))
            turn = math.degrees(math.atan2(y1 - y0, x1 - x0))
            found.setdefault((p.garment, p.size, copies[k % len(copies)], p.piece), []).append((turn, j))
    failures: list[Failure] = []
    for (garment, size, copy, _), ways in found.items():
        first, j = ways[0]
        grace = 2.0 * j.cut.tilt + TURN_SLACK
        for turn, other in ways[1:]:
            off = abs((turn - first + 180.0) % 360.0 - 180.0)
            if off > grace:
                p = other.placement
                named = f"{garment} {size}" if size else garment
                failures.append(
                    Failure(
                        "turn",
                        f"{p.label}: left and right of {named} no. {copy} are to share one turn on this cloth (pairs), "
                        f"but lie {off:.4g}° apart",
                        p.piece,
                        (p.x, p.y),
                        other.section,
                        figures={"copy": copy, "apart": off},
                    )
                )
                break
    return failures
