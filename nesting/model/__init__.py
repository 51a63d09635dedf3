"""The nouns that everything speaks of: units, pieces, orders, lays, findings, errors, tolerances."""
