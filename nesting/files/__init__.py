"""Files in and out: SVG, DXF, TOML, lay files. No decisions are made here."""

from nesting.files.patterns import read_pieces

__all__ = ["read_pieces"]
