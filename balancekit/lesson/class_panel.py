"""For the teacher: the scores of a class, dropped as files, in one table."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.lesson.session import (
    MOST_SCORE_BYTES,
    RESULTS,
    Session,
    class_table,
    read_score_file,
)
from balancekit.panels.frame import button, escape, panel, row, table_html, words
from balancekit.panels.widgets import FileDrop


class ClassDesk(widgets.VBox):
    """A table with one line an apprentice; every entry is judged anew from the seed."""

    def __init__(self) -> None:
        self.sessions: dict[tuple[str, int], Session] = {}
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
            self.sessions[session.name, session.seed] = session
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
        found = class_table([session.score() for _, session in ordered])
        headings = ("Name", "Seed", *(result.capitalize() for result in RESULTS), "Mistakes")
        self.table.value = table_html(headings, found.values.tolist())


def class_panel() -> widgets.VBox:
    """Scores of a class, to be dropped as files."""
    return panel(
        "The scores of a class",
        words("Each is judged anew from its seed: no result can be typed in."),
        ClassDesk(),
    )
