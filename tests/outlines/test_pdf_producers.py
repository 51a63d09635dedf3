"""PDF patterns that five more programs of general purpose wrote: skia, cairo, fpdf2, ghostscript (fixtures/pdf).

The files were made once from the shapes below, by skia 144 (the writer of a browser), cairo 1.16, fpdf2 2.8.9 and
ghostscript 10; the tests compare what is read with the shapes.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from nesting.files import read_pieces
from tests.outlines.pdf_makers import Shape, deviation

FOLDER = Path(__file__).parents[2] / "fixtures" / "pdf"


def back(k: float = 1.0, x: float = 30.0, y: float = 30.0, h: float = 1.0) -> Shape:
    """Half a back: waist, side, curved leg, crotch, centre. ``k`` makes it wider, ``h`` higher."""
    w, t = 110 * k, 150 * h
    return [
        ("m", x, y + t), ("c", x + 0.3 * w, y + t + 4, x + 0.7 * w, y + t + 9, x + w, y + t + 14),
        ("l", x + w + 6, y + t - 40), ("c", x + w - 20, y + t - 60, x + 55 * k, y + 40, x + 35 * k, y),
        ("l", x, y - 3), ("z",),
    ]  # fmt: skip


def gusset(k: float = 1.0, x: float = 30.0, y: float = 30.0) -> Shape:
    """Two curved sides, two straight ends."""
    return [
        ("m", x, y), ("c", x + 15, y + 5, x + 15, y + 75 * k, x, y + 80 * k), ("l", x + 60, y + 80 * k),
        ("c", x + 45, y + 75 * k, x + 45, y + 5, x + 60, y), ("z",),
    ]  # fmt: skip


TILED = (back(2.6, 20, 30, 2.5), gusset(1, 330, 60))
SIZES = {"S": back(0.9), "M": back(), "L": back(1.12)}


@pytest.mark.parametrize(
    ("name", "most_mm", "most_share"),
    [
        # one drawing on six pages, each with its own crop box
        ("cairo-crop-boxes.pdf", 0.01, 1e-4),
        # whole paths on six pages, turned one by one
        ("ghostscript-turned.pdf", 0.01, 1e-4),
        # lines cut at the border, Letter with half an inch of overlap; A4 with 10 mm
        ("fpdf2-cut-lines.pdf", 0.1, 1e-3),
        ("ghostscript-cut-lines.pdf", 0.1, 1e-3),
    ],
)
def test_tiles(name: str, most_mm: float, most_share: float) -> None:
    """Both pieces with their names."""
    pieces = {p.name: p for p in read_pieces(FOLDER / name).pieces}
    assert set(pieces) == {"Back", "Gusset"}
    for piece, shape in zip(("Back", "Gusset"), TILED, strict=True):
        away, share = deviation(pieces[piece].outline, shape)
        assert away <= most_mm and share <= most_share


@pytest.mark.parametrize(
    ("name", "most_mm"),
    [
        # dashes as areas, letters one by one, a legend with an umlaut; what lies in the gaps is not in the file
        ("skia-dashes.pdf", 0.02),
        # the centre drawn once for all
        ("cairo-nested.pdf", 0.01),
    ],
)
def test_sizes(name: str, most_mm: float) -> None:
    """Three sizes of one piece."""
    pieces = {p.size: p for p in read_pieces(FOLDER / name).pieces}
    assert set(pieces) == set(SIZES) and {p.name for p in pieces.values()} == {"Back"}
    for size, shape in SIZES.items():
        away, share = deviation(pieces[size].outline, shape)
        assert away <= most_mm and share <= 1e-4, size
