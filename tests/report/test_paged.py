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
from nesting.report.print.paged import MARGIN_MM, OVERLAP_MM, tile_plan, tiles_pdf, whole_pdf
from nesting.report.print.projector import projector_pdf

from . import samples

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
        assert len(pdf.pages) == len(plan) + 1
        for page in pdf.pages:
            assert sorted((page.width / MM, page.height / MM)) == pytest.approx(size, abs=0.05)
        words = pdf.pages[0].extract_text()
        assert all(tile.name in words for tile in plan)
        assert any(abs(w - 50) < 0.02 and abs(h - 50) < 0.02 for w, h in rects(pdf.pages[0]))
        for page, tile in zip(pdf.pages[1:], plan, strict=True):
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
    for n, tile in enumerate(plan, start=1):
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
        assert page.width / MM == pytest.approx(lay.lay_length + lay.end_allowance + 4.0, abs=0.1)
        assert page.height / MM == pytest.approx(1504.0, abs=0.1)
        assert "grid 5 cm" in page.extract_text()
        upright = sorted(
            line["x0"] / MM for line in page.lines if abs(line["x1"] - line["x0"]) < 0.01 and line["height"] > 4000
        )
        steps = {round(b - a, 3) for a, b in itertools.pairwise(upright)}
        assert 50.0 in steps
