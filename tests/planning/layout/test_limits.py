"""Cloth that is too short, a table that is shorter than the lay, and figures that differ where they are printed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import nesting
from nesting.model.errors import CannotLayError
from nesting.model.units import format_apart
from nesting.planning.batch.cutting import batch
from nesting.planning.batch.on_table import divided
from nesting.planning.layout.feasible import laying_findings
from nesting.planning.layout.laying import laying
from nesting.planning.layout.one_cloth import lay_cloth
from nesting.planning.layout.options import SearchOptions
from nesting.planning.layout.wording import turn_notes
from nesting.proof import prove
from nesting.resolving.resolve import resolve

PANELS = """
title = "panels"
units = "cm"
[[piece]]
name = "panel"
rectangle = [30, 40]
{piece}
[[cloth]]
name = "main"
width = 40
spreads = ["open"]
increment = "1 cm"
{cloth}
[[garment]]
name = "bag"
count = 4
"""


def order(tmp_path: Path, *, cloth: str = "", piece: str = "") -> nesting.Order:
    """Four panels of 30 × 40 cm on cloth 40 cm wide: 120 cm, and 4 cm of ends."""
    path = tmp_path / "panels.toml"
    path.write_text(PANELS.format(cloth=cloth, piece=piece), encoding="utf-8")
    return nesting.load_order(path)


def test_cloth_that_is_too_short_says_what_is_missing(tmp_path) -> None:
    """124 cm are needed; of 120 cm 4 are missing, and the panels' area proves it."""
    with pytest.raises(CannotLayError) as told:
        nesting.lay(order(tmp_path, cloth="length = 120"), rounds=2, workers=1)
    assert told.value.exit_code == 3 and told.value.piece is not None and "panel" in told.value.piece
    for words in ("takes 124 cm", "there are 120 cm", "4 cm are missing", "no lay of these pieces is short enough"):
        assert words in told.value.message
    (exact,) = nesting.lay(order(tmp_path, cloth="length = 124"), rounds=2, workers=1)
    assert exact.lay_length == pytest.approx(1200.0, abs=0.01)


def test_what_is_not_proved_to_be_too_short_is_not_called_so(tmp_path) -> None:
    """Panels of 25 cm across leave cloth beside them: by area less would do, so more time may find a shorter lay."""
    path = tmp_path / "panels.toml"
    text = PANELS.format(cloth="length = 120", piece='turn = "one way"').replace("[30, 40]", "[30, 18]")
    path.write_text(text.replace("count = 4", "count = 8").replace("width = 40", "width = 36.5"), encoding="utf-8")
    with pytest.raises(CannotLayError) as told:
        nesting.lay(nesting.load_order(path), rounds=2, workers=1)
    assert "are missing" in told.value.message
    assert ("no lay of these pieces is short enough" in told.value.message) != ("more --seconds" in told.value.message)


def test_a_short_table_divides_the_lay_into_sections(tmp_path) -> None:
    """Two panels and both ends are 64 cm: on a table of 70 cm there are two sections of 60 cm, 4 cm of ends between."""
    asked = order(tmp_path, cloth="table_length = 70")
    (lay,) = nesting.lay(asked, rounds=2, workers=1)
    assert [s.lay_length for s in lay.sections] == pytest.approx([600.0, 600.0], abs=0.01)
    assert lay.sections[1].start == pytest.approx(640.0, abs=0.01)
    assert lay.buy_length == pytest.approx(1280.0)
    assert prove(lay, asked).ok
    assert len(lay.placements) == 4 and {p.copy for p in lay.placements} == {1, 2, 3, 4}
    (row,) = [t for t in lay.tried if t.chosen]
    assert (row.kind, row.lay_length, row.buy_length) == ("sections", lay.lay_length, lay.buy_length)
    assert any("2 sections laid one after the other" in note for note in lay.notes)


def test_one_section_that_lies_on_the_table_is_an_ordinary_lay(tmp_path) -> None:
    """A lay of 140 cm, as a poor search may leave it, on a table of 130: divided anew it is 120 cm in one section. The
    table of spreads has that row, in place of the longer one, and nobody is told of sections."""
    asked = resolve(order(tmp_path, cloth="table_length = 130"))
    options = SearchOptions(seconds=None, rounds=2)
    lay = lay_cloth(asked, "main", options)
    long = replace(lay, sections=(replace(lay.sections[0], lay_length=1400.0),), lay_length=1400.0)
    short = divided(asked, long, options)
    (row,) = [t for t in short.tried if t.kind == "open"]
    assert short.lay_length == pytest.approx(1200.0, abs=0.01) and len(short.sections) == 1
    assert (row.chosen, row.lay_length, row.buy_length) == (True, short.lay_length, short.buy_length)
    assert not any("section" in note for note in short.notes)


