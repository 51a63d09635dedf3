"""The placement sheet: a person with a ruler can rebuild the lay from what is printed."""

from __future__ import annotations

import io
import itertools
import math
import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser

import pdfplumber
import pytest
from shapely.geometry import Polygon

from nesting.model.lay import Lay, mirrored_over_fold, placed
from nesting.report.sheet.byruler import rebuild
from nesting.report.sheet.folding import cross_section, folding_steps
from nesting.report.sheet.sheet import Row, Sheet, bundles, rows, sheet
from nesting.report.sheet.sheet_pdf import sheet_pdf
from nesting.report.words import hands, measure

from . import samples
from .pages import report_page

NAMES = sorted(samples.ALL)


class _Cells(HTMLParser):
    """The rows of the placement sheets on a page, as lists of cell texts."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "tr":
            self.rows.append([])
        if tag == "td":
            self.rows[-1].append("")
            self.inside = True

    def handle_endtag(self, tag: str) -> None:
        if tag == "td":
            self.inside = False

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.rows[-1][-1] += data


def as_printed(lay: Lay) -> Sheet:
    """The sheet with every number taken from the text of the report page, by its columns."""
    page = report_page([lay], None).decode()
    cells = _Cells()
    cells.feed(page)
    printed = {int(c[1]): c for c in cells.rows if len(c) == 11 and c[1].isdigit()}
    numbers = sheet(lay)
    out: list[Row] = []
    for row in numbers.rows:
        c = printed[row.number]
        beside = re.search(r"line (.*) (?:cm|in) beside", c[4])
        on = re.search(r"fold edge on fold [AB]", c[4])
        out.append(
            replace(
                row,
                flipped="printed side down" in c[4],
                opened="opened out" in c[4],
                lies=on[0] if on else "",
                edge=c[5][-1],
                tail=(c[6], c[7]),
                head=(c[8], c[9]),
                line_offset=beside[1] if beside else "0",
                turn=c[10].split()[1],
            )
        )
    return replace(numbers, rows=tuple(out))


@pytest.mark.parametrize("imperial", [False, True])
@pytest.mark.parametrize("name", NAMES)
def test_lay_is_rebuilt_from_printed_numbers(name: str, imperial: bool) -> None:
    """No point of any piece is off by more than 1 mm, or 1/16 in; pieces anew from the pattern, not from the lay."""
    lay = replace(samples.ALL[name](), imperial=imperial)
    pieces = samples.pieces_of(name)
    rebuilt = rebuild(as_printed(lay), pieces)
    assert len(rebuilt) == len(lay.placements)
    most = 25.4 / 16 if imperial else 1.0
    for r in rebuilt:
        p = lay.placements[r.row.index]
        piece = pieces[(r.row.piece, r.row.size)]
        again = placed(mirrored_over_fold(piece) if r.row.opened else piece, r.x, r.y, r.turn, r.row.flipped)
        off = max(math.dist(a, b) for a, b in zip(p.outline, again.outline, strict=True))
        assert off <= most, f"{r.row.name} is off by {off:.2f} mm"


@pytest.mark.parametrize("name", ["open", "partial", "double", "hundred"])
def test_rebuilt_lay_keeps_pieces_apart(name: str) -> None:
    """With a gap of at least twice the rounding, no two rebuilt pieces of one ply overlap."""
    lay = samples.ALL[name]()
    pieces = samples.pieces_of(name)
    shapes = []
    for r in rebuild(sheet(lay), pieces):
        piece = pieces[(r.row.piece, r.row.size)]
        again = placed(mirrored_over_fold(piece) if r.row.opened else piece, r.x, r.y, r.turn, r.row.flipped)
        shapes.append((set(r.row.plies), Polygon(again.outline)))
    for i, (plies, a) in enumerate(shapes):
        for others, b in shapes[:i]:
            if plies & others:
                assert a.distance(b) > 0.0


def test_distances_by_hand() -> None:
    """A band 200 × 40 mm whose grainline is its middle line, set by hand; every number worked out on paper."""
    band = samples.band("tie", None, 200.0, 40.0)
    base = samples.open_lay()

    def one(turn: float, flipped: bool = False, x: float = 300.0, y: float = 500.0, piece: object = band) -> Row:
        want = samples.Want(piece, turn=turn, flipped=flipped)  # type: ignore[arg-type]
        p = samples.lay_down(want, x, y, by_box=False)
        (row,) = rows(replace(base, sections=(replace(base.sections[0], placements=(p,)),)))
        return row

    # arrow away from the cut end: from 200 to 400 mm of the lay, which begins 20 mm in
    row = one(0.0)
    assert (row.tail, row.head) == (("50.0", "22.0"), ("50.0", "42.0"))
    assert (row.turn, row.edge_name, row.line_offset) == ("0°", "selvage A", "0.0")
    row = one(180.0)
    assert (row.tail, row.head) == (("50.0", "42.0"), ("50.0", "22.0"))
    # across the cloth: from 400 to 600 mm from the selvage
    row = one(90.0, flipped=True)
    assert (row.tail, row.head, row.side) == (("40.0", "32.0"), ("60.0", "32.0"), "pattern printed side down")
    # bias: 100 mm · cos 45° = 70.7 mm each way
    row = one(45.0)
    assert (row.tail, row.head) == (("42.9", "24.9"), ("57.1", "39.1"))
    # a half whose grainline is its fold edge: measured on a line beside it, inside the piece
    row = one(0.0, piece=samples.fold_grain_half("M"))
    assert row.line_offset == "5.5" and row.tail[0] == row.head[0] == "55.5"


def test_measures_are_cm_to_the_millimetre_or_sixteenths() -> None:
    """Half a millimetre goes up; sixteenths are reduced; never below zero by rounding."""
    assert [measure(v, False) for v in (0.0, 0.5, 123.44, 1234.0, -0.2)] == ["0.0", "0.1", "12.3", "123.4", "0.0"]
    assert [measure(v, True) for v in (0.0, 25.4, 25.4 * 4.8125, 25.4 * 0.5, 0.3)] == ["0", "1", "4 13/16", "1/2", "0"]


@pytest.mark.parametrize("name", NAMES)
def test_cutting_order(name: str) -> None:
    """By section; top ply first, then all plies, then bottom; near the cut end before far by more than 10 cm; within
    that a fold before an open piece."""
    lay = samples.ALL[name]()
    listed = rows(lay)
    assert [row.number for row in listed] == list(range(1, len(listed) + 1))
    assert sorted(row.index for row in listed) == list(range(len(lay.placements)))
    first = {row.index: min(x for x, _ in lay.placements[row.index].outline) for row in listed}
    for a, b in itertools.pairwise(listed):
        assert (a.section, a.phase) <= (b.section, b.phase)
        if (a.section, a.phase) == (b.section, b.phase):
            assert first[a.index] < first[b.index] + 100.0
            if math.floor(first[a.index] / 100) == math.floor(first[b.index] / 100):
                assert a.on_fold or not b.on_fold


def test_plies_and_folds_in_words() -> None:
    """Which plies, and on which fold, as a person would say it."""
    listed = rows(samples.lengthwise_lay())
    assert [row.ply_words for row in listed[:2]] == ["top ply only"] * 2
    assert listed[-1].ply_words == "bottom ply only"
    assert {row.lies for row in listed if row.on_fold} == {"fold edge on fold A"}
    double = rows(samples.double_lay())
    assert {(row.edge, row.lies) for row in double if row.piece == "front"} == {("B", "fold edge on fold B")}
    assert {(row.edge, row.ply_words) for row in double if row.piece == "waistband"} == {("A", "single ply")}
    crosswise = rows(samples.crosswise_lay())
    assert {row.lies for row in crosswise if row.on_fold} == {"fold edge on the fold across the cloth"}
    assert {row.ply_words for row in rows(samples.stacked_lay("to face", 4))} == {"through all 4 plies"}


def test_pieces_cut_together_come_together() -> None:
    """Front below and lining above are cut at one place through both plies, one after the other on the sheet; the tie
    alone is a top ply's single piece and comes first."""
    listed = rows(samples.lining_lay())
    assert [(row.piece, row.ply_words, row.follows) for row in listed] == [
        ("tie", "top ply only", None),
        ("front", "through both plies with lining", None),
        ("lining", "top ply only", "front"),
    ]


