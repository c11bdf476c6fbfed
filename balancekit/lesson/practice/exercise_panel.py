"""The exercises on the screen, the score to take along, and the sheet to print."""

from __future__ import annotations

import re
from urllib.parse import quote

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.lesson.practice.exercise import Verdict
from balancekit.lesson.practice.exercises import KINDS, MOST_SEED, fresh_seed
from balancekit.lesson.practice.progress import due_kinds, read_progress
from balancekit.lesson.practice.session import (
    MOST_SCORE_BYTES,
    RESULTS,
    Attempt,
    Session,
    read_score_file,
)
from balancekit.lesson.practice.sheet import exercise_sheet
from balancekit.lesson.practice.task import WIDE, Task
from balancekit.lesson.practice.written_exercise import WrittenExercise
from balancekit.panels.frame import button, panel, row, table_html, words, wrong
from balancekit.panels.widgets import FileDrop
from balancekit.sharing.sheet_html import PAPERS

_SIGN = dict(zip(RESULTS, ("✓", "◐", "○", "·"), strict=True))
_LOOK = dict(zip(RESULTS, ("at-once", "hinted", "shown", ""), strict=True))


def download_link(name: str, kind: str, text: str, label: str) -> str:
    """Return a link that saves a text as a file of the reader, nothing on the server."""
    return (
        f'<a download="{name}" href="data:{kind};charset=utf-8,{quote(text)}">{escape(label)}</a>'
    )


def file_name(what: str, name: str, seed: int) -> str:
    """Return a file name for what is handed in, so that those of a class can lie in one folder.

    >>> file_name("score", "A. Prentice", 7), file_name("case", "", 7)
    ('score_a_prentice_7.json', 'case_7.json')
    """
    called = re.sub(r"\W+", "_", name.lower()).strip("_")[:60]
    return f"{what}_{called}_{seed}.json" if called else f"{what}_{seed}.json"


class ExerciseDesk(widgets.VBox):
    """One exercise after the other; an entry is judged at once, what went wrong comes again.

    Parameters
    ----------
    seed : of the row; a fresh one if left out.
    count : how many exercises.
    written : an exercise of the teacher's own instead of the usual row.
    """

    def __init__(
        self,
        seed: int | None = None,
        count: int = len(KINDS),
        written: WrittenExercise | None = None,
    ) -> None:
        self.count, self.written, self.place = count, written, 0
        self.session = Session(fresh_seed() if seed is None else seed, count, written=written)
        self.heading, self.marks, self.score, self.due = words(), words(), words(), words()
        self.desk = Task(self.work, self._judge, self.show_score)
        self.entry, self.said, self.task = self.desk.entry, self.desk.said, self.desk.task
        self.check, self.show_solution = self.desk.check, self.desk.show_solution
        self.name = widgets.Text(description="Your name", placeholder="for the score", style=WIDE)
        self.name.observe(lambda _: self.show_score(), "value")
        self.seed = widgets.BoundedIntText(
            value=self.session.seed, min=0, max=MOST_SEED, description="Seed of the row",
            style=WIDE, layout=widgets.Layout(width="18em"),
        )  # fmt: skip
        self.saved = FileDrop(
            self.take_score, text="Go on from a saved score", most_bytes=MOST_SCORE_BYTES, low=True
        )
        self.repeat = button("Repeat what is due", self.begin_due)
        super().__init__(
            [
                self.marks,
                self.heading,
                self.desk,
                row(
                    button("◀ Before", lambda: self.go(-1)),
                    button("Next ▶", lambda: self.go(1)),
                ),
                widgets.HTML("<hr>"),
                row(self.due, self.repeat),
                row(self.name, self.seed, button("Begin this row", self.begin),
                    button("A new row", lambda: self.begin(fresh_seed()))),
                self.score, self.saved,
            ]
        )  # fmt: skip
        self.show()

    @property
    def work(self) -> Attempt:
        """The exercise on the desk, and what was done on it."""
        return self.session.works[self.place]

    def _judge(self, entry: str) -> Verdict:
        return self.session.enter(self.place, entry)

    def begin(self, seed: int | None = None, kinds: list[str] | None = None) -> None:
        """Begin a row anew, from the seed in the box or from another."""
        self.session = Session(
            self.seed.value if seed is None else seed, self.count, self.name.value, kinds,
            None if kinds else self.written,
        )  # fmt: skip
        self.seed.value = self.session.seed
        self.place = 0
        self.show()

    def begin_due(self) -> None:
        """Begin a row of the kinds that are to be repeated today."""
        kinds = [kind for kind in due_kinds(read_progress()) if kind in KINDS]
        if kinds:
            self.begin(fresh_seed(), kinds)

    def take_score(self, name: str, data: bytes) -> None:
        """Go on where a saved score ends: at the first exercise that is not right yet."""
        try:
            self.session = read_score_file(data)
        except BalancekitError as error:
            told = wrong(f"{name}: {error}")
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
        again = ", once more with other numbers" if work.again is not None else ""
        self.heading.value = (
            f"<b>Exercise {self.place + 1} of {len(self.session.works)}: "
            f"{escape(work.exercise.kind)}{again}</b>"
        )
        self.desk.put(work)
        self.show_score()

    def show_score(self) -> None:
        """Say how the row stands, and offer the score to take along."""
        self.session.name = self.name.value.strip()
        self.marks.value = marks_html(self.session, self.place)
        counts = " · ".join(f"{name}: <b>{n}</b>" for name, n in self.session.counts().items())
        what = "score" if self.session.written is None else "own_score"
        file = file_name(what, self.session.name, self.session.seed)
        link = download_link(
            file, "application/json", self.session.score(), "Save the score for the teacher"
        )
        self.score.value = f"{counts}<br>{link} (the row itself is not kept here)"
        due = [kind for kind in due_kinds(read_progress()) if kind in KINDS and not self.written]
        self.due.value = f"<b>To repeat today:</b> {escape(', '.join(due))}" if due else ""
        self.repeat.layout.display = "" if due else "none"


