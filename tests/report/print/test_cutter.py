"""Files for a cutter, read back with ezdxf and svgelements."""

from __future__ import annotations

import io
import itertools
from collections import Counter
from dataclasses import replace
from xml.etree import ElementTree

import ezdxf.recover
import pytest
from ezdxf.document import Drawing
from shapely.geometry import Polygon
from svgelements import SVG, Path

from nesting.model.lay import Lay
from nesting.report.backends.to_dxf import LAYERS, dxf_bytes, layer_of
from nesting.report.backends.to_svg import svg_bytes
from nesting.report.print.cutter import cut_line, cutter_notes, cutter_passes
from tests.report import samples

NAMES = sorted(samples.ALL)


def documents(lay: Lay, join: bool = True) -> list[Drawing]:
    """Each pass's DXF as ezdxf reads it, audited."""
    out = []
    for one in cutter_passes(lay, join=join):
        document, auditor = ezdxf.recover.read(io.BytesIO(dxf_bytes(one.scene)))
        assert not auditor.errors and not auditor.fixes
        assert not document.audit().errors
        out.append(document)
    return out


@pytest.mark.parametrize("name", NAMES)
def test_dxf_holds_every_piece_with_its_marks(name: str) -> None:
    """Same number of pieces, same areas to 0.01 %, same notches to 0.01 mm, on ASTM D6673's layers."""
    lay = samples.ALL[name]()
    areas: list[float] = []
    marks: Counter[str] = Counter()
    spots: list[tuple[str, float, float]] = []
    for document in documents(lay):
        assert document.header["$INSUNITS"] == 4 and document.dxfversion == "AC1015"
        for entity in document.modelspace():
            layer = entity.dxf.layer
            assert layer in LAYERS
            marks[layer] += 1
            if layer == "1":
                areas.append(Polygon([p[:2] for p in entity.get_points()]).area)
            if layer in ("4", "80", "81", "82", "83"):
                points = [p[:2] for p in entity.get_points()]
                spots.append((layer, *points[0]))
    assert sorted(areas) == pytest.approx(sorted(Polygon(p.outline).area for p in lay.placements), rel=1e-4)
    want = Counter(layer_of("notch", n.kind) for p in lay.placements for n in p.notches)
    assert {k: v for k, v in marks.items() if k in ("4", "80", "81", "82", "83")} == want
    assert marks["11"] == sum(len(p.cutouts) for p in lay.placements)
    assert marks["7"] == len(lay.placements)
    assert marks["8"] == sum(len(p.inside) for p in lay.placements)
    assert marks["6"] == sum(p.on_fold for p in lay.placements)
    assert marks["14"] == sum(p.seam is not None for p in lay.placements)
    # a slit and a T begin at the notch's place; the others straddle it by their half width
    for p in lay.placements:
        for n in p.notches:
            reach = 0.0 if n.kind in ("slit", "t") else 0.35 * n.depth
            layer = layer_of("notch", n.kind)
            assert any(
                k == layer and abs(((x - n.at[0]) ** 2 + (y - n.at[1]) ** 2) ** 0.5 - reach) < 0.01 for k, x, y in spots
            )


@pytest.mark.parametrize("name", ["lengthwise", "remnant", "sections", "together"])
def test_svg_holds_the_same(name: str) -> None:
    """svgelements reads the same contours, in mm, from named layers for cut lines, marks and text."""
    lay = samples.ALL[name]()
    areas, notches = [], 0
    for one in cutter_passes(lay):
        data = svg_bytes(one.scene)
        layers = {g.get("id") for g in ElementTree.fromstring(data).findall("{http://www.w3.org/2000/svg}g")}
        assert layers == {"cut", "marks", "text"}
        for element in SVG.parse(io.BytesIO(data)).elements(lambda e: isinstance(e, Path)):
            kind = element.values.get("class")
            if kind == "cut":
                points = [(s.end.x * 25.4 / 96, s.end.y * 25.4 / 96) for s in element if s.end is not None]
                areas.append(Polygon(points).area)
            notches += kind == "notch"
    assert sorted(areas) == pytest.approx(sorted(Polygon(p.outline).area for p in lay.placements), rel=1e-4)
    assert notches == sum(len(p.notches) for p in lay.placements)


@pytest.mark.parametrize("name", ["lengthwise", "partial", "double", "crosswise", "tubular"])
def test_fold_edges_are_not_cut(name: str) -> None:
    """The cut line of a half on a fold is the outline without the fold edge: open, from one end of the fold to
    the other, and shorter than the outline by just that edge."""
    lay = samples.ALL[name]()
    for p in lay.placements:
        line, closed = cut_line(p)
        assert closed is not p.on_fold
        if not p.on_fold or p.fold is None:
            continue
        assert {line[0], line[-1]} == set(p.fold)
        ring = Polygon(p.outline).exterior.length
        fold = ((p.fold[0][0] - p.fold[1][0]) ** 2 + (p.fold[0][1] - p.fold[1][1]) ** 2) ** 0.5
        cut = sum(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5 for a, b in itertools.pairwise(line))
        assert cut == pytest.approx(ring - fold, abs=1e-6)


def test_single_plies_are_passes_of_their_own() -> None:
    """A machine cuts through everything, so the top ply's and the bottom ply's pieces come in other files."""
    names = [one.name for one in cutter_passes(samples.lengthwise_lay())]
    assert names == ["top-ply", "all-plies", "bottom-ply"]
    assert [one.name for one in cutter_passes(samples.open_lay())] == [""]
    names = [one.name for one in cutter_passes(samples.sections_lay())]
    assert names == ["section-1-top-ply", "section-1-all-plies", "section-1-bottom-ply", "section-2"]


def test_cutouts_come_before_outlines_and_joining_shortens_the_way() -> None:
    """In each file holes are cut first; with joining the tool moves no farther than in the order of the sheet."""
    for name in ("hundred", "remnant", "open"):
        for one in cutter_passes(samples.ALL[name]()):
            roles = [item.role for item in one.scene.items if item.layer == "cut"]
            assert roles == sorted(roles, key=lambda r: r == "cut")
            assert one.travel <= one.travel_before + 1e-6
    (one,) = cutter_passes(samples.hundred_lay())
    assert one.travel < 0.6 * one.travel_before


def test_caution_travels_with_the_files() -> None:
    """It defers to the maker's manual and local rules, in the SVG, in the DXF and in the note beside them."""
    lay = samples.open_lay()
    (one,) = cutter_passes(lay)
    words = "the maker's manual and the rules of the place come first"
    assert words in svg_bytes(one.scene).decode()
    assert words in cutter_notes(lay, (one,))
    assert words in dxf_bytes(one.scene).decode().splitlines()[1]


def test_words_of_any_script_survive_in_dxf() -> None:
    """Release 2000 knows no UTF-8; names come back all the same, and each contour knows its number on the sheet."""
    lay = samples.open_lay()
    section = lay.sections[0]
    named = tuple(replace(p, piece="Šortky – κάτω") for p in section.placements[:2])
    lay = replace(lay, sections=(replace(section, placements=named),))
    (document,) = documents(lay)
    words = " ".join(e.dxf.text for e in document.modelspace().query("TEXT"))
    assert "Šortky – κάτω" in words
    numbers = {e.get_xdata("NESTING")[0].value for e in document.modelspace().query("LWPOLYLINE[layer=='1']")}
    assert numbers == {1, 2}
