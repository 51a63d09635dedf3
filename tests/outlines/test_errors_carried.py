"""The error of what was traced from pictures is kept free around it, and allowed along its seams."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

import nesting
from nesting.files.lays.layfile import lay_as_bytes, read_lay
from nesting.model.order import Cloth, Order, SpreadName, Together
from nesting.model.piece import Edge, Piece
from nesting.pieces.seams import walk_seam
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.solve import lay_order
from nesting.proof import prove
from nesting.report.html.drawn import part_html
from nesting.report.html.lay_part import lay_part
from nesting.resolving.resolve import resolve
from tests.order_builder import CLOTH, GARMENT, PANEL, load, panel_svg
from tests.planning.builders import order_of, rect


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


def two_together(error: float, *, gap: float) -> Order:
    """Two copies of a piece, 4 mm apart, and what is cut together with each from a lining that asks for ``gap`` mm;
    the lining was traced with this error."""
    follower = replace(rect("lining", 300, 200), cloth="lining")
    follower = replace(follower, piece=replace(follower.piece, error=error, origin="photograph p.jpg"))
    order = order_of(rect("front", 300, 200), follower, count=2, width=450.0, gap=4.0)
    lining = Cloth("lining", width=1000.0, end_allowance=0.0, increment=1.0, gap=gap)
    return replace(order, cloths=(*order.cloths, lining), together=(Together("front", "lining", "same"),))


@pytest.mark.parametrize("way", ["over the leaders", "patches"])
@pytest.mark.parametrize("error", [0.0, 0.5, 1.4])
def test_what_is_cut_together_keeps_its_errors_apart_too(
    way: str, error: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Leaders lie 4 mm apart, the lining asks for 3 mm: with 0.5 mm of error at either edge it still may lie over them,
    with 1.4 mm it may not. However it is cut, patches or not, its pieces keep the gap and both errors, by the proof."""
    if way == "over the leaders":
        from nesting.planning.layout import second_cloth

        monkeypatch.setattr(second_cloth, "_cheapest", lambda order, lays, whole, options, continued: whole)
    order = two_together(error, gap=3.0)
    main, second = lay_order(resolve(order), SearchOptions(seconds=None, rounds=1, seed=1, workers=1), spread="open")
    verdict = prove(second, order, first=main if second.over or second.patches else None)
    assert verdict.ok, [str(f) for f in verdict.failures]
    if way == "over the leaders":
        assert (second.over == "main") == (error < 1.0)


@pytest.mark.parametrize("spread", ["lengthwise fold", "crosswise fold", "partial fold"])
def test_a_traced_piece_keeps_its_error_from_folds_too(spread: SpreadName) -> None:
    """Four copies, 4 mm apart, traced with 1.4 mm: every spread with folds has a lay
    that the proof takes, and none of its cuts is nearer to a fold than 2 mm and the error."""
    pair = rect("front", 300, 200)
    pair = replace(pair, piece=replace(pair.piece, error=1.4, origin="photograph p.jpg"))
    (lay,) = lay_order(
        resolve(order_of(pair, count=4, width=900.0, gap=4.0)),
        SearchOptions(seconds=None, rounds=1, seed=1, workers=1),
        spread=spread,
    )
    verdict = prove(lay, order_of(pair, count=4, width=900.0, gap=4.0))
    assert verdict.ok, [str(f) for f in verdict.failures]
    for section in lay.sections:
        for fold in section.spread.folds:
            for p in section.placements:
                if set(p.plies) & set(fold.plies):
                    values = [xy[0 if fold.along == "y" else 1] for xy in p.outline]
                    assert max(min(values) - fold.at, fold.at - max(values)) >= 3.4 - 1e-3


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
