"""The error of what was traced from pictures is kept free around it, and allowed along its seams."""

from __future__ import annotations

from dataclasses import replace

from nesting.model.piece import Edge, Piece
from nesting.pieces.seams import walk_seam


def bar(length: float, error: float) -> Piece:
    """A rectangle with a named long edge."""
    ring = ((0.0, 0.0), (length, 0.0), (length, 50.0), (0.0, 50.0))
    return Piece("bar", ring, edges=(Edge("side", ring[0], ring[1]),), error=error)


def test_a_seam_within_the_errors_of_both_pieces_is_not_forbidden() -> None:
    """3 mm of difference forbid cutting drawn pieces; with 0.5 mm of error at each end of both edges they do not."""
    drawn = walk_seam([(bar(200, 0.0), "side"), (bar(203, 0.0), "side")], ("a", "b"))
    assert not drawn.lengths_agree and any(t.forbids for t in drawn.told())
    traced = walk_seam([(bar(200, 0.5), "side"), (bar(203, 0.5), "side")], ("a", "b"))
    assert traced.lengths_agree
    more = walk_seam([(bar(200, 0.5), "side"), (replace(bar(204, 0.0), error=0.5), "side")], ("a", "b"))
    assert not more.lengths_agree
