"""One style for every picture, page and table."""
