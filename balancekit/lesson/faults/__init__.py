"""A grand with planted faults."""
