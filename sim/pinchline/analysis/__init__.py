"""Analyses of a job, or of many jobs at once, on top of the two solvers."""
