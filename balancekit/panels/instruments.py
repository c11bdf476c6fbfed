"""Choosing an instrument, starting one, and bringing readings in from a file."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.bring_in.import_readings import Understood, understand
from balancekit.instrument.in_hand import data_folder, home_folder, instruments_in
from balancekit.instrument.model import ACTIONS, BenchSettings, Instrument
from balancekit.instrument.store import read_file
from balancekit.panels.frame import button, escape, panel, row, table_html, words
from balancekit.panels.returned import Returned
from balancekit.panels.saving import Saving
from balancekit.panels.widgets import FileDrop
from balancekit.sharing.carry import LARGEST_REPORT, open_anything

_WIDE = {"description_width": "11em"}
_LINE = widgets.Layout(width="100%", max_width="560px")


def _problems(error: BalancekitError) -> str:
    """Say every problem, at most thirty on a screen."""
    shown = [f"<li>{escape(problem)}</li>" for problem in error.problems[:30]]
    more = len(error.problems) - len(shown)
    tail = f"<li>and {more} more</li>" if more > 0 else ""
    return f'<div class="bench-bad">This cannot be taken:</div><ul>{"".join(shown)}{tail}</ul>'


class ChooseInstrument(widgets.VBox):
    """Open one of the instruments that are there, any other folder, or start a new one."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.listed = widgets.Dropdown(description="Instrument", style=_WIDE, layout=_LINE)
        self.folder = widgets.Text(
            description="or a folder", placeholder="path of the folder", style=_WIDE, layout=_LINE
        )
        self.title = widgets.Text(description="Its name", style=_WIDE, layout=_LINE)
        self.count = widgets.BoundedIntText(
            88, min=1, max=97, description="Number of keys", style=_WIDE
        )
        self.first = widgets.Text("A0", description="First note", style=_WIDE)
        self.action = widgets.Dropdown(options=ACTIONS, description="Action", style=_WIDE)
        self.said = words()
        start = widgets.VBox(
            [self.title, row(self.count, self.first, self.action),
             row(button("Start this instrument", self.start))]
        )  # fmt: skip
        new = widgets.Accordion([start], titles=("Start a new instrument",))
        super().__init__(
            [row(self.listed, button("Open", self.open_listed, main=True)),
             row(self.folder, button("Open the folder", self.open_folder)), new, self.said]
        )  # fmt: skip
        bench.when_changed(self.refresh, "instrument", "saved")

    def refresh(self) -> None:
        """List what is there and say what is on the bench."""
        own = [(path.name, str(path)) for path in instruments_in(home_folder())]
        demo = [(f"demo: {path.name}", str(path)) for path in instruments_in(data_folder())]
        options = own + demo
        if options != list(self.listed.options):
            self.listed.options = options
        here = str(self.bench.folder)
        if here in dict(options).values():
            self.listed.value = here
        held = self.bench.instrument
        visits = ", ".join(f"{v.title} ({v.date or 'no date'})" for v in held.visits)
        self.said.value = (
            f"On the bench: <b>{escape(held.title)}</b>, {plural(held.settings.key_count, 'key')} "
            f"from {escape(held.settings.first_note)}, {held.settings.action}. Readings: "
            f"{escape(visits)}. {escape(self.bench.saved_where)}"
        )

    def open_listed(self) -> None:
        """Open the instrument that is chosen in the list."""
        self._try(Path(self.listed.value or "."))

    def open_folder(self) -> None:
        """Open the folder that was typed."""
        self._try(Path(self.folder.value.strip()).expanduser().absolute())

    def _try(self, folder: Path) -> None:
        try:
            self.bench.open(folder)
        except BalancekitError as error:
            self.said.value = _problems(error)

    def start(self) -> None:
        """Start a new, empty instrument."""
        try:
            settings = BenchSettings(self.count.value, self.first.value, self.action.value)
        except BalancekitError as error:
            self.said.value = _problems(error)
            return
        self.bench.start(Instrument(self.title.value.strip() or "My instrument", settings))


