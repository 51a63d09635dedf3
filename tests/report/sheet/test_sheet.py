"""The placement sheet: a person with a ruler can rebuild the lay from what is printed."""

from __future__ import annotations

import io
import itertools
import math
import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import pdfplumber
import pytest
from shapely.geometry import Point, Polygon

from nesting.model.lay import Lay, mirrored_over_fold, placed
from nesting.model.piece import Piece
from nesting.model.units import parse_length
from nesting.report.drawing.scene import Text
from nesting.report.sheet.before import before_spreading
from nesting.report.sheet.byruler import rebuild
from nesting.report.sheet.folding import cross_section, folding_steps
from nesting.report.sheet.overview import overview
from nesting.report.sheet.sheet import Row, Sheet, bundles, rows, sheet
from nesting.report.sheet.sheet_pdf import sheet_pdf
from nesting.report.words import hands, measure
from tests.report import samples
from tests.report.html.pages import report_page

NAMES = sorted(samples.ALL)
HEADS = ("No.", "Piece", "For", "Lies", "From", "Tail:", "Head:", "Turn")
COLUMNS = ("number", "piece", "for", "lies", "from", "t1", "t2", "h1", "h2", "turn")


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
                line="centre" if "its centre line" in c[4] else "grain",
                lies=on[0] if on else "",
                edge=c[5][-1],
                tail=(c[6], c[7]),
                head=(c[8], c[9]),
                line_offset=beside[1] if beside else "0",
                turn=c[10].split()[1],
            )
        )
    return replace(numbers, rows=tuple(out))


def _rules(page: Any) -> list[float]:
    """Where the table's lines lie on a page; those of the drawing are shorter."""
    return sorted({round(line["top"], 1) for line in page.lines if line["width"] > 0.85 * page.width})


def from_paper(lay: Lay, pieces: dict[tuple[str, str | None], Any]) -> tuple[Sheet, dict[int, str]]:
    """The sheet with everything taken from the text of the PDF alone: rows by their columns, widths and the end
    allowance from the words around them; and the "For" column by number. ``pieces`` only tell name from size."""
    cells: dict[int, dict[str, str]] = {}
    text = ""
    with pdfplumber.open(io.BytesIO(sheet_pdf(lay))) as pdf:
        for page in pdf.pages:
            text += page.extract_text() + "\n"
            words = page.extract_words()
            heads = [w for w in words if w["text"] == "No."]
            if not heads:
                continue
            first = [w for w in words if abs(w["top"] - heads[-1]["top"]) < 12 and w["text"] in HEADS]
            starts = sorted((w["x0"], n) for n, w in enumerate(sorted(first, key=lambda w: w["x0"])))
            assert len(starts) == len(COLUMNS)
            for top, bottom in itertools.pairwise(_rules(page)):
                mine = [w for w in words if top < (w["top"] + w["bottom"]) / 2 < bottom]
                row: dict[str, list[str]] = {name: [] for name in COLUMNS}
                for w in sorted(mine, key=lambda w: (round(w["top"]), w["x0"])):
                    # numbers stand at the right of their columns
                    middle = w["x0"] if w["x0"] < starts[5][0] - 12 else w["x1"] - 2
                    row[COLUMNS[max((n for x, n in starts if x <= middle + 3), default=0)]].append(w["text"])
                said = {name: " ".join(parts) for name, parts in row.items()}
                if said["number"].isdigit():
                    cells[int(said["number"])] = said
    unit = "in" if lay.imperial else "cm"
    flat = " ".join(text.split())
    widths = re.findall(rf"(?:fold|selvage|base line) A (\S+(?: \S+/\S+)?) {unit} (?:fold|selvage|far side) B", flat)
    inset = re.search(r"the pieces begin (\S+(?: \S+/\S+)?) (cm|in|mm) in; that is counted", flat)
    out = []
    sections = [n for n, s in enumerate(lay.sections) for _ in s.placements]
    for number in sorted(cells):
        c = cells[number]
        name, size = next(k for k in pieces if " ".join(filter(None, k)) == c["piece"])
        beside = re.search(r"line (.*) (?:cm|in) beside", c["lies"])
        on = re.search(r"fold edge on fold [AB]", c["lies"])
        turn = c["turn"].split()[-1]
        line = "centre" if "its centre line" in c["lies"] else "grain"
        out.append(
            replace(
                rows(lay)[0], number=number, section=sections[number - 1], piece=name, size=size,
                flipped="printed side down" in c["lies"], opened="opened out" in c["lies"], lies=on[0] if on else "",
                edge=c["from"][-1], tail=(c["t1"], c["t2"]), head=(c["h1"], c["h2"]), turn=turn, line=line,
                line_offset=beside[1] if beside else "0",
            )
        )  # fmt: skip
    allowance = measure(parse_length(" ".join(inset.groups()), unit), lay.imperial) if inset else "0"
    printed = tuple(widths) or ("0",) * len(lay.sections)
    return Sheet(tuple(out), printed, allowance, lay.imperial), {n: c["for"] for n, c in cells.items()}


