"""Questions asked of many jobs at once."""
