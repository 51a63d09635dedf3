"""The pattern of an order back on paper: each piece once, true to scale, and so drawn that it can be traced again."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from shapely import Polygon
from typer.testing import CliRunner

from nesting.cli.app import app
from nesting.files.orders.order import load_order
from nesting.report.backends.to_pdf import pdf_bytes
from nesting.report.drawing.scene import Shape
from nesting.report.print.pattern import CUT_WIDTH_MM, pattern_outputs, pattern_scene

DEMO = Path(__file__).parents[2] / "fixtures" / "demo"
ALTER = '[[alter]]\npiece = "brief front"\nkind = "lengthen"\nat = "10 cm"\nby = "3 cm"\n'


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """An order of two briefs, the front three centimetres longer."""
    shutil.copy(DEMO / "briefs-m.svg", tmp_path)
    file = tmp_path / "order.toml"
    file.write_text((DEMO / "briefs-six.toml").read_text(encoding="utf-8") + "\n" + ALTER, encoding="utf-8")
    return file


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


def test_printed_and_traced_again(path: Path) -> None:
    """Rendered at 300 dpi, the outer edge of each dark line less half its width is the outline within 0.3 mm."""
    cv2 = pytest.importorskip("cv2")
    import pypdfium2

    scene = pattern_scene(load_order(path), "2026-01-31")
    cut = [Polygon(i.lines[0]) for i in scene.items if isinstance(i, Shape) and i.role == "cut"]
    document = pypdfium2.PdfDocument(pdf_bytes(scene))
    page = document[0].render(scale=300 / 72, grayscale=True).to_numpy()
    page = page.reshape(page.shape[0], page.shape[1])
    dark = (page < 90).astype(np.uint8)
    found, _ = cv2.findContours(dark, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    mm = 25.4 / 300
    traced = []
    for contour in found:
        points = contour.reshape(-1, 2)
        if len(points) < 500:
            continue
        x = scene.box[0] + (points[:, 0] + 0.5) * mm
        y = scene.box[3] - (points[:, 1] + 0.5) * mm
        traced.append(Polygon(np.column_stack([x, y])).buffer(0).buffer(mm / 2 - CUT_WIDTH_MM / 2))
    assert len(traced) == len(cut)
    for true in cut:
        near = min(traced, key=lambda t: t.centroid.distance(true.centroid))
        assert true.exterior.hausdorff_distance(near.exterior) <= 0.3


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
