"""The plan on paper: set-up sheet, template, measurements."""
