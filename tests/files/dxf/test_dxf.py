"""DXF drawings: the pattern standard's layers and texts, units, blocks, and any other drawing. Written with ezdxf."""

import io
import math
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from ezdxf.document import Drawing
from shapely import Polygon

from nesting.files import read_pieces
from nesting.files.dxf.dxffile import INSUNITS_MM
from nesting.files.reading import Reading
from nesting.model.errors import PatternError
from tests.files.conftest import kinds, only

RELEASES = ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"]
#: A front half: waist 110, side 200 with a half circle of radius 20 let out, hem 110.
BULGED = [(0, 0, 0), (110, 0, 0), (110, 80, 1), (110, 120, 0), (110, 200, 0), (0, 200, 0)]
BULGED_AREA = 110 * 200 + math.pi * 20**2 / 2


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., Reading]:
    """Save a drawing made with ezdxf and read it."""

    def save_and_read(doc: Drawing, **how: Any) -> Reading:
        stream = io.StringIO()
        doc.write(stream)
        path = tmp_path / "drawing.dxf"
        path.write_bytes(stream.getvalue().encode(doc.output_encoding, "dxfreplace"))
        return read_pieces(path, **how)

    return save_and_read


def new(release: str = "R2000", insunits: int | None = 4) -> Drawing:
    """An empty drawing; units mm unless told otherwise."""
    doc = ezdxf.new(release)
    if insunits is None:
        del doc.header["$INSUNITS"]
    else:
        doc.header["$INSUNITS"] = insunits
    return doc


def add_piece(doc: Drawing, name: str = "FRONT", size: str | None = "M", scale: float = 1.0, **texts: str) -> Any:
    """A block by the pattern standard, inserted once: boundary, mirror line, grainline, notch, drill hole, texts."""
    block = doc.blocks.new(f"{name}-{size}" if size else name)
    block.add_polyline2d(
        [(x * scale, y * scale, b) for x, y, b in BULGED], format="xyb", close=True, dxfattribs={"layer": "1"}
    )
    for (x, y), (u, v), layer in (((0, 0), (0, 200), "6"), ((55, 20), (55, 180), "7"), ((20, 150), (90, 150), "8")):
        block.add_line((x * scale, y * scale), (u * scale, v * scale), dxfattribs={"layer": layer})
    block.add_point((110 * scale, 40 * scale), dxfattribs={"layer": "4"})
    block.add_point((40 * scale, 90 * scale), dxfattribs={"layer": "13"})
    written = {"PIECE NAME": name} | ({"SIZE": size} if size else {}) | texts
    for k, (key, value) in enumerate(written.items()):
        block.add_text(f"{key}: {value}", dxfattribs={"layer": "1", "insert": (10, 10 * k + 10)})
    doc.modelspace().add_blockref(block.name, (0, 0))
    return block


@pytest.mark.parametrize("release", RELEASES)
def test_a_pattern_file_of_every_release(read: Callable[..., Reading], release: str) -> None:
    """One piece by the standard, from R12 to the current release: everything arrives."""
    doc = new(release)
    doc.modelspace().add_text("UNITS: METRIC", dxfattribs={"layer": "1"})
    add_piece(doc, **{"QUANTITY": "1,1", "MATERIAL": "MAIN", "CATEGORY": "BODY", "ANNOTATION": "WAIST UP"})
    reading = read(doc)
    piece = only(reading)
    assert (piece.name, piece.size, piece.cut, piece.mirrored, piece.material) == ("FRONT", "M", 2, True, "MAIN")
    assert dict(piece.extra) == {"quantity": "1,1", "category": "BODY", "annotation": "WAIST UP"}
    outline = Polygon(piece.outline)
    assert 0 <= BULGED_AREA - outline.area <= 2 / 3 * 0.01 * outline.length
    assert set(piece.fold or ()) == {(0, 0), (0, 200)}
    assert piece.grainline == ((55, 20), (55, 180))
    assert [(n.at, n.direction, n.kind) for n in piece.notches] == [((110, 40), 180, "slit")]
    assert [d.at for d in piece.drills] == [(40, 90)]
    assert piece.inside == (((20, 150), (90, 150)),)
    assert reading.units_known


