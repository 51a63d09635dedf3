"""The placement sheet: a lay told for a ruler."""
