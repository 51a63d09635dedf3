"""PDF patterns from three producers are read as exactly as they were drawn."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pytest

from nesting.files import read_pieces
from nesting.files.reading import Reading
from nesting.model.errors import PatternError
from nesting.outlines.pdf_dashes import with_dashes_joined
from nesting.outlines.pdf_sheets import PdfLine, Sheet, Style
from tests.outlines.pdf_makers import (
    by_cairo,
    by_hand,
    by_matplotlib,
    by_reportlab,
    cut_to_tiles,
    deviation,
    front,
    moved,
    whole_on_tiles,
)

MAKERS = [by_hand, by_reportlab, by_matplotlib]
SIZES = {"S": 0.9, "M": 1.0, "L": 1.12}


def read(tmp_path: Path, data: bytes, **keys: Any) -> Reading:
    """Read the PDF from a file."""
    path = tmp_path / "pattern.pdf"
    path.write_bytes(data)
    return read_pieces(path, **keys)


def label(words: str = "Front", at: tuple[float, float] = (45.0, 90.0), height: float = 5.0) -> dict[str, Any]:
    """A text."""
    return {"text": words, "at": at, "height": height}


def by_browser(_: Any, name: str = "chromium.pdf") -> bytes:
    """What Chromium 156 printed of that page (``by_chromium``): texts letter by letter."""
    return (Path(__file__).parents[2] / "fixtures" / "pdf" / name).read_bytes()


def dashes_by_browser(_: Any) -> bytes:
    """What it printed of ``dashed``: every dash an area of its own."""
    return by_browser(_, "chromium-dashes.pdf")


@pytest.mark.parametrize("make", [*MAKERS, by_browser])
def test_single_page(make: Any, tmp_path: Path) -> None:
    """One page, one piece: outline, name and count."""
    reading = read(tmp_path, make([[{"shape": front()}, label(), label("cut 2", (45, 80), 4)]]))
    (piece,) = reading.pieces
    assert (piece.name, piece.cut) == ("Front", 2)
    # a browser's page is a whole number of its pixels high
    away, area = deviation(piece.outline, front(), align=make is by_browser)
    assert away <= 0.01 and area <= 1e-4


# matplotlib cuts lines off at the page by itself, so it cannot make such files
@pytest.mark.parametrize("make", [by_hand, by_reportlab, by_cairo])
def test_tiles_that_hold_the_whole_path(make: Any, tmp_path: Path) -> None:
    """Each page draws all of a line: it is taken once, and the pages found by it."""
    big = front(3.0)
    pages = whole_on_tiles([{"shape": big}, label()], 2, 1)
    (piece,) = read(tmp_path, make(pages)).pieces
    away, area = deviation(piece.outline, big)
    assert away <= 0.01 and area <= 1e-4


@pytest.mark.parametrize("make", MAKERS)
@pytest.mark.parametrize("overlap", [10.0, 0.0])
def test_tiles_with_lines_cut_at_the_border(make: Any, overlap: float, tmp_path: Path) -> None:
    """Each page draws its own part only: the parts meet again."""
    shapes = [moved(front(3.0), 10, 10), moved(front(3.0), 10, 220), moved(front(2.0), 322, 240)]
    pages = cut_to_tiles([{"shape": s} for s in shapes], 3, 2, overlap=overlap)
    reading = read(tmp_path, make(pages))
    assert len(reading.pieces) == 3
    for shape in shapes:
        best = min(deviation(p.outline, shape) for p in reading.pieces)
        assert best[0] <= 0.1 and best[1] <= 1e-3
    said = " ".join(f.message for f in reading.findings)
    assert "2 × 3" in said and "apart" in said


def test_a_join_that_is_out_is_a_question(tmp_path: Path) -> None:
    """Pages that do not meet by more than a millimetre are asked about."""
    pages = cut_to_tiles([{"shape": moved(front(3.0), 10, 10)}], 2, 1)
    pages[1] = [{**t, "shape": moved(t["shape"], 0, 1.6)} for t in pages[1]]
    reading = read(tmp_path, by_hand(pages))
    assert any(f.kind == "question" and "1.6 mm apart" in f.message for f in reading.findings)


def sizes(reading: Reading) -> dict[str | None, Any]:
    """Pieces by size."""
    return {p.size: p for p in reading.pieces}


@pytest.mark.parametrize("names", [("S", "M", "L"), ("Größe S", "Größe M", "Größe L"), ("size_S", "size_M", "size_L")])
def test_sizes_by_layer(names: tuple[str, ...], tmp_path: Path) -> None:
    """Layers tell sizes; texts and counts belong to all of them."""
    drawing = [{"shape": front(k), "layer": name} for name, k in zip(names, SIZES.values(), strict=True)]
    reading = read(tmp_path, by_hand([[*drawing, label(), label("cut 2", (45, 80))]]))
    found = sizes(reading)
    assert set(found) == set(SIZES)
    for size, k in SIZES.items():
        away, area = deviation(found[size].outline, front(k), align=False)
        assert away <= 0.01 and area <= 1e-4 and found[size].name == "Front" and found[size].cut == 2


def dashed() -> list[dict[str, Any]]:
    """Three sizes by their dashes, with a legend."""
    dashes = {"S": (6.0, 3.0), "M": (2.0, 2.0), "L": ()}
    drawing: list[dict[str, Any]] = [{"shape": front(k), "dash": dashes[s]} for s, k in SIZES.items()]
    for i, (size, dash) in enumerate(dashes.items()):
        y = 250.0 - 8 * i
        drawing.append({"shape": [("m", 150, y), ("l", 175, y)], "dash": dash})
        drawing.append(label(size, (178.0, y - 1.2), 4.0))
    return [*drawing, label()]


@pytest.mark.parametrize("make", [*MAKERS, dashes_by_browser])
def test_sizes_by_dash(make: Any, tmp_path: Path) -> None:
    """A legend tells which line is which size."""
    found = sizes(read(tmp_path, make([dashed()])))
    assert set(found) == set(SIZES)
    for size, k in SIZES.items():
        # a browser's page is a whole number of its pixels high, and what lies in its gaps is not in the file
        browser = make is dashes_by_browser
        away, area = deviation(found[size].outline, front(k), align=browser)
        assert away <= (0.02 if browser else 0.01) and area <= 1e-4 and found[size].name == "Front"


def bars(places: list[tuple[float, float, float, float]]) -> Sheet:
    """Filled rectangles (x, y, w, h) of one path."""
    style = Style((0, 0, 0), 0.0, (), False, True)
    rings = [((x, y), (x + w, y), (x + w, y + h), (x, y + h)) for x, y, w, h in places]
    return Sheet(1, 200.0, 200.0, tuple(PdfLine(ring, True, style, (), 1, 7) for ring in rings))


def test_bars_that_go_on_are_a_dashed_line_and_bars_beside_each_other_are_none() -> None:
    """Dash and dot, 6 2 1 2 mm, in a row: one line with its pattern. The same bars side by side, as in a hatching, and
    bars of different widths, as in a code, stay as they are."""
    row = bars([(10 + 11 * k + dx, 50, w, 0.4) for k in range(5) for dx, w in ((0, 6), (8, 1))])
    (line,) = with_dashes_joined(row).lines
    assert line.style.dash == (6.0, 2.0, 1.0, 2.0) and line.style.stroked and not line.closed
    assert np.allclose(line.points, [(10, 50.2), (63, 50.2)]) and math.isclose(line.style.width, 0.4, abs_tol=1e-3)
    beside = [(10, 10 + 3 * k, 6, 0.4) for k in range(8)]
    uneven = [(10 + 9 * k, 50, 6, 0.2 + 0.3 * k) for k in range(6)]
    for places in (beside, uneven):
        assert with_dashes_joined(bars(places)) == bars(places)


def test_german_words_on_layers_and_lines(tmp_path: Path) -> None:
    """Layers named in German, one of them with an umlaut written as letter and dots, give their lines their roles;
    notches and the grainline are found where no layer names them, by where and how they are drawn."""
    x, y = 60.0, 110.0
    drawing = [
        {"shape": front(), "layer": "Schnittlinie"},
        {"shape": [("m", 30, 30), ("l", 110, 30)], "layer": "Nahtlinien"},
        {"shape": [("m", 30, 60), ("l", 60, 60)], "layer": "Abna\u0308her"},
        {"shape": [("m", 20, 100), ("l", 25, 100)], "layer": "Knipse"},
        {"shape": [("m", x, y - 40), ("l", x, y + 40)], "layer": "Fadenlauf"},
        label("Vorderteil", (45, 150)), label("2x gegengleich zuschneiden", (45, 142), 4.0),
    ]  # fmt: skip
    (piece,) = read(tmp_path, by_hand([drawing])).pieces
    assert (piece.name, piece.cut, piece.mirrored) == ("Vorderteil", 2, True)
    assert len(piece.notches) == 1 and len(piece.inside) == 2
    assert piece.grainline is not None and piece.grainline[0][0] == pytest.approx(x, abs=0.01)
    assert deviation(piece.outline, front(), align=False)[0] <= 0.01
    bare = [{k: v for k, v in t.items() if k != "layer"} for t in drawing]
    arrow = [("m", x - 2, y + 36), ("l", x, y + 40), ("l", x + 2, y + 36)]
    (piece,) = read(tmp_path, by_hand([[*bare, {"shape": arrow}, label("Fadenlauf", (x + 2, y), 3.0)]])).pieces
    assert piece.name == "Vorderteil"
    assert len(piece.notches) == 1, piece.inside
    assert piece.grainline is not None and piece.grainline[0][0] == pytest.approx(x, abs=0.01)


#: Helvetica's widths, in thousandths of its size (Adobe's metrics of the 14 standard fonts)
WIDTHS = {"G": 778, "u": 556, "s": 500, "e": 556, "t": 278, "r": 333, "ö": 556, "ß": 611, "S": 667, "M": 833, " ": 278,
          "B": 667, "a": 556, "c": 500, "k": 500, "L": 556}  # fmt: skip


def one_by_one(words: str, at: tuple[float, float], height: float) -> list[dict[str, Any]]:
    """The letters as texts of their own, each where the one before ends, as browsers write them; spaces not at all."""
    x, letters = at[0], []
    for letter in words:
        if letter != " ":
            letters.append(label(letter, (x, at[1]), height))
        x += WIDTHS[letter] / 1000.0 * height
    return letters


def test_letters_set_one_by_one_are_words(tmp_path: Path) -> None:
    """What is between the ink of two letters is not what is between two words: a G leaves as much beside it as a space
    is wide. Names and a legend in such letters are read as they are meant."""
    legend: list[dict[str, Any]] = []
    dashes = {"S": (6.0, 3.0), "M": (2.0, 2.0), "L": ()}
    for i, (size, dash) in enumerate(dashes.items()):
        y = 250.0 - 8 * i
        legend.append({"shape": [("m", 150, y), ("l", 175, y)], "dash": dash})
        legend += one_by_one(f"Größe {size}", (178.0, y - 1.2), 4.0)
    drawing = [{"shape": front(k), "dash": dashes[s]} for s, k in SIZES.items()]
    pieces = read(tmp_path, by_hand([[*drawing, *legend, *one_by_one("Gusset Back", (45.0, 90.0), 5.0)]])).pieces
    assert {p.size for p in pieces} == set(SIZES) and {p.name for p in pieces} == {"Gusset Back"}


def nested() -> list[dict[str, Any]]:
    """Centre, hem and waist drawn once in full; each size's side alone, in its own line."""
    widest = front(SIZES["L"])
    dashes = {"S": (6.0, 3.0), "M": (2.0, 2.0), "L": ()}
    hem = [widest[0], widest[1]]
    drawing: list[dict[str, Any]] = [{"shape": hem, "colour": (0.5, 0.5, 0.5)}]
    drawing.append({"shape": [("m", 20, 20), ("l", 20, 190)], "colour": (0.5, 0.5, 0.5)})
    for size, k in SIZES.items():
        shape = front(k)
        drawing.append({"shape": [("m", *shape[1][1:]), *shape[2:4]], "dash": dashes[size]})
        at = shape[1][1], 20.0
        drawing.append(label(size, (at[0] - 1.5, at[1] + 3), 3.0))
    return drawing


