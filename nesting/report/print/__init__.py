"""Paper, projector and cutter files."""
