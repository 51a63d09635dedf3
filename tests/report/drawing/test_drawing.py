"""The drawing of a lay: complete, true to scale, legible, and nothing mirrored."""

from __future__ import annotations

import io
import math
import re
from functools import cache
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image
from shapely.geometry import Polygon, box
from svgelements import SVG, Path

from nesting.model.lay import Lay
from nesting.report.backends.to_png import png_bytes
from nesting.report.backends.to_svg import svg_bytes
from nesting.report.drawing import looks
from nesting.report.drawing.drawing import lay_scene
from nesting.report.drawing.fonts import text_width
from nesting.report.drawing.leftover_areas import free_rectangles
from nesting.report.drawing.legend import _signs
from nesting.report.drawing.scene import Scene, Shape, Text
from nesting.report.drawing.shapes import turned
from nesting.report.drawing.view import laid_sections, picture
from nesting.report.sheet.sheet import rows
from tests.planning.cut_together.test_patches import laid as laid_in_patches
from tests.planning.cut_together.test_patches import order, rectangle
from tests.report import samples

NAMES = sorted(samples.ALL)
SVG_NS = "{http://www.w3.org/2000/svg}"


@cache
def drawn(name: str) -> tuple[Lay, Scene]:
    """A sample and its drawing, made once."""
    lay = samples.ALL[name]()
    return lay, lay_scene(lay)


def word_box(text: Text) -> Polygon:
    """The box that a line of words covers: its measured width, from descender to capital height."""
    w = text_width(text.words, text.size, text.bold)
    left = {"start": 0.0, "middle": -w / 2, "end": -w}[text.anchor]
    corners = [(left, -0.2), (left + w, -0.2), (left + w, 0.73), (left, 0.73)]
    at = text.at
    return Polygon([turned((at[0] + u, at[1] + (v * text.size)), text.turn, at) for u, v in corners])


@pytest.mark.parametrize("name", NAMES)
def test_every_piece_is_drawn_with_its_marks(name: str) -> None:
    """One cut line for each placement, true in place, and each notch, drill mark, cutout and grain arrow once."""
    lay, scene = drawn(name)
    number = {row.index: row.number for row in rows(lay)}
    shift = {}
    for laid in laid_sections(lay, picture(lay)):
        for i in range(len(laid.section.placements)):
            shift[laid.first + i] = laid.dx
    for i, p in enumerate(lay.placements):
        mine = [s for s in scene.items if isinstance(s, Shape) and s.of == number[i]]
        (cut,) = [s for s in mine if s.role == "cut"]
        assert np.allclose(cut.lines[0], [(x + shift[i], y) for x, y in p.outline], atol=1e-9)
        assert sum(s.role == "notch" for s in mine) == len(p.notches)
        assert sum(s.role == "drill" for s in mine) == len(p.drills)
        assert sum(len(s.lines) for s in mine if s.role == "cutout") == len(p.cutouts)
        assert sum(s.role == "grain" and s.kind == "head" for s in mine) == 1
        assert any(s.role == "fold" for s in mine) == p.on_fold


@pytest.mark.parametrize("name", NAMES)
def test_labels_do_not_overlap(name: str) -> None:
    """Fewer than 2 % of the pieces' labels meet another label or the key; measured on the boxes of the words."""
    _, scene = drawn(name)
    labels = [word_box(t) for t in scene.items if isinstance(t, Text) and t.role in ("label", "offcut")]
    others = [word_box(t) for t in scene.items if isinstance(t, Text) and t.role in ("ruler", "legend")]
    bad = sum(any(a.intersection(b).area > 0.01 * a.area for b in labels[:i] + others) for i, a in enumerate(labels))
    assert bad < 0.02 * len(labels)


@pytest.mark.parametrize("name", NAMES)
def test_surrounding_words_do_not_overlap_and_nothing_is_clipped(name: str) -> None:
    """Ruler, key and headings keep clear of one another, and every word lies on the page."""
    _, scene = drawn(name)
    words = [(t, word_box(t)) for t in scene.items if isinstance(t, Text)]
    around = [b for t, b in words if t.role in ("ruler", "legend")]
    for i, a in enumerate(around):
        assert not any(a.intersection(b).area > 0.01 * a.area for b in around[:i])
    page = box(*scene.box).buffer(0.01)
    for text, shape in words:
        assert page.covers(shape), text.words


