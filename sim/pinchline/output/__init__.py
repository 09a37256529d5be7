"""What the user sees: pictures and tables of a result."""
