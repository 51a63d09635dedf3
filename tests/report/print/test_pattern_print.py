"""The pattern of an order back on paper: each piece once, true to scale, and so drawn that it can be traced again."""

from __future__ import annotations

import shutil
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from shapely import Polygon
from typer.testing import CliRunner

from nesting.cli.app import app
from nesting.files.orders.order import load_order
from nesting.report.backends.to_pdf import pdf_bytes
from nesting.report.drawing.scene import Scene, Shape, Text
from nesting.report.print.pattern import CUT_WIDTH_MM, pattern_outputs, pattern_scene
from nesting.report.print.pattern_words import block_inside, text_ring

DEMO = Path(__file__).parents[3] / "fixtures" / "demo"
ALTER = '[[alter]]\npiece = "brief front"\nkind = "lengthen"\nat = "10 cm"\nby = "3 cm"\n'


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """An order of two briefs, the front three centimetres longer."""
    shutil.copy(DEMO / "briefs-m.svg", tmp_path)
    file = tmp_path / "order.toml"
    file.write_text((DEMO / "briefs-six.toml").read_text(encoding="utf-8") + "\n" + ALTER, encoding="utf-8")
    return file


@lru_cache(maxsize=1)
def chorus() -> Scene:
    """The pattern of the demo."""
    return pattern_scene(load_order(DEMO / "chorus.toml"), "2026-01-31")


def test_each_piece_is_drawn_once_as_it_will_be_cut(path: Path) -> None:
    """One cut line for each piece and size, of the area that is cut."""
    order = load_order(path)
    scene = pattern_scene(order, "2026-01-31")
    cut = [i for i in scene.items if isinstance(i, Shape) and i.role == "cut"]
    drawn = sorted(Polygon(i.lines[0]).area for i in cut)
    assert drawn == pytest.approx(sorted(Polygon(p.piece.outline).area for p in order.pieces))
    words = " ".join(getattr(i, "words", "") for i in scene.items)
    assert "2026-01-31" in words and "Test square" in words and "place on fold" in words and "grain" in words
    (old,) = [i for i in scene.items if isinstance(i, Shape) and i.kind == "old"]
    assert old.stroke is not None and old.stroke.dash


def test_printed_and_traced_again() -> None:
    """Rendered at 300 dpi, the outer edge of each dark line less half its width is the outline within 0.3 mm, for all
    pieces of the demo, the narrow ones too, which have hardly room for their words."""
    cv2 = pytest.importorskip("cv2")
    import pypdfium2

    scene = chorus()
    cut = [Polygon(i.lines[0]) for i in scene.items if isinstance(i, Shape) and i.role == "cut"]
    page = pypdfium2.PdfDocument(pdf_bytes(scene))[0]
    assert len(cut) == 18
    mm, pt = 25.4 / 300, 72 / 25.4
    for true in cut:
        box = [true.bounds[0] - 8, true.bounds[1] - 8, true.bounds[2] + 8, true.bounds[3] + 8]
        margins = (box[0] - scene.box[0], box[1] - scene.box[1], scene.box[2] - box[2], scene.box[3] - box[3])
        picture = page.render(scale=300 / 72, grayscale=True, crop=tuple(m * pt for m in margins)).to_numpy()
        dark = (picture.reshape(picture.shape[:2]) < 90).astype(np.uint8)
        found, _ = cv2.findContours(dark, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        rings = [c.reshape(-1, 2) for c in found if len(c) >= 500]
        traced = [
            Polygon(np.column_stack([box[0] + (r[:, 0] + 0.5) * mm, box[3] - (r[:, 1] + 0.5) * mm])).buffer(0)
            for r in rings
        ]
        near = min(traced, key=lambda t: t.centroid.distance(true.centroid)).buffer(mm / 2 - CUT_WIDTH_MM / 2)
        assert true.exterior.hausdorff_distance(near.exterior) <= 0.3


def test_words_lie_within_their_piece_or_off_it() -> None:
    """No line of words crosses a line that is cut, in any piece of the demo; what fits nowhere stands beside."""
    scene = chorus()
    cut = [Polygon(i.lines[0]) for i in scene.items if isinstance(i, Shape) and i.role == "cut"]
    words = [Polygon(text_ring(i)) for i in scene.items if isinstance(i, Text)]
    assert len(words) > 4 * len(cut)
    assert not [w for w in words for c in cut if w.intersects(c.exterior)]
    strip = ((0.0, 0.0), (90.0, 0.0), (90.0, 4.0), (0.0, 4.0))
    beside = block_inside([("a very narrow strip of elastic", 6.0, True), ("cut 2", 4.0, False)], strip, [], [])
    assert all(min(x for x, _ in text_ring(t)) > 90.0 for t in beside)
    level = ((0.0, 0.0), (30.0, 0.0), (30.0, 200.0), (0.0, 200.0))
    assert {t.turn for t in block_inside([("one long name of a piece", 6.0, True)], level, [], [])} == {90.0}


@pytest.mark.parametrize("paper", ["a4", "letter", "a3"])
def test_tiles_whole_page_svg_and_dxf(paper: str, path: Path) -> None:
    """All four kinds of file are made; the tiles have a page map before them."""
    import pypdfium2

    files = pattern_outputs(load_order(path), paper, "2026-01-31")
    assert sorted(Path(name).suffix for name in files) == [".dxf", ".pdf", ".pdf", ".svg"]
    tiles = next(v for k, v in files.items() if k.endswith(f"-{paper}.pdf"))
    assert len(pypdfium2.PdfDocument(tiles)) > 2


def test_the_command(path: Path, tmp_path: Path) -> None:
    """``nesting print ORDER --as pattern`` writes the files; other kinds need a lay."""
    done = CliRunner().invoke(app, ["print", str(path), "--as", "pattern", "-o", str(tmp_path)])
    assert done.exit_code == 0, done.output
    assert len(list(tmp_path.glob("pattern-*"))) == 4
    wrong = CliRunner().invoke(app, ["print", str(path), "--as", "tiles", "-o", str(tmp_path)])
    assert wrong.exit_code != 0