@pytest.mark.parametrize("make", MAKERS)
def test_nested_sizes_that_share_lines(make: Any, tmp_path: Path) -> None:
    """A size is its own line and what closes it."""
    found = sizes(read(tmp_path, make([[*nested(), label()]])))
    assert set(found) == set(SIZES)
    for size, k in SIZES.items():
        away, area = deviation(found[size].outline, front(k), align=False)
        assert away <= 0.01 and area <= 1e-4, size


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_rotation_crop_box_and_user_unit(turn: int, tmp_path: Path) -> None:
    """The page is read as a viewer shows it."""

    def change(pdf: Any, groups: Any) -> None:
        page = pdf.pages[0]
        page.obj["/Rotate"] = turn
        page.obj["/CropBox"] = pikepdf.Array([20, 30, 560, 820])
        page.obj["/UserUnit"] = 2

    (piece,) = read(tmp_path, by_hand([[{"shape": front(), "width": 0.2}]], change=change)).pieces
    twice = [(s[0], *(2 * v for v in s[1:])) for s in front()]
    ways = {
        0: lambda x, y: (x, y), 90: lambda x, y: (y, -x), 180: lambda x, y: (-x, -y), 270: lambda x, y: (-y, x),
    }  # fmt: skip
    shown = [(s[0], *(v for i in range(1, len(s), 2) for v in ways[turn](s[i], s[i + 1]))) for s in twice]
    away, area = deviation(piece.outline, shown)
    assert away <= 0.01 and area <= 1e-4