@pytest.mark.parametrize("name", NAMES)
def test_labels_lie_in_their_pieces(name: str) -> None:
    """At least 98 % of the words of a piece lie inside its outline; what does not fit is a number with an entry in the
    key."""
    lay, scene = drawn(name)
    outlines = {s.of: Polygon(s.lines[0]) for s in scene.items if isinstance(s, Shape) and s.role == "cut"}
    labels = [t for t in scene.items if isinstance(t, Text) and t.role == "label" and t.of is not None]
    outside = sum(not outlines[t.of].buffer(0.5).covers(word_box(t)) for t in labels)
    assert outside <= 0.02 * len(labels)
    assert {t.of for t in labels} == {row.number for row in rows(lay)}
    keyed = {t.of for t in scene.items if isinstance(t, Text) and t.role == "legend" and t.of is not None}
    for row in rows(lay):
        mine = " ".join(t.words for t in labels if t.of == row.number)
        assert row.piece in mine or row.number in keyed
        if row.flipped:
            key = [t.words for t in scene.items if isinstance(t, Text) and t.role == "legend" and t.of == row.number]
            assert "flipped" in mine or any("flipped" in words for words in key)


@pytest.mark.parametrize("name", NAMES)
def test_the_key_names_every_sign_and_no_other(name: str) -> None:
    """What pieces bear is in the key once, and what none bears is not. Without an order, arrows have one head."""
    lay, scene = drawn(name)
    key = [t.words for t in scene.items if isinstance(t, Text) and t.role == "legend" and t.of is None]
    borne = {
        "grain": True,
        "grain, may lie either way": False,
        "place on fold": any(p.on_fold for p in lay.placements),
        "notch": any(p.notches for p in lay.placements),
        "drill mark": any(p.drills for p in lay.placements),
        "seam line": any(p.seam is not None for p in lay.placements),
        "line inside the piece": any(p.inside for p in lay.placements),
    }
    assert {words: key.count(words) for words in borne} == {words: int(there) for words, there in borne.items()}


def test_the_key_shows_arrows_as_they_are_drawn() -> None:
    """Where some pieces may lie either way and others not, the key has both arrows: one head and two."""
    lay = samples.lengthwise_lay()
    for both, heads in ((frozenset({0}), (1, 2)), (frozenset(range(len(lay.placements))), (2,))):
        signs = _signs(lay, picture(lay), both)
        arrows = [sign(0.0, 0.0) for sign, words in signs if words.startswith("grain") and sign is not None]
        assert tuple(sum(isinstance(s, Shape) and s.closed for s in arrow) for arrow in arrows) == heads


@pytest.mark.parametrize("name", NAMES)
def test_svg_is_true_to_scale_when_read_back(name: str) -> None:
    """svgelements sees the pieces in mm: same areas to 0.01 %, at y = top of the page − y, nothing mirrored."""
    lay, scene = drawn(name)
    data = svg_bytes(scene)
    root = ElementTree.fromstring(data)
    assert float(root.get("width", "").removesuffix("mm")) == pytest.approx(scene.width, abs=0.001)
    # 1 mm = 3.7795 px (CSS Values 3: 1 in = 96 px)
    read = SVG.parse(io.BytesIO(data), reify=True)
    assert float(read.width) / 96 * 25.4 == pytest.approx(scene.width, abs=0.01)
    cuts = [e for e in read.elements() if isinstance(e, Path) and e.values.get("class") == "cut"]
    assert len(cuts) == len(lay.placements)
    want = sorted(Polygon(p.outline).area for p in lay.placements)
    found = sorted(_area_mm2(path) for path in cuts)
    assert found == pytest.approx(want, rel=1e-4)
    for path in cuts:
        numbers = [float(v) for v in re.findall(r"-?[\d.]+", path.values["attributes"]["d"])]
        assert max(numbers[::2]) <= scene.width and max(numbers[1::2]) <= scene.height
    # an anticlockwise ring on the table has a negative shoelace sum in page numbers, where y runs down
    assert all(_signed(path) < 0 for path in cuts)


def _points(path: Path) -> list[tuple[float, float]]:
    return [(segment.end.x, segment.end.y) for segment in path if segment.end is not None]


def _signed(path: Path) -> float:
    points = _points(path)
    pairs = zip(points, points[1:] + points[:1], strict=True)
    return 0.5 * sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)


def _area_mm2(path: Path) -> float:
    return abs(_signed(path)) * (25.4 / 96) ** 2


