"""Files in and out: SVG, DXF, TOML, lay files. No decisions are made here."""
