"""The metal of a sheet: cards, stress-strain curves, tempers on file."""
