"""Plugs of lead in the key, and support springs."""
