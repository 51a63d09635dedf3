"""Marks on pieces: notches, grainline, fold edge, named edges, seam outline."""
# Drawings stay on one line each:
# ruff: noqa: E501

import math

import pytest
from shapely import LineString, Point, Polygon

from nesting.model.errors import PatternError
from nesting.model.piece import Piece
from tests.files.conftest import ReadSvg, kinds, only

#: A piece 100 × 80, its upper edge at y = 300 and its lower at y = 220.
CUT = '<path class="cut" d="M0 0H100V80H0Z"/>'
ARROW = '<marker id="a"><path d="M0 0L5 5"/></marker>'


def front(read_svg: ReadSvg, inner: str) -> Piece:
    """The piece with some marks."""
    return only(read_svg(f'<g id="front">{CUT}{inner}</g>'))


@pytest.mark.parametrize(
    ("mark", "at", "direction", "kind", "depth"),
    [
        ('<line class="notch" x1="100" y1="40" x2="94" y2="40"/>', (100, 260), 180, "slit", 6),
        ('<line class="notch" x1="94" y1="40" x2="100" y2="40"/>', (100, 260), 180, "slit", 6),
        ('<line class="notch" x1="100" y1="40" x2="107" y2="40"/>', (100, 260), 180, "slit", 7),
        ('<line class="notch" x1="97" y1="40" x2="103" y2="40"/>', (100, 260), 180, "slit", 6),
        (
            '<line class="notch" x1="97" y1="38" x2="103" y2="42"/>',
            (100, 260),
            180 - math.degrees(math.atan2(4, 6)),
            "slit",
            math.hypot(6, 4),
        ),
        (
            '<line class="notch" x1="30" y1="0" x2="33" y2="4"/>',
            (30, 300),
            360 - math.degrees(math.atan2(4, 3)),
            "slit",
            5,
        ),
        ('<line class="notch" x1="48" y1="80" x2="52" y2="80"/>', (50, 220), 90, "slit", 4),
        ('<circle class="notch" cx="0" cy="40" r="2"/>', (0, 260), 0, "slit", 2),
        ('<path class="notch" d="M100 37 L95 40 L100 43"/>', (100, 260), 180, "v", 5),
        ('<g class="notch"><path d="M100 37 L95 40"/><path d="M95 40 L100 43"/></g>', (100, 260), 180, "v", 5),
        ('<path class="notch" d="M100 40 H94 M94 37 V43"/>', (100, 260), 180, "t", 6),
        ('<polygon class="notch" points="47,80 50,74 53,80"/>', (50, 220), 90, "v", 6),
        ('<polygon class="notch" points="47,80 50,86 53,80"/>', (50, 220), 90, "v", 6),
        ('<polyline class="notch" points="47,0 47,5 53,5 53,0"/>', (50, 300), 270, "castle", 5),
        ('<line class="v-notch" x1="100" y1="40" x2="94" y2="40"/>', (100, 260), 180, "v", 6),
        (
            '<line class="notch" data-kind="t" data-depth="8" x1="100" y1="40" x2="94" y2="40"/>',
            (100, 260),
            180,
            "t",
            8,
        ),
    ],
)
def test_notches(
    read_svg: ReadSvg, mark: str, at: tuple[float, float], direction: float, kind: str, depth: float
) -> None:
    """Each way of drawing a notch gives its place on the edge, its direction into the piece, kind and depth."""
    (notch,) = front(read_svg, mark).notches
    assert notch.at == pytest.approx(at)
    assert notch.direction == pytest.approx(direction)
    assert notch.kind == kind
    assert notch.depth == pytest.approx(depth)
    # a step that way leads into the piece
    step = Point(
        notch.at[0] + math.cos(math.radians(notch.direction)), notch.at[1] + math.sin(math.radians(notch.direction))
    )
    assert Polygon([(0, 220), (100, 220), (100, 300), (0, 300)]).buffer(0.3).contains(step)


