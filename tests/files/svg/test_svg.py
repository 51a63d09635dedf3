"""SVG drawings: units, transforms, groups and what is not drawn."""
# Drawings stay on one line each:
# ruff: noqa: E501

import math
from collections.abc import Callable
from pathlib import Path

import pytest
from shapely import Polygon

from nesting.files import read_pieces
from nesting.model.errors import PatternError, UnitsError
from tests.files.conftest import ReadSvg, kinds, only

RECT = '<g id="front"><rect class="cut" x="10" y="20" width="100" height="50"/></g>'
XLINK = 'xmlns:xlink="http://www.w3.org/1999/xlink"'


@pytest.mark.parametrize(
    ("head", "scale"),
    [
        # CSS Values and Units 3, 6.2: 1 in = 2.54 cm = 96 px = 72 pt = 6 pc; 1 Q = 1/40 cm
        ('width="400mm" height="300mm" viewBox="0 0 400 300"', 1.0),
        ('width="40cm" height="30cm" viewBox="0 0 400 300"', 1.0),
        ('width="1600Q" height="1200Q" viewBox="0 0 400 300"', 1.0),
        ('width="4in" height="3in" viewBox="0 0 400 300"', 0.254),
        ('width="288pt" height="216pt" viewBox="0 0 400 300"', 0.254),
        ('width="24pc" height="18pc" viewBox="0 0 400 300"', 0.254),
        ('width="400mm" height="300mm"', 25.4 / 96),
        ('width="400mm" viewBox="0 0 400 300"', 1.0),
        ('height="300mm" viewBox="0 0 400 300"', 1.0),
        ('width="400mm" height="300mm" viewBox="0 0 200 150"', 2.0),
    ],
)
def test_real_units(read_svg: ReadSvg, head: str, scale: float) -> None:
    """Width and height with a unit, and the view box, give the size in mm; nothing is asked."""
    reading = read_svg(RECT, head)
    assert Polygon(only(reading).outline).area == pytest.approx(5000 * scale**2, rel=1e-12)
    assert reading.findings == ()
    assert reading.units_known


@pytest.mark.parametrize(
    "head",
    ["", 'width="400" height="300"', 'width="400px" height="300px"', 'viewBox="0 0 400 300"', 'width="100%" height="100%"',
     'width="100%" height="100%" viewBox="0 0 400 300"'],
)  # fmt: skip
def test_without_units_96_to_the_inch(read_svg: ReadSvg, head: str) -> None:
    """Without a real size 96 px are an inch, and a finding says so."""
    reading = read_svg(RECT, head)
    assert Polygon(only(reading).outline).area == pytest.approx(5000 * (25.4 / 96) ** 2, rel=1e-12)
    assert kinds(reading, "96 px = 1 in") == ["ambiguous"]


def test_units_answer_only_what_is_not_known(read_svg: ReadSvg) -> None:
    """``units`` gives one user unit where the file does not say it, and is reported as not needed where it does."""
    assert Polygon(only(read_svg(RECT, 'viewBox="0 0 400 300"', units="cm")).outline).area == pytest.approx(5000 * 100)
    assert Polygon(only(read_svg(RECT, "", units="in")).outline).area == pytest.approx(5000 * 25.4**2)
    reading = read_svg(RECT, units="in")
    assert Polygon(only(reading).outline).area == pytest.approx(5000)
    assert kinds(reading, "not needed") == ["note"]
    with pytest.raises(UnitsError, match="furlong"):
        read_svg(RECT, units="furlong")


@pytest.mark.parametrize(
    ("ratio", "box"),
    [
        ("", (210, 230, 310, 280)),
        ("xMinYMid meet", (10, 230, 110, 280)),
        ("xMaxYMid", (410, 230, 510, 280)),
        ("xMinYMin slice", (20, 160, 220, 260)),
        ("xMinYMax slice", (20, 460, 220, 560)),
        ("none", (20, 230, 220, 280)),
    ],
)
def test_preserve_aspect_ratio(read_svg: ReadSvg, ratio: str, box: tuple[float, ...]) -> None:
    """SVG 2, 8.2: meet takes the smaller scale, slice the larger, none both; a disagreement is reported."""
    attribute = f'preserveAspectRatio="{ratio}"' if ratio else ""
    reading = read_svg(RECT, f'width="800mm" height="300mm" viewBox="0 0 400 300" {attribute}')
    assert Polygon(only(reading).outline).bounds == pytest.approx(box)
    assert [f.kind for f in reading.findings] == ["warning"]


