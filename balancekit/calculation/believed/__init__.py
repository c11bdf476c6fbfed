"""What is believed of an instrument: groups of keys, and all quantities taken together."""
