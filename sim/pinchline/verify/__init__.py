"""Checks of the package against the outside world: what ``pinchline verify`` prints."""