class BringIn(widgets.VBox):
    """Bring readings in from a file: understood first, taken after a yes."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._data, self._name = b"", ""
        self._found: Understood | None = None
        self._questions: dict[str, widgets.Dropdown] = {}
        self.drop = FileDrop(
            self.take_file,
            text="Drop a readings file here (CSV or spreadsheet), or a shared report, or press to "
            "choose one",
            most_bytes=LARGEST_REPORT,
        )
        self.path = widgets.Text(
            description="or its path", placeholder="path of the file", style=_WIDE, layout=_LINE
        )
        self.understood = words()
        self.asked = widgets.VBox()
        self.visit_title = widgets.Text("as found", description="Called", style=_WIDE)
        self.visit_date = widgets.Text(
            date.today().isoformat(), description="Date (year-month-day)", style=_WIDE
        )
        self.taking = row(
            self.visit_title,
            self.visit_date,
            button("Put in place of the readings in hand", self.replace, main=True),
            button("Add as a new set of readings", self.add),
            button("Leave it", self.leave),
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
             self.understood, self.asked, self.taking, self.returned, self.shared]
        )  # fmt: skip

    def read_path(self) -> None:
        """Read the file whose path was typed."""
        path = Path(self.path.value.strip()).expanduser()
        try:
            self.take_file(path.name, read_file(path, LARGEST_REPORT))
        except BalancekitError as error:
            self._refused(error)

    def take_file(self, name: str, data: bytes) -> None:
        """Look at a file; nothing is taken yet."""
        self._name, self._data, self._questions = name, data, {}
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
        try:
            found = understand(
                self._data, self._name, key_count=settings.key_count, answers=answers,
                reading_u=settings.reading_u, first_note=settings.first_note,
            )  # fmt: skip
        except BalancekitError as error:
            self._refused(error)
            return
        self._found = found
        self.understood.value = understood_html(found)
        for question in found.questions:
            if question.id not in self._questions:
                choices = [("please choose", ""), *((t, v) for v, t in question.choices)]
                self._questions[question.id] = box = widgets.Dropdown(options=choices, layout=_LINE)
                box.observe(lambda _: self._look(), "value")
                label = words(f"<b>{escape(question.text)}</b>")
                self.asked.children = (*self.asked.children, label, box)
        self.taking.layout.display = "none" if found.questions else "flex"

    def _refused(self, error: BalancekitError) -> None:
        self._found = None
        self.understood.value = _problems(error)
        self.taking.layout.display = "none"

    def replace(self) -> None:
        """Put the readings in place of those in hand."""
        if self._found is not None:
            bench = self.bench
            bench.change(bench.instrument.with_readings(self._found.readings, bench.visit))
            self._done("The readings are on the bench; Undo in the bench grid brings the old back.")

    def add(self) -> None:
        """Add the readings as a new set, for a second visit."""
        if self._found is not None:
            try:
                day = date.fromisoformat(self.visit_date.value.strip()).isoformat()
            except ValueError:
                self.understood.value = (
                    '<span class="bench-bad">The date is not a day. Write year-month-day, for '
                    f"example {date.today().isoformat()}.</span>"
                )
                return
            self.bench.add_visit(self.visit_title.value, day, self._found.readings)
            self._done("The readings were added as a new set.")

    def leave(self) -> None:
        """Take nothing."""
        self._done("Nothing was taken.")

    def _done(self, text: str) -> None:
        self._found, self._shared, self.asked.children = None, None, ()
        self.returned.close_list()
        self.taking.layout.display = self.shared.layout.display = "none"
        self.understood.value = text


def understood_html(found: Understood) -> str:
    """Say what was understood of a file: headings, rows used, rows left out and why, doubts."""
    headings = table_html(
        ("Heading in the file", "Taken as"), [(h.written, h.understood) for h in found.headings]
    )
    parts = [
        f"<b>{escape(found.file)}</b>: {escape(found.kind)}. "
        f"{plural(found.rows_used, 'row')} of readings."
    ]
    parts += [headings, *(escape(remark) for remark in found.remarks)]
    if found.rows_left_out:
        left = [(out.line, out.text[:60], out.why) for out in found.rows_left_out[:15]]
        parts.append("Left out:" + table_html(("Line", "What stands there", "Why"), left))
    if found.doubts:
        told = [
            (d.key if d.key is not None else "all", d.kind, d.read, d.advice)
            for d in found.doubts[:30]
        ]
        parts.append(
            "Doubtful, taken and marked:" + table_html(("Key", "What", "Read", "What to do"), told)
        )
    return "<br>".join(parts)


def instrument_panel(bench: Bench) -> widgets.VBox:
    """Choose or start an instrument."""
    return panel("The instrument on the bench", ChooseInstrument(bench), Saving(bench))


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
