"""Lay files, in and out."""
