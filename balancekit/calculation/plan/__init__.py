"""One plan for the whole action: what to do on each key, for the hours there are."""