def test_every_layer_of_the_standard(read: Callable[..., Reading]) -> None:
    """Layers 1 to 15 and 80 to 87 (ASTM D6673; layers from secondary sources) do what the table says."""
    doc = new()
    block = add_piece(doc)

    def line(layer: str, y: float) -> None:
        block.add_line((20, y), (60, y), dxfattribs={"layer": layer})

    for layer in ("2", "3", "5", "12", "84", "85", "86", "87"):
        line(layer, 60)
    for layer, y in (("9", 70), ("10", 75)):
        line(layer, y)
    block.add_circle((30, 170), 5, dxfattribs={"layer": "11"})
    block.add_lwpolyline([(5, 5), (100, 5), (100, 195), (5, 195)], close=True, dxfattribs={"layer": "14"})
    for layer, y in (("80", 20), ("81", 50), ("82", 60), ("83", 130)):
        block.add_point((110, y), dxfattribs={"layer": layer})
    block.add_text("pocket here", dxfattribs={"layer": "15", "insert": (30, 30)})
    reading = read(doc)
    piece = only(reading)
    assert [n.kind for n in piece.notches] == ["slit", "t", "castle", "check", "u"]
    assert len(piece.inside) == 3
    assert len(piece.cutouts) == 1 and Polygon(piece.cutouts[0]).area == pytest.approx(math.pi * 25, rel=3e-3)
    assert piece.seam is not None and Polygon(piece.seam).area == 95 * 190
    assert "pocket here" in piece.text
    assert sum(f.kind == "note" and "not needed" in f.message for f in reading.findings) == 8


def test_nested_sizes(read: Callable[..., Reading]) -> None:
    """One block per size; the size comes from its text, from the block's name, or is the sample size."""
    doc = new()
    doc.modelspace().add_text("SAMPLE SIZE: 38")
    for size, scale in (("36", 0.9), ("38", 1.0), ("40", 1.1)):
        add_piece(doc, "FRONT", size, scale)
    unsized = doc.blocks.new("BACK-40")
    unsized.add_lwpolyline([(0, 0), (50, 0), (50, 80)], close=True, dxfattribs={"layer": "1"})
    unsized.add_text("PIECE NAME: BACK")
    doc.modelspace().add_blockref("BACK-40", (0, 0))
    add_piece(doc, "YOKE", None)
    pieces = read(doc).pieces
    assert [(p.name, p.size) for p in pieces] == [
        ("FRONT", "36"), ("FRONT", "38"), ("FRONT", "40"), ("BACK", "40"), ("YOKE", "38"),
    ]  # fmt: skip
    areas = [Polygon(p.outline).area for p in pieces[:3]]
    assert areas[0] / areas[1] == pytest.approx(0.81, rel=1e-4)
    assert areas[2] / areas[1] == pytest.approx(1.21, rel=1e-4)
    assert Polygon(read(doc, size="40").pieces[0].outline).area == pytest.approx(areas[2])


def test_blocks_with_numbers_for_names(read: Callable[..., Reading]) -> None:
    """Pieces without any text lie on one another at the origin: each block is a piece all the same."""
    doc = new()
    for number, k in ((1, 1.0), (2, 0.5), (3, 0.4)):
        block = doc.blocks.new(str(number))
        corners = [(0, 0), (100 * k, 0), (100 * k, 80 * k), (0, 80 * k)]
        block.add_lwpolyline(corners, close=True, dxfattribs={"layer": "1"})
        doc.modelspace().add_blockref(str(number), (0, 0))
    reading = read(doc)
    assert [p.name for p in reading.pieces] == ["1", "2", "3"]
    assert [Polygon(p.outline).area for p in reading.pieces] == pytest.approx([8000, 2000, 1280])
    assert all(p.cutouts == () for p in reading.pieces)


def test_unit_codes() -> None:
    """$INSUNITS codes as the DXF Reference lists them, against the conversion of a library of its own."""
    from ezdxf.units import conversion_factor

    # 1 in, 2 ft, 4 mm, 5 cm, 6 m, 10 yd, 14 dm: the published list
    published = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 10: 914.4, 14: 100.0}
    assert {k: INSUNITS_MM[k] for k in published} == published
    for code, mm in INSUNITS_MM.items():
        if code not in (8, 9, 21):  # microinch, mil and survey foot are not in that library
            assert conversion_factor(code, 4) == pytest.approx(mm, rel=1e-6), code


