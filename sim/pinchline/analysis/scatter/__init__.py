"""The spread of a part under scatter of sheet, nip and settings."""
