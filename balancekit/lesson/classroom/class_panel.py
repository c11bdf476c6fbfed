"""For the teacher: the scores of a class, dropped as files, in one table."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.lesson.faults.case_files import CASE_FILE, read_case
from balancekit.lesson.measure.bench_files import BENCH_FILE, read_bench
from balancekit.lesson.measure.virtual_bench import near_and_slips
from balancekit.lesson.practice.exercise_panel import download_link
from balancekit.lesson.practice.exercises import KINDS, MOST_SEED, make_exercise
from balancekit.lesson.practice.handed_in import kind_named, text_of
from balancekit.lesson.practice.session import (
    MOST_SCORE_BYTES,
    RESULTS,
    Session,
    class_table,
    mistakes_table,
    read_score_file,
)
from balancekit.lesson.practice.sheet import exercises_page
from balancekit.panels.frame import button, panel, row, table_html, words, wrong
from balancekit.panels.widgets import FileDrop
from balancekit.sharing.sheet_html import PAPERS


class ClassDesk(widgets.VBox):
    """A table with one line an apprentice; every entry is judged anew from the seed."""

    def __init__(self) -> None:
        # By name, seed and the teacher's exercise; whoever gave no name is told apart by the file.
        self.sessions: dict[tuple[str, int, str, str], Session] = {}
        self.refused: dict[str, str] = {}
        self.others: dict[tuple[str, str, int, str], str] = {}
        self.paper = widgets.Dropdown(options=list(PAPERS), description="Paper")
        self.paper.observe(lambda _: self.show(), "value")
        self.monday = words()
        self.drop = FileDrop(
            self.take_file, text="Drop the saved scores here, or press to choose them",
            most_bytes=MOST_SCORE_BYTES, several=True,
        )  # fmt: skip
        self.table, self.said = words(), words()
        super().__init__(
            [
                self.drop,
                self.said,
                self.table,
                self.monday,
                row(self.paper, button("Empty the table", self.empty)),
            ]
        )
        self.show()

    def take_file(self, name: str, data: bytes) -> None:
        """Take one score; a newer one of the same name and row replaces the older."""
        try:
            self._take(name, data)
        except BalancekitError as error:
            self.refused[name] = str(error)
        else:
            self.refused.pop(name, None)
        self.show()

    def _take(self, name: str, data: bytes) -> None:
        """Take a score of exercises, a case, or a virtual bench, whichever it is."""
        kind = kind_named(data)
        if kind == CASE_FILE.kind:
            case = read_case(text_of(data))
            who, seed, said = case.name, case.case.seed, case.result.words
        elif kind == BENCH_FILE.kind:
            bench = read_bench(text_of(data))
            table = bench.table
            near, slips = near_and_slips(table)
            who, seed = bench.name, bench.key.seed
            said = f"{near} of {len(table)} within two standard uncertainties, {slips} with a slip"
        else:
            session = read_score_file(data)
            own = session.written.kind if session.written else ""
            file = "" if session.name else name
            self.sessions[session.name, session.seed, own, file] = session
            return
        self.others[who, _TASKS[kind], seed, "" if who else name] = said

    def empty(self) -> None:
        """Take all lines out."""
        self.sessions.clear()
        self.others.clear()
        self.refused.clear()
        self.show()

    def show(self) -> None:
        """Show one line an apprentice, by name, and every file that could not be used."""
        lines = "<br>".join(wrong(f"{name}: {why}") for name, why in self.refused.items())
        self.said.value = f'<div role="status">{lines}</div>' if lines else ""
        ordered = sorted(self.sessions.items())
        self.monday.value = ""
        if not ordered and not self.others:
            self.table.value = "No score yet."
            return
        self.table.value = (self._scores(ordered) if ordered else "") + self._others()
        if ordered:
            self.monday.value = self._on_monday([session for _, session in ordered])

    def _scores(self, ordered: list[tuple[tuple[str, int, str, str], Session]]) -> str:
        """Return who solved how many, and who has which misconception where."""
        scores = [session.score() for _, session in ordered]
        found = class_table(scores).drop(columns="mistakes")
        totals = ["All", "", "", *found[list(RESULTS)].sum().tolist()]
        names = [_called(name, file) for (name, _, _, file), _ in ordered]
        owns = [own or "of all lessons" for (_, _, own, _), _ in ordered]
        rows = [
            [name, own, *row[1:]]
            for name, own, row in zip(names, owns, found.values.tolist(), strict=True)
        ]
        headings = ("Name", "Exercises", "Seed", *(result.capitalize() for result in RESULTS))
        table = table_html(headings, [*rows, totals]) + self._mistakes(scores)
        who = [
            (name, kind, mistake, times)
            for name, (_, session) in zip(names, ordered, strict=True)
            for (kind, mistake), times in misconceptions(session).items()
        ]
        if not who:
            return table
        return table + table_html(("Who", "Exercise", "Misconception", "Times"), who)

    def _others(self) -> str:
        """Return what was handed in from the virtual bench and the grands with faults."""
        rows = [
            (_called(name, file), task, seed, said)
            for (name, task, seed, file), said in sorted(self.others.items())
        ]
        return table_html(("Name", "Task", "Number", "Judged anew"), rows) if rows else ""

    def _on_monday(self, sessions: list[Session]) -> str:
        """Say what the class should repeat, and offer it as a sheet with other numbers."""
        kinds = to_repeat(sessions)
        if not kinds:
            return "<p><b>To repeat on Monday:</b> nothing; all was right at once.</p>"
        seed = sum(session.seed for session in sessions) % (MOST_SEED + 1)
        own = {each.written.kind: each.written for each in sessions if each.written}
        row = [
            own[kind].make(seed, _ON_MONDAY + n)
            if kind in own
            else make_exercise(kind, seed, _ON_MONDAY + n)
            for n, kind in enumerate(kinds)
        ]
        links = " · ".join(
            download_link(
                f"monday_{seed}{'_answers' * answers}.html", "text/html",
                exercises_page(row, f"To repeat, sheet {seed}", self.paper.value, answers=answers),
                label,
            )
            for answers, label in ((False, "Save the sheet for Monday"), (True, "Save its answers"))
        )  # fmt: skip
        return f"<p><b>To repeat on Monday:</b> {escape(', '.join(kinds))}.<br>{links}</p>"

    def _mistakes(self, scores: list[str]) -> str:
        """Say what to take up again: the mistakes of the class by kind, with their totals."""
        table = mistakes_table(scores)
        if not len(table):
            return "<p>No mistake was made.</p>"
        first = table.iloc[0]
        often = "once" if int(first["times"]) == 1 else f"{int(first['times'])} times"
        rows = [*table.values.tolist(), ["All", "", int(table["times"].sum()), ""]]
        return (
            f"<p><b>Take up again first: {escape(first['kind'])}, {escape(first['mistake'])}</b> "
            f"({often}).</p>" + table_html(("Exercise", "Mistake", "Times", "Apprentices"), rows)
        )


_ON_MONDAY = 4_000_000
"""Exercises for Monday are counted from here, so that their numbers are others."""

_TASKS = {CASE_FILE.kind: "find the faults", BENCH_FILE.kind: "virtual bench"}


def _called(name: str, file: str) -> str:
    return name or f"no name ({file})"


def misconceptions(session: Session) -> dict[tuple[str, str], int]:
    """Count the named mistakes of one apprentice by kind of exercise.

    >>> misconceptions(Session(7, 2))
    {}
    """
    counted: dict[tuple[str, str], int] = {}
    for work in session.works:
        for mistake in work.mistakes:
            place = (work.exercise.kind, mistake)
            counted[place] = counted.get(place, 0) + 1
    return counted


def to_repeat(sessions: Sequence[Session]) -> list[str]:
    """Return the kinds that were begun and not right at once, those of most apprentices first.

    >>> to_repeat([Session(7, 2)])
    []
    """
    missed: dict[str, int] = {}
    for session in sessions:
        kinds = {
            work.exercise.kind
            for work in session.works
            if work.again is None and work.entries and work.result != RESULTS[0]
        }
        for kind in kinds:
            missed[kind] = missed.get(kind, 0) + 1
    # Those of a teacher come behind those of the suite.
    order = {kind: place for place, kind in enumerate([*KINDS, *sorted(missed.keys() - KINDS)])}
    return sorted(missed, key=lambda kind: (-missed[kind], order[kind]))


def class_panel() -> widgets.VBox:
    """Scores of a class, to be dropped as files."""
    return panel(
        "The scores of a class",
        words(
            "Each is judged anew from its seed and from what was typed, so a changed result does "
            "not count. Who typed it, no file can tell."
        ),
        ClassDesk(),
    )
