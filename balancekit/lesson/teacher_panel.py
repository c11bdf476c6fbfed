"""For the teacher: a form that writes an exercise as plain text, and tries it at once."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES
from balancekit.lesson.exercise import check
from balancekit.lesson.exercise_panel import download_link, fresh_seed
from balancekit.lesson.lever_view import LessonStyle
from balancekit.lesson.written_exercise import MOST_BYTES, WrittenExercise, read_exercise
from balancekit.panels.frame import button, escape, panel, row, words
from balancekit.panels.widgets import FileDrop

EXAMPLE = """kind: front weight of a plug
text: A plug of {mass_g} g sits {distance_mm} mm in front of the balance pin. The arm is {arm_mm} mm.
  What does it add to the front weight?
given: mass_g from 9 to 15 in steps of 0.1
given: distance_mm from 70 to 160 in steps of 1
given: arm_mm from 230 to 256 in steps of 1
answer: mass_g * distance_mm / arm_mm
unit: g
digits: 1
tolerance: 0.1
mistake: the lever left out = mass_g | Multiply by its lever: distance over arm.
mistake: the lever upside down = mass_g * arm_mm / distance_mm | Near the pin it counts less.
"""  # noqa: E501


class TeacherDesk(widgets.VBox):
    """A field for the text of an exercise, what is wrong with it, and the exercise itself."""

    def __init__(self) -> None:
        wide = widgets.Layout(width="100%", max_width="860px", height="260px")
        self.text = widgets.Textarea(EXAMPLE, layout=wide, description="Exercise")
        self.text.continuous_update = False
        self.seed = fresh_seed()
        self.said, self.shown, self.answered, self.link = words(), words(), words(), words()
        self.entry = widgets.Text(placeholder="number and unit", description="Try it")
        self.entry.continuous_update = False
        self.drop = FileDrop(
            self.take_file, text="Open an exercise that was saved", most_bytes=MOST_BYTES, low=True
        )
        self.written: WrittenExercise | None = None
        self.text.observe(lambda _: self.refresh(), "value")
        self.entry.observe(self._answer, "value")
        names = ", ".join(name for name in QUANTITIES)
        super().__init__(
            [
                self.text, self.said, self.shown,
                row(self.entry, button("Other numbers", self.other)), self.answered,
                self.link, self.drop,
                words(f"<details><summary>Names of the register</summary>{names}</details>"),
                LessonStyle(),
            ]
        )  # fmt: skip
        self.refresh()

    def refresh(self) -> None:
        """Read the text, try it on 50 seeds, and show one exercise of it."""
        try:
            self.written = read_exercise(self.text.value)
        except BalancekitError as error:
            self.written = None
            problems = "<br>".join(escape(problem) for problem in error.problems)
            self.said.value = f'<div role="status" class="bench-bad">{problems}</div>'
            self.shown.value = self.link.value = ""
            return
        self.said.value = (
            '<div role="status">Tried on 50 seeds: every mistake can be told from the answer and '
            "from the others.</div>"
        )
        made = self.written.make(self.seed)
        self.shown.value = (
            f'<div class="lesson-task">{escape(made.text)} <b>{escape(made.asked)}</b></div>'
        )
        self.link.value = download_link(
            "exercise.txt", "text/plain", self.written.as_text(), "Save this exercise"
        )

    def other(self) -> None:
        """Show the exercise with other numbers."""
        self.seed = fresh_seed()
        self.entry.value = self.answered.value = ""
        self.refresh()

    def take_file(self, name: str, data: bytes) -> None:
        """Open a saved exercise."""
        try:
            self.text.value = data.decode("utf-8")
        except UnicodeDecodeError:
            self.said.value = f'<span class="bench-bad">{escape(name)} is not text.</span>'

    def _answer(self, change: Any) -> None:
        if self.written is None or not change["new"].strip():
            return
        verdict = check(self.written.make(self.seed), change["new"])
        look = {"right": "lesson-right", "miss": "lesson-hint", "unclear": "lesson-solution"}
        self.answered.value = (
            f'<div class="{look[verdict.kind]}" role="status">{escape(verdict.sentence)}</div>'
        )


def teacher_panel() -> widgets.VBox:
    """A form for exercises of one's own."""
    return panel(
        "An exercise of your own",
        words(
            "Change the words, ranges, formula and mistakes below. It is tried at once on 50 "
            "seeds. Formulas know + − × / ^, brackets and sqrt."
        ),
        TeacherDesk(),
    )
