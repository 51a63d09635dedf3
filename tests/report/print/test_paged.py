"""True-scale pages, read back with pdfplumber and pypdfium2."""

from __future__ import annotations

import io
import itertools
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pdfplumber
import pypdfium2
import pytest
from pdfminer.pdftypes import resolve1

from nesting.model.lay import Lay
from nesting.report.drawing.drawing import lay_scene
from nesting.report.drawing.scene import Scene
from nesting.report.drawing.view import true_scale
from nesting.report.print.paged import MARGIN_MM, OVERLAP_MM, tile_plan, tiles_pdf, whole_pdf, without_empty
from nesting.report.print.projector import MARGIN_MM as MARGIN
from nesting.report.print.projector import projector_pdf
from tests.report import samples

MM = 72.0 / 25.4


def rects(page: object) -> list[tuple[float, float]]:
    """(width, height) in mm of the closed four-sided paths of a page."""
    out = []
    for item in (*page.rects, *page.curves):  # type: ignore[attr-defined]
        out.append(((item["x1"] - item["x0"]) / MM, (item["bottom"] - item["top"]) / MM))
    return out


@pytest.mark.parametrize("imperial,side", [(False, 50.0), (True, 50.8)])
def test_whole_page_is_true(imperial: bool, side: float) -> None:
    """The test square (5 cm, or 2 in) and every piece's extent are true to 0.2 mm on the page."""
    lay = replace(samples.lengthwise_lay(), imperial=imperial)
    with pdfplumber.open(io.BytesIO(whole_pdf(lay))) as pdf:
        (page,) = pdf.pages
        found = rects(page)
        assert any(w == pytest.approx(side, abs=0.02) and h == pytest.approx(side, abs=0.02) for w, h in found)
        for p in lay.placements:
            xs, ys = [q[0] for q in p.outline], [q[1] for q in p.outline]
            want = (max(xs) - min(xs), max(ys) - min(ys))
            assert any(abs(w - want[0]) < 0.2 and abs(h - want[1]) < 0.2 for w, h in found), p.label
        # the lay's own length and the table's width, as the outline of the cloth
        cloth = (lay.lay_length + 2 * lay.end_allowance, 750.0)
        assert any(abs(w - cloth[0]) < 0.2 and abs(h - cloth[1]) < 0.2 for w, h in found)


@pytest.mark.parametrize("made", [whole_pdf, tiles_pdf])
def test_every_graphics_state_is_in_the_resources(made: Callable[[Lay], bytes]) -> None:
    """A state that a content stream uses is named in the resources of that page or form (ISO 32000-1, 7.8.3)."""

    def used(streams: list[Any], resources: Any) -> int:
        there = resolve1((resources or {}).get("ExtGState")) or {}
        names = set(re.findall(rb"/(\S+) gs\b", b"\n".join(s.get_data() for s in streams)))
        assert {n.decode() for n in names} <= set(there)
        count = len(names)
        for ref in (resolve1((resources or {}).get("XObject")) or {}).values():
            form = resolve1(ref)
            count += used([form], resolve1(form.attrs.get("Resources")))
        return count

    with pdfplumber.open(io.BytesIO(made(samples.partial_lay()))) as pdf:
        counts = [used([resolve1(c) for c in page.page_obj.contents], page.page_obj.resources) for page in pdf.pages]
    assert counts[-1] > 0


def test_lay_longer_than_a_pdf_page_is_split() -> None:
    """No page is longer than 14 400 points (ISO 32000-1, annex C), neighbours share a strip, nothing is lost."""
    lay = samples.hundred_lay()
    with pdfplumber.open(io.BytesIO(whole_pdf(lay))) as pdf:
        widths = [page.width for page in pdf.pages]
    assert all(w <= 14_400 for w in widths) and len(widths) == 2
    assert sum(widths) / MM >= lay.lay_length + 100.0


def test_each_section_has_its_page() -> None:
    """Two sections, two pages."""
    with pdfplumber.open(io.BytesIO(whole_pdf(samples.sections_lay()))) as pdf:
        assert len(pdf.pages) == 2


def _plain(lay: Lay) -> Scene:
    scene = lay_scene(lay, replace(true_scale(0), surroundings=False))
    x0, y0, x1, y1 = scene.box
    return replace(scene, box=(x0 - 3.0, y0 - 3.0, x1 + 3.0, y1 + 3.0))


@pytest.mark.parametrize("paper,size", [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4)), ("a3", (297.0, 420.0))])
def test_tile_pages_have_the_papers_size(paper: str, size: tuple[float, float]) -> None:
    """ISO 216 and ANSI/ASME Y14.1; the first page carries the map and a true test square; every tile its name."""
    lay = samples.tubular_lay()
    plan = tile_plan(_plain(lay).box, paper)
    with pdfplumber.open(io.BytesIO(tiles_pdf(lay, paper))) as pdf:
        printed = [tile for tile in without_empty(plan, _plain(lay)) if not tile.empty]
        assert len(pdf.pages) == len(printed) + 1
        for page in pdf.pages:
            assert sorted((page.width / MM, page.height / MM)) == pytest.approx(size, abs=0.05)
        words = pdf.pages[0].extract_text()
        assert all(tile.name in words for tile in printed)
        assert any(abs(w - 50) < 0.02 and abs(h - 50) < 0.02 for w, h in rects(pdf.pages[0]))
        for page, tile in zip(pdf.pages[1:], printed, strict=True):
            assert tile.name in page.extract_text()


