"""What a pattern piece is, and what is done to it before it is laid."""
