"""Many garments divided into sections and plies."""