def _render(page: object, scale: float) -> np.ndarray:
    return np.asarray(page.render(scale=scale, grayscale=True).to_numpy(), dtype=float).squeeze()  # type: ignore[attr-defined]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_tiles_put_together_are_the_whole_lay(paper: str) -> None:
    """Rendered at 2 pixels a millimetre and put together by their windows, the tiles show what the one-page lay shows:
    less than 0.1 % of the pixels differ visibly once the tiles' own marks are left out, and lines lie on lines."""
    lay = samples.tubular_lay()
    box = _plain(lay).box
    plan = tile_plan(box, paper)
    per_mm = 2.0
    scale = per_mm * 25.4 / 72
    h, w = (round((b - a) * per_mm) for a, b in ((box[1], box[3]), (box[0], box[2])))
    together = np.full((h, w), 255.0)
    marks = np.zeros((h, w), dtype=bool)
    document = pypdfium2.PdfDocument(tiles_pdf(lay, paper))
    for n, tile in enumerate((t for t in without_empty(plan, _plain(lay)) if not t.empty), start=1):
        image = _render(document[n], scale)
        m = round(MARGIN_MM * per_mm)
        inner = image[m : image.shape[0] - m, m : image.shape[1] - m]
        left = round((tile.window[0] - box[0]) * per_mm)
        top = round((box[3] - tile.window[3]) * per_mm)
        rows_, columns = min(inner.shape[0], h - top), min(inner.shape[1], w - left)
        part = together[top : top + rows_, left : left + columns]
        np.minimum(part, inner[:rows_, :columns], out=part)
        band = round((OVERLAP_MM / 2 + 5) * per_mm)
        edge = np.ones((inner.shape[0], inner.shape[1]), dtype=bool)
        edge[band:-band, band:-band] = False
        marks[top : top + rows_, left : left + columns] |= edge[:rows_, :columns]
    whole = _whole_cut_out(lay, box, per_mm, (h, w))
    # pages that are left out show nothing of the pieces, but the cloth's edge and fold are on the one-page lay
    for tile in (t for t in without_empty(plan, _plain(lay)) if t.empty):
        left = max(0, round((tile.window[0] - box[0]) * per_mm))
        top = max(0, round((box[3] - tile.window[3]) * per_mm))
        right, low = ((tile.window[2] - box[0]) * per_mm, (box[3] - tile.window[1]) * per_mm)
        marks[top : round(low), left : round(right)] = True
    clear = ~marks
    assert clear.mean() > 0.4
    # a line may fall half a pixel beside itself, as windows do not begin on whole pixels: compare with a pixel's leeway
    for a, b in ((together, whole), (whole, together)):
        dark = (a < 110) & clear
        near = np.minimum.reduce([np.roll(b, (i, j), (0, 1)) for i in (-1, 0, 1) for j in (-1, 0, 1)])
        assert dark.sum() > 2000
        assert (near[dark] > 200).mean() < 0.001


def _whole_cut_out(
    lay: Lay, box: tuple[float, float, float, float], per_mm: float, shape: tuple[int, int]
) -> np.ndarray:
    """The part of the one-page lay that the tiles show; the page's origin is found from the page's own size and box."""
    page = pypdfium2.PdfDocument(whole_pdf(lay))[0]
    image = _render(page, per_mm * 25.4 / 72)
    scene = lay_scene(lay, true_scale(0))
    left = round((box[0] - scene.box[0]) * per_mm)
    top = round((scene.box[3] - box[3]) * per_mm)
    return image[top : top + shape[0], left : left + shape[1]]


def test_tile_windows_cover_the_lay_and_share_their_overlap() -> None:
    """Neighbours share exactly the overlap, and the union covers the box, for boxes of many sizes."""
    for width, height in ((100.0, 100.0), (190.0, 277.0), (191.0, 300.0), (1490.0, 756.0), (9000.0, 1600.0)):
        for paper in ("a4", "letter", "a3"):
            plan = tile_plan((0.0, 0.0, width, height), paper)
            by_place = {(t.row, t.column): t.window for t in plan}
            assert max(w[2] for w in by_place.values()) >= width and min(w[1] for w in by_place.values()) <= 0.0
            assert min(w[0] for w in by_place.values()) == 0.0 and max(w[3] for w in by_place.values()) == height
            for (r, c), window in by_place.items():
                if (r, c + 1) in by_place:
                    assert window[2] - by_place[(r, c + 1)][0] == pytest.approx(OVERLAP_MM)
                if (r + 1, c) in by_place:
                    assert by_place[(r + 1, c)][3] - window[1] == pytest.approx(OVERLAP_MM)
            assert len({t.name for t in plan}) == len(plan)


