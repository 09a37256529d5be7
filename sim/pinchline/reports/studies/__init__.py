"""The report of a study: words, table, pictures."""