def test_layers_of_forms(tmp_path: Path) -> None:
    """A form that carries its layer itself is told apart; a membership dictionary names its group."""

    def change(pdf: Any, groups: Any) -> None:
        page = pdf.pages[0]
        forms = pikepdf.Dictionary()
        content = []
        for i, (size, k) in enumerate(SIZES.items()):
            group = pdf.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.OCG, Name=f"Größe {size}"))
            groups[size] = group
            from tests.outlines.pdf_makers import operators

            form = pdf.make_stream(f"1 w {operators(front(k))} S".encode())
            form.Type, form.Subtype = pikepdf.Name.XObject, pikepdf.Name.Form
            form.BBox = pikepdf.Array([0, 0, 2000, 2000])
            form.OC = group if i else pdf.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.OCMD, OCGs=group))
            forms[f"/X{i}"] = form
            content.append(f"/X{i} Do")
        page.obj["/Resources"]["/XObject"] = forms
        page.obj["/Contents"] = pdf.make_stream(" ".join(content).encode())
        pdf.Root["/OCProperties"] = pikepdf.Dictionary(
            OCGs=pikepdf.Array(list(groups.values())), D=pikepdf.Dictionary()
        )

    found = sizes(read(tmp_path, by_hand([[]], change=change)))
    assert set(found) == set(SIZES)
    for size, k in SIZES.items():
        assert deviation(found[size].outline, front(k), align=False)[0] <= 0.01