@pytest.mark.parametrize(("code", "mm"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (14, 100.0)])
def test_units_from_the_header(read: Callable[..., Reading], code: int, mm: float) -> None:
    """The header's unit counts, also where the display format $LUNITS says otherwise."""
    doc = new(insunits=code)
    doc.header["$LUNITS"] = 4
    add_piece(doc, scale=1 / mm)
    piece = only(read(doc))
    assert Polygon(piece.outline).bounds == pytest.approx((0, 0, 130, 200), abs=0.02)
    assert piece.notches[0].at == pytest.approx((110, 40))


@pytest.mark.parametrize(("word", "mm"), [("METRIC", 1.0), ("ENGLISH", 25.4), ("cm", 10.0), ("Inches", 25.4)])
def test_units_from_the_text(read: Callable[..., Reading], word: str, mm: float) -> None:
    """Without a header unit the UNITS text counts (METRIC is mm, ENGLISH inches: from memory)."""
    doc = new("R12", insunits=None)
    doc.modelspace().add_text(f"UNITS: {word}")
    add_piece(doc, scale=1 / mm)
    reading = read(doc)
    assert Polygon(only(reading).outline).bounds == pytest.approx((0, 0, 130, 200), abs=0.02)
    assert reading.units_known


@pytest.mark.parametrize("insunits", [None, 0])
def test_unknown_units_are_asked_for(read: Callable[..., Reading], insunits: int | None) -> None:
    """No unit anywhere: a question, mm until it is answered; $LUNITS is never taken for an answer."""
    doc = new(insunits=insunits)
    doc.header["$LUNITS"] = 3
    doc.header["$MEASUREMENT"] = 0
    add_piece(doc)
    reading = read(doc)
    assert not reading.units_known
    assert kinds(reading, "does not say its units") == ["question"]
    assert Polygon(only(reading).outline).bounds == pytest.approx((0, 0, 130, 200), abs=0.02)
    answered = read(doc, units="in")
    assert answered.units_known and kinds(answered, "units") == []
    assert Polygon(only(answered).outline).bounds == pytest.approx((0, 0, 130 * 25.4, 200 * 25.4), abs=0.02)


def test_units_that_disagree(read: Callable[..., Reading]) -> None:
    """Header and text differ: the header counts and a warning says so."""
    doc = new(insunits=4)
    doc.modelspace().add_text("UNITS: ENGLISH")
    add_piece(doc)
    reading = read(doc)
    assert Polygon(only(reading).outline).bounds[3] == pytest.approx(200)
    assert kinds(reading, "25.4 mm") == ["warning"]


@pytest.mark.parametrize("release", ["R12", "R2018"])
def test_outline_in_every_kind_of_line(read: Callable[..., Reading], release: str) -> None:
    """An outline of LINE, ARC, POLYLINE and, from R2000 on, SPLINE and ELLIPSE, with a gap and two loose lines."""
    doc = new(release)
    block = doc.blocks.new("FRONT")
    one = {"layer": "1"}
    block.add_line((0, 0), (100, 0), dxfattribs=one)
    block.add_arc((100, 20), 20, 270, 90, dxfattribs=one)
    block.add_polyline2d([(100, 40), (100, 60), (90, 100.2)], dxfattribs=one)
    want = 100 * 100 - 10 * 40 / 2 + math.pi * 200
    if release == "R12":
        block.add_line((90, 100), (0, 100), dxfattribs=one)
        block.add_polyline2d([(0, 100), (0, 0)], dxfattribs=one)
    else:
        block.add_spline(dxfattribs=one).control_points = [(90, 100), (60, 100), (30, 100), (0, 100)]  # type: ignore[assignment]
        spline = next(iter(block.query("SPLINE")))
        spline.dxf.degree = 3
        spline.knots = [0, 0, 0, 0, 1, 1, 1, 1]
        block.add_ellipse((0, 50), (0, 50), 0.4, 0, math.pi, dxfattribs=one)
        want += math.pi * 50 * 20 / 2
    block.add_line((50, 0), (50, 100), dxfattribs=one)
    block.add_line((20, 50), (60, 50), dxfattribs=one)
    doc.modelspace().add_blockref("FRONT", (0, 0))
    reading = read(doc)
    assert Polygon(only(reading).outline).area == pytest.approx(want, abs=2.5)
    assert kinds(reading, "0.20 mm") == ["repaired"]
    assert kinds(reading, "open cut line lies inside") == ["ambiguous"]