def test_projector_pages() -> None:
    """Four pages of table size: light on dark, dark on light, then both mirrored; the grid is true and named."""
    lay = samples.crosswise_lay()
    document = pypdfium2.PdfDocument(projector_pdf(lay))
    assert len(document) == 4
    images = [_render(document[n], 0.4) for n in range(4)]
    assert images[0].mean() < 60 and images[2].mean() < 60
    assert images[1].mean() > 220 and images[3].mean() > 220
    # turned over left to right, all but words: mirrored again it is nearer to the first page than as it is
    turned_back = np.abs(images[3][:, ::-1] - images[1]).mean()
    assert turned_back < 0.5 * np.abs(images[3] - images[1]).mean()
    with pdfplumber.open(io.BytesIO(projector_pdf(lay))) as pdf:
        page = pdf.pages[0]
        assert page.width / MM == pytest.approx(lay.lay_length + lay.end_allowance + 2 * MARGIN, abs=0.1)
        assert page.height / MM == pytest.approx(1500.0 + 2 * MARGIN, abs=0.1)
        assert "grid 5 cm" in page.extract_text()
        upright = sorted(
            line["x0"] / MM for line in page.lines if abs(line["x1"] - line["x0"]) < 0.01 and line["height"] > 4000
        )
        steps = {round(b - a, 3) for a, b in itertools.pairwise(upright)}
        assert 50.0 in steps


def test_projector_pages_are_numbered_from_the_origin() -> None:
    """The number beside each second grid line is its distance from the cut end in cm, read off the page;
    cut end, edges and centre lines are drawn where the cloth has them; mirrored, the numbers move with their lines."""
    lay = samples.crosswise_lay()
    length = lay.lay_length + lay.end_allowance
    with pdfplumber.open(io.BytesIO(projector_pdf(lay))) as pdf:
        for number, page in enumerate(pdf.pages):
            at = {}
            for w in page.extract_words():
                if w["text"].isdigit() and w["top"] > page.height - (MARGIN - 2) * MM:
                    # a number stands 7 mm beyond its line
                    x = ((w["x0"] + w["x1"]) / 2) / MM - MARGIN
                    at[int(w["text"])] = x - 7.0 if number < 2 else length - x - 7.0
            assert set(at) == set(range(0, int(length / 10) + 1, 10))
            assert all(x == pytest.approx(10.0 * cm, abs=1.0) for cm, x in at.items())
            text = page.extract_text()
            assert all(words in text for words in ("selvage A", "selvage B", "origin", "centre"))
            upright = {round(w["x0"] / MM - MARGIN, 1) for w in page.lines if abs(w["x1"] - w["x0"]) < 0.01}
            assert {0.0, round(length, 1), round(length / 2, 1)} & upright >= {
                0.0 if number < 2 else round(length, 1), round(length / 2, 1)
            }  # fmt: skip


def test_empty_tiles_are_left_out() -> None:
    """Two pieces at the ends of a long lay: what lies between holds nothing. Every printed point of every piece is on a
    printed page, pages that are left out hold none, and all printed ones hang together."""
    base = samples.open_lay()
    wants = [samples.Want(samples.gusset("M")), samples.Want(samples.gusset("M"), copy=2)]
    far = (samples.lay_down(wants[0], 5.0, 20.0), samples.lay_down(wants[1], 1500.0, 1350.0))
    lay = replace(base, sections=(replace(base.sections[0], placements=far, lay_length=1650.0),), repeat_along=0.0)
    scene = _plain(lay)
    plan = without_empty(tile_plan(scene.box, "a4"), scene)
    printed = {(t.row, t.column) for t in plan if not t.empty}
    assert 2 < len(printed) < 0.5 * len(plan)
    for tile in plan:
        x0, y0, x1, y1 = tile.window
        half = OVERLAP_MM / 2
        held = [
            p for q in far for p in q.outline if x0 + half < p[0] < x1 - half and y0 + half < p[1] < y1 - half
        ]  # fmt: skip
        assert not (tile.empty and held)
    reached = {min(printed)}
    while more := {q for r, c in reached for q in ((r + 1, c), (r - 1, c), (r, c + 1), (r, c - 1))} & printed - reached:
        reached |= more
    assert reached == printed
    document = pypdfium2.PdfDocument(tiles_pdf(lay, "a4"))
    assert len(document) == 1 + len(printed)
    said = document[0].get_textpage().get_text_range()
    assert f"{len(printed)} pages to print" in said and f"{len(plan) - len(printed)} pages would be empty" in said


def test_a_full_lay_has_no_empty_tile() -> None:
    """A piece that covers a page wholly makes it no empty one, though no line is on it."""
    base = samples.open_lay()
    big = samples.lay_down(samples.Want(samples.band("cape", None, 1200.0, 1200.0)), 0.0, 10.0)
    lay = replace(base, sections=(replace(base.sections[0], placements=(big,), lay_length=1200.0),))
    scene = replace(_plain(lay), box=(0.0, 10.0, 1200.0, 1210.0))
    assert not any(t.empty for t in without_empty(tile_plan(scene.box, "a4"), scene))
