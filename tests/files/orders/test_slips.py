"""Slips in an order or a drawing: which line or path, and what to write; nothing is asked that is answered."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from nesting.checking.judging import check_order
from nesting.files import read_pieces
from nesting.model.errors import NestingError, OrderError
from nesting.model.findings import Finding, in_order_of_weight
from tests.order_builder import CLOTH, GARMENT, PANEL, load, panel_svg, write

BASE = PANEL + CLOTH + GARMENT


@pytest.mark.parametrize(
    ("line", "write_it"),
    [
        ("price = 14,90", "price = 14.90, with a point"),
        ("selvage = -0,5", "selvage = -0.5, with a point"),
        ('width = "150 cm', 'width = "150 cm"'),
        ("width = \"150 cm'", 'width = "150 cm"'),
        ('width = 150 cm"', 'width = "150 cm", with the quote'),
        ("width = 150 cm", 'width = "150 cm", in quotes'),
        ("width = 3/8 in", 'width = "3/8 in", in quotes'),
        ("width: 150", "width = 150, with an equals sign"),
        ("width: 150 cm", 'width = "150 cm", with an equals sign'),
        ("width = “150 cm”", 'width = "150 cm", with plain quotes'),
        ("nap = one way", 'nap = "one way", in quotes'),
        ("[[cloth]", "[[cloth]], with two brackets"),
        ('finish = { waist = "fold back 2 cm }', 'finish = { waist = "fold back 2 cm" }'),
        ('finish = { waist = fold back 2 cm" }', 'finish = { waist = "fold back 2 cm" }'),
        ('edges = ["front.side, "back.side"]', 'edges = ["front.side", "back.side"]'),
        ('edges = ["front.side", back.side"]', 'edges = ["front.side", "back.side"]'),
        ('spreads = ["open", "lengthwise fold]', 'spreads = ["open", "lengthwise fold"]'),
        ("width =", "width = and a value"),
    ],
)
def test_a_slip_in_toml_says_its_line_and_what_to_write(tmp_path: Path, line: str, write_it: str) -> None:
    """The line is the seventh of the file; what is to be written can be read, where it is a whole line."""
    text = f'title = "t"\nunits = "cm"\n\n[[garment]]\nname = "x"\n\n{line}\n[[cloth]]\nname = "main"\n'
    with pytest.raises(OrderError) as refused:
        load(tmp_path, text)
    assert refused.value.code == "order.toml"
    assert "line 7 says" in refused.value.message and write_it in refused.value.message.replace("`", "")


def test_a_key_given_twice_is_called_that(tmp_path: Path) -> None:
    """Two widths in one block."""
    with pytest.raises(OrderError, match=r"line 6 says.*given twice in one block"):
        load(tmp_path, PANEL + CLOTH + 'width = "90 cm"\n')


@pytest.mark.parametrize(
    ("written", "means"),
    [("0.9", 0.9), ('"90 %"', 0.9), ('"90%"', 0.9), ('"0.9"', 0.9), ('"0,9"', 0.9), ("1", 1.0), ('"115 %"', 1.15)],
)
def test_a_ratio_is_a_number_or_a_share(tmp_path: Path, written: str, means: float) -> None:
    """0.9, "90 %", and 0.9 in quotes."""
    trim = f'[[trim]]\nname = "e"\nkind = "elastic"\nedges = ["front.1-2"]\nratio = {written}\n'
    assert load(tmp_path, BASE + trim, panel=panel_svg()).trims[0].ratio == pytest.approx(means)


@pytest.mark.parametrize("written", ["90", '"90"', '"ninety"', '"0.01 %"', "true", "[0.9]"])
def test_what_is_no_ratio_is_refused_with_both_ways_to_write_it(tmp_path: Path, written: str) -> None:
    """Bare 90 asks for per cent."""
    trim = f'[[trim]]\nname = "e"\nkind = "elastic"\nedges = ["front.1-2"]\nratio = {written}\n'
    with pytest.raises(OrderError, match=r'0\.9 or "90 %"') as refused:
        load(tmp_path, BASE + trim, panel=panel_svg())
    assert ('write "90 %"' in refused.value.message) == ("90" in written)


def _svg(inside: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="400mm" viewBox="0 0 400 400">{inside}</svg>'
    )


_GOOD = '<g id="front"><path d="M 20 20 H 170 V 300 H 20 Z"/><path class="grain" d="M 60 260 V 60"/></g>'


@pytest.mark.parametrize("gap", [1.0, 4.0, 12.0])
def test_an_open_outline_beside_good_ones_is_told_and_takes_nothing_from_them(tmp_path: Path, gap: float) -> None:
    """The back ends ``gap`` before it closes: told with its path, its place and its width; its grainline is not taken
    for the front's."""
    back = f'<g id="back"><path id="hull" d="M 220 20 H 370 V 300 H 220 V {20 + gap}"/>'
    path = tmp_path / "p.svg"
    path.write_text(_svg(_GOOD + back + '<path class="grain" d="M 260 290 V 30"/></g>'))
    reading = read_pieces(path)
    assert [p.name for p in reading.pieces] == ["front"]
    (told,) = [f for f in reading.findings if f.code == "outline.open"]
    assert told.kind == "warning" and "'hull'" in told.message and f"{gap:.2f} mm apart" in told.message
    assert re.search(r"at \(220\.0, 3(80|79|76|68)\.0\)", told.message)
    assert reading.pieces[0].grainline is not None and abs(reading.pieces[0].grainline[0][0] - 60.0) < 1e-6
    assert not any(f.code == "grain.several" or "more than one grainline" in f.message for f in reading.findings)


