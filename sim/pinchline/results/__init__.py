"""Results of a run: the record in memory and its file."""