def test_sections_on_the_table_keep_the_gap_between_them(tmp_path) -> None:
    """A gap of 1 cm, and no ends: four panels of 30 cm and three gaps are 123 cm, in whatever sections. With ends of
    2 mm, 4 mm between sections would be too near; with ends of 6 mm they are 1.2 cm apart, so 123.2 to 123.6 cm."""
    for ends, least, most in (("0 mm", 1230.0, 1230.0), ("2 mm", 1230.0, 1230.0), ("6 mm", 1232.0, 1236.0)):
        asked = order(tmp_path, cloth=f'table_length = 62.3\ngap = 1\nend_allowance = "{ends}"')
        (lay,) = nesting.lay(asked, rounds=2, workers=1)
        assert len(lay.sections) > 1 and least - 0.01 <= lay.lay_length <= most + 0.01, ends
        assert prove(lay, asked).ok, ends


def test_a_garment_longer_than_the_table_is_refused(tmp_path) -> None:
    """One panel with both ends is 34 cm long."""
    with pytest.raises(CannotLayError, match=r"one bag takes 34 cm .* the table is 33 cm"):
        nesting.lay(order(tmp_path, cloth="table_length = 33"), rounds=2, workers=1)


def test_what_is_too_wide_names_the_rule_for_each_turn(tmp_path) -> None:
    """40.02 cm across on 40 cm, and no quarter turn as nap runs along the cloth: figures that differ when printed."""
    path = tmp_path / "panels.toml"
    text = PANELS.format(cloth='nap = "one way"\nstretch_across = "50 %"\nstretch_along = "50 %"', piece="")
    path.write_text(text.replace("[30, 40]", '["30 cm", "40.02 cm"]'), encoding="utf-8")
    with pytest.raises(CannotLayError) as told:
        nesting.lay(nesting.load_order(path), rounds=2, workers=1)
    words = str(told.value)
    assert "at 0° it needs 40.02 cm across the cloth, where 40.00 cm are usable" in words
    assert "at 90° and 270° it may not lie: nap" in words
    assert "at 180° it may not lie: the cloth lies one way (nap)" in words


def test_each_turn_is_told_once_with_where_it_comes_nearest(tmp_path) -> None:
    """A band of 65 cm across, cut once, on 90 cm in a double fold: each turn once, with the widest place for it."""
    path = tmp_path / "bands.toml"
    text = '[[piece]]\nname = "band"\nrectangle = ["8 cm", "65 cm"]\n[[cloth]]\nname = "rib"\nwidth = "90 cm"\n'
    text += 'spreads = ["open", "double fold"]\nstretch_across = "80 %"\nstretch_along = "20 %"\n'
    path.write_text(
        text.replace('"65 cm"]', '"65 cm"]\ncloth = "rib"') + '[[garment]]\nname = "belt"\n', encoding="utf-8"
    )
    (lay,) = nesting.lay(nesting.load_order(path), rounds=2, workers=1)
    (refused,) = [str(t.refused) for t in lay.tried if t.refused]
    assert refused.count("it needs 65 cm across the cloth") == 1 and refused.count("at 0°") == 1, refused


def test_pieces_refused_alike_are_told_in_one_sentence() -> None:
    """Two wearers' ribs in two turns: one sentence; another piece with another reason has its own."""
    told = turn_notes(
        [("rib A", 90.0, "x"), ("rib A", 270.0, "x"), ("rib B", 90.0, "x"), ("rib B", 270.0, "x"), ("c", 90.0, "y")]
    )
    assert told == ("rib A, rib B: 90° and 270° are refused: x", "c: 90° is refused: y")


@pytest.mark.parametrize(
    ("a", "b", "imperial", "shown"),
    [
        (280.2, 280.0, False, ("28.02 cm", "28.00 cm")),
        (300.0, 280.0, False, ("30 cm", "28 cm")),
        (281.0, 280.0, False, ("28.1 cm", "28 cm")),
        (25.41, 25.4, True, ("1.0004 in", "1.0000 in")),
        # one unit, also where one of them is longer than a metre
        (1240.0, 980.0, False, ("124 cm", "98 cm")),
        (1000.04, 1000.0, False, ("100.004 cm", "100.000 cm")),
        (1828.8, 914.4, True, ("72 in", "36 in")),
    ],
)
def test_two_lengths_are_written_so_that_they_differ(a, b, imperial, shown) -> None:
    """No finer than need be."""
    assert format_apart(a, b, imperial=imperial) == shown


