"""Exercises, the virtual bench and the drawing of the levers, for apprentices."""
