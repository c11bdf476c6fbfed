"""For the teacher: the scores of a class, dropped as files, in one table."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.lesson.session import (
    MOST_SCORE_BYTES,
    RESULTS,
    Session,
    class_table,
    mistakes_table,
    read_score_file,
)
from balancekit.panels.frame import button, escape, panel, row, table_html, words
from balancekit.panels.widgets import FileDrop


class ClassDesk(widgets.VBox):
    """A table with one line an apprentice; every entry is judged anew from the seed."""

    def __init__(self) -> None:
        # Whoever gave no name is told apart by the file.
        self.sessions: dict[tuple[str, int, str], Session] = {}
        self.refused: dict[str, str] = {}
        self.drop = FileDrop(
            self.take_file, text="Drop the saved scores here, or press to choose them",
            most_bytes=MOST_SCORE_BYTES, several=True,
        )  # fmt: skip
        self.table, self.said = words(), words()
        super().__init__(
            [self.drop, self.said, self.table, row(button("Empty the table", self.empty))]
        )
        self.show()

    def take_file(self, name: str, data: bytes) -> None:
        """Take one score; a newer one of the same name and row replaces the older."""
        try:
            session = read_score_file(data)
        except BalancekitError as error:
            self.refused[name] = str(error)
        else:
            self.refused.pop(name, None)
            self.sessions[session.name, session.seed, "" if session.name else name] = session
        self.show()

    def empty(self) -> None:
        """Take all lines out."""
        self.sessions.clear()
        self.refused.clear()
        self.show()

    def show(self) -> None:
        """Show one line an apprentice, by name, and every file that could not be used."""
        lines = "<br>".join(
            f'<span class="bench-bad">{escape(name)}: {escape(why)}</span>'
            for name, why in self.refused.items()
        )
        self.said.value = f'<div role="status">{lines}</div>' if lines else ""
        ordered = sorted(self.sessions.items())
        if not ordered:
            self.table.value = "No score yet."
            return
        scores = [session.score() for _, session in ordered]
        found = class_table(scores).drop(columns="mistakes")
        totals = ["All", "", *found[list(RESULTS)].sum().tolist()]
        names = [name or f"no name ({file})" for (name, _, file), _ in ordered]
        rows = [[name, *row[1:]] for name, row in zip(names, found.values.tolist(), strict=True)]
        headings = ("Name", "Seed", *(result.capitalize() for result in RESULTS))
        self.table.value = table_html(headings, [*rows, totals]) + self._mistakes(scores)

    def _mistakes(self, scores: list[str]) -> str:
        """Say what to take up again: the mistakes of the class by kind, with their totals."""
        table = mistakes_table(scores)
        if not len(table):
            return "<p>No mistake was made.</p>"
        first = table.iloc[0]
        rows = [*table.values.tolist(), ["All", "", int(table["times"].sum()), ""]]
        return (
            f"<p><b>Take up again first: {escape(first['kind'])}, {escape(first['mistake'])}</b> "
            f"({int(first['times'])} times).</p>"
            + table_html(("Exercise", "Mistake", "Times", "Apprentices"), rows)
        )


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