@pytest.mark.parametrize(("x", "y", "direction"), [(100, 80, 135), (0, 80, 45), (0, 0, 315), (100, 0, 225)])
def test_notch_in_a_corner_points_between_the_sides(read_svg: ReadSvg, x: float, y: float, direction: float) -> None:
    """At a corner the direction halves the angle, also where the outline begins."""
    (notch,) = front(read_svg, f'<circle class="notch" cx="{x}" cy="{y}" r="1"/>').notches
    assert notch.at == (x, 300 - y)
    assert notch.direction == pytest.approx(direction)


@pytest.mark.parametrize(
    "mark", ['<circle class="notch" cx="0" cy="0" r="1"/>', '<path class="notch" d="M0.2 0L4 5"/>']
)
def test_notch_at_the_end_of_the_fold_points_along_it(read_svg: ReadSvg, mark: str) -> None:
    """Both halves share a notch on the fold, so that it lies on the fold edge and points along it."""
    (notch,) = front(read_svg, f'<line class="fold" x1="0" y1="0" x2="0" y2="80"/>{mark}').notches
    assert notch.at == (0, 300)
    assert notch.direction == pytest.approx(270)


def test_notch_on_a_curve_points_to_the_centre(read_svg: ReadSvg) -> None:
    """On a circle every notch points to the middle, to the precision of the chords."""
    body = '<circle class="cut" cx="100" cy="100" r="80"/><circle class="notch" cx="{}" cy="{}" r="1"/>'
    for deg in (10, 77, 200, 333):
        x, y = 100 + 80 * math.cos(math.radians(deg)), 100 + 80 * math.sin(math.radians(deg))
        (notch,) = only(read_svg(body.format(x, y))).notches
        assert notch.at == pytest.approx((x, 300 - y), abs=0.011)
        assert (notch.direction - (180 - deg)) % 360 == pytest.approx(0, abs=1) or (
            notch.direction - (180 - deg)
        ) % 360 == pytest.approx(360, abs=1)


def test_kind_by_name_goes_before_the_shape(read_svg: ReadSvg) -> None:
    """A notch drawn as two lines is of the kind that its class names, whatever it looks like."""
    lines = '<path class="notch check-notch" d="M100 37 L95 40"/><path class="check-notch" d="M95 40 L100 43"/>'
    (notch,) = front(read_svg, lines).notches
    assert notch.kind == "check"


def test_notch_off_the_edge_is_moved_and_reported(read_svg: ReadSvg) -> None:
    """A notch drawn on the seam line moves to the cut edge; far away it is a warning, but it is kept."""
    near = read_svg(f'<g id="f">{CUT}<circle class="notch" cx="92" cy="40" r="1"/></g>')
    assert only(near).notches[0].at == (100, 260)
    assert kinds(near, "8.0 mm off") == ["repaired"]
    far = read_svg(f'<g id="f">{CUT}<circle class="notch" cx="60" cy="40" r="1"/></g>')
    assert len(only(far).notches) == 1
    assert kinds(far, "40.0 mm off") == ["warning"]


@pytest.mark.parametrize(
    ("line", "start", "end", "both"),
    [
        ('<line class="grain" x1="50" y1="70" x2="50" y2="20"/>', (50, 230), (50, 280), None),
        ('<line class="grain" x1="50" y1="70" x2="50" y2="20" marker-end="url(#a)"/>', (50, 230), (50, 280), False),
        ('<line class="grain" x1="50" y1="70" x2="50" y2="20" marker-start="url(#a)"/>', (50, 280), (50, 230), False),
        ('<g marker-start="url(#a)"><line class="grain" x1="50" y1="70" x2="50" y2="20"/></g>', (50, 280), (50, 230), False),
        ('<g marker-end="url(#a)"><line class="grain" x1="50" y1="70" x2="50" y2="20"/></g>', (50, 230), (50, 280), False),
        ('<line class="grain" x1="50" y1="70" x2="50" y2="20" style="marker:url(#a)"/>', (50, 230), (50, 280), True),
        ('<path class="grain" d="M50 70V20M47 26L50 20L53 26"/>', (50, 230), (50, 280), False),
        ('<path class="grain" d="M50 20V70M47 26L50 20L53 26"/>', (50, 230), (50, 280), False),
        ('<g class="grain"><path d="M50 20V70"/><path d="M47 26L50 20L53 26Z"/><path d="M47 64L50 70L53 64Z"/></g>',
         (50, 280), (50, 230), True),
        ('<g class="grain"><path d="M50 20V70"/><path d="M47 64L50 70"/><path d="M50 70L53 64"/></g>',
         (50, 280), (50, 230), False),
        ('<path class="grain" d="M50 70 L50 45 L50 20"/>', (50, 230), (50, 280), None),
    ],
)  # fmt: skip
def test_grainline(
    read_svg: ReadSvg, line: str, start: tuple[float, float], end: tuple[float, float], both: bool | None
) -> None:
    """The arrow decides the direction; without one the line is taken as drawn. Two arrowheads mean either way."""
    piece = front(read_svg, ARROW + line)
    assert piece.grainline == (start, end)
    assert piece.axis_drawn is both


