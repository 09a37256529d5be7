"""One equilibrium of the sheet between the rolls: residual, tangent, Newton, acceptance."""
