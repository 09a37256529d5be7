"""What a run leaves behind: the record in memory and its file."""
