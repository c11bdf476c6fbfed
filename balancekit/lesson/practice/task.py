"""One exercise on the screen: question, entry, verdict, worked solution.

The row of exercises, an exercise inside a text, and the teacher's trial are all made of it.
"""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from balancekit.calculation.words import escape
from balancekit.lesson.lever_chain.lever_view import LessonStyle
from balancekit.lesson.practice.exercise import Verdict
from balancekit.lesson.practice.exercises import KINDS, fresh_seed, make_exercise
from balancekit.lesson.practice.progress import note
from balancekit.lesson.practice.session import RESULTS, Attempt
from balancekit.panels.frame import button, panel, row, words

LOOKS = {"right": "lesson-right", "miss": "lesson-hint", "unclear": "lesson-solution"}
_SIGNS = {"right": "✓ ", "miss": "✗ ", "unclear": ""}
MARKS = dict(zip(RESULTS, ("✓", "✓ after a hint", "✓ after the solution", "open"), strict=True))
WIDE = {"description_width": "9em"}


class Task(widgets.VBox):
    """An exercise, and what is made of an entry.

    Parameters
    ----------
    judge : gives the verdict on an entry; that of the work if left out.
    changed : called when an entry was judged or the solution shown.
    keeps : whether what was done is noted in the progress.
    """

    def __init__(
        self,
        work: Attempt,
        judge: Callable[[str], Verdict] | None = None,
        changed: Callable[[], None] | None = None,
        *,
        keeps: bool = True,
    ) -> None:
        self.work, self._judge, self._changed, self._keeps = work, judge, changed, keeps
        self.task, self.said = words(), words()
        self.entry = widgets.Text(
            placeholder="number and unit, or your steps", description="Your answer", style=WIDE,
            layout=widgets.Layout(width="100%", max_width="34em"),
        )  # fmt: skip
        # The value arrives with Enter, or when the box is left.
        self.entry.continuous_update = False
        self.entry.observe(lambda change: self.check(), "value")
        buttons = row(
            self.entry,
            button("Check", self.check, main=True),
            button("Worked solution", self.show_solution),
        )
        super().__init__([self.task, buttons, self.said, LessonStyle()])
        self.put(work)

    def put(self, work: Attempt) -> None:
        """Put an exercise on the desk."""
        self.work = work
        self.entry.value = ""
        exercise = work.exercise
        self.task.value = (
            f'<div class="lesson-task">{escape(exercise.text)} '
            f"<b>{escape(exercise.asked)}</b></div>"
        )
        self.said.value = ""
        if work.right:
            self.say(Verdict("right", f"Solved: {exercise.show(exercise.answer)}."))

    def check(self) -> None:
        """Judge what stands in the box."""
        entry = self.entry.value
        if not entry.strip():
            return
        was_right = self.work.right
        self.say(self._judge(entry) if self._judge else self.work.enter(entry))
        if self.work.right and not was_right and self._keeps:
            self.solved()
        if self._changed:
            self._changed()

    def solved(self) -> None:
        """Keep that this exercise was done."""
        kept = note(self.work.exercise.kind, self.work.result == RESULTS[0])
        if kept:
            self.said.value += f"<div>{escape(kept)}</div>"

    def say(self, verdict: Verdict) -> None:
        """Show a verdict."""
        self.said.value = (
            f'<div class="{LOOKS[verdict.kind]}" role="status">{_SIGNS[verdict.kind]}'
            f"{escape(verdict.sentence)}</div>"
        )

    def show_solution(self) -> None:
        """Show the worked solution."""
        steps = "<br>".join(escape(step) for step in self.work.show_solution())
        self.said.value = f'<div class="lesson-solution" role="status">{steps}</div>'
        if self._changed:
            self._changed()


class InText(widgets.VBox):
    """Exercises at the place in a text where they are needed, one after the other.

    Parameters
    ----------
    kinds : of exercise, in turn.
    seed : gives everyone the same numbers; a fresh one if left out.
    """

    def __init__(self, kinds: tuple[str, ...], seed: int | None = None) -> None:
        self.kinds, self.number = kinds, 0
        self.seed = fresh_seed() if seed is None else seed
        self.done: list[str] = []
        self.task, self.marks = Task(self._work()), words()
        super().__init__([self.task, row(button("Another one", self.other), self.marks)])

    def _work(self) -> Attempt:
        turn, place = divmod(self.number, len(self.kinds))
        return Attempt(make_exercise(self.kinds[place], self.seed, turn))

    def other(self) -> None:
        """Put the next exercise here; one that was not right at once comes with other numbers."""
        result = self.task.work.result
        self.done.append(MARKS[result])
        self.number += 1 if result == RESULTS[0] else len(self.kinds)
        self.task.put(self._work())
        self.marks.value = " · ".join(escape(mark) for mark in self.done)


def text_exercise(*kinds: str, seed: int | None = None) -> widgets.VBox:
    """An exercise inside the text: try it now.

    Parameters
    ----------
    kinds : of exercise, in turn; all there are where none is named.
    seed : gives everyone the same numbers; fresh ones if left out.
    """
    kinds = kinds or tuple(KINDS)
    return panel(f"Try it: {', '.join(kinds)}", InText(kinds, seed))
