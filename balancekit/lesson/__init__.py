"""Exercises, the virtual bench and the drawing of the levers, for apprentices."""

from balancekit.lesson.classroom.class_panel import class_panel
from balancekit.lesson.classroom.grand_panel import grand_panel
from balancekit.lesson.classroom.teacher_panel import teacher_panel, written_panel
from balancekit.lesson.faults.case_panel import case_panel
from balancekit.lesson.glossary import glossary_panel, parts_panel
from balancekit.lesson.lever_chain.first_panels import (
    one_lever_panel,
    part_on_scale_panel,
    sticking_panel,
    two_levers_panel,
)
from balancekit.lesson.lever_chain.inertia_panel import inertia_panel, solve_panel
from balancekit.lesson.lever_chain.levers_panel import levers_panel
from balancekit.lesson.measure.virtual_bench_panel import virtual_bench_panel
from balancekit.lesson.practice.exercise_panel import exercise_panel, progress_panel, sheet_panel
from balancekit.lesson.practice.task import text_exercise
from balancekit.lesson.toy.piano_panel import uneven_piano_panel

__all__ = [name for name in dir() if name.endswith(("_panel", "_exercise"))]
