"""Files of measured values: scrap strips, tensile tests."""
