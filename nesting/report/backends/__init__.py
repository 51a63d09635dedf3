"""A scene as SVG, PDF, PNG or DXF."""
