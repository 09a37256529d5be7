"""The version, and nothing that could import something."""

__version__ = "0.1.0"
