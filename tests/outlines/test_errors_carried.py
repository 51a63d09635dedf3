"""The error of what was traced from pictures is kept free around it, and allowed along its seams."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import nesting
from nesting.files.lays.layfile import lay_as_bytes, read_lay
from nesting.model.piece import Edge, Piece
from nesting.pieces.seams import walk_seam
from nesting.report.html.drawn import part_html
from nesting.report.html.lay_part import lay_part
from tests.order_builder import CLOTH, GARMENT, PANEL, load, panel_svg


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


def test_the_lay_file_and_the_report_name_what_was_traced(tmp_path: Path) -> None:
    """The lay of a traced piece names it with its picture and error, in the file, and in words in the report; one
    that was drawn has no such key."""
    traced = panel_svg(width=100, height=200).replace("<g ", '<g data-error="0.85" data-origin="photograph p.jpg" ')
    order = load(tmp_path, PANEL + CLOTH + GARMENT, panel=traced)
    (lay,) = nesting.lay(order, rounds=1, workers=1)
    path = tmp_path / "lay.json"
    path.write_bytes(lay_as_bytes(lay))
    again = read_lay(path)
    assert again.extra["traced"] == [{"piece": "front", "error": 0.85, "origin": "photograph p.jpg"}]
    assert "front was traced from photograph p.jpg and may be off by 0.85 mm" in re.sub(
        r"<[^>]*>", "", part_html("lay", lay_part([again], None))
    )
    order = load(tmp_path, PANEL + CLOTH + GARMENT, panel=panel_svg(width=100, height=200))
    (drawn,) = nesting.lay(order, rounds=1, workers=1)
    assert "traced" not in drawn.extra and not [n for n in drawn.notes if "traced" in n]
