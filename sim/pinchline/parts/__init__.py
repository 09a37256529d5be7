"""The free part, no machine in it: its measures, and the part that is wanted."""
