"""The one typeface of all drawings, and how wide words come out in it.

DejaVu Sans travels with matplotlib, covers European scripts and the signs we use, and may be embedded; so words look
alike in every output and their measured width is the width on paper.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path

__all__ = ["BOLD", "FAMILY", "PLAIN", "font_file", "register", "shown", "text_width"]

FAMILY = "DejaVu Sans"
PLAIN = "DejaVuSans"
BOLD = "DejaVuSans-Bold"


def font_file(bold: bool = False) -> Path:
    """Where the typeface lies, found without importing matplotlib."""
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("matplotlib, which brings the typeface, is not installed")
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / f"{BOLD if bold else PLAIN}.ttf"


@cache
def register() -> None:
    """Make the typeface known to reportlab, once."""
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    for bold in (False, True):
        registerFont(TTFont(BOLD if bold else PLAIN, str(font_file(bold))))


def text_width(words: str, size: float, bold: bool = False) -> float:
    """Width of ``words`` at font size ``size``, in the unit of ``size``."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    register()
    return float(stringWidth(words, BOLD if bold else PLAIN, 1000.0)) * size / 1000.0


def shown(words: str) -> str:
    """Words without control characters, which no drawing can show."""
    return "".join(c if c.isprintable() else " " for c in words)