def outline_of(read: Callable[..., Reading], draw: Callable[[Any], object]) -> Polygon:
    """The outline of what is drawn straight into model space."""
    doc = new()
    draw(doc.modelspace())
    return Polygon(only(read(doc)).outline)


def test_arc_over_zero_degrees(read: Callable[..., Reading]) -> None:
    """An arc runs anticlockwise from its start to its end angle, also past 0°."""

    def draw(msp: Any) -> None:
        msp.add_line((100, 40), (100, 0))
        msp.add_arc((100, 20), 20, 270, 90)

    outline = outline_of(read, draw)
    assert outline.bounds == pytest.approx((100, 0, 120, 40), abs=0.01)
    assert outline.area == pytest.approx(math.pi * 200, rel=1e-3)


@pytest.mark.parametrize("kind", ["circle", "arc", "light polyline", "polyline"])
def test_lines_seen_from_behind(read: Callable[..., Reading], kind: str) -> None:
    """Extrusion (0, 0, −1) puts x to the left (DXF Reference, arbitrary axis algorithm)."""
    back = {"extrusion": (0, 0, -1)}

    def draw(msp: Any) -> None:
        if kind == "circle":
            msp.add_circle((60, 30), 20, dxfattribs=back)
        elif kind == "arc":
            # from 0° to 90° seen from behind: the quarter at the upper left
            msp.add_arc((60, 30), 20, 0, 90, dxfattribs=back)
            msp.add_line((-80, 30), (-60, 50))
        elif kind == "light polyline":
            msp.add_lwpolyline([(40, 30, 1), (80, 30, 0)], format="xyb", close=True, dxfattribs=back)
        else:
            msp.add_polyline2d([(40, 30, 1), (80, 30, 0)], format="xyb", close=True, dxfattribs=back)

    box = {"circle": (-80, 10, -40, 50), "arc": (-80, 30, -60, 50)}.get(kind, (-80, 10, -40, 30))
    assert outline_of(read, draw).bounds == pytest.approx(box, abs=0.011)


def test_polyline_with_the_frame_of_its_spline(read: Callable[..., Reading]) -> None:
    """Vertices of the spline's frame (flag 16) steer the curve and are not on it (DXF Reference, VERTEX group 70)."""

    def draw(msp: Any) -> None:
        line = msp.add_polyline2d([(0, 0), (50, 90), (100, 0), (100, 50), (0, 50)], close=True)
        line.dxf.flags |= 4
        line.vertices[1].dxf.flags |= 16

    assert outline_of(read, draw).area == 5000


def test_ellipse_arc_and_whole_ellipse(read: Callable[..., Reading]) -> None:
    """A whole ellipse: π·a·b; a half of it closed by a line: half of that."""

    def half(msp: Any) -> None:
        msp.add_ellipse((0, 0), (60, 0), 0.5, 0, math.pi)
        msp.add_line((-60, 0), (60, 0))

    whole = outline_of(read, lambda msp: msp.add_ellipse((0, 0), (60, 0), 0.5))
    assert whole.area == pytest.approx(math.pi * 60 * 30, abs=2 / 3 * 0.01 * whole.length)
    found = outline_of(read, half)
    assert found.area == pytest.approx(math.pi * 60 * 30 / 2, abs=2 / 3 * 0.01 * found.length)
    assert found.bounds == pytest.approx((-60, 0, 60, 30), abs=0.01)


def test_spline_area_against_scipy(read: Callable[..., Reading]) -> None:
    """A closed cubic B-spline: area by integrating scipy's spline (Green's theorem)."""
    import numpy as np
    from scipy.integrate import quad
    from scipy.interpolate import BSpline

    controls = np.array([(0, 0), (60, -30), (120, 10), (110, 90), (40, 120), (-20, 70), (0, 0)], float)
    knots = [0, 0, 0, 0, 1, 2, 3, 4, 4, 4, 4]
    curve = BSpline(knots, controls, 3)
    tangent = curve.derivative()
    want = sum(
        quad(lambda t: (curve(t)[0] * tangent(t)[1] - curve(t)[1] * tangent(t)[0]) / 2, a, a + 1)[0] for a in range(4)
    )
    doc = new()
    spline = doc.modelspace().add_spline(dxfattribs={"layer": "cut"})
    spline.dxf.degree, spline.control_points, spline.knots = 3, controls, knots
    outline = Polygon(only(read(doc)).outline)
    assert outline.area == pytest.approx(want, abs=2 / 3 * 0.01 * outline.length)


