"""Do the pieces sew together: the judgement behind ``nesting check``."""
