"""What is asked: sheet, material, machine, moves, measures; validated and frozen."""