@pytest.mark.parametrize(
    ("how", "area", "box"),
    [
        ({"insert": (500, 100)}, 1.0, (500, 100, 630, 300)),
        ({"insert": (0, 0), "rotation": 90}, 1.0, (-200, 0, 0, 130)),
        ({"insert": (0, 0), "xscale": -1}, 1.0, (-130, 0, 0, 200)),
        ({"insert": (0, 0), "xscale": 2, "yscale": 2}, 4.0, (0, 0, 260, 400)),
        ({"insert": (0, 0), "xscale": 2, "yscale": 1}, 2.0, (0, 0, 260, 200)),
        ({"insert": (10, 0), "extrusion": (0, 0, -1)}, 1.0, (-140, 0, -10, 200)),
    ],
)
def test_blocks_moved_turned_scaled_mirrored(
    read: Callable[..., Reading], how: dict[str, Any], area: float, box: tuple[float, ...]
) -> None:
    """Inserted blocks, one within another, keep areas by their scale and stay anticlockwise."""
    doc = new()
    add_piece(doc)
    doc.modelspace().delete_all_entities()
    outer = doc.blocks.new("SHEET")
    outer.add_blockref("FRONT-M", how.pop("insert"), dxfattribs=how)
    doc.modelspace().add_blockref("SHEET", (0, 0))
    piece = only(read(doc))
    outline = Polygon(piece.outline)
    assert outline.area == pytest.approx(BULGED_AREA * area, rel=2e-4)
    assert outline.bounds == pytest.approx(box, abs=0.02)
    assert outline.exterior.is_ccw
    assert (piece.name, piece.size) == ("FRONT", "M")
    assert outline.buffer(-1).disjoint(__import__("shapely").Point(piece.notches[0].at))
    assert outline.exterior.distance(__import__("shapely").Point(piece.notches[0].at)) < 0.01


def test_blocks_that_are_never_inserted_are_read(read: Callable[..., Reading]) -> None:
    """An empty drawing with blocks: the blocks are the pieces, and it is said."""
    doc = new()
    add_piece(doc)
    doc.modelspace().delete_all_entities()
    reading = read(doc)
    assert only(reading).name == "FRONT"
    assert kinds(reading, "read from its blocks") == ["note"]


def test_rows_of_a_block(read: Callable[..., Reading]) -> None:
    """A block inserted in rows and columns gives that many pieces, numbered."""
    doc = new()
    add_piece(doc)
    doc.modelspace().delete_all_entities()
    attributes = {"row_count": 2, "column_count": 2, "row_spacing": 300, "column_spacing": 200}
    doc.modelspace().add_blockref("FRONT-M", (0, 0), dxfattribs=attributes)
    assert [p.name for p in read(doc).pieces] == ["FRONT", "FRONT 2", "FRONT 3", "FRONT 4"]


def test_quantity(read: Callable[..., Reading]) -> None:
    """QUANTITY n, or n as drawn and m flipped (from memory); what cannot be told is asked for."""
    for text, cut, mirrored in (
        ("2", 2, None),
        ("1,1", 2, True),
        ("2,2", 4, True),
        ("3,0", 3, False),
        ("2,1", None, None),
    ):
        doc = new()
        add_piece(doc, **{"QUANTITY": text})
        reading = read(doc)
        assert (only(reading).cut, only(reading).mirrored) == (cut, mirrored), text
        assert kinds(reading, "QUANTITY") == ([] if cut else ["question"])


