"""SVG drawings in."""
