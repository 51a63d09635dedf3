"""From the piece as drawn to the piece that is laid."""

from __future__ import annotations

import math
from dataclasses import replace

from shapely.geometry import Polygon
from shapely.validation import explain_validity

from nesting.errors import PatternError
from nesting.findings import Finding
from nesting.pieces.contour import cleaned, signed_area
from nesting.pieces.grain import grained, in_exact_grain_frame, with_fold
from nesting.pieces.piece import Piece, Ring
from nesting.pieces.settings import Preparation

__all__ = ["prepare", "sound_ring"]


def sound_ring(ring: Ring, what: str, *, file: str | None, piece: str) -> Ring:
    """The ring without doubled points, anticlockwise. Raises PatternError if it is not simple or encloses nothing."""
    if not all(math.isfinite(c) for p in ring for c in p):
        raise PatternError(f"the {what} has a coordinate that is no number: draw it again", file=file, piece=piece)
    ring = cleaned(ring)
    if len(ring) < 3 or abs(signed_area(ring)) < 1e-6:
        raise PatternError(f"the {what} encloses no area: draw it as one closed line", file=file, piece=piece)
    polygon = Polygon(ring)
    if not polygon.is_valid:
        raise PatternError(
            f"the {what} crosses or touches itself ({explain_validity(polygon)}; mm in the drawing): draw it "
            "as one simple closed line",
            file=file,
            piece=piece,
        )
    return ring if signed_area(ring) > 0 else ring[::-1]


def prepare(drawn: Piece, how: Preparation, *, file: str | None = None) -> tuple[Piece, tuple[Finding, ...]]:
    """The piece ready to be laid: fold and grain, edges, alterations, finishes, then the grain frame.

    Returns the piece in its grain frame and what there is to tell about it. Raises PatternError where the drawing
    cannot be used as asked, OrderError where the order names something that the drawing does not have.
    """
    file = file or drawn.file
    piece = replace(
        drawn,
        outline=sound_ring(drawn.outline, "cut outline", file=file, piece=drawn.label),
        seam=sound_ring(drawn.seam, "seam outline", file=file, piece=drawn.label) if drawn.seam is not None else None,
        file=file,
    )
    piece, fold_findings = with_fold(piece, how.fold, file=file)
    piece, grain_findings = grained(piece, how.grain, file=file)
    return in_exact_grain_frame(piece), fold_findings + grain_findings
