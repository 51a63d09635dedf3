"""What an alteration does, to be drawn, and the numbers and names by which an order points at places for it."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from shapely.geometry import Polygon

from nesting.checking.judging import check_order
from nesting.cli.app import app
from nesting.model.errors import OrderError
from nesting.model.piece import Piece, Ring
from nesting.pieces.edges import anchors_of
from nesting.pieces.prepare import prepare, prepared
from nesting.pieces.wishes import Alteration, EdgeSpec, Preparation
from nesting.report.html.check_page import write_check
from tests.order_builder import CLOTH, GARMENT, PANEL, load, panel_svg, write

RECTANGLE: Ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 200.0), (0.0, 200.0))
NAMED = (EdgeSpec("hem", 1, 2), EdgeSpec("side", 2, 3), EdgeSpec("waist", 3, 4), EdgeSpec("front", 4, 1))


def steps(*changes: Alteration, ring: Ring = RECTANGLE):  # type: ignore[no-untyped-def]
    """The steps of these alterations of a rectangle 100 × 200 with named edges, grain up."""
    return prepared(Piece("p", ring), Preparation(grain=90.0, edges=NAMED, alterations=changes))[2]


def test_a_lengthened_piece_shows_its_line_before_and_both_after() -> None:
    """5 cm below the waist by 2: the line 150 up, then 150 and 170; both ends said by edge and distance."""
    (step,) = steps(Alteration("lengthen", 20.0, at=50.0, at_is_distance=True, start="waist"))
    assert step.lines == (((0.0, 150.0), (100.0, 150.0)),)
    assert step.lines_after == (((0.0, 150.0), (100.0, 150.0)), ((0.0, 170.0), (100.0, 170.0)))
    assert step.labels == ("on front, 50 mm from waist", "on side, 50 mm from waist")
    assert Polygon(step.before).area == pytest.approx(20_000) and Polygon(step.after).area == pytest.approx(22_000)
    assert step.words == "lengthen 20 mm, 50 mm from the middle of waist"


@pytest.mark.parametrize("kind", ["shorten", "take strip"])
def test_a_strip_shows_both_its_lines_before_and_one_after(kind: str) -> None:
    """Shorten and take strip are one: 30 out of the rectangle from 60 up."""
    (step,) = steps(Alteration(kind, 30.0, at=60.0, at_is_distance=True))  # type: ignore[arg-type]
    assert [line[0][1] for line in step.lines] == pytest.approx([60.0, 90.0])
    assert [line[0][1] for line in step.lines_after] == pytest.approx([60.0])
    assert Polygon(step.after).area == pytest.approx(17_000)


def test_a_moved_edge_says_which_end_is_held() -> None:
    """The side taken in by 10, held at the waist."""
    (step,) = steps(Alteration("take", 10.0, edge="side", hold=("waist",)))
    assert step.lines[0][0] == (100.0, 0.0) and step.lines[0][-1] == (100.0, 200.0)
    assert step.labels == ("moves, at hem", "held, at waist")


def test_a_second_alteration_begins_where_the_first_ended() -> None:
    """Before of the second is after of the first."""
    one, two = steps(
        Alteration("lengthen", 20.0, at=50.0, at_is_distance=True),
        Alteration("shorten", 5.0, at=20.0, at_is_distance=True),
    )
    assert Polygon(one.after).equals(Polygon(two.before)) and two.number == 2


@pytest.mark.parametrize("named", ["waist", "end", "end of side", "side end", "side.end", "waist start"])
def test_hold_takes_an_end_of_the_edge_by_name(named: str) -> None:
    """By the edge that meets there, or as the end of either: the same as corner 3."""
    by_number = prepare(
        Piece("p", RECTANGLE),
        Preparation(grain=90.0, edges=NAMED, alterations=(Alteration("take", 10.0, edge="side", hold=(3,)),)),
    )[0]
    by_name = prepare(
        Piece("p", RECTANGLE),
        Preparation(grain=90.0, edges=NAMED, alterations=(Alteration("take", 10.0, edge="side", hold=(named,)),)),
    )[0]
    assert by_name.outline == by_number.outline


def test_an_end_of_another_edge_is_refused_with_those_that_would_do() -> None:
    """Start of hem is no end of the side… it is at corner 1."""
    with pytest.raises(OrderError, match="its ends are where it meets hem and waist"):
        steps(Alteration("take", 10.0, edge="side", hold=("start of hem",)))


# --- numbers ----------------------------------------------------------------------------------------------------------


def bent(*angles: float) -> Ring:
    """A strip whose upper side turns by these angles at points 60 mm apart."""
    x, y, a = 0.0, 100.0, 0.0
    upper = [(x, y)]
    for angle in (*angles, 0.0):
        x, y = x + 60.0 * math.cos(math.radians(a)), y + 60.0 * math.sin(math.radians(a))
        upper.append((x, y))
        a += angle
    return ((0.0, 0.0), (x, 0.0), *reversed(upper))


def test_every_vertex_sharper_than_ten_degrees_has_a_number_after_the_corners() -> None:
    """Bends of 12, 9 and 20 degrees: corners 1 to 4, then 5 and 6 the sharp bends anticlockwise, 7 the slight one."""
    ring = bent(12.0, -9.0, 20.0)
    anchors = anchors_of(Piece("p", ring))
    assert len(anchors.corners) == 4
    assert anchors.bends == (ring[3], ring[5]) and anchors.others == (ring[4],)


def test_a_bend_does_not_change_the_numbers_of_the_corners() -> None:
    """With and without it corners 3 and 4 are the ends of the upper side."""
    for angle in (0.0, 12.0):
        ring = bent(angle)
        assert anchors_of(Piece("p", ring)).corners[2:] == (ring[2], ring[-1])


def test_points_of_a_flattened_curve_have_no_number() -> None:
    """A half disc of radius 80 on a base: its two corners, nothing else."""
    arc = tuple((80.0 * math.cos(math.pi * k / 90), 80.0 * math.sin(math.pi * k / 90)) for k in range(91))
    anchors = anchors_of(Piece("p", arc))
    assert len(anchors.corners) == 2 and anchors.bends == () and anchors.others == ()


def test_an_edge_may_begin_at_a_bend_by_its_number() -> None:
    """From corner 3 to bend 5."""
    ring = bent(12.0)
    piece = prepare(Piece("p", ring), Preparation(grain=90.0, edges=(EdgeSpec("neck", 3, 5),)))[0]
    edge = next(e for e in piece.edges if e.name == "neck")
    assert math.dist(edge.start, edge.end) == pytest.approx(60.0)


def test_a_number_beyond_all_is_refused_with_what_there_is() -> None:
    """4 corners, 1 bend."""
    with pytest.raises(OrderError, match=r"corners 1 to 4, then bends to 5.*--corners all"):
        prepare(Piece("p", bent(12.0)), Preparation(grain=90.0, edges=(EdgeSpec("neck", 3, 9),)))


# --- pictures ---------------------------------------------------------------------------------------------------------

_ALTER = '[[alter]]\npiece = "front"\nkind = "lengthen"\nat = "5 cm"\nfrom = "head"\nby = "2 cm"\n'


def test_the_picture_shows_what_is_altered_and_every_number(tmp_path: Path) -> None:
    """Both ends of the line labelled, and the corners numbered; the page shows it too."""
    order = load(tmp_path, PANEL + CLOTH + GARMENT + _ALTER, panel=panel_svg())
    files = write_check(check_order(order), order, picture=True, every_corner=True)
    assert {"alterations.svg", "alterations.png"} <= set(files)
    words = [e.text or "" for e in ET.fromstring(files["alterations.svg"]).iter("{http://www.w3.org/2000/svg}text")]
    assert sum(w.startswith("1: on ") for w in words) == 2
    assert any("lengthen 20 mm, 50 mm from the head of the grain arrow" in w for w in words)
    assert "Alterations, before and after" in files["check.html"].decode()


def test_corners_on_the_command_line(tmp_path: Path) -> None:
    """--corners all draws the picture with every bend; another word is refused."""
    path = write(tmp_path, PANEL + CLOTH + GARMENT, panel=panel_svg())
    from typer.testing import CliRunner

    found = CliRunner().invoke(app, ["check", str(path), "--corners", "all", "-o", str(tmp_path / "out")])
    assert found.exit_code == 0 and (tmp_path / "out" / "corners.svg").is_file()
    wrong = CliRunner().invoke(app, ["check", str(path), "--corners", "some"])
    assert wrong.exit_code == 2
