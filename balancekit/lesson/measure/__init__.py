"""The virtual bench."""
