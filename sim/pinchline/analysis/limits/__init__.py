"""How tight a sheet can be rolled on a machine, and which limit governs."""
