"""What belongs to one garment, over all cloths: labels to pin on, and the cutting list."""
