"""The search: first layouts, rounds of a worker, workers side by side, the last check."""
