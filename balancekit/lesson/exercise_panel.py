"""The exercises on the screen, the score to take along, and the sheet to print."""

from __future__ import annotations

import re
import secrets
from urllib.parse import quote

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.lesson.exercise import Verdict
from balancekit.lesson.exercises import KINDS, MOST_SEED
from balancekit.lesson.lever_view import LessonStyle
from balancekit.lesson.session import MOST_SCORE_BYTES, Session, Work, read_score_file
from balancekit.lesson.sheet import PAPERS, sheet_html
from balancekit.panels.frame import button, escape, panel, row, words
from balancekit.panels.widgets import FileDrop

_WIDE = {"description_width": "9em"}


def fresh_seed() -> int:
    """Return a seed that nobody chose, so that no two rows are alike."""
    return secrets.randbelow(MOST_SEED + 1)


def download_link(name: str, kind: str, text: str, label: str) -> str:
    """Return a link that saves a text as a file of the reader, nothing on the server."""
    return (
        f'<a download="{name}" href="data:{kind};charset=utf-8,{quote(text)}">{escape(label)}</a>'
    )


def score_name(session: Session) -> str:
    """Return a file name for a score, so that those of a class can lie in one folder.

    >>> score_name(Session(7, 2, "A. Prentice")), score_name(Session(7, 2))
    ('score_a_prentice_7.json', 'score_7.json')
    """
    called = re.sub(r"\W+", "_", session.name.lower()).strip("_")[:60]
    return f"score_{called}_{session.seed}.json" if called else f"score_{session.seed}.json"


class ExerciseDesk(widgets.VBox):
    """One exercise after the other; an entry is judged at once.

    Parameters
    ----------
    seed : of the row; a fresh one if left out.
    count : how many exercises.
    """

    def __init__(self, seed: int | None = None, count: int = len(KINDS)) -> None:
        self.session = Session(fresh_seed() if seed is None else seed, count)
        self.place = 0
        self.heading, self.task, self.said = words(), words(), words()
        self.entry = widgets.Text(
            placeholder="number and unit", description="Your answer", style=_WIDE,
            layout=widgets.Layout(width="22em"),
        )  # fmt: skip
        # The value arrives with Enter, or when the box is left.
        self.entry.continuous_update = False
        self.entry.observe(lambda change: self.check(), "value")
        self.name = widgets.Text(description="Your name", placeholder="for the score", style=_WIDE)
        self.name.observe(lambda _: self.show_score(), "value")
        self.seed = widgets.BoundedIntText(
            value=self.session.seed, min=0, max=MOST_SEED, description="Seed of the row",
            style=_WIDE, layout=widgets.Layout(width="18em"),
        )  # fmt: skip
        self.score = words()
        self.saved = FileDrop(
            self.take_score, text="Go on from a saved score", most_bytes=MOST_SCORE_BYTES, low=True
        )
        super().__init__(
            [
                self.heading,
                self.task,
                row(self.entry, button("Check", self.check, main=True)),
                self.said,
                row(
                    button("Worked solution", self.show_solution),
                    button("◀ Before", lambda: self.go(-1)),
                    button("Next ▶", lambda: self.go(1)),
                ),
                widgets.HTML("<hr>"),
                row(self.name, self.seed, button("Begin this row", self.begin),
                    button("A new row", lambda: self.begin(fresh_seed()))),
                self.score, self.saved,
                LessonStyle(),
            ]
        )  # fmt: skip
        self.show()

    @property
    def work(self) -> Work:
        """The exercise on the desk, and what was done on it."""
        return self.session.works[self.place]

    def begin(self, seed: int | None = None) -> None:
        """Begin a row anew, from the seed in the box or from another."""
        self.session = Session(
            self.seed.value if seed is None else seed, len(self.session.works), self.name.value
        )
        self.seed.value = self.session.seed
        self.place = 0
        self.show()

    def take_score(self, name: str, data: bytes) -> None:
        """Go on where a saved score ends: at the first exercise that is not right yet."""
        try:
            self.session = read_score_file(data)
        except BalancekitError as error:
            told = f'<span class="bench-bad">{escape(name)}: {escape(error)}</span>'
            self.said.value = f'<div role="status">{told}</div>'
            return
        open_places = [n for n, work in enumerate(self.session.works) if not work.right]
        self.place = open_places[0] if open_places else 0
        self.name.value, self.seed.value = self.session.name, self.session.seed
        self.show()

    def go(self, by: int) -> None:
        """Go to another exercise of the row."""
        self.place = max(0, min(len(self.session.works) - 1, self.place + by))
        self.show()

    def show(self) -> None:
        """Put the exercise on the desk."""
        work = self.work
        self.entry.value = ""
        self.heading.value = (
            f"<b>Exercise {self.place + 1} of {len(self.session.works)}: "
            f"{escape(work.exercise.kind)}</b>"
        )
        self.task.value = (
            f'<div class="lesson-task">{escape(work.exercise.text)} '
            f"<b>{escape(work.exercise.asked)}</b></div>"
        )
        self.said.value = ""
        if work.right:
            self._say(Verdict("right", f"Solved: {work.exercise.show(work.exercise.answer)}."))
        self.show_score()

    def check(self) -> None:
        """Judge what stands in the box."""
        if not self.entry.value.strip():
            return
        self._say(self.work.enter(self.entry.value))
        self.show_score()

    def _say(self, verdict: Verdict) -> None:
        look = {"right": "lesson-right", "miss": "lesson-hint", "unclear": "lesson-solution"}
        sign = {"right": "✓ ", "miss": "✗ ", "unclear": ""}
        self.said.value = (
            f'<div class="{look[verdict.kind]}" role="status">{sign[verdict.kind]}'
            f"{escape(verdict.sentence)}</div>"
        )

    def show_solution(self) -> None:
        """Show the worked solution."""
        steps = "<br>".join(escape(step) for step in self.work.show_solution())
        self.said.value = f'<div class="lesson-solution" role="status">{steps}</div>'
        self.show_score()

    def show_score(self) -> None:
        """Say how the row stands, and offer the score to take along."""
        self.session.name = self.name.value.strip()
        counts = " · ".join(f"{name}: <b>{n}</b>" for name, n in self.session.counts().items())
        file = score_name(self.session)
        link = download_link(
            file, "application/json", self.session.score(), "Save the score for the teacher"
        )
        self.score.value = f"{counts}<br>{link} (nothing is kept on the server)"


