"""Checking an order: verdicts, figures, the JSON document, the page and the labelled picture."""

from __future__ import annotations

import io
import itertools
import math
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console
from shapely.geometry import LinearRing, Polygon

from nesting.checking.judging import check_order, small_length
from nesting.model.errors import OrderError
from nesting.model.order import Cloth, CutPiece, Garment, Order, Seam, Together
from nesting.model.piece import Edge, Notch, Piece, Ring
from nesting.pieces.edges import anchors_of
from nesting.pieces.prepare import prepare
from nesting.pieces.seams import Mark
from nesting.pieces.wishes import Alteration, EdgeSpec, Finish, Preparation
from nesting.report.drawing.scene import Text
from nesting.report.html.check_drawing import corner_scene
from nesting.report.html.check_labels import text_corners
from nesting.report.html.check_page import check_summary, verdict, write_check

FRONT: Ring = ((0.0, 0.0), (40.0, 0.0), (160.0, 180.0), (165.0, 260.0), (0.0, 260.0))
BACK: Ring = ((0.0, 0.0), (40.0, 0.0), (170.0, 180.0), (175.0, 260.0), (0.0, 260.0))
LINING: Ring = ((0.0, 0.0), (40.0, 0.0), (100.0, 90.0), (0.0, 90.0))
EDGES = (EdgeSpec("crotch", 1, 2), EdgeSpec("leg", 2, 3), EdgeSpec("side", 3, 4), EdgeSpec("waist", 4, 5))


def cut(name: str, ring: Ring, edges: tuple[EdgeSpec, ...] = EDGES, **how: object) -> CutPiece:
    """A half piece on the fold with notches in the middle of its crotch end and at its side."""
    drawn = Piece(name, ring, size="M", notches=(Notch((20.0, 0.0), 90.0, depth=4.0),), file="briefs.svg")
    piece, _ = prepare(drawn, Preparation(fold="left", grain=90.0, edges=edges, **how))  # type: ignore[arg-type]
    return CutPiece(piece, drawn)


def order(*pieces: CutPiece, **rest: object) -> Order:
    """An order for three briefs from one cloth."""
    settings: dict[str, object] = {
        "title": "Chorus briefs",
        "units": "cm",
        "path": None,
        "sha256": "",
        "pieces": pieces,
        "cloths": (Cloth("main", 1500.0, stretch_across=0.6, stretch_along=0.6),),
        "garments": (Garment("briefs", "M", 3, tuple(p.name for p in pieces)),),
    }
    return Order(**(settings | rest))  # type: ignore[arg-type]


SEAMS = (Seam(("front.crotch", "back.crotch")), Seam(("front.side", "back.side")))


def test_pieces_that_fit_are_said_to_sew_together() -> None:
    """One sentence, nothing to fix."""
    check = check_order(order(cut("front", FRONT), cut("back", BACK), seams=SEAMS))
    assert check.ok
    assert verdict(check) == ("These pieces will sew together: 2 seams walked, lengths and notches agree.", ())


def test_without_notches_none_are_said_to_agree() -> None:
    """Nothing that was not compared is said to agree."""
    check = check_order(order(cut("front", FRONT), cut("back", BACK), seams=SEAMS))
    bare = replace(check, seams=tuple(replace(s, walked=replace(s.walked, notches=(), lone=())) for s in check.seams))
    assert verdict(bare)[0].endswith("2 seams walked, lengths agree; there are no notches to compare.")
    lone = replace(
        check,
        seams=tuple(
            replace(s, walked=replace(s.walked, notches=(), lone=((0, Mark(10.0, (0.0, 0.0), "waist")),)))
            for s in check.seams
        ),
    )
    assert "no notch has a partner to compare" in verdict(lone)[0]


def test_the_pages_style_reaches_the_browser_as_written() -> None:
    """The face's name stands in quotation marks that a style sheet understands, not in entities."""
    shown = order(cut("front", FRONT), cut("back", BACK), seams=SEAMS)
    page = write_check(check_order(shown), shown)["check.html"].decode()
    style = page[page.index("<style>") : page.index("</style>")]
    assert '"DejaVu Sans"' in style and "&#34;" not in style


def test_the_document_has_the_agreed_keys_in_millimetres() -> None:
    """Pieces, seams and findings; further keys may stand beside them."""
    check = check_order(order(cut("front", FRONT), cut("back", BACK), seams=SEAMS))
    document = check.as_dict()
    front = document["pieces"][0]
    assert {k: front[k] for k in ("name", "size", "width", "height", "notches", "grain")} == {
        "name": "front", "size": "M", "width": 165.0, "height": 260.0, "notches": 1, "grain": 90.0,
    }  # fmt: skip
    # shoelace by hand: 40·180/2-type trapezia: (40 + 160)/2 · 180 + (160 + 165)/2 · 80
    assert front["area"] == pytest.approx(18000.0 + 13000.0)
    seam = document["seams"][0]
    assert {k: seam[k] for k in ("edges", "lengths", "difference", "agrees")} == {
        "edges": ["front.crotch", "back.crotch"], "lengths": [40.0, 40.0], "difference": 0.0, "agrees": True,
    }  # fmt: skip
    assert all({"file", "piece", "kind", "code", "message"} <= set(f) for f in document["findings"])