def test_page_is_turned_not_mirrored(read_svg: ReadSvg) -> None:
    """y grows upwards, and the lower edge of the page is 0: an F stays an F."""
    piece = only(read_svg('<path class="cut" d="M10 10 H60 V20 H20 V30 H50 V40 H20 V90 H10 Z"/>'))
    assert set(piece.outline) == {
        (10, 290), (60, 290), (60, 280), (20, 280), (20, 270), (50, 270), (50, 260), (20, 260), (20, 210), (10, 210),
    }  # fmt: skip
    assert Polygon(piece.outline).exterior.is_ccw


@pytest.mark.parametrize(
    ("transform", "area"),
    [
        ("translate(30, 40)", 5000),
        ("rotate(30 50 50)", 5000),
        ("scale(2)", 20_000),
        ("scale(-1, 1) translate(-200, 0)", 5000),
        ("matrix(1 0.2 0.3 1 5 5)", 5000 * (1 - 0.06)),
        ("skewX(20)", 5000),
        ("translate(10) rotate(45) scale(0.5 2)", 5000),
    ],
)
def test_transforms(read_svg: ReadSvg, transform: str, area: float) -> None:
    """Areas go with the determinant of the transform; outlines stay anticlockwise, also when mirrored."""
    outline = only(read_svg(f'<g transform="{transform}">{RECT}</g>')).outline
    assert Polygon(outline).area == pytest.approx(area, rel=1e-9)
    assert Polygon(outline).exterior.is_ccw


def test_transforms_in_styles(read_svg: ReadSvg) -> None:
    """A transform may stand in a style; one about another origin is refused and not misread."""
    for how in ('style="transform: scale(2)"', 'style="transform:translate(3px, 4px) rotate(90deg)"', 'class="k"'):
        area = 5000 if "rotate" in how else 20_000
        outline = only(read_svg(f"<style>.k {{ transform: scale(2) }}</style><g {how}>{RECT}</g>")).outline
        assert Polygon(outline).area == pytest.approx(area), how
    with pytest.raises(PatternError, match="transform-origin"):
        read_svg(f'<g style="transform: rotate(9deg); transform-origin: center">{RECT}</g>')
    with pytest.raises(PatternError, match=r"transform .* cannot be read"):
        read_svg(f'<g transform="translate(1in 2in)">{RECT}</g>')
    assert (
        Polygon(
            only(read_svg(RECT, 'width="400mm" height="300mm" viewBox="0 0 400 300" transform="scale(2)"')).outline
        ).area
        == 20_000
    )


def test_nested_transforms_and_use(read_svg: ReadSvg) -> None:
    """Transforms multiply from the outside in, and ``use`` shows its target again, moved."""
    body = f"""<defs><g id="half"><path class="cut" d="M0 0 H40 V20 H0 Z"/></g></defs>
      <g transform="translate(100 100)"><g transform="scale(2)"><g id="a"><use {XLINK} xlink:href="#half" x="5"/></g></g></g>
      <g id="b"><use href="#half" y="200" transform="rotate(90)"/></g>"""
    first, second = read_svg(body).pieces
    assert (first.name, second.name) == ("a", "b")
    assert Polygon(first.outline).bounds == pytest.approx((110, 160, 190, 200))
    # rotate(90) sends (x, y) to (−y, x) on the page, y then turns up
    assert Polygon(second.outline).bounds == pytest.approx((-220, 260, -200, 300))


def test_symbol_and_nested_svg(read_svg: ReadSvg) -> None:
    """Symbols and nested drawings have a view box of their own."""
    body = """<symbol id="s" viewBox="0 0 10 10"><rect class="cut" width="10" height="10"/></symbol>
      <g id="a"><use href="#s" width="50" height="50"/></g>
      <g id="b"><svg x="100" y="0" width="60" height="30" viewBox="0 0 6 3"><rect class="cut" width="6" height="3"/></svg></g>"""
    a, b = read_svg(body).pieces
    assert Polygon(a.outline).bounds == pytest.approx((0, 250, 50, 300))
    assert Polygon(b.outline).bounds == pytest.approx((100, 270, 160, 300))