def exercise_panel(seed: int | None = None, count: int = len(KINDS)) -> widgets.VBox:
    """Exercises that are judged at once.

    Parameters
    ----------
    seed : gives everyone the same row; a fresh one if left out.
    count : how many exercises.
    """
    return panel(
        "Exercises",
        words("Type the number <b>with its unit</b> and press Enter. A comma is a point."),
        ExerciseDesk(seed, count),
    )


class SheetDesk(widgets.VBox):
    """Makes the sheet and its answers, each to save and print."""

    def __init__(self) -> None:
        self.seed = widgets.BoundedIntText(
            value=fresh_seed(), min=0, max=MOST_SEED, description="Seed", style=_WIDE
        )
        self.count = widgets.BoundedIntText(
            value=10, min=1, max=60, description="Exercises", style=_WIDE
        )
        self.paper = widgets.Dropdown(options=list(PAPERS), description="Paper", style=_WIDE)
        self.links = words()
        for control in (self.seed, self.count, self.paper):
            control.observe(lambda _: self.refresh(), "value")
        super().__init__([row(self.seed, self.count, self.paper), self.links])
        self.refresh()

    def refresh(self) -> None:
        """Make both pages anew."""
        seed, count, paper = self.seed.value, self.count.value, self.paper.value
        try:
            pages = [
                sheet_html(seed, count, paper=paper, answers=answers) for answers in (False, True)
            ]
        except BalancekitError as error:
            self.links.value = f'<span class="bench-bad">{escape(error)}</span>'
            return
        links = [
            download_link(f"{name}_{seed}.html", "text/html", page, label)
            for name, label, page in zip(
                ("exercises", "answers"), ("Save the sheet", "Save the answers"), pages, strict=True
            )
        ]
        self.links.value = " · ".join(links) + "<br>Open the saved page and print it."


def sheet_panel() -> widgets.VBox:
    """Exercises on paper, with the answers apart."""
    return panel("A sheet to print", SheetDesk())
