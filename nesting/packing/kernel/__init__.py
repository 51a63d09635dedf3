"""Shapes, no-fit regions, their fields, and the compiled kernels."""