def test_an_end_that_was_cut_off_is_reported_with_the_right_figure() -> None:
    """2 in off the end of the front: its crotch seam is 2 in · 120/180 longer than the back's."""
    off = Alteration("take", 50.8, edge="crotch")
    check = check_order(order(cut("front", FRONT, alterations=(off,)), cut("back", BACK), seams=SEAMS))
    assert not check.ok
    words, reasons = verdict(check)
    assert words == "Do not cut yet: 1 seam does not fit."
    assert reasons[0] == "Size M: back.crotch is 33.9 mm shorter than front.crotch (40.0 mm against 73.9 mm)."
    assert check.as_dict()["seams"][0]["difference"] == pytest.approx(-33.867, abs=1e-3)


def test_a_lining_that_is_too_wide_is_told_with_its_leader() -> None:
    """5 mm too wide at the leg."""
    edges = (EdgeSpec("crotch", 1, 2), EdgeSpec("leg", 2, 3), EdgeSpec("top", 3, 4))
    good = check_order(
        order(cut("front", FRONT), cut("lining", LINING, edges), together=(Together("front", "lining"),))
    )
    assert good.ok and good.as_dict()["together"][0]["agrees"]
    wide = cut("lining", LINING, edges, alterations=(Alteration("add", 5.0, edge="leg"),))
    check = check_order(order(cut("front", FRONT), wide, together=(Together("front", "lining"),)))
    assert not check.ok
    assert verdict(check)[0] == "Do not cut yet: 1 piece cannot be cut together with its leader."
    assert any(f.kind == "warning" and "lies outside" in f.message for f in check.findings)


def test_missing_centre_notches_are_offered_with_the_key_to_write() -> None:
    """A seam at the fold, whose pieces have no notch at the fold."""
    check = check_order(order(cut("front", FRONT), cut("back", BACK), seams=SEAMS[:1]))
    offered = [f for f in check.findings if f.kind == "question"]
    assert len(offered) == 1
    assert "no centre notch on front.crotch, back.crotch" in offered[0].message
    assert "add_centre_notches = true" in offered[0].message


def test_an_unknown_edge_in_a_seam_is_an_error_with_the_nearest_name() -> None:
    """sied for side."""
    with pytest.raises(OrderError, match=r"did you mean 'front\.side'\?") as caught:
        check_order(order(cut("front", FRONT), cut("back", BACK), seams=(Seam(("front.sied", "back.side")),)))
    assert caught.value.key == "seam"


def test_cloth_that_does_not_stretch_enough_is_a_warning_and_unmeasured_a_question() -> None:
    """Against what the piece needs, and against the least share of stretch fibre."""
    needy = replace(cut("front", FRONT), needs_stretch=0.7)
    found = check_order(order(needy)).findings
    assert any(f.kind == "warning" and "has 60 % at most" in f.message for f in found)
    found = check_order(order(needy, cloths=(Cloth("main", 1500.0),))).findings
    assert any(f.kind == "question" and "stretch_across" in f.message for f in found)
    thin = Cloth("main", 1500.0, stretch_across=0.8, stretch_along=0.8, fibre_stretch=0.02)
    found = check_order(order(needy, cloths=(thin,))).findings
    assert any("2 % of stretch fibre, less than the 5 %" in f.message for f in found)


def test_notches_deeper_than_the_allowance_are_told() -> None:
    """Woodhead, Industrial Cutting of Textile Materials: a notch must not exceed the seam allowance."""
    for allowance, told in ((3.0, True), (6.0, False)):
        piece = cut("front", FRONT, finishes=(("crotch", Finish("seam", allowance)),))
        found = check_order(order(piece)).findings
        assert any("deeper than the allowance" in f.message for f in found) == told


def test_what_finishes_do_to_the_area_is_told_for_the_whole_order() -> None:
    """10 mm more along a 40 mm edge, opened, for three garments: small but told; without finishes nothing is."""
    plain = check_order(order(cut("front", FRONT)))
    assert not any("change what is cut" in f.message for f in plain.findings)
    wide = check_order(order(cut("front", FRONT, finishes=(("waist", Finish("fold back", 30.0)),))))
    note = next(f.message for f in wide.findings if "change what is cut" in f.message)
    # 165 · 30 plus the mitre's triangle 30 · 30 · 5/80 / 2 on 31,000 mm²
    assert "+16.1 %" in note


def test_the_page_is_one_file_that_names_edges_and_shows_differences_in_place() -> None:
    """No script, no link to elsewhere; what does not fit stands on the piece itself."""
    off = Alteration("take", 50.8, edge="crotch")
    one = order(cut("front", FRONT, alterations=(off,)), cut("back", BACK), seams=SEAMS)
    check = check_order(one)
    files = write_check(check, one)
    assert set(files) == {"check.html"}
    page = files["check.html"].decode()
    assert "<script" not in page and "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "Do not cut yet" in page
    assert page.count("+33.9 mm to back.crotch") == 1 and page.count("−33.9 mm to front.crotch") == 1
    for edge in ("crotch", "leg", "side", "waist"):
        assert page.count(f">{edge}</text>") == 2


