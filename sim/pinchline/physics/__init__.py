"""The equations, compiled: section, beam, contact, banded solve, Newton iteration."""