def test_svg_layers_and_words() -> None:
    """Named layers; words survive with their special characters; each has its measured width fixed."""
    lay = samples.lengthwise_lay()
    scene = lay_scene(lay)
    root = ElementTree.fromstring(svg_bytes(scene))
    layers = [g.get("id") for g in root.findall(f"{SVG_NS}g")]
    assert layers == ["cloth", "pieces", "marks", "text", "measure", "legend"]
    texts = list(root.iter(f"{SVG_NS}text"))
    assert {t.text for t in texts} >= {"fold A", "selvage B", "3 front M", "place on fold"}
    assert all(float(t.get("textLength", "0")) > 0 for t in texts)


def test_ply_line_styles() -> None:
    """Through all plies solid, top ply only and bottom ply only by different dashes, each explained in the key."""
    _, scene = drawn("lengthwise")
    styles = {s.kind: s.stroke.dash for s in scene.items if isinstance(s, Shape) and s.role == "cut" and s.stroke}
    assert styles["all"] == () and styles["top"] != styles["bottom"] and styles["top"] and styles["bottom"]
    words = {t.words for t in scene.items if isinstance(t, Text)}
    assert {"cut the top ply only", "cut the bottom ply only", "cut through all plies that lie there"} <= words


def test_a_piece_cut_with_another_has_its_own_line() -> None:
    """The leader is cut through both plies, so it is solid; the follower's own line is dashed and explained."""
    lay, scene = drawn("lining")
    kinds = {s.of: s.kind for s in scene.items if isinstance(s, Shape) and s.role == "cut"}
    by_piece = {row.piece: kinds[row.number] for row in rows(lay)}
    assert by_piece == {"tie": "top", "front": "all", "lining": "with"}
    assert "cut with the piece around it" in {t.words for t in scene.items if isinstance(t, Text)}


def test_marks_of_the_bottom_ply_stand_back() -> None:
    """They are drawn in grey, those of the plies above in ink."""
    lay, scene = drawn("lengthwise")
    under = {row.number for row in rows(lay) if row.ply_words == "bottom ply only"}
    assert under
    for s in scene.items:
        if isinstance(s, Shape) and s.role == "grain" and s.stroke is not None:
            assert (s.stroke.colour == looks.INK) is (s.of not in under)


def test_single_ply_beyond_a_flap_is_not_called_bottom() -> None:
    """Where only one ply lies, a cut through it is a cut through all that lies there."""
    _, scene = drawn("partial")
    assert {s.kind for s in scene.items if isinstance(s, Shape) and s.role == "cut"} == {"all"}


def test_fold_flaw_repeat_selvage_and_allowance_are_drawn() -> None:
    """Each lies where the lay says."""
    _, partial = drawn("partial")
    roles = {s.role for s in partial.items if isinstance(s, Shape)}
    assert {"fold-line", "flaw", "selvage", "allowance"} <= roles
    fold = next(s for s in partial.items if isinstance(s, Shape) and s.role == "fold-line")
    assert all(y == 0.0 for _, y in fold.lines[0])
    lay, opened = drawn("open")
    stripes = next(s for s in opened.items if isinstance(s, Shape) and s.role == "repeat")
    along = [line for line in stripes.lines if line[0][0] == line[1][0]]
    across = [line for line in stripes.lines if line[0][1] == line[1][1]]
    assert len(along) == math.floor(lay.lay_length / 60) + 1
    assert len(across) == math.floor(1500 / 120) + 1
    _, crosswise = drawn("crosswise")
    fold = next(s for s in crosswise.items if isinstance(s, Shape) and s.role == "fold-line")
    assert {x for x, _ in fold.lines[0]} == {samples.crosswise_lay().lay_length}


def test_sections_stand_side_by_side_with_a_note_to_refold() -> None:
    """The second section begins right of the first and says so."""
    lay, scene = drawn("sections")
    words = [t.words for t in scene.items if isinstance(t, Text)]
    assert "section 1: lengthwise fold" in words and "refold → section 2: open" in words
    first, second = laid_sections(lay, picture(lay))
    assert second.dx > first.dx + first.section.lay_length