def test_grainline_that_is_none(read_svg: ReadSvg) -> None:
    """A crooked grainline is left out and reported; of two the longer one counts, and that is reported."""
    crooked = read_svg(f'<g id="f">{CUT}<path class="grain" d="M20 20 L50 40 L80 20"/></g>')
    assert only(crooked).grainline is None
    assert kinds(crooked, "not straight") == ["ambiguous"]
    two = read_svg(f'<g id="f">{CUT}<path class="grain" d="M20 10V70"/><path class="grain" d="M80 20V70"/></g>')
    assert only(two).grainline == ((20, 290), (20, 230))
    assert kinds(two, "more than one grainline") == ["ambiguous"]


def test_fold_edge(read_svg: ReadSvg) -> None:
    """The fold line gives the whole straight side, as two points of the outline with none between."""
    piece = only(
        read_svg(
            '<g id="f"><path class="cut" d="M0 0H100V80H0V60V30Z"/><line class="fold" x1="0" y1="0" x2="0" y2="80"/></g>'
        )
    )
    assert piece.fold is not None and set(piece.fold) == {(0, 300), (0, 220)}
    assert set(piece.outline) == {(0, 300), (100, 300), (100, 220), (0, 220)}
    i = piece.outline.index(piece.fold[0])
    assert piece.outline[(i + 1) % 4] == piece.fold[1]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('<line class="fold" x1="0.3" y1="0" x2="0.3" y2="80"/>', ("0.30 mm", "moved")),
        ('<line class="fold" x1="0" y1="20" x2="0" y2="60"/>', ("40.0 mm", "80.0 mm", "whole side")),
        ('<path class="fold" d="M0 20 H15 V60 H0"/>', ()),
    ],
)
def test_fold_line_that_is_not_exact(read_svg: ReadSvg, line: str, words: tuple[str, ...]) -> None:
    """A fold line beside the edge, a short one, and the trade's bent arrow: the whole side, with a finding if need be."""
    reading = read_svg(f'<g id="f">{CUT}{line}</g>')
    fold = only(reading).fold
    assert fold is not None and set(fold) == {(0, 300), (0, 220)}
    assert bool(kinds(reading, *words)) == bool(words) or not words
    if words:
        assert kinds(reading, *words)
    else:
        assert reading.findings == ()


def test_fold_side_that_is_nearly_straight_is_made_straight(read_svg: ReadSvg) -> None:
    """Points within the tolerance of the fold line go, with a finding; curves that leave the fold slowly stay."""
    body = (
        '<g id="f"><path class="cut" d="M0 0H100V80H0 L0.2 40 Z"/><line class="fold" x1="0" y1="0" x2="0" y2="80"/></g>'
    )
    reading = read_svg(body)
    assert len(only(reading).outline) == 4
    assert kinds(reading, "0.20 mm off a straight line") == ["repaired"]
    slow = '<g id="f"><path class="cut" d="M0 0H100V80 C60 80 0 100 0 60 Z"/><line class="fold" x1="0" y1="0" x2="0" y2="60"/></g>'
    fold = only(read_svg(slow)).fold
    assert fold is not None
    assert sorted(fold) == [(0, pytest.approx(240, abs=1.5)), (0, 300)]


