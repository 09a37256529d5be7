"""Corrections of sheet and machine by scrap strips."""