@pytest.mark.parametrize("name", ["partial", "remnant", "double", "hundred"])
def test_offcuts_are_free_and_marked_with_their_size(name: str) -> None:
    """Each offcut lies on the cloth, clear of pieces and flaws on all its plies; the words say at most its size."""
    lay, scene = drawn(name)
    for section in lay.sections:
        for offcut in free_rectangles(section):
            shape = box(offcut.x0, offcut.y0, offcut.x1, offcut.y1)
            for ply in section.spread.plies:
                if ply.ply not in offcut.plies:
                    continue
                assert Polygon(ply.region).buffer(1e-6).covers(shape)
                assert not any(Polygon(f).intersects(shape) for f in ply.flaws)
                for p in section.placements:
                    if ply.ply in p.plies:
                        assert Polygon(p.outline).intersection(shape).area < 1e-6
    sizes = [t.words for t in scene.items if isinstance(t, Text) and t.role == "offcut" and "×" in t.words]
    want = [o for s in lay.sections for o in free_rectangles(s)]
    assert len(sizes) == len(want) > 0
    for words, offcut in zip(sizes, want, strict=True):
        a, b = (int(v) for v in re.findall(r"\d+", words)[:2])
        assert 0 <= (offcut.x1 - offcut.x0) / 10 - a < 1 and 0 <= (offcut.y1 - offcut.y0) / 10 - b < 1


def _luminance(colour: str) -> float:
    channels = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_ink_stands_out_from_every_tint() -> None:
    """Contrast of at least 7 : 1, the stricter of the two levels of WCAG 2.1 (W3C, success criterion 1.4.6), so that
    words read in grey and for colour-blind eyes."""
    for tint in (*looks.TINTS, looks.CLOTH, looks.CLOTH_TWICE):
        ratio = (_luminance(tint) + 0.05) / (_luminance(looks.INK) + 0.05)
        assert ratio >= 7.0


def test_groups_differ_by_hatch_not_by_hue_alone() -> None:
    """The first eight garments and sizes have eight different hatches."""
    assert len(set(looks.HATCHES)) == len(looks.HATCHES) == 8
    _, scene = drawn("lengthwise")
    looked: dict[object, tuple[object, ...]] = {}
    for s in scene.items:
        if isinstance(s, Shape) and s.role == "hatch":
            a, b = s.lines[0]
            slope = round(math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))) % 180
            looked.setdefault(s.of, (slope, round(math.dist(a, b)) < 3))
    by_name = {row.number: (row.garment, row.size) for row in rows(samples.lengthwise_lay())}
    seen: dict[object, set[object]] = {}
    for number, look in looked.items():
        seen.setdefault(by_name[number], set()).add(look[0])
    assert len({frozenset(v) for v in seen.values()}) >= 3


def test_png_shows_the_lay() -> None:
    """A picture of the asked size with ink, cloth and a good deal of both; grey keeps the cut lines dark."""
    _, scene = drawn("lengthwise")
    image = Image.open(io.BytesIO(png_bytes(scene, pixels=1200)))
    assert max(image.size) == 1200
    assert image.size[0] / image.size[1] == pytest.approx(scene.width / scene.height, rel=0.01)
    grey = image.convert("L")
    dark = sum(grey.histogram()[:80]) / (image.size[0] * image.size[1])
    assert 0.01 < dark < 0.25


def test_drawing_is_the_same_every_time() -> None:
    """Same lay, same scene, same bytes."""
    lay = samples.inches_lay()
    assert svg_bytes(lay_scene(lay)) == svg_bytes(lay_scene(samples.inches_lay()))


def test_the_names_of_patches_stand_clear() -> None:
    """Of pieces' names and of each other, on the cloth that they lie on and on their own, each on paper that is drawn
    over all lines: a lining of 100 × 90 mm of a front of 110 × 300, so that a name at the same corner of every patch
    would stand over names of pieces."""
    leader, follower = rectangle("front", 110.0, 300.0), rectangle("lining", 100.0, 90.0, cloth="thin")
    lays = laid_in_patches(order(count=6, leader=leader, follower=follower))
    assert lays[1].patches
    for lay in lays:
        items = lay_scene(lay).items
        texts = [item for item in items if isinstance(item, Text) and item.role == "label"]
        named = [word_box(text) for text in texts if text.words.startswith("patch ")]
        lines = max(k for k, item in enumerate(items) if isinstance(item, Shape) and item.layer in ("cut", "marks"))
        papers = [item for item in items[lines:] if isinstance(item, Shape) and item.role == "paper"]
        for one in named:
            below = [Polygon(item.lines[0]) for item in papers if item.fill == looks.PAPER and item.opacity > 0.8]
            assert any(paper.buffer(0.1).covers(one) for paper in below)
        others = [word_box(text) for text in texts if not text.words.startswith("patch ")]
        assert len(named) == len(lays[1].patches)
        for k, one in enumerate(named):
            assert all(one.intersection(other).area < 1.0 for other in (*named[:k], *others))
