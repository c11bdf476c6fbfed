"""Panels that place the lead and set the springs."""
