"""A cutting order may name a PDF, its pages and its layers; a starter order is written from one."""

from __future__ import annotations

from pathlib import Path

import pytest

from nesting.files.orders.order import load_order
from nesting.files.orders.starter import starter_order
from nesting.model.errors import OrderError, PatternError
from tests.outlines.pdf_makers import by_hand, front

ORDER = """
[[pattern]]
file = "shorts.pdf"
{keys}

[[piece]]
name = "Front"
cut = 2
mirrored = true
grain = 90

[[cloth]]
name = "main"
width = "150 cm"

[[garment]]
name = "shorts"
{size}
count = 1
"""


def write(folder: Path, keys: str, size: str = "") -> Path:
    """An order over a PDF of two pages with sizes S and M in layers on the second."""
    sizes = [{"shape": front(k), "layer": f"Größe {s}"} for s, k in (("S", 0.9), ("M", 1.0))]
    name = {"text": "Front", "at": (45, 90), "height": 5}
    (folder / "shorts.pdf").write_bytes(by_hand([[{"shape": front(0.5)}, name], [*sizes, name]]))
    path = folder / "order.toml"
    path.write_text(ORDER.format(keys=keys, size=size), encoding="utf-8")
    return path


@pytest.mark.parametrize(("pages", "width"), [('"1"', 50.0), ("1", 50.0), ("[1]", 50.0), ('"2"', 100.0)])
def test_pages_and_layer_are_keys_of_a_pattern(pages: str, width: float, tmp_path: Path) -> None:
    """The order's pages and layer are what is read."""
    layer = 'layer = "Größe M"' if width > 60 else ""
    order = load_order(write(tmp_path, f"pages = {pages}\n{layer}", 'size = "M"' if layer else ""))
    (item,) = {piece.name: piece for piece in order.pieces}.values()
    xs = [p[1] for p in item.piece.outline]
    assert max(xs) - min(xs) == pytest.approx(width + 5, abs=6)


@pytest.mark.parametrize("pages", ['"0"', '"3-2"', '"a"', "[]", "true", "1.5"])
def test_pages_that_are_none_are_refused(pages: str, tmp_path: Path) -> None:
    """What is no page number is said."""
    with pytest.raises(OrderError, match="page numbers were expected"):
        load_order(write(tmp_path, f"pages = {pages}"))


def test_a_page_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """The file's number of pages is said."""
    with pytest.raises(PatternError, match="has 2 pages"):
        load_order(write(tmp_path, "pages = 7"))


def test_a_starter_order_is_written_from_a_pdf(tmp_path: Path) -> None:
    """Folders with PDF files give an order that names them and their sizes."""
    write(tmp_path, "")
    (tmp_path / "order.toml").unlink()
    text = starter_order(tmp_path)
    assert 'file = "shorts.pdf"' in text and 'name = "Front"' in text and 'size = "S"' in text