@pytest.mark.parametrize(
    ("shape", "area"),
    [
        ('<circle class="cut" cx="100" cy="100" r="50"/>', math.pi * 2500),
        ('<ellipse class="cut" cx="100" cy="100" rx="60" ry="20"/>', math.pi * 1200),
        ('<rect class="cut" x="10" y="10" width="100" height="60" rx="20"/>', 6000 - (4 - math.pi) * 400),
        ('<rect class="cut" x="10" y="10" width="100" height="60" rx="20" ry="10"/>', 6000 - (4 - math.pi) * 200),
        ('<polygon class="cut" points="0,0 100,0 100,50"/>', 2500),
        ('<path class="cut" d="M0 0h100v50h-100z"/>', 5000),
        ('<path class="cut" d="M100 50 A50 50 0 1 0 200 50 A50 50 0 1 0 100 50 Z"/>', math.pi * 2500),
        ('<path class="cut" d="M100 100 A60 20 30 0 1 200 100 Z"/>', None),
        ('<path class="cut" d="M0 100 Q60 0 130 80 Z"/>', 2 / 3 * 0.5 * abs(60 * -20 - -100 * 130)),
    ],
)
def test_shapes(read_svg: ReadSvg, shape: str, area: float | None) -> None:
    """Areas of shapes by closed forms. Chords cut off at most two thirds of sagitta times length."""
    outline = Polygon(only(read_svg(shape)).outline)
    if area is None:
        # the radii are too small for these ends: scaled up until the ellipse just reaches (SVG 2, 9.5.1)
        c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
        scale = math.hypot(50 * c / 60, 50 * s / 20)
        area = math.pi * 60 * 20 * scale**2 / 2
    cut_off = area - outline.area
    assert -1e-9 * area <= cut_off <= 2 / 3 * 0.01 * outline.length


def test_cubic_against_green(read_svg: ReadSvg) -> None:
    """Area under a cubic by the closed form of its controls (Green's theorem)."""
    p = [(0, 100), (30, 20), (110, 40), (140, 100)]
    d = f"M{p[0][0]} {p[0][1]} C{p[1][0]} {p[1][1]} {p[2][0]} {p[2][1]} {p[3][0]} {p[3][1]} Z"

    def cross(i: int, j: int) -> float:
        return p[i][0] * p[j][1] - p[i][1] * p[j][0]

    curve = (6 * cross(0, 1) + 3 * cross(0, 2) + cross(0, 3) + 3 * cross(1, 2) + 3 * cross(1, 3) + 6 * cross(2, 3)) / 20
    want = abs(curve + cross(3, 0) / 2)
    found = Polygon(only(read_svg(f'<path class="cut" d="{d}"/>')).outline)
    assert 0 <= want - found.area <= 2 / 3 * 0.01 * found.length


def test_arc_under_a_shear_is_still_an_ellipse(read_svg: ReadSvg) -> None:
    """A circle sheared: area π·r²·det, and its box as that of the affine image."""
    body = '<g transform="matrix(1 0 0.8 1 0 0)"><path class="cut" d="M100 150 a50 50 0 1 1 0.0001 0 Z"/></g>'
    outline = Polygon(only(read_svg(body)).outline)
    assert 0 <= math.pi * 2500 - outline.area <= 2 / 3 * 0.01 * outline.length
    width = outline.bounds[2] - outline.bounds[0]
    assert width == pytest.approx(100 * math.hypot(1, 0.8), abs=0.05)


def test_chord_is_kept(read_svg: ReadSvg) -> None:
    """The chord tolerance asked for is honoured in mm, whatever the drawing's scale."""
    for chord in (1.0, 0.01):
        outline = only(
            read_svg('<circle class="cut" cx="20" cy="20" r="15"/>', 'width="400mm" height="300mm" viewBox="0 0 40 30"',
                     chord=chord)
        ).outline  # fmt: skip
        n = len(outline)
        assert 150 * (1 - math.cos(math.pi / n)) <= chord
        assert 150 * (1 - math.cos(math.pi / max(n - 5, 3))) > chord


