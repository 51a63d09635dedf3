"""Whole garments from remnants; what a lay leaves over; the stash."""