def test_the_picture_numbers_the_corners_that_an_order_may_name() -> None:
    """Read back as XML: numbers 1 to 5 and the notch's name, for each drawing; and a picture in pixels."""
    one = order(cut("front", FRONT), cut("back", BACK))
    files = write_check(check_order(one), one, picture=True)
    assert set(files) == {"check.html", "corners.svg", "corners.png"}
    words = [e.text for e in ET.fromstring(files["corners.svg"]).iter("{http://www.w3.org/2000/svg}text")]
    for number in "12345":
        assert words.count(number) == 2
    assert words.count("n1") == 2
    assert files["corners.png"].startswith(b"\x89PNG")


def test_the_terminal_says_the_same() -> None:
    """The piece listing, the seams and the verdict."""
    one = order(cut("front", FRONT), cut("back", BACK), seams=SEAMS)
    console = Console(file=io.StringIO(), width=120)
    console.print(check_summary(check_order(one), one))
    text = console.file.getvalue()  # type: ignore[attr-defined]
    assert "front M" in text and "16.5 × 26.0" in text and "90°" in text
    assert "These pieces will sew together" in text


def test_lengths_are_said_in_the_readers_units() -> None:
    """Tenths of a millimetre, or sixteenths of an inch."""
    assert small_length(1.5875, False) == "1.6 mm"
    assert small_length(1.5875, True) == "1/16 in"
    assert small_length(0.3, True) == "less than 1/16 in"


def test_the_demo_fits() -> None:
    """The wardrobe's own order: every seam agrees, the lining lies in the front, the test squares measure 50 mm."""
    path = Path(__file__).parents[2] / "fixtures" / "demo" / "chorus.toml"
    if not path.exists():
        pytest.skip("the demo is not there")
    from nesting.files.orders.order import load_order

    check = check_order(load_order(path))
    assert check.ok
    assert all(abs(s.walked.difference) < 0.2 for s in check.seams)
    assert check.test_squares and all(side == pytest.approx(50.0, abs=0.01) for _, side in check.test_squares)


def test_the_numbered_picture_of_a_long_thin_piece_covers_nothing() -> None:
    """A band of 62 × 4 cm with notches all along both sides: no words lie on words, circles or the cut line."""
    ring: Ring = ((0.0, 0.0), (620.0, 0.0), (620.0, 40.0), (0.0, 40.0))
    places = [40.0 * k for k in range(1, 15)]
    notches = tuple(
        Notch((x, y), 90.0 if y == 0.0 else 270.0, name=f"{'lower' if y == 0.0 else 'upper'} {k}")
        for y in (0.0, 40.0)
        for k, x in enumerate(places, 1)
    )
    names = ("lower side", "end", "upper side", "start")
    edges = tuple(Edge(name, ring[k], ring[(k + 1) % 4]) for k, name in enumerate(names))
    band = Piece("waistband", ring, notches=notches, edges=edges, grainline=((10.0, 20.0), (40.0, 20.0)))
    items = corner_scene(CutPiece(band, band)).items
    words = [Polygon(text_corners(i, below=0.2, above=0.8)) for i in items if isinstance(i, Text)]
    assert len(words) == 4 + 28 + 4 + 1
    for k, one in enumerate(words):
        assert all(one.intersection(other).area < 1e-6 for other in words[:k]), k
    cut_line = LinearRing(ring)
    assert sum(one.intersects(cut_line) for one in words) == 0


def test_a_curve_of_many_chords_gets_numbers_that_can_be_told_apart() -> None:
    """Half a circle of 300 mm in 100 chords of 9.4 mm, each turning by 1.8 degrees, and one vertex that turns by 4 on a
    straight side: at most 30 of the 100 have a number, evenly placed, the single one has its own, and the picture says
    how many have none. All numbers are of drawn vertices."""
    arc = [(300.0 * math.cos(math.pi * k / 100), 300.0 * math.sin(math.pi * k / 100)) for k in range(101)]
    single = (-300.0 - 7.0, -200.0)
    ring = (*arc, single, (-300.0, -400.0), (300.0, -400.0))
    piece = Piece("p", ring, grainline=((0.0, 0.0), (0.0, 100.0)))
    anchors = anchors_of(piece)
    assert len(anchors.corners) == 2 and single in (*anchors.bends, *anchors.others)
    assert 8 <= len(anchors.others) <= 30 and set(anchors.others) <= set(ring)
    on_arc = sorted(math.degrees(math.atan2(y, x)) for x, y in anchors.others if (x, y) in arc)
    steps = [b - a for a, b in itertools.pairwise(on_arc)]
    assert max(steps) < 3 * min(steps)
    told = [i.words for i in corner_scene(CutPiece(piece, piece), every=True).items if isinstance(i, Text)]
    (left_out,) = [text for text in told if "have no number" in text]
    total = len(anchors.others) + int(left_out.split()[0])
    assert 95 <= total <= 101
    usual = corner_scene(CutPiece(piece, piece)).items
    assert not any("have no number" in i.words for i in usual if isinstance(i, Text))