def test_a_cutter_that_takes_one_ply_gets_no_fold(tmp_path) -> None:
    """Four panels in a row on a table for two: on a crosswise fold they would be two by two; ply by ply they are cut
    from two sections, 60 and 60 with 4 cm of ends each: 128, in lay and batch alike."""
    asked = order(tmp_path, cloth='table_length = "64 cm"\nmax_plies = 1').cloths[0]
    cloth = replace(asked, spreads=None)
    whole = replace(order(tmp_path), cloths=(cloth,))
    (lay,) = nesting.lay(whole, rounds=2, workers=1)
    assert lay.buy_length == pytest.approx(1280.0) and {s.spread.kind for s in lay.sections} == {"open"}
    (folded,) = nesting.lay(replace(whole, cloths=(replace(cloth, max_plies=2),)), rounds=2, workers=1)
    assert folded.buy_length == pytest.approx(1240.0)
    assert {s.spread.kind for s in folded.sections} == {"crosswise fold"}
    for most, lay_too in ((1, lay), (2, folded)):
        listed = resolve(replace(whole, cloths=(replace(cloth, max_plies=most),)))
        (plan,) = batch(listed, laying(SearchOptions(seconds=None, rounds=2)), seconds=2.0)
        assert plan.buy_length <= lay_too.buy_length + 1e-6


FOLDED_OR_OPEN = """
units = "cm"
[[piece]]
name = "pair"
rectangle = ["10 cm", "51 cm"]
cut = 8
mirrored = true
[[piece]]
name = "tab"
rectangle = ["3 cm", "34 cm"]
cut = 3
alike_ok = true
[[cloth]]
name = "main"
width = "102 cm"
increment = "10 cm"
spreads = ["open", "lengthwise fold"]
{cloth}
[[garment]]
name = "bag"
"""


@pytest.mark.parametrize(
    ("cloth", "length"),
    [("", 460.0), ('length = "50 cm"', 460.0), ('length = "48 cm"', 430.0), ('length = "47 cm"', 430.0)],
)
def test_the_shorter_lay_is_taken_where_the_cloth_is_too_short_for_the_easier_one(
    tmp_path, cloth: str, length: float
) -> None:
    """Folded, 4 × 10 for the pairs and 2 × 3 for the tabs, of which two lie on one another: 46, with the ends 50. Open,
    the three tabs lie side by side: 43 and 47. Either buys 50, so the fold is taken for its ease; where there are 48 it
    is not."""
    path = tmp_path / "bags.toml"
    path.write_text(FOLDED_OR_OPEN.format(cloth=cloth), encoding="utf-8")
    (lay,) = nesting.lay(nesting.load_order(path), rounds=4, workers=1)
    assert lay.lay_length == pytest.approx(length, abs=0.01) and lay.buy_length == pytest.approx(500.0)


def test_what_is_said_to_be_missing_is_what_the_figures_differ_by(tmp_path) -> None:
    """47 are needed and 46.9 there, not "50 of 47" of the easier spread: 1 mm is missing."""
    path = tmp_path / "bags.toml"
    path.write_text(FOLDED_OR_OPEN.format(cloth='length = "46.9 cm"'), encoding="utf-8")
    with pytest.raises(CannotLayError) as told:
        nesting.lay(nesting.load_order(path), rounds=4, workers=1)
    for words in ("takes 47 cm", "there are 46.9 cm", "0.1 cm are missing", "no lay of these pieces is short enough"):
        assert words in told.value.message


def test_the_easier_spread_that_lies_on_the_table_is_taken_before_one_that_must_be_divided(tmp_path) -> None:
    """46 and both ends are 50, too long for a table of 48; the open lay of 47 is not."""
    path = tmp_path / "bags.toml"
    path.write_text(FOLDED_OR_OPEN.format(cloth='table_length = "48 cm"'), encoding="utf-8")
    (lay,) = nesting.lay(nesting.load_order(path), rounds=4, workers=1)
    assert len(lay.sections) == 1 and lay.lay_length == pytest.approx(430.0, abs=0.01)


def test_what_keeps_a_pair_cut_together_from_a_fold_is_told(tmp_path) -> None:
    """Open cloth has one ply; on a fold, plies face one another, and these two are to face the same way: that is what
    can be answered, so check and lay say it. Answered, both lie on 20 cm of a fold."""
    text = """units = "cm"
[[piece]]
name = "front"
rectangle = [30, 20]
[[piece]]
name = "lining"
rectangle = [30, 20]
[[together]]
leader = "front"
follower = "lining"
{}
[[cloth]]
name = "main"
width = 40
[[garment]]
name = "g"
"""
    path = tmp_path / "order.toml"
    path.write_text(text.format(""), encoding="utf-8")
    with pytest.raises(CannotLayError, match='faces = "to the leader" would suit'):
        nesting.lay(nesting.load_order(path), rounds=2, workers=1)
    (told,) = laying_findings(resolve(nesting.load_order(path)))
    assert 'faces = "to the leader" would suit' in told.message
    path.write_text(text.format('faces = "to the leader"'), encoding="utf-8")
    assert laying_findings(resolve(nesting.load_order(path))) == ()
    (lay,) = nesting.lay(nesting.load_order(path), rounds=2, workers=1)
    assert lay.lay_length == pytest.approx(300.0, abs=0.01)
