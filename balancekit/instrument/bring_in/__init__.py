"""Tables as people write them, read into an instrument."""
