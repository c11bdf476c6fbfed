"""Panels of the plan for the whole action."""
