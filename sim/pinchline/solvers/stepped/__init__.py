"""The stepped solver: a whole job, move by move, with the history of the sheet."""
