"""How cloth lies: spreads as ply maps, fold lines, and the turns a cloth allows."""
