"""Lower bounds of the length."""