def test_roles_by_class_id_and_layer_label(read_svg: ReadSvg) -> None:
    """The same piece with its roles in classes, in ids or in labelled layers."""
    by_class = """<g id="front"><path class="cut" d="M0 0H100V80H0Z"/><path class="sew" d="M10 10H90V70H10Z"/>
      <line class="grain" x1="50" y1="70" x2="50" y2="20"/><line class="notch" id="side" x1="100" y1="40" x2="94" y2="40"/>
      <circle class="drill" cx="30" cy="30" r="2"/><line class="inside" x1="20" y1="20" x2="80" y2="20"/></g>"""
    by_id = """<g id="front"><path id="cut-front" d="M0 0H100V80H0Z"/><path id="sew-front" d="M10 10H90V70H10Z"/>
      <line id="grain-front" x1="50" y1="70" x2="50" y2="20"/><line id="notch-side" x1="100" y1="40" x2="94" y2="40"/>
      <circle id="drill" cx="30" cy="30" r="2"/><line id="inside-1" x1="20" y1="20" x2="80" y2="20"/></g>"""
    layer = 'xmlns:e="urn:editor" e:groupmode="layer" e:label'
    by_layer = f"""<g {layer}="front"><g {layer}="Cutting lines"><path d="M0 0H100V80H0Z"/></g>
      <g {layer}="Stitching line"><path d="M10 10H90V70H10Z"/></g><g {layer}="Grain"><path d="M50 70V20"/></g>
      <g {layer}="Notches"><path id="side" d="M100 40H94"/></g><g {layer}="Drill marks"><circle cx="30" cy="30" r="2"/></g>
      <g {layer}="Inside lines"><path d="M20 20H80"/></g></g>"""
    first = only(read_svg(by_class))
    assert (first.name, len(first.notches), len(first.drills), len(first.inside)) == ("front", 1, 1, 1)
    assert first.seam is not None and Polygon(first.seam).area == pytest.approx(80 * 60)
    assert first.notches[0].name == "side"
    for other in (by_id, by_layer):
        piece = only(read_svg(other))
        assert piece == first


def test_layers_by_role_serve_all_pieces(read_svg: ReadSvg) -> None:
    """One layer per role with the lines of all pieces in it: each line goes to the piece in which it lies."""
    body = """<g id="cut"><rect id="front" x="0" y="0" width="100" height="80"/><rect id="back" x="150" y="0" width="90" height="80"/></g>
      <g id="grain"><path d="M50 70V20"/><path d="M190 60V10"/></g><g id="notches"><path d="M150 40h6"/></g>"""
    front, back = read_svg(body).pieces
    assert (front.name, back.name) == ("front", "back")
    assert front.grainline == ((50, 230), (50, 280)) and back.grainline == ((190, 240), (190, 290))
    assert (len(front.notches), len(back.notches)) == (0, 1)


def test_sizes_nested_in_one_another(read_svg: ReadSvg) -> None:
    """Sizes as groups within a piece; a grainline drawn once serves all of them; ``size`` picks one."""
    body = """<g id="front"><line class="grain" x1="30" y1="60" x2="30" y2="20"/>
      <g id="S"><rect class="cut" width="80" height="70"/></g><g id="M"><rect class="cut" width="90" height="75"/></g>
      <g id="L"><rect class="cut" width="100" height="80"/></g></g>"""
    pieces = read_svg(body).pieces
    assert [(p.name, p.size) for p in pieces] == [("front", "S"), ("front", "M"), ("front", "L")]
    assert len({p.grainline for p in pieces}) == 1 and pieces[0].grainline is not None
    one = only(read_svg(body, size="m"))
    assert one.size == "m" and Polygon(one.outline).area == 90 * 75
    with pytest.raises(PatternError, match="L, M, S"):
        read_svg(body, size="XL")


def test_sizes_in_names(read_svg: ReadSvg) -> None:
    """front-S, front-M are sizes of one piece; sleeve-L, sleeve-R are left and right."""
    body = "".join(
        f'<g id="{name}"><rect class="cut" x="{x}" width="50" height="70"/></g>'
        for name, x in (("front-S", 0), ("front-M", 60), ("sleeve-L", 120), ("sleeve-R", 180))
    )
    assert [(p.name, p.size) for p in read_svg(body).pieces] == [
        ("front", "S"), ("front", "M"), ("sleeve-L", None), ("sleeve-R", None),
    ]  # fmt: skip


def test_size_for_a_file_without_sizes(read_svg: ReadSvg) -> None:
    """Where the file has no sizes, all its pieces are of the size that is asked for."""
    assert only(read_svg(RECT, size="M")).size == "M"


