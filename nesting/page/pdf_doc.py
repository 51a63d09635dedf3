"""What a PDF holds, for the page to choose from: its pages drawn in small, its layers by name."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from nesting.outlines.pdf_contents import PageShown, PdfContents, pdf_contents
from nesting.page.editing import Refused
from nesting.page.survey import Survey

__all__ = ["contents_of"]


def contents_of(survey: Survey, index: int) -> dict[str, Any]:
    """The pages and layers of pattern file ``index``; ``read``: taken as the order stands now.

    Raises Refused for a file that is not in the order or is no PDF, PatternError for what cannot be opened.
    """
    raws = [one for one in survey.document.get("pattern", []) if isinstance(one, dict)]
    if not 0 <= index < len(raws):
        raise Refused("gone", "this pattern file is not in the order any more", view="pieces")
    raw, blocks = raws[index], survey.blocks.get("pattern", [])
    name = str(raw.get("file", ""))
    if not name.lower().endswith(".pdf"):
        raise Refused("not-a-pdf", f"'{name}' is no PDF: it is read whole", view="pieces", file=name)
    path = survey.path.parent / name
    stat = path.stat() if path.is_file() else None
    held = _kept(path, stat.st_mtime_ns if stat else 0, stat.st_size if stat else 0)
    block = next((b for b in blocks if b["file"] == name), None)
    pages = block["pages"] if block is not None else None
    layers = block["layer"] if block is not None else None
    wanted = None if layers is None else {one.strip().casefold() for one in layers}
    return {
        "file": name,
        "pages": [
            {"number": p.number, "width": round(p.width), "height": round(p.height), "words": p.words,
             "read": p.read if pages is None else p.number in pages, "usual": p.read, "drawing": _drawing(p)}
            for p in held.pages
        ],
        "layers": [
            {"name": one.name, "shown": one.shown, "count": one.count,
             "read": one.shown if wanted is None else one.name.strip().casefold() in wanted}
            for one in held.layers
        ],
    }  # fmt: skip


@lru_cache(maxsize=8)
def _kept(path: Path, changed: int, size: int) -> PdfContents:
    return pdf_contents(path)


def _drawing(page: PageShown) -> str:
    """The page's lines as an SVG path, mm, y down."""
    return "".join(
        "M" + "L".join(f"{x:g} {page.height - y:.1f}" for x, y in line) for line in page.lines
    )  # fmt: skip
