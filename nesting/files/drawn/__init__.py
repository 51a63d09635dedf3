"""From the lines of a drawing, whatever file they came from, to pieces with marks."""
