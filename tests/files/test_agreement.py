"""The same piece through SVG and DXF agrees; what is written back by other libraries is read back the same."""
# Drawings stay on one line each:
# ruff: noqa: E501

import io
import math
import os
from collections.abc import Callable
from pathlib import Path

import ezdxf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import Polygon

from nesting.files import read_pieces
from nesting.files.remnant import read_remnant
from nesting.model.errors import NestingError
from nesting.model.piece import Piece

from .conftest import only

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = int(os.environ.get("NESTING_EXAMPLES", "60"))
#: A front of shorts: straight sides, a crotch curve as a cubic, a hem as an arc. y up, mm.
CUBIC = ((250.0, 180.0), (255.0, 140.0), (270.0, 110.0), (320.0, 100.0))
HEM_BULGE = 0.12
NOTCHES = [(0.0, 150.0), (125.0, 300.0), (290.0, 50.0)]


def as_svg() -> str:
    """The piece as SVG; the page's y is 400 − y."""

    def p(x: float, y: float) -> str:
        return f"{x!r} {400 - y!r}"

    # radius of the hem's arc, whose chord is 320, from its bulge: chord·(1 + b²)/(4·b)
    radius = 320 * (1 + HEM_BULGE**2) / (4 * HEM_BULGE)
    d = f"M{p(0, 0)} L{p(0, 300)} L{p(250, 300)} L{p(*CUBIC[0])} C{p(*CUBIC[1])} {p(*CUBIC[2])} {p(*CUBIC[3])} L{p(320, 0)} "
    d += f"A{radius!r} {radius!r} 0 0 1 {p(0, 0)} Z"
    marks = "".join(f'<circle class="notch" cx="{x}" cy="{400 - y}" r="1"/>' for x, y in NOTCHES)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="500mm" height="400mm" viewBox="0 0 500 400"><g id="front">'
        f'<path class="cut" d="{d}"/>{marks}<line class="grain" x1="100" y1="350" x2="100" y2="150"/></g></svg>'
    )


def as_dxf(release: str) -> bytes:
    """The piece as DXF, its curves as a SPLINE (R12: a POLYLINE of many points) and a bulge."""
    doc = ezdxf.new(release)
    doc.header["$INSUNITS"] = 4
    block = doc.blocks.new("front")
    one = {"layer": "1"}
    straight = [
        (320, 100, 0, 0, 0),
        (320, 0, 0, 0, -HEM_BULGE),
        (0, 0, 0, 0, 0),
        (0, 300, 0, 0, 0),
        (250, 300, 0, 0, 0),
        (250, 180, 0, 0, 0),
    ]
    block.add_polyline2d(straight, format="xyseb", dxfattribs=one)
    if release == "R12":
        curve = []
        for k in range(401):
            t = k / 400
            w = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3)
            curve.append(tuple(sum(wi * q[i] for wi, q in zip(w, CUBIC, strict=True)) for i in (0, 1)))
        block.add_polyline2d(curve, dxfattribs=one)
    else:
        spline = block.add_spline(dxfattribs=one)
        spline.dxf.degree, spline.control_points, spline.knots = 3, CUBIC, [0, 0, 0, 0, 1, 1, 1, 1]
    for x, y in NOTCHES:
        block.add_point((x, y), dxfattribs={"layer": "4"})
    block.add_line((100, 50), (100, 250), dxfattribs={"layer": "7"})
    block.add_text("UNITS: METRIC", dxfattribs=one)
    doc.modelspace().add_blockref("front", (0, 0))
    doc.modelspace().add_text("UNITS: METRIC", dxfattribs=one)
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue().encode()