def test_label_text_in_the_piece(read_svg: ReadSvg) -> None:
    """A text in a piece is its label, read by its phrases, and what was understood is reported."""
    body = '<rect class="cut" width="90" height="80"/><text x="20" y="30">Front — size M — cut 2 mirrored — main</text>'
    reading = read_svg(body)
    piece = only(reading)
    assert (piece.name, piece.size, piece.cut, piece.mirrored, piece.material) == ("Front", "M", 2, True, "main")
    assert piece.text == ("Front — size M — cut 2 mirrored — main",)
    assert kinds(reading, "name 'Front'", "size 'M'", "cut 2", "left and right", "cloth 'main'") == ["note"]


def test_label_in_several_lines_and_attributes(read_svg: ReadSvg) -> None:
    """Lines of a text are read one by one; attributes of the group go before them."""
    body = """<g data-name="Back yoke" data-size="38" data-cut="cut 2 pairs" data-cloth="lining"><rect class="cut" width="90"
      height="80"/><text x="20" y="30"><tspan x="20">Back</tspan><tspan x="20" dy="8">cut 1</tspan></text></g>"""
    piece = only(read_svg(body))
    assert (piece.name, piece.size, piece.cut, piece.mirrored, piece.material) == ("Back yoke", "38", 4, True, "lining")
    assert piece.text == ("Back\ncut 1",)


def test_drawing_without_roles(read_svg: ReadSvg) -> None:
    """Each outermost closed outline is a piece; closed lines in it are lines inside, and that is reported."""
    body = """<g id="front"><path d="M0 0H100V80H0Z"/><path d="M20 20H40V40H20Z"/><path d="M60 10V70" id="n"/></g>
      <path id="back" d="M150 0H250V80H150Z"/><path d="M300 10 L390 10 L390 90 Z"/>"""
    reading = read_svg(body)
    assert [p.name for p in reading.pieces] == ["front", "back", "piece 3"]
    front = reading.pieces[0]
    assert len(front.inside) == 2 and front.cutouts == () and front.grainline is None
    assert kinds(reading, "closed line without a role") == ["ambiguous"]
    assert kinds(reading, "could be the grainline") == ["ambiguous"]


def test_arrow_without_role_is_the_grainline(read_svg: ReadSvg) -> None:
    """A single line with an arrowhead in a drawing without roles is the grainline, its arrow up."""
    marker = '<marker id="a"><path d="M0 0L5 5"/></marker>'
    body = f'{marker}<path d="M0 0H100V80H0Z"/><line x1="50" y1="20" x2="50" y2="70" marker-start="url(#a)"/>'
    piece = only(read_svg(body))
    assert piece.grainline == ((50, 230), (50, 280))
    assert piece.axis_drawn is False


def test_outline_of_several_lines(read_svg: ReadSvg) -> None:
    """An outline drawn as touching lines and curves, one gap of 0.3 mm, each line in a group of its own."""
    body = """<g id="front"><g id="g1"><path class="cut" d="M0 0H100"/></g><g id="g2"><path class="cut" d="M100 80 V0.3"/></g>
      <g id="g3"><path class="cut" d="M100 80 Q50 100 0 80"/></g><g id="g4"><line class="cut" x1="0" y1="0" x2="0" y2="80"/></g>
      <line class="grain" x1="50" y1="0" x2="50" y2="90"/></g>"""
    reading = read_svg(body)
    # a parabola segment of 2/3 · 100 · 10 stands below the rectangle
    assert Polygon(only(reading).outline).area == pytest.approx(8000 + 2 / 3 * 100 * 10, rel=1e-4)
    assert kinds(reading, "0.30 mm", "0.5 mm") == ["repaired"]
    with pytest.raises(PatternError, match=r"open .*0\.30 mm apart"):
        read_svg(body, join_gap=0.2)


@pytest.mark.parametrize(
    "hidden",
    [
        'style="display:none"', 'display="none"', 'class="gone"', 'visibility="hidden"', 'style="fill:red;visibility:hidden"',
    ],
)  # fmt: skip
def test_what_is_switched_off_is_left_out_with_a_finding(read_svg: ReadSvg, hidden: str) -> None:
    """Hidden lines are not read, and it is said."""
    body = f"""<style>.gone {{ display: none }}</style>{RECT}<g {hidden}><rect x="200" y="20" width="60" height="50"/></g>"""
    reading = read_svg(body)
    assert len(reading.pieces) == 1
    assert [f.kind for f in reading.findings] == ["ignored"]


