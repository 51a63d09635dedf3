"""Exact placement on a grid."""
