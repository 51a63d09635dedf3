"""Small orders for tests: a text of blocks, and pattern drawings to go with them."""

from __future__ import annotations

from pathlib import Path

from nesting.files.orders.order import load_order
from nesting.model.order import Order

__all__ = ["CLOTH", "GARMENT", "PANEL", "load", "panel_svg", "write"]

#: Blocks that most orders of the tests share.
CLOTH = '[[cloth]]\nname = "main"\nwidth = "150 cm"\n'
GARMENT = '[[garment]]\nname = "thing"\ncount = 2\n'
PANEL = '[[pattern]]\nfile = "panel.svg"\n'


def panel_svg(
    name: str = "front", *, width: float = 200, height: float = 300, grain: bool = True, label: str = "", dy: float = 0
) -> str:
    """One rectangular panel in mm: corners 1 to 4 anticlockwise from the lower left, a notch half way up the right."""
    line = f'<path class="grain" d="M {width / 2 + 10} {height - 20} V 60"/>' if grain else ""
    return f"""<svg xmlns="http://www.w3.org/2000/svg" width="1000mm" height="1000mm" viewBox="0 {-dy} 1000 1000">
      <g id="{name.replace(" ", "-")}" aria-label="{label or name}">
        <path class="cut" d="M 10 10 h {width} v {height} h {-width} Z"/>{line}
        <path class="notch" aria-label="notch: hip" d="M {width + 10} {height / 2 + 10} h -5"/>
      </g></svg>"""


def write(folder: Path, text: str, **drawings: str) -> Path:
    """The order ``order.toml`` in ``folder``, with ``drawings`` (name without .svg = content) beside it."""
    for name, content in drawings.items():
        (folder / f"{name}.svg").write_text(content, encoding="utf-8")
    path = folder / "order.toml"
    path.write_text(text, encoding="utf-8")
    return path


def load(folder: Path, text: str, **drawings: str) -> Order:
    """The order after reading."""
    return load_order(write(folder, text, **drawings))