@pytest.mark.parametrize("release", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
def test_svg_and_dxf_agree(write: Callable[..., Path], release: str) -> None:
    """Area to 0.01 %, every notch to 0.1 mm, its direction to 0.5°, and the grainline exactly."""
    a = only(read_pieces(write(as_svg())))
    b = only(read_pieces(write(as_dxf(release), "front.dxf")))
    assert Polygon(a.outline).area == pytest.approx(Polygon(b.outline).area, rel=1e-4)
    assert Polygon(a.outline).hausdorff_distance(Polygon(b.outline)) < 0.05
    assert len(a.notches) == len(b.notches) == len(NOTCHES)
    for m, n in zip(a.notches, b.notches, strict=True):
        assert math.dist(m.at, n.at) < 0.1
        assert abs((m.direction - n.direction + 180) % 360 - 180) < 0.5
    assert a.grainline is not None and b.grainline is not None
    assert all(math.dist(p, q) < 1e-9 for p, q in zip(a.grainline, b.grainline, strict=True))
    assert (a.name, b.name) == ("front", "front")


def demo_pairs() -> list[tuple[str, str]]:
    """Names of the demo's drawings that exist both as SVG and as DXF."""
    return [
        (svg, dxf)
        for svg, dxf in (("shorts-m", "shorts"), ("briefs-m", "briefs"), ("briefs-l", "briefs"), ("shorts-s", "shorts"))
    ]


@pytest.mark.parametrize(("svg", "dxf"), demo_pairs())
def test_the_demo_pieces_agree(svg: str, dxf: str) -> None:
    """The demo's pieces through both formats: area to 0.01 %, every notch to 0.1 mm."""
    size = svg[-1].upper()
    ours = {p.name: p for p in read_pieces(ROOT / f"fixtures/demo/{svg}.svg").pieces}
    others = {p.name: p for p in read_pieces(ROOT / f"fixtures/demo/{dxf}.dxf", size=size).pieces}
    assert set(ours) == set(others) and ours
    for name, piece in ours.items():
        other = others[name]
        assert Polygon(piece.outline).area == pytest.approx(Polygon(other.outline).area, rel=1e-4), name
        left = grain_frame(other)
        for x, y in grain_frame(piece):
            assert min(math.dist((x, y), q) for q in left) < 0.1, name
        assert len(piece.notches) == len(other.notches)


def grain_frame(piece: Piece) -> list[tuple[float, float]]:
    """The piece's notches in its grain frame."""
    from nesting.model.piece import in_grain_frame

    return [n.at for n in in_grain_frame(piece).notches]


def test_svgelements_sees_the_same(write: Callable[..., Path]) -> None:
    """A reader of its own, svgelements, finds the same outline: points of its path lie on ours."""
    from shapely import LinearRing, Point
    from svgelements import SVG
    from svgelements import Path as SvgPath

    path = write(as_svg())
    ring = LinearRing(only(read_pieces(path)).outline)
    shapes = [e for e in SVG.parse(str(path), reify=True, ppi=25.4).elements() if isinstance(e, SvgPath)]
    (cut,) = [s for s in shapes if s.values.get("class") == "cut"]
    for k in range(200):
        p = cut.point(k / 200)
        assert ring.distance(Point(p.x, 400 - p.y)) < 0.011


def test_what_ezdxf_writes_again_is_the_same(write: Callable[..., Path], tmp_path: Path) -> None:
    """Read by ezdxf, saved by it in every release and read again: nothing changes."""
    first = only(read_pieces(write(as_dxf("R2000"), "front.dxf")))
    doc = ezdxf.readfile(tmp_path / "front.dxf")
    for release in ("R2004", "R2010", "R2018"):
        doc.dxfversion = release
        doc.saveas(tmp_path / f"{release}.dxf")
        again = only(read_pieces(tmp_path / f"{release}.dxf"))
        assert all(math.dist(p, q) < 1e-9 for p, q in zip(again.outline, first.outline, strict=True))
        assert again.notches == first.notches


@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(["plain.svg", "standard.dxf", "sizes.svg", "block-in-block.dxf"]), st.data())
def test_damaged_bytes(tmp_path: Path, name: str, data: st.DataObject) -> None:
    """Whatever bytes are changed, only our own errors come out (scripts/fuzz_files.py does this for half an hour)."""
    raw = bytearray((ROOT / "fixtures" / "odd" / name).read_bytes())
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at : at + data.draw(st.integers(0, 5))] = data.draw(st.binary(max_size=6))
    path = tmp_path / name
    path.write_bytes(bytes(raw))
    for reader in (read_pieces, read_remnant):
        try:
            reader(path)
        except NestingError as error:
            assert str(error).startswith(name)


@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=300), st.sampled_from(["a.svg", "a.dxf", "a"]))
def test_any_bytes(tmp_path: Path, content: bytes, name: str) -> None:
    """Bytes of no meaning are refused."""
    (tmp_path / name).write_bytes(content)
    with pytest.raises(NestingError):
        read_pieces(tmp_path / name)
