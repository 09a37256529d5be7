"""The job for a wanted part: search, runs, sensitivity."""
