"""Studies: many runs of one case."""
