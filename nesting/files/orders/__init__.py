"""Cutting orders (TOML) in, and starter orders out."""