@pytest.mark.parametrize("imperial", [False, True])
@pytest.mark.parametrize("name", NAMES)
def test_lay_is_rebuilt_from_the_paper_alone(name: str, imperial: bool) -> None:
    """What a person holds is the printed sheet and the pattern: every piece is set within 1 mm, or 1/16 in, from the
    PDF's own text; halves that are opened out by their centre line."""
    lay = replace(samples.ALL[name](), imperial=imperial)
    pieces = samples.pieces_of(name)
    paper, whose = from_paper(lay, pieces)
    by_number = {row.number: row for row in rows(lay)}
    assert sorted(by_number) == [row.number for row in paper.rows]
    most = 25.4 / 16 if imperial else 1.0
    for r in rebuild(paper, pieces):
        row = by_number[r.row.number]
        p = lay.placements[row.index]
        assert whose[row.number].startswith(" ".join(filter(None, (row.garment, row.size, row.copy))))
        assert r.row.opened == p.opened
        piece = pieces[(r.row.piece, r.row.size)]
        again = placed(mirrored_over_fold(piece) if p.opened else piece, r.x, r.y, r.turn, r.row.flipped)
        off = max(math.dist(a, b) for a, b in zip(p.outline, again.outline, strict=True))
        assert off <= most, f"{r.row.name} is off by {off:.2f} mm"
        assert r.row.line == ("centre" if p.opened else "grain")


@pytest.mark.parametrize("name", NAMES)
def test_the_small_drawing_numbers_every_piece(name: str) -> None:
    """Each number stands inside its own outline, or is told to be too small there; nothing is drawn outside the strips;
    arrows end where the sheet's distances do."""
    lay = samples.ALL[name]()
    by_index = {row.index: row for row in rows(lay)}
    first = 0
    for n, section in enumerate(lay.sections):
        drawn = overview(lay, n, by_index, 260.0)
        there = {item.of: item for item in drawn.scene.items if isinstance(item, Text) and item.of is not None}
        small = re.search(r"too small here for their numbers: ([\d, ]+)", drawn.words)
        told = {int(k) for k in small[1].split(",")} if small else set()
        for i, p in enumerate(section.placements):
            number = by_index[first + i].number
            assert (number in there) != (number in told)
            if number in there:
                item = there[number]
                assert item.words == str(number) and Polygon(p.outline).buffer(0.5).contains(Point(item.at))
                assert item.size * drawn.scale > 1.5, "a number smaller than 1.5 mm cannot be read"
        assert len(told) <= 0.2 * len(section.placements)
        for window in drawn.windows:
            assert (window[2] - window[0]) * drawn.scale <= 260.0 + 1e-6
        assert min(w[0] for w in drawn.windows) == drawn.scene.box[0]
        assert max(w[2] for w in drawn.windows) == pytest.approx(drawn.scene.box[2])
        first += len(section.placements)


def test_the_centre_line_by_hand() -> None:
    """A half 180 mm along its fold edge and up to 110 mm deep, opened out at (300, 500): its fold edge runs from x =
    210 to 390 mm of the lay, which begins 20 mm in, 500 mm from the selvage, flipped or not."""
    base = samples.open_lay()

    def one(turn: float, flipped: bool) -> Row:
        want = samples.Want(samples.fold_grain_half("M"), turn=turn, flipped=flipped, opened=True)
        p = samples.lay_down(want, 300.0, 500.0, by_box=False)
        (row,) = rows(replace(base, sections=(replace(base.sections[0], placements=(p,)),)))
        return row

    for flipped in (False, True):
        row = one(0.0, flipped)
        assert (row.line, row.tail, row.head) == ("centre", ("50.0", "23.0"), ("50.0", "41.0"))
        assert row.lies == "opened out: its centre line"
        row = one(90.0, flipped)
        assert (row.tail, row.head) == (("41.0", "32.0"), ("59.0", "32.0"))
    # a fold edge square to the grain: the head is on the arrow's left as the printed side is seen
    outline = ((0.0, 0.0), (60.0, 0.0), (60.0, 100.0), (0.0, 100.0))
    across = Piece("cross", outline, grainline=((20.0, 50.0), (40.0, 50.0)), fold=((60.0, 0.0), (60.0, 100.0)))
    for flipped, (tail, head) in ((False, ("50.0", "60.0")), (True, ("50.0", "40.0"))):
        p = samples.lay_down(samples.Want(across, flipped=flipped, opened=True), 300.0, 500.0, by_box=False)
        (row,) = rows(replace(base, sections=(replace(base.sections[0], placements=(p,)),)))
        assert (row.line, row.tail[0], row.head[0]) == ("centre", tail, head)


def test_what_is_done_before_spreading() -> None:
    """Wash first where it shrinks, with both shares; rest and curl for a knit; no washing where nothing shrinks."""
    lay = samples.open_lay()
    assert not any("Wash" in step or "curl" in step for step in before_spreading(lay))
    lay = replace(lay, shrink_along=0.05, width_washed=1455.0, knit=True)
    washed, rest, curl = before_spreading(lay)
    assert washed.startswith("Wash first") and "5 % along and 3 % across (145.5 cm wide then" in washed
    assert rest.startswith("Rest after unrolling") and "curl inside" in curl
    assert "Wash first" in pdfplumber.open(io.BytesIO(sheet_pdf(lay))).pages[0].extract_text()
    assert not any("Wash" in step for step in before_spreading(replace(lay, remnant="scrap")))


def test_a_second_cloth_is_placed_from_the_cut_end() -> None:
    """Its cut end so far from the first cloth's, edge on edge."""
    lay = replace(samples.open_lay(), over="main jersey", over_at=(312.0,))
    said = folding_steps(lay, lay.sections[0])[-1]
    assert "the cut end of this cloth lies 31.2 cm from the cut end of “main jersey”, selvage A on selvage A" in said
    said = folding_steps(replace(lay, over_at=(-10.0,)), lay.sections[0])[-1]
    assert "1 cm outside the cut end" in said


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
            rules = _rules(page)
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

