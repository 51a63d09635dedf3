"""What reading a pattern file gives: the pieces, and everything that was repaired, ignored or unclear."""

from __future__ import annotations

from dataclasses import dataclass

from nesting.model.findings import Finding
from nesting.model.piece import Piece

__all__ = ["LARGEST_FILE", "Reading"]

#: Bytes. A pattern of some hundred pieces in many sizes takes a few million.
LARGEST_FILE = 32 * 1024 * 1024


@dataclass(frozen=True)
class Reading:
    """``pieces`` are in the drawing frame (mm, y up). ``test_square`` is the side of a drawn test square as measured,
    mm. ``units_known`` is False where the file does not say its units and a question stands among the findings."""

    pieces: tuple[Piece, ...]
    findings: tuple[Finding, ...] = ()
    test_square: float | None = None
    units_known: bool = True
