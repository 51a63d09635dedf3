"""Pieces cut at the same place as others, on another ply or in a second cloth."""
