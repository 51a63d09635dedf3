"""DXF drawings in."""
