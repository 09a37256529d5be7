"""Questions asked of a job, or of many at once."""
