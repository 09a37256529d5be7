"""The report of one run: pictures, page, playback."""
