"""Bringing readings in from a file: understood first, settled on the screen, taken after a yes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.bring_in.import_memory import remember_headings, remembered_headings
from balancekit.instrument.bring_in.import_readings import Understood, understand
from balancekit.instrument.disk import typed_path
from balancekit.instrument.model import Instrument, Visit
from balancekit.instrument.occasion import next_title, still_confirmed
from balancekit.instrument.store import read_file
from balancekit.panels.frame import button, panel, row, table_html, words, wrong
from balancekit.panels.heading_choosers import HeadingChoosers
from balancekit.panels.instruments import LINE, WIDE_LABELS, problems_html
from balancekit.panels.pending_doubts import PendingDoubts
from balancekit.panels.returned import Returned
from balancekit.panels.saving import Saving
from balancekit.panels.widgets import FileDrop
from balancekit.sharing.carry import LARGEST_REPORT, open_anything


class BringIn(widgets.VBox):
    """Bring readings in from a file: understood first, taken after a yes."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._data, self._name = b"", ""
        self._found: Understood | None = None
        self._questions: dict[str, widgets.Dropdown] = {}
        self._asks: dict[str, widgets.HTML] = {}
        self.drop = FileDrop(
            self.take_file,
            text="Drop a readings file here (CSV or spreadsheet), or a shared report, or press to "
            "choose one",
            most_bytes=LARGEST_REPORT,
        )
        self.path = widgets.Text(
            description="or its path",
            placeholder="path of the file",
            style=WIDE_LABELS,
            layout=LINE,
        )
        self.understood = words()
        self.headings = HeadingChoosers(self._look)
        self.asked = widgets.VBox()
        self.doubted = PendingDoubts()
        self.visit_title = widgets.Text(description="Called", style=WIDE_LABELS)
        self.visit_date = widgets.Text(
            description="Read on", placeholder="year-month-day", style=WIDE_LABELS
        )
        self.when = words()
        self.taking = widgets.VBox(
            [
                row(self.visit_title, self.visit_date),
                self.when,
                row(
                    button("Put in place of the readings in hand", self.replace, main=True),
                    button("Add as a new set of readings", self.add),
                    button("Leave it", self.leave),
                ),
            ]
        )
        self.taking.layout.display = "none"
        self._shared: Instrument | None = None
        self.shared = row(
            button("Put this instrument on the bench", self.take_shared, main=True),
            button("Leave it", self.leave),
        )
        self.shared.layout.display = "none"
        self.returned = Returned(bench, self._done)
        super().__init__(
            [self.drop, row(self.path, button("Read the file", self.read_path)),
             self.understood, self.headings, self.asked, self.doubted, self.taking,
             self.returned, self.shared]
        )  # fmt: skip

    def read_path(self) -> None:
        """Read the file whose path was typed."""
        try:
            path = typed_path(self.path.value.strip())
            self.take_file(path.name, read_file(path, LARGEST_REPORT))
        except BalancekitError as error:
            self._refused(error)

    def take_file(self, name: str, data: bytes) -> None:
        """Look at a file; nothing is taken yet."""
        self._name, self._data, self._questions = name, data, {}
        self.headings.clear()
        self._shared, self.asked.children = None, ()
        self.shared.layout.display = "none"
        self.returned.close_list()
        try:
            self._shared = open_anything(data, name)
        except BalancekitError as error:
            self._refused(error)
            return
        if self._shared is None:
            self._look()
        else:
            self._show_shared(self._shared)

    def _show_shared(self, instrument: Instrument) -> None:
        """Say what instrument a shared file holds."""
        visits = ", ".join(f"{v.title} ({v.date or 'no date'})" for v in instrument.visits)
        self.understood.value = (
            f"<b>{escape(self._name)}</b> holds a whole instrument: "
            f"<b>{escape(instrument.title)}</b>, "
            f"{plural(instrument.settings.key_count, 'key')}, readings: "
            f"{escape(visits)}. Take what is new in it, or put it on the bench: then it gets a "
            "folder of its own, and what is on the bench stays saved."
        )
        self.returned.look(instrument)
        self.taking.layout.display = "none"
        self.shared.layout.display = "flex"

    def take_shared(self) -> None:
        """Put the instrument of a shared file on the bench, in a folder of its own."""
        if self._shared is not None:
            self.bench.start(self._shared)
            self._done(f"{escape(self.bench.instrument.title)} is on the bench.")

    def _look(self) -> None:
        settings = self.bench.instrument.settings
        answers = {name: box.value for name, box in self._questions.items() if box.value}
        answers |= self.headings.answers
        try:
            found = understand(
                self._data, self._name, key_count=settings.key_count, answers=answers,
                remembered=remembered_headings(), reading_u=settings.reading_u,
                first_note=settings.first_note,
            )  # fmt: skip
        except BalancekitError as error:
            self._refused(error)
            return
        self._found = found
        self.understood.value = understood_html(found)
        self.headings.show(found.headings)
        beside = {heading.answer_id for heading in found.headings if heading.choices}
        for question in found.questions:
            if question.id not in self._questions and question.id not in beside:
                choices = [("please choose", ""), *((t, v) for v, t in question.choices)]
                self._questions[question.id] = box = widgets.Dropdown(options=choices, layout=LINE)
                box.observe(lambda _: self._look(), "value")
                self._asks[question.id] = words(f"<b>{escape(question.text)}</b>")
        self._show_asked({question.id for question in found.questions})
        self.taking.layout.display = "none" if found.questions else "flex"
        if found.questions:
            self.doubted.clear()
        else:
            visit = Visit(readings=found.readings)
            self.doubted.look(replace(self.bench.instrument, visits=(visit,)), found.doubts)
        bench = self.bench
        held, name = bench.instrument.visits[bench.visit], next_title(bench.instrument.visits)
        self.when.value = (
            f"Without a name and a day, readings put in place stay '{escape(held.title)}' of "
            f"{held.date or 'no day'}; a new set is '{name}' of today."
        )

    def _show_asked(self, asked: set[str]) -> None:
        """Show what is asked and what was answered; what another answer settled goes."""
        stay = [name for name, box in self._questions.items() if name in asked or box.value]
        parts = tuple(part for name in stay for part in (self._asks[name], self._questions[name]))
        if parts != tuple(self.asked.children):
            self.asked.children = parts

    def _refused(self, error: BalancekitError) -> None:
        self._found = None
        self.doubted.clear()
        self.understood.value = problems_html(error)
        self.taking.layout.display = "none"

    def _day(self) -> str | None:
        """Return the day that was given, "" for none; None, and a word on it, if it is none."""
        try:
            text = self.visit_date.value.strip()
            return date.fromisoformat(text).isoformat() if text else ""
        except ValueError:
            self.when.value = wrong(
                "The date is not a day. Write year-month-day, for example "
                f"{date.today().isoformat()}."
            )
            return None

    def replace(self) -> None:
        """Put the readings in place of those in hand; name and day stay, unless new ones are given.

        What was kept of the old readings, though doubted, is kept where it was read again.
        """
        self._take(self._replace)

    def _replace(self, pending: Visit, day: str) -> str:
        bench, title = self.bench, self.visit_title.value.strip()
        held = bench.instrument.visits[bench.visit]
        new = replace(held, title=title or held.title, date=day or held.date,
                      readings=pending.readings)  # fmt: skip
        new = replace(new, confirmed=still_confirmed(held, new) | pending.confirmed)
        bench.change(bench.instrument.with_visit(new, bench.visit))
        return "The readings are on the bench; Undo in the bench grid brings the old back."

    def add(self) -> None:
        """Add the readings as a new set, for a second visit, with a name and day of its own."""
        self._take(self._add)

    def _add(self, pending: Visit, day: str) -> str:
        new = replace(pending, title=self.visit_title.value, date=day or date.today().isoformat())
        self.bench.add_visit(new)
        name = self.bench.instrument.visits[self.bench.visit].title
        return f"The readings were added as a new set, '{escape(name)}'."

    def _take(self, take: Callable[[Visit, str], str]) -> None:
        """Take the readings, or say why they cannot be; then they stay here, to be taken still."""
        day, pending = self._day(), self.doubted.visit
        if pending is None or day is None:
            return
        try:
            said = take(pending, day)
        except BalancekitError as error:
            self.when.value = problems_html(error)
            return
        remember_headings(self.headings.given)
        self._done(said)

    def leave(self) -> None:
        """Take nothing."""
        self._done("Nothing was taken.")

    def _done(self, text: str) -> None:
        self._found, self._shared, self.asked.children = None, None, ()
        self.headings.clear()
        self.doubted.clear()
        self.returned.close_list()
        self.taking.layout.display = self.shared.layout.display = "none"
        self.understood.value = text


def understood_html(found: Understood) -> str:
    """Say what was understood of a file: headings, rows used, rows left out and why."""
    taken = [(h.written, h.understood) for h in found.headings if not h.choices]
    headings = [table_html(("Heading in the file", "Taken as"), taken)] if taken else []
    parts = [
        f"<b>{escape(found.file)}</b>: {escape(found.kind)}. "
        + (f"{plural(found.rows_used, 'row')} of readings." if found.rows_used else
           "What is not clear is asked below." if found.questions else "No row of readings.")
    ]  # fmt: skip
    parts += [*headings, *(escape(remark) for remark in found.remarks)]
    if found.rows_left_out:
        left = [(out.line, out.text[:60], out.why) for out in found.rows_left_out[:15]]
        parts.append("Left out:" + table_html(("Line", "What stands there", "Why"), left))
    return "<br>".join(parts)


def bring_in_panel(bench: Bench) -> widgets.VBox:
    """Bring readings in from a file."""
    return panel(
        "Bring readings in",
        words(
            "What was understood is shown first. Nothing is taken, and no file of yours is "
            "changed, before you say so."
        ),
        BringIn(bench),
        Saving(bench),
    )