@pytest.mark.parametrize(
    ("sheet", "gone"),
    [
        ("g.gone { display: none }", True),
        ("rect.gone { display: none }", False),
        ("#layer .gone, .other { display: none }", True),
        ("#layer > rect { display: none }", False),
        ("g[data-off] { visibility: hidden }", True),
        ("g:hover { display: none }", False),
        ("@media screen { svg .gone { display: none } }", True),
        ("g.gone { display: inline !important } #layer #part { display: none }", False),
        ("#part { display: inline } .gone { display: none }", False),
        ("{ } .gone { } ..gone { display: none } .gone::before { display: none }", False),
    ],
)
def test_style_sheets_hide_by_selectors_of_any_kind(read_svg: ReadSvg, sheet: str, gone: bool) -> None:
    """Classes with elements, within others, by attributes; the heavier selector and what is important win."""
    body = f"""<style>{sheet}</style>{RECT}<g id="layer"><g id="part" class="some gone" data-off="">
      <rect x="200" y="20" width="60" height="50"/></g></g>"""
    assert len(read_svg(body).pieces) == (1 if gone else 2)


def test_the_weight_of_selectors_is_that_of_the_standard() -> None:
    """The examples of CSS Selectors 4, section 17, lightest first: each overrules those before it, wherever it stands;
    of equal ones the last does; an element's own style overrules all, but for what is important."""
    from xml.etree import ElementTree

    from nesting.files.svg.svgcss import sheets_of, style_of

    root = ElementTree.fromstring(
        '<g><ul><ol><h1/><li rel="up" class="red level" id="x34y"/></ol></ul><p style="display: own"/></g>'
    )
    examples = ["*", "li", "ul li", "ul ol+li", "h1 + *[rel=up]", "ul ol li.red", "li.red.level", "#x34y"]
    weights = [(0, 0, 0), (0, 0, 1), (0, 0, 2), (0, 0, 3), (0, 1, 1), (0, 1, 3), (0, 2, 1), (1, 0, 0)]
    assert weights == sorted(weights)
    li = root.find(".//li")
    for k, selector in enumerate(examples):
        if "ol+li" in selector:
            continue  # there the list follows the other; here it lies in it, so it does not match
        sheet = "".join(f"{s} {{ display: n{n} }}" for n, s in reversed(list(enumerate(examples[: k + 1]))))
        assert style_of(li, sheets_of(root, [sheet]))["display"] == f"n{k}", selector
    assert style_of(li, sheets_of(root, ["li { display: a }", "li { display: b }"]))["display"] == "b"
    own = root.find("p")
    assert style_of(own, sheets_of(root, ["p { display: a }"]))["display"] == "own"
    assert style_of(own, sheets_of(root, ["p { display: a !important }"]))["display"] == "a"


def test_definitions_are_not_drawn(read_svg: ReadSvg) -> None:
    """Markers, clip paths, patterns and unused symbols are no pieces; a clip is reported."""
    shape = '<rect width="30" height="30"/>'
    body = f"""<defs>{shape}</defs><clipPath id="c">{shape}</clipPath><pattern>{shape}</pattern><symbol>{shape}</symbol>
      <mask>{shape}</mask><g clip-path="url(#c)">{RECT}</g>"""
    reading = read_svg(body)
    assert len(reading.pieces) == 1
    assert kinds(reading, "clipping") == ["ignored"]


def test_pictures_and_outside_references_are_left_out(read_svg: ReadSvg) -> None:
    """Images, foreign objects and references to other files are named and left out."""
    body = f'{RECT}<image href="x.png"/><foreignObject/><use href="other.svg#x"/><use href="#nothing"/>'
    reading = read_svg(body)
    assert [f.kind for f in reading.findings] == ["ignored"] * 4


def test_a_group_of_several_pieces_names_none_of_them(read_svg: ReadSvg) -> None:
    """The name of a group of pieces counts only for those that have no name of their own."""
    body = """<g data-name="Shorts"><path id="front" d="M0 0H90V80H0Z"/><path d="M100 0H190V80H100Z"/><text x="120" y="40">Back</text>
      <path d="M200 0H290V80H200Z"/></g>"""
    assert [p.name for p in read_svg(body).pieces] == ["front", "Back", "Shorts"]


def test_lines_outside_the_outline_are_left_out(read_svg: ReadSvg) -> None:
    """A stray line in a piece's group, away from the piece, is not part of it; a line across the edge is."""
    reading = read_svg(f'<g id="f">{RECT}<path d="M200 10V90"/><path d="M50 5V60"/></g>')
    assert only(reading).inside == (((50, 295), (50, 240)),)
    assert kinds(reading, "outside the outline") == ["ignored"]


