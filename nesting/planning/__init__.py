"""From an order and a cloth to packing problems, and from their layouts to lays."""
