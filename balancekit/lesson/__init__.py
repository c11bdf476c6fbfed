"""Exercises, the virtual bench and the drawing of the levers, for apprentices."""

from balancekit.lesson.case_panel import case_panel
from balancekit.lesson.class_panel import class_panel
from balancekit.lesson.exercise_panel import exercise_panel, sheet_panel
from balancekit.lesson.first_panels import (
    one_lever_panel,
    scale_panel,
    sticking_panel,
    two_levers_panel,
)
from balancekit.lesson.glossary import glossary_panel, parts_panel
from balancekit.lesson.inertia_panel import inertia_panel, solve_panel
from balancekit.lesson.levers_panel import levers_panel
from balancekit.lesson.teacher_panel import teacher_panel
from balancekit.lesson.virtual_bench_panel import virtual_bench_panel

__all__ = [
    "case_panel",
    "class_panel",
    "exercise_panel",
    "glossary_panel",
    "inertia_panel",
    "levers_panel",
    "one_lever_panel",
    "parts_panel",
    "scale_panel",
    "sheet_panel",
    "solve_panel",
    "sticking_panel",
    "teacher_panel",
    "two_levers_panel",
    "virtual_bench_panel",
]