def test_mirror_line_in_the_middle_of_a_whole_piece(read: Callable[..., Reading]) -> None:
    """The boundary lies on both sides of the mirror line: the piece is whole, and it is said."""
    doc = new()
    block = doc.blocks.new("BACK")
    block.add_lwpolyline([(-60, 0), (60, 0), (50, 90), (-50, 90)], close=True, dxfattribs={"layer": "1"})
    block.add_line((0, 0), (0, 90), dxfattribs={"layer": "6"})
    doc.modelspace().add_blockref("BACK", (0, 0))
    reading = read(doc)
    assert only(reading).fold is None
    assert kinds(reading, "mirror line", "whole piece") == ["note"]
    assert only(reading).inside == (((0, 0), (0, 90)),)


def test_notch_angle_and_depth(read: Callable[..., Reading]) -> None:
    """A notch's angle (group 50) and depth (group 30) are used where given (groups from memory)."""
    doc = new()
    block = add_piece(doc)
    block.add_point((110, 160, 6.0), dxfattribs={"layer": "4", "angle": 30})
    notch = only(read(doc)).notches[1]
    assert notch.depth == 6.0
    # turned about, so that it points into the piece, which lies to the left
    assert notch.direction == pytest.approx(210)


@pytest.mark.parametrize("angle", [math.inf, -math.inf, math.nan])
def test_a_notch_whose_angle_is_no_number_points_into_the_piece(read: Callable[..., Reading], angle: float) -> None:
    """As if it gave none."""
    given, plain = new(), new()
    add_piece(given).add_point((110, 160, 6.0), dxfattribs={"layer": "4", "angle": angle})
    add_piece(plain).add_point((110, 160, 6.0), dxfattribs={"layer": "4"})
    assert only(read(given)).notches[1] == only(read(plain)).notches[1]


def test_plain_drawing_with_layers_as_roles(read: Callable[..., Reading]) -> None:
    """Layers named as roles; pieces are told apart by where they lie."""
    doc = new()
    msp = doc.modelspace()
    for x, name in ((0, "Front"), (200, "Back")):
        msp.add_lwpolyline([(x, 0), (x + 100, 0), (x + 90, 80), (x, 80)], close=True, dxfattribs={"layer": "CUT"})
        msp.add_line((x + 40, 10), (x + 40, 60), dxfattribs={"layer": "Grain line"})
        msp.add_line((x, 40), (x + 6, 40), dxfattribs={"layer": "NOTCHES"})
        msp.add_text(f"{name} - cut 2 mirrored", dxfattribs={"insert": (x + 20, 20), "layer": "text"})
    front, back = read(doc).pieces
    assert (front.name, back.name, front.cut, back.mirrored) == ("Front", "Back", 2, True)
    assert front.grainline == ((40, 10), (40, 60)) and len(back.notches) == 1


def test_plain_drawing_on_one_layer(read: Callable[..., Reading]) -> None:
    """Everything on layer 0: closed outlines are pieces, loose lines lines inside."""
    doc = new()
    msp = doc.modelspace()
    for a, b in (
        ((0, 0), (100, 0)),
        ((100, 80), (100, 0)),
        ((100, 80), (0, 80)),
        ((0, 0), (0, 80)),
        ((50, 0), (50, 80)),
    ):
        msp.add_line(a, b)
    piece = only(read(doc))
    assert Polygon(piece.outline).area == 8000
    assert piece.inside == (((50, 0), (50, 80)),)


def test_plain_drawing_with_layers_as_pieces(read: Callable[..., Reading]) -> None:
    """Layers that carry names are pieces, as groups are in SVG."""
    doc = new()
    msp = doc.modelspace()
    for x, layer in ((0, "Front M"), (150, "Back M")):
        msp.add_lwpolyline([(x, 0), (x + 100, 0), (x + 90, 80)], close=True, dxfattribs={"layer": layer})
    assert [p.name for p in read(doc).pieces] == ["Front M", "Back M"]


def test_layers_switched_off(read: Callable[..., Reading]) -> None:
    """A layer that is off is left out, and it is said."""
    doc = new()
    doc.layers.add("draft").off()
    for x, layer in ((0, "0"), (150, "draft")):
        doc.modelspace().add_lwpolyline([(x, 0), (x + 90, 0), (x, 80)], close=True, dxfattribs={"layer": layer})
    reading = read(doc)
    assert len(reading.pieces) == 1
    assert kinds(reading, "draft", "switched off") == ["ignored"]


