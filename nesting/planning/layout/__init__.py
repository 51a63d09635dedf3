"""One cloth, laid: what it must give, which spreads, the packing problem and back."""
