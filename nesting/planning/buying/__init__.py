"""What to buy, by width and count, trims included."""
