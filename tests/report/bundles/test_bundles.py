"""Bundles over all cloths: labels to cut apart and the cutting list, counted by hand."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import replace

import pdfplumber
import pytest

from nesting.model.lay import Lay
from nesting.model.order import Cloth, CutPiece, Garment, Order, Trim, Wearer
from nesting.model.piece import Edge
from nesting.report.bundles.cutting_list import COLUMNS, cutting_list_csv
from nesting.report.bundles.gathered import PieceOf, TrimOf, gathered
from nesting.report.bundles.labels_pdf import label_pages, labels_pdf
from nesting.report.drawing.fonts import text_width
from nesting.report.drawing.scene import Text
from nesting.resolving.resolve import resolve
from tests.report import samples

MM = 72.0 / 25.4


def one_lay(cloth: str, *wants: samples.Want, ids: tuple[str, ...] = ()) -> Lay:
    """Pieces in a row on open cloth."""
    base = samples.open_lay()
    placements = samples.columns(wants, 10.0, 1490.0)
    if ids:
        placements = [replace(p, ids=(name,)) for p, name in zip(placements, ids, strict=True)]
    return replace(base, cloth=cloth, sections=(replace(base.sections[0], placements=tuple(placements)),))


def chorus() -> tuple[tuple[Lay, Lay], Order]:
    """Briefs in M for Ada (one) and for nobody in particular (two): a band and a tie from main, a loop from mesh. The
    band's upper edge is 600 mm; elastic 0.9 of it and 2 cm to join."""
    band = samples.band("waistband", "M", 600.0, 40.0)
    hers = replace(band, size="M Ada")
    tie, loop = samples.band("tie", None, 200.0, 40.0), samples.band("loop", None, 60.0, 18.0)
    main = one_lay(
        "main",
        samples.Want(band, copy=1), samples.Want(band, copy=2), samples.Want(hers, copy=1),
        samples.Want(tie, copy=1), samples.Want(tie, copy=2),
        ids=("briefs/M//1/waistband/1", "briefs/M//2/waistband/1", "briefs/M Ada/Ada/1/waistband/1",
             "briefs/M//1/tie/1", "briefs/M//2/tie/1"),
    )  # fmt: skip
    main = _sized(main, {3: "M", 4: "M"})
    mesh = one_lay("mesh", *(samples.Want(loop, copy=1) for _ in range(3)))
    mesh = _sized(mesh, {0: "M", 1: "M", 2: "M Ada"})
    upper = (Edge("upper", band.outline[3], band.outline[2]),)
    top = replace(band, edges=(Edge("top", band.outline[0], band.outline[1]), *upper)[:1])
    order = Order(
        title="Chorus", units="cm", path=None, sha256="",
        pieces=(CutPiece(top, None), CutPiece(replace(top, size="M Ada"), None), CutPiece(tie, None),
                CutPiece(loop, None, cloth="mesh")),
        cloths=(Cloth("main", 1500.0), Cloth("mesh", 1500.0)),
        garments=(Garment("briefs", "M", 2, ("waistband", "tie", "loop")),
                  Garment("briefs", "M Ada", 1, ("waistband", "loop"), wearer="Ada")),
        trims=(Trim("waist elastic", "elastic", ("waistband.top",), 0.9, True, join=20.0),),
        wearers=(Wearer("Ada", (("waist", 720.0),)),),
    )  # fmt: skip
    return (main, mesh), order


def _sized(lay: Lay, sizes: dict[int, str]) -> Lay:
    (section,) = lay.sections
    placements = tuple(replace(p, size=sizes.get(i, p.size)) for i, p in enumerate(section.placements))
    return replace(lay, sections=(replace(section, placements=placements),))


def test_one_bundle_for_each_garment_and_wearer_over_all_cloths() -> None:
    """Two briefs M and Ada's: pieces of both cloths with their numbers; 0.9 × 60 + 2 = 56 cm of elastic."""
    lays, order = chorus()
    first, second, hers = gathered(lays, resolve(order))
    assert [(b.title, b.wearer, b.copy, b.of) for b in (first, second, hers)] == [
        ("briefs M", None, 1, 2), ("briefs M", None, 2, 2), ("briefs M", "Ada", 1, 1)
    ]  # fmt: skip
    assert {(p.piece, p.where, p.count) for p in first.pieces} == {
        ("waistband", "main", 1), ("tie", "main", 1), ("loop", "mesh", 2)
    }  # fmt: skip
    assert [(p.piece, p.where) for p in hers.pieces] == [("waistband", "main"), ("loop", "mesh")]
    elastic = TrimOf("waist elastic", "elastic", 1, pytest.approx(560.0, abs=0.01))
    assert all(b.trims == (elastic,) for b in (first, second, hers))
    # the names alone carry the wearer where the order is not there; trims are then not known
    without = gathered(lays, None)
    assert without[2].wearer == "Ada" and without[2].size == "M" and all(not b.trims for b in without)