@pytest.mark.parametrize(
    "line",
    [
        '<line class="fold" x1="5" y1="0" x2="5" y2="80"/>',
        '<line class="fold" x1="0" y1="0" x2="20" y2="80"/>',
    ],
)
def test_fold_line_on_no_side_is_refused(read_svg: ReadSvg, line: str) -> None:
    """A fold line that lies on no straight side is an error that says how far off it is."""
    with pytest.raises(PatternError, match=r"front.*fold line.*no straight side.*mm"):
        read_svg(f'<g id="front">{CUT}{line}</g>')


def test_half_left_open_at_the_fold(read_svg: ReadSvg) -> None:
    """A half whose outline is open along the fold is closed by the fold line."""
    piece = only(
        read_svg('<g id="f"><path class="cut" d="M0 0H100V80H0"/><line class="fold" x1="0" y1="0" x2="0" y2="80"/></g>')
    )
    assert Polygon(piece.outline).area == 8000
    assert piece.fold is not None


@pytest.mark.parametrize("edge", ["M0 0H100", "M100 0V80", "M0 80H100V0"])
def test_half_left_open_with_edges_drawn_over_its_cut_lines(read_svg: ReadSvg, edge: str) -> None:
    """Edges over the cut lines of an open half are kept, whichever lines close the outline."""
    body = '<path class="cut" d="M0 0H100"/><path class="cut" d="M100 0V80"/><path class="cut" d="M100 80H0"/>'
    body += f'<line class="fold" x1="0" y1="0" x2="0" y2="80"/><path class="edge-e" d="{edge}"/>'
    reading = read_svg(f'<g id="f">{body}</g>')
    piece = only(reading)
    assert Polygon(piece.outline).area == 8000
    assert piece.fold is not None and [e.name for e in piece.edges] == ["e"]
    assert reading.findings == ()


def test_half_closed_by_a_named_edge_and_the_fold(read_svg: ReadSvg) -> None:
    """Cut lines, a named edge and the fold line together make the outline."""
    body = '<path class="cut" d="M0 0H100"/><path class="edge-side" d="M100 0V80"/><path class="cut" d="M100 80H0"/>'
    piece = only(read_svg(f'<g id="f">{body}<line class="fold" x1="0" y1="0" x2="0" y2="80"/></g>'))
    assert Polygon(piece.outline).area == 8000
    assert piece.fold is not None and [(e.start, e.end) for e in piece.edges] == [((100, 220), (100, 300))]


def test_edge_over_a_cut_line_where_another_edge_and_the_fold_close_the_outline(read_svg: ReadSvg) -> None:
    """The edge that lies over a cut line is kept although it repeats that line."""
    body = (
        '<path class="cut" d="M0 0H100"/><path class="edge-top" d="M0 0H100"/><path class="edge-side" d="M100 0V80"/>'
    )
    body += '<path class="cut" d="M100 80H0"/><line class="fold" x1="0" y1="0" x2="0" y2="80"/>'
    reading = read_svg(f'<g id="f">{body}</g>')
    assert Polygon(only(reading).outline).area == 8000
    assert {e.name for e in only(reading).edges} == {"top", "side"}
    assert {f.code for f in reading.findings} == {"outline.completed"}


def test_on_fold_by_its_label_alone_asks(read_svg: ReadSvg) -> None:
    """The label says on the fold, but no fold line is drawn: a question."""
    reading = read_svg(f'<g id="f">{CUT}<text x="20" y="40">cut 1 on fold</text></g>')
    assert only(reading).fold is None
    assert kinds(reading, "on the fold", "which side") == ["question"]


@pytest.mark.parametrize(
    ("edge", "start", "end"),
    [
        ('<path class="edge-waist" d="M0 0H100"/>', (100, 300), (0, 300)),
        ('<path class="edge-waist" d="M100 0H0"/>', (100, 300), (0, 300)),
        ('<path id="edge: waist" d="M20 0H80"/>', (80, 300), (20, 300)),
        ('<path data-role="edge waist" d="M100 20 V0 H0"/>', (100, 280), (0, 300)),
        ('<path class="edge-waist" d="M100 0 V80 H0 V0"/>', (0, 300), (100, 300)),
    ],
)
def test_named_edges(read_svg: ReadSvg, edge: str, start: tuple[float, float], end: tuple[float, float]) -> None:
    """An edge drawn over the outline: from its start anticlockwise to its end, whichever way it is drawn."""
    (found,) = front(read_svg, edge).edges
    assert (found.name, found.start, found.end) == ("waist", start, end)