def test_code_pages_and_unicode(read: Callable[..., Reading], tmp_path: Path) -> None:
    """Names beyond ASCII from a file in a code page, and written as \\U+XXXX."""
    doc = new("R2000")
    add_piece(doc, "VORDERSTÜCK", "M")
    assert only(read(doc)).name == "VORDERSTÜCK"
    raw = (tmp_path / "drawing.dxf").read_bytes()
    assert b"VORDERST\xdcCK" in raw
    (tmp_path / "drawing.dxf").write_bytes(raw.replace(b"VORDERST\xdcCK", b"VORDERST\\U+00DCCK"))
    assert only(read_pieces(tmp_path / "drawing.dxf")).name == "VORDERSTÜCK"


def test_block_attributes(read: Callable[..., Reading]) -> None:
    """Attributes of a block reference are texts of the piece; known tags are keywords."""
    doc = new()
    block = doc.blocks.new("P")
    block.add_lwpolyline([(0, 0), (50, 0), (50, 80)], close=True, dxfattribs={"layer": "1"})
    reference = doc.modelspace().add_blockref("P", (0, 0))
    reference.add_attrib("PIECE_NAME", "GUSSET")
    reference.add_attrib("QUANTITY", "2")
    piece = only(read(doc))
    assert (piece.name, piece.cut) == ("GUSSET", 2)


def test_what_is_no_line_is_named(read: Callable[..., Reading]) -> None:
    """Hatches and the like are left out by name."""
    doc = new()
    add_piece(doc)
    doc.modelspace().add_hatch()
    assert kinds(read(doc), "HATCH") == ["ignored"]


def test_block_that_contains_itself(read: Callable[..., Reading]) -> None:
    """Blocks that hold themselves are refused, or put right by the library with a finding; never an endless walk."""
    doc = new()
    add_piece(doc)
    doc.blocks.get("FRONT-M").add_blockref("FRONT-M", (5, 5))
    with pytest.raises(PatternError, match="contains itself"):
        read(doc)


def hostile(name: str) -> Drawing:
    """Small drawings that ask for much."""
    doc = new()
    msp = doc.modelspace()
    if name == "doubling":
        doc.blocks.new("u0").add_line((0, 0), (1, 1))
        for k in range(1, 25):
            block = doc.blocks.new(f"u{k}")
            block.add_blockref(f"u{k - 1}", (0, 0))
            block.add_blockref(f"u{k - 1}", (1, 0))
        msp.add_blockref("u24", (0, 0))
    elif name == "rows":
        doc.blocks.new("u").add_line((0, 0), (1, 1))
        msp.add_blockref("u", (0, 0), dxfattribs={"row_count": 30_000, "column_count": 30_000})
    elif name == "huge arc":
        msp.add_circle((0, 0), 1e15)
    elif name == "huge spline":
        spline = msp.add_spline()
        spline.dxf.degree, spline.control_points = 3, [(0, 0), (1e12, 0), (0, 1e12), (5, 5)]
        spline.knots = [0, 0, 0, 0, 1, 1, 1, 1]
    elif name == "bad spline":
        spline = msp.add_spline()
        spline.dxf.degree, spline.control_points, spline.knots = 25, [(0, 0), (9, 0), (0, 9)], [0, 0, 1]
    elif name == "long spline":
        msp.add_open_spline([(k % 50, k % 49) for k in range(5000)])
    return doc


@pytest.mark.parametrize("name", ["doubling", "rows", "huge arc", "huge spline", "bad spline", "long spline"])
def test_hostile_drawings_end_soon(read: Callable[..., Reading], name: str) -> None:
    """Refused within seconds, whatever it is."""
    start = time.process_time()
    with pytest.raises(PatternError):
        read(hostile(name))
    assert time.process_time() - start < 15.0


@pytest.mark.parametrize("keep", [0.98, 0.7, 0.5, 0.2])
def test_cut_off(read: Callable[..., Reading], tmp_path: Path, keep: float) -> None:
    """A file that was cut off is refused: what is missing cannot be known."""
    doc = new()
    add_piece(doc)
    read(doc)
    data = (tmp_path / "drawing.dxf").read_bytes()
    (tmp_path / "half.dxf").write_bytes(data[: int(len(data) * keep)])
    with pytest.raises(PatternError, match="cut off"):
        read_pieces(tmp_path / "half.dxf")
