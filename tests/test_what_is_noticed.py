"""What people who had never seen the program found that it said nothing of: each with the case as they met it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from nesting.checking.judging import check_order
from nesting.cli.app import app
from nesting.files.orders.order import load_order

#: a front on the fold (its leg is there twice), a back drawn whole (each leg once), a gusset that is cut twice
BRIEFS = """<svg xmlns="http://www.w3.org/2000/svg" width="900mm" height="400mm" viewBox="0 0 900 400">
<g id="front"><path d="M20 20 h150 v80 L120 220 H20 Z"/><path id="edge_leg" d="M170 100 L120 220"/>
<path id="fold" d="M20 20 V220"/><path id="grainline" d="M60 180 V60"/></g>
<g id="back"><path d="M300 20 h300 v80 L500 220 H400 L300 100 Z"/><path id="edge_leg_right" d="M600 100 L500 220"/>
<path id="edge_leg_left" d="M300 100 L400 220"/><path id="grainline-2" d="M450 180 V60"/></g>
<g id="gusset"><path d="M700 20 h80 v120 h-80 Z"/><path id="edge_leg_right" d="M780 20 v120"/>
<path id="edge_leg_left" d="M700 20 v120"/><path id="grainline-3" d="M740 110 V50"/></g></svg>"""
ORDER = """units = "cm"
[[pattern]]
file = "briefs.svg"
[[piece]]
name = "gusset"
cut = {gusset}
[[cloth]]
name = "main"
width = "150 cm"
[[trim]]
name = "leg elastic"
kind = "elastic"
edges = [{edges}]
{more}
[[garment]]
name = "briefs"
count = 1
"""
FRONT, RIGHT, LEFT = '"front.leg"', '"back.leg right"', '"back.leg left"'


def said(folder: Path, edges: str, more: str = "", gusset: int = 1) -> list[str]:
    """What is said of edges that are not there equally often."""
    (folder / "briefs.svg").write_text(BRIEFS, encoding="utf-8")
    path = folder / "briefs.toml"
    path.write_text(ORDER.format(edges=edges, more=more, gusset=gusset), encoding="utf-8")
    return [f.message for f in check_order(load_order(path)).findings if f.code == "trim.uneven"]


@pytest.mark.parametrize(
    ("edges", "more", "gusset", "words"),
    [
        # one leg of the back is missing: the front gives two
        (f"{FRONT}, {RIGHT}", "", 1, "front.leg 2 times, back.leg right once; name the edges that are missing"),
        # all named, but nobody says that they are two
        (f"{FRONT}, {RIGHT}, {LEFT}", "", 1, "write openings = 2"),
        (f"{FRONT}, {RIGHT}, {LEFT}", "openings = 2", 1, None),
        (f'{RIGHT}, {LEFT}, "gusset.leg right", "gusset.leg left"', "openings = 2", 1, None),
        # a gusset of two layers counts twice
        (f'{RIGHT}, {LEFT}, "gusset.leg right", "gusset.leg left"', "openings = 2", 2, "if gusset lies double there"),
        (FRONT, "", 1, None),
    ],
)
def test_edges_of_a_trim_that_are_not_there_equally_often(
    edges: str, more: str, gusset: int, words: str | None, tmp_path: Path
) -> None:
    """Worked by hand: how often each edge is there in one pair of briefs."""
    told = said(tmp_path, edges, more, gusset)
    assert (told == []) if words is None else (len(told) == 1 and words in told[0])


def test_an_alteration_as_large_as_the_piece_asks_for_its_unit(tmp_path: Path) -> None:
    """by = 20 in an order in cm is 20 cm, on a piece of 20 cm; 2 is told nothing of."""
    for by, asked in (("20", True), ("2", False)):
        said(tmp_path, FRONT)
        path = tmp_path / "briefs.toml"
        change = f'[[alter]]\npiece = "front"\nkind = "lengthen"\nby = {by}\nat = "3 cm"\nfrom = "tail"\n'
        path.write_text(path.read_text("utf-8") + change, encoding="utf-8")
        codes = [f.code for f in check_order(load_order(path)).findings]
        assert ("alter.large" in codes) is asked


def test_a_named_edge_that_closes_an_open_outline_is_told(tmp_path: Path) -> None:
    """The outline is open by 72 mm where a named edge lies; drawn closed nothing is told. A half that its fold line
    closes is as it should be."""
    path = '<path id="cut_back" d="M20 20 h300 v72 L200 220 H120 L20 92 {end}" fill="none" stroke="#000"/>'
    for end, edge, told in (("", "edge_side", True), ("Z", "edge_side", False), ("", "fold", False)):
        (tmp_path / "back.svg").write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm" viewBox="0 0 400 300"><g id="back">'
            + path.format(end=end)
            + f'<path id="{edge}" d="M20 92 V20" fill="none" stroke="#f00"/>'
            + '<path id="grainline" d="M60 180 V60"/></g></svg>'
        )
        from nesting.files import read_pieces

        reading = read_pieces(tmp_path / "back.svg")
        found = [f.message for f in reading.findings if f.code == "outline.completed"]
        assert len(reading.pieces) == 1 and bool(found) is told
        assert not told or "72.0 mm" in found[0]


def test_what_is_printed_of_a_lay_says_that_the_order_was_changed(tmp_path: Path) -> None:
    """First of all that is said; not while the order is as it was laid."""
    said(tmp_path, FRONT)
    order = tmp_path / "briefs.toml"
    run = CliRunner()
    assert run.invoke(app, ["lay", str(order), "--rounds", "1", "--workers", "1", "-o", str(tmp_path)]).exit_code == 0
    lay = tmp_path / "lay-main.json"
    assert json.loads(lay.read_text("utf-8"))["order"]["sha256"]
    args = ["print", str(lay), "--as", "sheet", "-o", str(tmp_path / "paper")]
    assert "the order was changed" not in run.invoke(app, args).output
    order.write_text(order.read_text("utf-8").replace("count = 1", "count = 2"), encoding="utf-8")
    printed = run.invoke(app, args)
    assert printed.exit_code == 0 and printed.output.startswith("warning: the order was changed after")
    order.write_text("units = ", encoding="utf-8")
    broken = run.invoke(app, args)
    assert broken.exit_code == 0 and broken.output.startswith("warning: the order was changed after")
