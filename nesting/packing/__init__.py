"""The optimiser: polygons, plies and weights. It knows no sewing and imports nothing from the rest of the package."""