@pytest.mark.parametrize("name", ["lengthwise", "stacked-faces", "sections", "hundred", "double"])
def test_every_cloth_piece_is_in_one_bundle(name: str) -> None:
    """None is lost or told twice; hands are divided as a pair through two plies gives them."""
    lay = samples.ALL[name]()
    found = gathered((lay,), None)
    assert sum(p.count for b in found for p in b.pieces) == sum(p.gives for p in lay.placements)
    if name == "lengthwise":
        legs = [p for b in found for p in b.pieces if p.piece == "front leg"]
        assert Counter(p.hand for p in legs) == {"left": 2, "right": 2} and all(p.count == 1 for p in legs)


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_labels_to_cut_apart(paper: str, size: tuple[float, float]) -> None:
    """Page sizes by ISO 216 and ANSI/ASME Y14.1; each label's words stay within its own eighth of the page and none are
    lost; what does not fit goes on on a second label."""
    lays, order = chorus()
    bundles = gathered(lays, resolve(order))
    many = tuple(PieceOf(f"a piece with a rather long name {k}", "left", 2, "main", (k, 90 + k)) for k in range(30))
    bundles = (replace(bundles[0], pieces=many), *bundles, *gathered((samples.hundred_lay(),), None))
    with pdfplumber.open(io.BytesIO(labels_pdf(bundles, "Chorus", paper, imperial=paper == "letter"))) as pdf:
        for page in pdf.pages:
            assert (page.width / MM, page.height / MM) == pytest.approx(size, abs=0.05)
        text = " ".join(" ".join(page.extract_text() for page in pdf.pages).split())
    for piece in many:
        assert f"name {piece.numbers[0]} left" in text
    assert text.count("for Ada") == 1 and "label 2 of" in text
    assert ("22 1/16 in" if paper == "letter" else "56 cm") in text
    wide, tall = size[0] / 2, size[1] / 4
    for scene in label_pages(bundles, "Chorus", paper, imperial=False):
        for item in scene.items:
            if isinstance(item, Text):
                width = text_width(item.words, item.size, item.bold)
                left = item.at[0] if item.anchor == "start" else item.at[0] - width
                column, row = int(item.at[0] // wide) - (item.at[0] % wide == 0), int(item.at[1] // tall)
                assert column * wide + 3 <= left and left + width <= (column + 1) * wide - 3
                assert row * tall + 2 <= item.at[1] and item.at[1] + item.size <= (row + 1) * tall - 2


def test_the_cutting_list_reads_back() -> None:
    """By the csv module: a line for each kind of piece and each trim, lengths in cm; nothing that a spreadsheet takes
    for a formula; a reason not to cut stands first."""
    lays, order = chorus()
    bundles = gathered(lays, resolve(order))
    content = cutting_list_csv(bundles, imperial=False).decode("utf-8-sig")
    head, *rows = csv.reader(io.StringIO(content, newline=""))
    assert head == [*COLUMNS[:-1], "cut length (cm)"] and content.count("\r\n") == len(rows) + 1
    assert len(rows) == sum(len(b.pieces) + len(b.trims) for b in bundles)
    assert rows[0][:6] == ["briefs", "M", "", "1", "2", "piece"]
    elastic = [row for row in rows if row[6] == "waist elastic"]
    assert [row[2] for row in elastic] == ["", "", "Ada"] and {row[-1] for row in elastic} == {"56.0"}
    odd = replace(bundles[0], garment='=cmd|"x"', pieces=(replace(bundles[0].pieces[0], piece='a, "b"\nc'),))
    stopped = cutting_list_csv([odd], imperial=True, do_not_cut=("the side does not match",)).decode("utf-8-sig")
    first, _, row, *_ = csv.reader(io.StringIO(stopped, newline=""))
    assert first == ["DO NOT CUT YET: the side does not match"]
    assert row[0] == "'=cmd|\"x\"" and row[6] == 'a, "b"\nc'
    pages = label_pages([odd], "t", "a4", imperial=False, do_not_cut=("the side does not match",))
    words = [item.words for item in pages[0].items if isinstance(item, Text)]
    assert words[0] == "DO NOT CUT YET" and re.search("'?=cmd", words[1])