def marks_html(session: Session, place: int) -> str:
    """Return one mark an exercise, in a row; the present one is framed.

    >>> marks_html(Session(7, 2), 0).count('class="lesson-mark ')
    2
    """
    marks = "".join(
        f'<span class="lesson-mark {_LOOK[work.result]}{" here" if n == place else ""}" '
        f'title="{n + 1}: {escape(work.exercise.kind)}, {work.result}">{_SIGN[work.result]}</span>'
        for n, work in enumerate(session.works)
    )
    said = f"{sum(work.right for work in session.works)} of {len(session.works)} solved"
    return f'<div class="lesson-marks" role="img" aria-label="{said}">{marks}</div>'


def exercise_panel(seed: int | None = None, count: int = len(KINDS)) -> widgets.VBox:
    """Exercises that are judged at once.

    Parameters
    ----------
    seed : gives everyone the same row; a fresh one if left out.
    count : how many exercises.
    """
    return panel(
        "Exercises",
        words(
            "Type the number <b>with its unit</b> and press Enter. A comma is a point. A sum or a "
            "fraction is fine too, and so are all your steps: 37 + 27 = 64; 64 − 9 = 55; "
            "55 / 10 = 5.5"
        ),
        ExerciseDesk(seed, count),
    )


class SheetDesk(widgets.VBox):
    """Makes the sheet and its answers, each to save and print."""

    def __init__(self) -> None:
        self.seed = widgets.BoundedIntText(
            value=fresh_seed(), min=0, max=MOST_SEED, description="Seed", style=WIDE
        )
        self.count = widgets.BoundedIntText(
            value=10, min=1, max=60, description="Exercises", style=WIDE
        )
        self.paper = widgets.Dropdown(options=list(PAPERS), description="Paper", style=WIDE)
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
                exercise_sheet(seed, count, paper=paper, answers=answers)
                for answers in (False, True)
            ]
        except BalancekitError as error:
            self.links.value = wrong(error)
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


def progress_html() -> str:
    """Return what was practised over all lessons, as a table."""
    marks = read_progress()
    if not marks:
        return "Nothing yet. What you do in any lesson is noted here, in your own folder."
    rows = [(k, m.times, m.right, m.last, m.due) for k, m in sorted(marks.items())]
    return table_html(("Task", "Times", "Right at once", "Last", "Again on"), rows)


def progress_panel() -> widgets.VBox:
    """What you have practised, over all lessons, and when it comes again."""
    shown = words(progress_html())

    def refresh() -> None:
        shown.value = progress_html()

    return panel("What you have practised", shown, row(button("Look again", refresh)))
