"""For the teacher: a form that writes an exercise as plain text, and tries it at once."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES
from balancekit.lesson.classroom.exercise_form import ExerciseForm
from balancekit.lesson.practice.exercise_panel import ExerciseDesk, download_link
from balancekit.lesson.practice.exercises import fresh_seed
from balancekit.lesson.practice.handed_in import text_of
from balancekit.lesson.practice.session import Attempt
from balancekit.lesson.practice.sheet import exercises_page
from balancekit.lesson.practice.task import Task
from balancekit.lesson.practice.written_exercise import (
    MOST_EXERCISE_BYTES,
    SEEDS_TRIED,
    WrittenExercise,
    read_exercise,
)
from balancekit.panels.frame import button, panel, row, words, wrong
from balancekit.panels.widgets import FileDrop
from balancekit.sharing.sheet_html import PAPERS

ON_A_SHEET, IN_A_ROW = 6, 3
"""How many times an exercise stands on its sheet, and in a row, each with other numbers."""

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
    """The form, its plain text, what is wrong with it, and the exercise itself.

    Form and text say the same: whichever is changed, the other follows.
    """

    def __init__(self) -> None:
        self.form = ExerciseForm(self._from_form)
        self.text = widgets.Textarea(
            EXAMPLE, layout=widgets.Layout(width="100%", max_width="860px", height="260px")
        )
        self.text.continuous_update = False
        self.seed = fresh_seed()
        self.said, self.link = words(), words()
        self.drop = FileDrop(
            self.take_file,
            text="Open an exercise that was saved",
            most_bytes=MOST_EXERCISE_BYTES,
            low=True,
        )
        self.paper = widgets.Dropdown(options=list(PAPERS), description="Paper")
        self.written: WrittenExercise = read_exercise(EXAMPLE)
        self.form.fill(self.written)
        self.task = Task(Attempt(self.written.make(self.seed)), keeps=False)
        self.trial = widgets.VBox([self.task, row(button("Other numbers", self.other))])
        self.text.observe(lambda _: self.refresh(), "value")
        self.paper.observe(lambda _: self.refresh(), "value")
        plain = widgets.Accordion([self.text], titles=["The same as plain text"])
        names = ", ".join(QUANTITIES)
        super().__init__(
            [
                self.form, self.said, self.trial, row(self.link, self.paper), plain, self.drop,
                words(f"<details><summary>Names of the register</summary>{names}</details>"),
            ]
        )  # fmt: skip
        self.refresh()

    def _from_form(self) -> None:
        self.text.value = self.form.as_text

    def refresh(self) -> None:
        """Read the text, try it on 50 seeds, and show one exercise of it."""
        try:
            self.written = read_exercise(self.text.value)
        except BalancekitError as error:
            self.said.value = wrong(error, "status")
            self.link.value, self.trial.layout.display = "", "none"
            return
        if self.form.as_text == self.text.value:
            self.form.written = self.written
        self.form.fill(self.written)
        self.said.value = (
            f'<div role="status">Tried on {SEEDS_TRIED} seeds: every mistake can be told from the '
            "answer and from the others.</div>"
        )
        self.trial.layout.display = ""
        self.task.put(Attempt(self.written.make(self.seed)))
        row_of = [self.written.make(self.seed, n) for n in range(ON_A_SHEET)]
        pages = [
            download_link(
                f"own_exercise{'_answers' * answers}.html", "text/html",
                exercises_page(row_of, self.written.kind, self.paper.value, answers=answers), label,
            )
            for answers, label in ((False, "Save a sheet of it"), (True, "Save the answers"))
        ]  # fmt: skip
        saved = download_link(
            "exercise.txt", "text/plain", self.written.as_text(), "Save this exercise"
        )
        self.link.value = " · ".join((saved, *pages))

    def other(self) -> None:
        """Show the exercise with other numbers."""
        self.seed = fresh_seed()
        self.refresh()

    def take_file(self, name: str, data: bytes) -> None:
        """Open a saved exercise."""
        try:
            self.text.value = text_of(data)
        except BalancekitError as error:
            self.said.value = wrong(f"{name}: {error}")


def teacher_panel() -> widgets.VBox:
    """A form for exercises of one's own."""
    return panel(
        "An exercise of your own",
        words(
            "Fill in words, ranges, formula and mistakes. It is tried at once on "
            f"{SEEDS_TRIED} seeds. Formulas know + − × / ^, brackets and sqrt; they are read, "
            "never run as code."
        ),
        TeacherDesk(),
    )


class WrittenDesk(widgets.VBox):
    """An exercise that a teacher wrote, opened by an apprentice: a row with other numbers each."""

    def __init__(self) -> None:
        self.said, self.place = words(), widgets.VBox()
        self.written: WrittenExercise | None = None
        self.drop = FileDrop(
            self.take_file, text="Open an exercise from your teacher",
            most_bytes=MOST_EXERCISE_BYTES, low=True,
        )  # fmt: skip
        super().__init__([self.drop, self.said, self.place])

    def take_file(self, name: str, data: bytes) -> None:
        """Open an exercise and put it on the desk."""
        try:
            self.written = read_exercise(text_of(data))
        except BalancekitError as error:
            self.said.value = wrong(f"{name}: {error}")
            return
        self.said.value = ""
        self.place.children = [ExerciseDesk(count=IN_A_ROW, written=self.written)]


def written_panel() -> widgets.VBox:
    """Exercises of your own teacher."""
    return panel("Exercises from your teacher", WrittenDesk())