def test_lines_across_a_piece_make_no_outline_of_their_own(read_svg: ReadSvg) -> None:
    """Three lines from edge to edge cross in a triangle: they are three lines inside, not a fourth outline."""
    sides = "".join(f'<path d="{d}"/>' for d in ("M0 0H100", "M100 0V80", "M100 80H0", "M0 80V0"))
    lines = "".join(f'<path d="{d}"/>' for d in ("M0 0L70 80", "M0 50H100", "M50 0V80"))
    piece = only(read_svg(f'<g id="f">{sides}{lines}</g>'))
    assert Polygon(piece.outline).area == 8000
    assert sorted(map(len, piece.inside)) == [2, 2, 2]


def test_guides_are_left_out(read_svg: ReadSvg) -> None:
    """What is drawn for other purposes is left out by its role, also inside a piece."""
    reading = read_svg(f'{RECT}<g id="guides"><path d="M0 40H200"/></g><path class="construction" d="M20 40H80"/>')
    assert only(reading).inside == ()
    assert kinds(reading, "other purposes") == ["ignored", "ignored"]


def test_page_frame_is_no_piece(read_svg: ReadSvg) -> None:
    """A rectangle along the page's edge is a frame; one around marked pieces too."""
    reading = read_svg(f'<rect width="400" height="300"/>{RECT}')
    assert [p.name for p in reading.pieces] == ["front"]
    assert kinds(reading, "frame") == ["ignored"]
    reading = read_svg(f'<rect x="2" y="2" width="300" height="200"/>{RECT}')
    assert [p.name for p in reading.pieces] == ["front"]
    assert kinds(reading, "frame") == ["ignored"]


@pytest.mark.parametrize("text", ["utf-8", "utf-16", "utf-8-sig", "latin-1"])
def test_encodings(write: Callable[..., Path], text: str) -> None:
    """Names with letters beyond ASCII arrive whole from every encoding that XML knows."""
    declared = {"utf-8-sig": "utf-8"}.get(text, text)
    body = f"""<?xml version="1.0" encoding="{declared}"?><svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm"
      viewBox="0 0 400 300"><g data-name="Vorderstück ½"><rect width="90" height="80"/></g></svg>"""
    assert only(read_pieces(write(body.encode(text)))).name == "Vorderstück ½"


def test_test_square(read_svg: ReadSvg) -> None:
    """The test square is measured, not laid; a side that differs by more than 0.5 % is a warning."""
    square = '<rect class="test-square" x="200" y="10" width="{0}" height="{0}"/><text x="202" y="30">test square 5 cm</text>'
    good = read_svg(RECT + square.format(50.2))
    assert good.test_square == pytest.approx(50.2) and good.findings == () and len(good.pieces) == 1
    bad = read_svg(RECT + square.format(50.3))
    assert bad.test_square == pytest.approx(50.3)
    assert kinds(bad, "test square", "50 mm") == ["warning"]
    bare = read_svg(RECT + square.format(50).replace(' class="test-square"', ""))
    assert bare.test_square == 50 and len(bare.pieces) == 1


def test_seam_outline_alone(read_svg: ReadSvg) -> None:
    """A file that holds only the seam outline: it is both, and a warning says so."""
    reading = read_svg('<g id="front"><path class="seam" d="M0 0H100V80H0Z"/></g>')
    piece = only(reading)
    assert piece.seam == piece.outline
    assert kinds(reading, "only a seam outline") == ["warning"]


def test_cutouts(read_svg: ReadSvg) -> None:
    """Closed lines called cutout are cut out; a second cut line in an outline is taken so with a finding."""
    body = '<g id="f"><path class="cut" d="M0 0H100V80H0Z"/><circle class="cutout" cx="50" cy="40" r="10"/></g>'
    piece = only(read_svg(body))
    assert len(piece.cutouts) == 1
    assert Polygon(piece.cutouts[0]).area == pytest.approx(math.pi * 100, rel=2e-3)
    assert Polygon(piece.cutouts[0]).exterior.is_ccw
    compound = read_svg('<g id="f"><path class="cut" d="M0 0H100V80H0Z M20 20 H40 V40 H20 Z"/></g>')
    assert len(only(compound).cutouts) == 1
    assert kinds(compound, "cutout") == ["ambiguous"]
