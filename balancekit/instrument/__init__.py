"""One instrument: its readings, settings and choices, its table of keys, the folder it lives in."""
