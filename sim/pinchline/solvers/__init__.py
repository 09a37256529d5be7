"""From a case to a result: the stepped and the steady solver, and what both share."""
