"""The job: one equilibrium, the steps of a move, the moves of a programme, the part."""
