"""Exercises, the virtual bench and the drawing of the levers, for apprentices."""

from balancekit.lesson.first_panels import (
    one_lever_panel,
    scale_panel,
    sticking_panel,
    two_levers_panel,
)
from balancekit.lesson.inertia_panel import inertia_panel, solve_panel
from balancekit.lesson.levers_panel import levers_panel

__all__ = [
    "inertia_panel",
    "levers_panel",
    "one_lever_panel",
    "scale_panel",
    "solve_panel",
    "sticking_panel",
    "two_levers_panel",
]
