"""A form for an exercise: fields in, the plain text of the exercise out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import ipywidgets as widgets

from balancekit.calculation.quantities import QUANTITIES
from balancekit.lesson.practice.exercise import UNITS
from balancekit.lesson.practice.written_exercise import WrittenExercise
from balancekit.panels.frame import button, row, words

_WIDE = {"description_width": "initial"}
_FULL = widgets.Layout(width="100%", max_width="860px")
NO_UNIT = "none"


def _box(label: str, width: str, hint: str = "") -> widgets.Text:
    return widgets.Text(
        description=label, placeholder=hint, style=_WIDE, layout=widgets.Layout(width=width),
        continuous_update=False,
    )  # fmt: skip


class ExerciseForm(widgets.VBox):
    """Words, given numbers with ranges, formula, unit, mistakes with hints.

    Parameters
    ----------
    changed : called when a field was changed by hand.
    """

    def __init__(self, changed: Callable[[], None]) -> None:
        self._changed, self._filling = changed, False
        self.written: WrittenExercise | None = None  # what the fields say, where that is known
        self.kind = _box("Kind", "24em", "front weight of a plug")
        self.text = widgets.Textarea(
            description="Question", placeholder="A plug of {mass_g} g sits ...", style=_WIDE,
            layout=_FULL, rows=3, continuous_update=False,
        )  # fmt: skip
        self.answer = _box("Answer = ", "34em", "mass_g * distance_mm / arm_mm")
        self.unit = widgets.Dropdown(
            options=[each or NO_UNIT for each in UNITS], description="Unit", style=_WIDE,
            layout=widgets.Layout(width="9em"),
        )  # fmt: skip
        self.digits = widgets.BoundedIntText(
            value=1, min=0, max=4, description="Digits", style=_WIDE,
            layout=widgets.Layout(width="9em"),
        )  # fmt: skip
        self.tolerance = _box("Right within", "11em", "0.1")
        self.given: list[tuple[Any, ...]] = []
        self.mistakes: list[tuple[Any, ...]] = []
        self._given, self._mistakes = widgets.VBox(), widgets.VBox()
        self.solution = widgets.Textarea(
            placeholder="What comes before the formula in the worked solution, line by line",
            description="Solution", style=_WIDE, layout=_FULL, rows=2, continuous_update=False,
        )  # fmt: skip
        for field in (self.kind, self.text, self.answer, self.unit, self.digits, self.tolerance,
                      self.solution):  # fmt: skip
            field.observe(self._moved, "value")
        super().__init__(
            [
                self.kind, self.text,
                words("<b>Given numbers.</b> Write their names in braces in the question."),
                self._given, row(button("One more number", self.add_given)),
                row(self.answer, self.unit, self.digits, self.tolerance),
                words("<b>Mistakes you expect:</b> what it is called, what it gives, a hint."),
                self._mistakes, row(button("One more mistake", self.add_mistake)),
                self.solution,
            ]
        )  # fmt: skip

    def _moved(self, _: Any) -> None:
        if not self._filling:
            self.written = None
            self._changed()

    def add_given(self, values: Sequence[str] = ("", "", "", "1")) -> None:
        """Add a line for a given number: name, lowest, highest, step."""
        name = widgets.Combobox(
            options=list(QUANTITIES), placeholder="mass_g", description="Name", style=_WIDE,
            layout=widgets.Layout(width="17em"), continuous_update=False,
        )  # fmt: skip
        fields = (name, *(_box(label, "9em") for label in ("from", "to", "steps of")))
        self._add(self.given, self._given, fields, values)

    def add_mistake(self, values: Sequence[str] = ("", "", "")) -> None:
        """Add a line for a mistake: its name, its formula, the hint."""
        fields = (
            _box("Called", "20em", "the lever left out"),
            _box("gives", "18em", "mass_g"),
            _box("Hint", "30em", "Multiply by its lever."),
        )
        self._add(self.mistakes, self._mistakes, fields, values)

    def _add(
        self, kept: list[tuple[Any, ...]], box: widgets.VBox, fields: tuple[Any, ...],
        values: Sequence[str],
    ) -> None:  # fmt: skip
        for field, value in zip(fields, values, strict=True):
            field.value = value
            field.observe(self._moved, "value")
        kept.append(fields)
        box.children = [*box.children, row(*fields)]

    @property
    def as_text(self) -> str:
        """The plain text that the fields stand for; empty lines are left out."""
        lines = [f"kind: {self.kind.value}", f"text: {_one_line(self.text.value)}"]
        for fields in self.given:
            name, low, high, step = (field.value.strip() for field in fields)
            if name or low or high:
                lines.append(f"given: {name} from {low} to {high} in steps of {step or 1}")
        unit = "" if self.unit.value == NO_UNIT else self.unit.value
        lines += [f"answer: {self.answer.value}", f"unit: {unit}", f"digits: {self.digits.value}"]
        lines.append(f"tolerance: {self.tolerance.value.strip() or 0.1}")
        for fields in self.mistakes:
            name, formula, hint = (_one_line(field.value) for field in fields)
            if name or formula or hint:
                lines.append(f"mistake: {name} = {formula} | {hint}")
        steps = map(_one_line, self.solution.value.splitlines())
        lines += [f"solution: {step}" for step in steps if step]
        return "\n".join(lines) + "\n"

    def fill(self, written: WrittenExercise) -> None:
        """Put an exercise into the fields, unless they say it already."""
        if written == self.written:
            return
        self._filling, self.written = True, written
        self.kind.value, self.text.value = written.kind, written.text
        self.answer.value, self.unit.value = written.answer, written.unit or NO_UNIT
        self.digits.value, self.tolerance.value = written.digits, f"{written.tolerance:g}"
        self.given, self.mistakes = [], []
        self._given.children = self._mistakes.children = []
        for each in written.given:
            self.add_given((each.name, *(f"{x:g}" for x in (each.low, each.high, each.step))))
        for wrong in written.mistakes:
            self.add_mistake((wrong.name, wrong.formula, wrong.hint))
        self.solution.value = "\n".join(written.solution)
        self._filling = False


def _one_line(text: str) -> str:
    return " ".join(text.split())