@pytest.mark.parametrize("inset", [0, 10])
def test_edges_all_the_way_round_are_no_second_outline(read_svg: ReadSvg, inset: int) -> None:
    """Named edges over the whole outline, or over the whole seam line, are edges and no cutout."""
    a, b, c, d = inset, inset, 100 - inset, 80 - inset
    edges = f'<path id="edge-top" d="M{a} {b}H{c}"/><path id="edge-side" d="M{c} {b}V{d}"/><path id="edge-hem" d="M{a} {d}H{c}"/>'
    edges += f'<path id="edge-front" d="M{a} {b}V{d}"/>'
    piece = front(read_svg, f'<path class="sew" d="M10 10H90V70H10Z"/><g id="lines">{edges}</g>')
    assert piece.cutouts == () and piece.inside == ()
    assert {e.name for e in piece.edges} == {"top", "side", "hem", "front"}
    assert Polygon(piece.outline).area == 8000


def test_outline_made_of_named_edges(read_svg: ReadSvg) -> None:
    """An outline drawn as named edges alone is closed by them, and each gets its stretch."""
    body = """<g id="f"><path id="edge-top" d="M0 0H100"/><path id="edge-side" d="M100 0V80"/><path id="edge-hem" d="M0 80H100"/>
      <path class="cut" d="M0 80V0"/></g>"""
    piece = only(read_svg(body))
    assert Polygon(piece.outline).area == 8000
    assert {(e.name, e.start, e.end) for e in piece.edges} == {
        ("top", (100, 300), (0, 300)), ("side", (100, 220), (100, 300)), ("hem", (0, 220), (100, 220)),
    }  # fmt: skip


def test_edges_on_the_seam_outline(read_svg: ReadSvg) -> None:
    """An edge drawn along the seam line has its ends there."""
    inner = '<path class="sew" d="M10 10H90V70H10Z"/><path class="edge-waist" d="M10 10H90"/>'
    piece = front(read_svg, inner)
    assert piece.edges[0].start == (90, 290)
    assert piece.seam is not None
    assert LineString((*piece.seam, piece.seam[0])).distance(Point(piece.edges[0].end)) < 1e-9


def test_seam_of_a_half_open_at_the_fold(read_svg: ReadSvg) -> None:
    """The seam line of a half ends on the fold at both ends: the fold closes it."""
    inner = '<line class="fold" x1="0" y1="0" x2="0" y2="80"/><path class="sew" d="M0 10H90V70H0"/>'
    piece = front(read_svg, inner)
    assert piece.seam is not None and Polygon(piece.seam).area == 90 * 60


def test_seam_that_does_not_close_is_kept_as_lines(read_svg: ReadSvg) -> None:
    """An open seam line becomes lines inside, and it is said."""
    reading = read_svg(f'<g id="f">{CUT}<path class="sew" d="M10 10H90V70"/></g>')
    assert only(reading).seam is None and len(only(reading).inside) == 1
    assert kinds(reading, "does not close") == ["ambiguous"]


def test_drill_marks(read_svg: ReadSvg) -> None:
    """A circle or a cross: its middle; a diameter only if the file gives one."""
    inner = """<circle class="drill" cx="30" cy="30" r="2"/><path class="drill" d="M57 30H63M60 27V33"/>
      <circle class="drill" id="bust-point" data-diameter="3" cx="70" cy="50" r="5"/>"""
    drills = front(read_svg, inner).drills
    assert [(d.at, d.diameter, d.name) for d in drills] == [
        ((30, 270), 0, None), ((60, 270), 0, None), ((70, 250), 3, "bust-point"),
    ]  # fmt: skip