def test_a_layer_is_chosen(tmp_path: Path) -> None:
    """Only the named layer is read; an unknown one is refused with those that there are."""
    drawing = [{"shape": front(k), "layer": f"Größe {s}"} for s, k in SIZES.items()]
    reading = read(tmp_path, by_hand([drawing]), layers=["größe m"])
    (piece,) = reading.pieces
    assert deviation(piece.outline, front(), align=False)[0] <= 0.01
    with pytest.raises(PatternError, match="Größe S"):
        read(tmp_path, by_hand([drawing]), layers=["XL"])


def test_instructions_are_left_out(tmp_path: Path) -> None:
    """Pages for reading are told and left out."""
    words = [
        label("Sew the side seams with a narrow zigzag and press them to the back.", (15, 250 - 6 * i))
        for i in range(20)
    ]
    reading = read(tmp_path, by_hand([words, [{"shape": front()}, label()]]))
    assert [p.name for p in reading.pieces] == ["Front"]
    assert any(f.kind == "ignored" and "page 1" in f.message and "instructions" in f.message for f in reading.findings)
    with pytest.raises(PatternError, match="no page"):
        read(tmp_path, by_hand([words]))


@pytest.mark.parametrize(("drawn", "told"), [(50.0, False), (47.5, True)])
def test_the_test_square_is_measured(drawn: float, told: bool, tmp_path: Path) -> None:
    """A square that is not as large as it says tells the scale."""
    square = [("m", 140, 20), ("l", 140 + drawn, 20), ("l", 140 + drawn, 20 + drawn), ("l", 140, 20 + drawn), ("z",)]
    page = [{"shape": front()}, label(), {"shape": square}, label("test square 5 cm", (142, 40), 3)]
    reading = read(tmp_path, by_hand([page]))
    assert len(reading.pieces) == 1
    assert reading.test_square == pytest.approx(drawn, abs=0.001)
    assert any("95.00 %" in f.message for f in reading.findings) is told
