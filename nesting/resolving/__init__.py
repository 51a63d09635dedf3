"""An order resolved once into its cutting list, which planning, buying, leftovers, batch and report receive."""
