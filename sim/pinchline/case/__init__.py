"""The case: sheet, material, machine, moves, measures; validated and frozen."""