def test_hands() -> None:
    """Printed side up on the right side of the cloth is right; turned over, or on a ply that lies face down, left;
    halves have no hand, and where only one hand occurs nothing is said."""
    lay = samples.open_lay()
    for i, words in hands(lay).items():
        assert words == ("left" if lay.placements[i].flipped else "right")
    folded = samples.lengthwise_lay()
    said = hands(folded)
    assert {said[i] for i, p in enumerate(folded.placements) if p.piece.endswith("leg")} == {"left + right"}
    assert all(not (p.on_fold or p.opened) for i, p in enumerate(folded.placements) if i in said)
    # the same gusset printed side up on the face-down ply alone: a single left, so no word
    assert all(p.piece != "tie" for i, p in enumerate(folded.placements) if i in said)


@pytest.mark.parametrize("name", NAMES)
def test_bundles_hold_every_cloth_piece(name: str) -> None:
    """The labels together count all cloth pieces, each garment's copy once."""
    lay = samples.ALL[name]()
    found = bundles(lay)
    assert sum(n for b in found for _, n in b.pieces) == sum(p.gives for p in lay.placements)
    assert max(Counter((b.garment, b.size, b.copy) for b in found).values()) == 1


def test_a_placement_for_several_copies_goes_to_each() -> None:
    """Cut through two plies for two garments: one cloth piece in each bundle."""
    lay = samples.lengthwise_lay()
    section = lay.sections[0]
    shared = replace(section.placements[4], copies=(1, 2), gives=2)
    lay = replace(lay, sections=(replace(section, placements=(shared,)),))
    assert [(b.copy, b.pieces) for b in bundles(lay)] == [(1, (("front leg", 1),)), (2, (("front leg", 1),))]
    assert rows(lay)[0].copy == "1 + 2"