def test_lines_beside_the_pieces_are_no_open_outlines(tmp_path: Path) -> None:
    """An arrow, a ruler and a curve far from closing are left out as before."""
    aside = '<g id="notes"><path d="M 220 20 H 370"/><path d="M 220 60 C 260 20 330 20 370 60"/></g>'
    path = tmp_path / "p.svg"
    path.write_text(_svg(_GOOD + aside))
    assert not any(f.code == "outline.open" for f in read_pieces(path).findings)


def test_a_drawing_without_units_says_so_first_even_with_another_error(tmp_path: Path) -> None:
    """An alteration that misses a piece which is too small because 96 px were taken for an inch."""
    bare = panel_svg().replace('width="1000mm" height="1000mm" ', "")
    alter = '[[alter]]\npiece = "front"\nkind = "lengthen"\nat = "20 cm"\nby = "1 cm"\n'
    said = r"first: panel\.svg: the drawing does not state.*Then: the line 200 mm from"
    with pytest.raises(NestingError, match=said):
        load(tmp_path, BASE + alter, panel=bare)
    order = load(tmp_path, BASE, panel=bare)
    assert check_order(order).findings[0].code == "units.assumed"


def test_findings_come_in_order_of_weight_and_once() -> None:
    """Units, questions, warnings, then the rest."""
    kinds = ("note", "warning", "ambiguous", "question", "note")
    found = [Finding(kind, kind, code="x.y") for kind in kinds] + [Finding("ambiguous", "px", code="units.assumed")]  # type: ignore[arg-type]
    assert [f.message for f in in_order_of_weight(found)] == ["px", "question", "warning", "ambiguous", "note"]


@pytest.mark.parametrize(("answer", "asked"), [("", True), ("add_centre_notches = false\n", False)])
def test_a_question_that_is_answered_with_no_is_not_asked_again(tmp_path: Path, answer: str, asked: bool) -> None:
    """Centre notches of a seam on the fold."""
    both = PANEL + '[[pattern]]\nfile = "other.svg"\n' + CLOTH + GARMENT
    folds = "".join(f'[[piece]]\nname = "{n}"\nfold = "left"\n' for n in ("front", "back"))
    seam = f'[[seam]]\nedges = ["front.1-2", "back.1-2"]\n{answer}'
    order = load(tmp_path, both + folds + seam, panel=panel_svg(), other=panel_svg("back"))
    assert any(f.code == "seam.no-centre" for f in check_order(order).findings) == asked


def test_a_finish_without_its_length_shows_one(tmp_path: Path) -> None:
    """lace, elastic, fold back and seam need a length; raw and bound do not."""
    for word in ("lace", "elastic", "fold back", "seam"):
        with pytest.raises(OrderError, match=f'as in "{word} '):
            load(tmp_path, BASE + f'[[piece]]\nname = "front"\nfinish = {{ 1-2 = "{word}" }}\n', panel=panel_svg())


def test_cloth_of_150_mm_is_asked_about(tmp_path: Path) -> None:
    """Was 150 cm meant?"""
    from nesting.cli.commands import check_order_file

    path = write(tmp_path, BASE.replace('"150 cm"', '"150 mm"'), panel=panel_svg())
    _, document, _ = check_order_file(path, None, picture=False)
    assert any("150 cm meant?" in f["message"] for f in document["findings"])
