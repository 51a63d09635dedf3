"""Sessions."""
