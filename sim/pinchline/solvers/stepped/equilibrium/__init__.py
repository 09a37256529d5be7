"""One equilibrium of the sheet between the rolls: residual, Newton, acceptance."""