@pytest.mark.parametrize("paper,size", [("a4", (297.0, 210.0)), ("letter", (279.4, 215.9)), ("a3", (420.0, 297.0))])
def test_sheet_pdf_shows_the_same_numbers(paper: str, size: tuple[float, float]) -> None:
    """Read back with pdfplumber: page sizes per ISO 216 and ANSI/ASME Y14.1, each row with its four distances."""
    made = samples.hundred_lay() if paper == "letter" else samples.sections_lay()
    lay = replace(made, imperial=paper == "letter")
    with pdfplumber.open(io.BytesIO(sheet_pdf(lay, paper))) as pdf:
        for page in pdf.pages:
            assert (page.width * 25.4 / 72, page.height * 25.4 / 72) == pytest.approx(size, abs=0.05)
        found: dict[int, str] = {}
        boxes = 0
        for page in pdf.pages:
            boxes += sum(abs(r["width"] - r["height"]) < 0.1 and 8 < r["width"] < 10 for r in page.rects)
            # a row lies between two rules; from left to right its words are the columns
            rules = sorted({round(line["top"], 1) for line in page.lines})
            for top, bottom in itertools.pairwise(rules):
                words = [w for w in page.extract_words() if top < (w["top"] + w["bottom"]) / 2 < bottom]
                text = " ".join(w["text"] for w in sorted(words, key=lambda w: w["x0"]))
                if match := re.match(r"(\d+) ", text):
                    found[int(match[1])] = text
    for row in rows(lay):
        assert " ".join((*row.tail, *row.head)) in found[row.number]
    assert boxes == len(lay.placements)


@pytest.mark.parametrize("name", NAMES)
def test_folding_is_told_and_drawn(name: str) -> None:
    """Every section has steps with its measures, and a cross-section with as many cloth lines as plies and as many
    bends as folds."""
    lay = samples.ALL[name]()
    for section in lay.sections:
        steps = " ".join(folding_steps(lay, section))
        scene = cross_section(lay, section)
        cloth = [s for s in scene.items if s.role == "cloth" and len(getattr(s, "lines", ())) == 1]
        assert len(cloth) == len(section.spread.plies)
        assert sum(s.role == "fold-line" for s in scene.items) == len(section.spread.folds)
        if section.spread.depths:
            assert all(measure(d, False).rstrip("0").rstrip(".") in steps for d in section.spread.depths)
        if section.spread.folds or len(section.spread.plies) > 1:
            assert "without stretching" in steps
