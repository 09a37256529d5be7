"""From a measured curve to a material card."""
