"""Entry at the bench: the grid, and the one-key view with large digits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import ipywidgets as widgets
import traitlets

from balancekit.calculation.irregularities.slips import doubt_reading
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import NEEDED_COLUMNS, QUANTITIES, READING_COLUMNS
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.instrument.doubts import Doubt
from balancekit.instrument.entry import entry_columns, entry_rows, read_again, set_cells
from balancekit.instrument.findings import cell_doubts, expected_words, from_flag
from balancekit.instrument.mend import take_fitting
from balancekit.instrument.model import Instrument
from balancekit.panels.clock import time_now
from balancekit.panels.frame import Later, button, panel, row, words
from balancekit.panels.places import place_of, typed_elsewhere
from balancekit.panels.saving import Saving
from balancekit.panels.talking_scale import talking_scale
from balancekit.panels.widgets import Entries, Grid, OneKey

_SETTLE_SECONDS = 0.4
"""Pause after the last entry before every trend is fitted anew."""

_MOST_DOUBTED = 12
"""Cells taken at once that are each doubted at once; a pasted block waits for the trends."""


class EntryDesk:
    """What both entry views share: taking cells, doubting them, undo, and the state of saving."""

    def __init__(self, bench: Bench, view: Grid | OneKey) -> None:
        self.bench, self.view = bench, view
        self.saved = words()
        self._trends: Mapping[str, Any] = {}
        self._marks: dict[str, str] = {}
        self._doubts: dict[str, Doubt] = {}
        self._unsaved: set[str] = set()
        self._settle = Later(_SETTLE_SECONDS, self._all_marks)
        traitlets.link((bench, "key"), (view, "key"))
        view.take = self.take
        bench.when_changed(self._rows, "instrument", "visit")
        bench.when_changed(self._say_saved, "saved")
        bench.observe(lambda _: self.show_cell(), "shown")
        self._all_marks()

    @property
    def place(self) -> str:
        """What the rows belong to, in words that a new kernel finds again."""
        return place_of(f"readings {self.bench.visit + 1}", self.bench.instrument)

    def take(self, entries: Entries) -> dict[int, str]:
        """Take what was typed, each entry whole or not at all; return why one was refused."""
        refused: dict[int, str] = {}
        steps: list[Instrument] = []
        cells: list[Mapping[str, Any]] = []
        for at, entry in enumerate(entries):
            if "cells" not in entry:
                self._put(steps, cells)
                steps, cells = [], []
            try:
                if "cells" in entry:
                    steps.append(self._set(steps[-1] if steps else self.bench.instrument, entry))
                    cells += entry["cells"]
                else:
                    self._obey(entry)
            except BalancekitError as error:
                refused[at] = str(error)
        self._put(steps, cells)
        if refused:
            self._rows()
        return refused

    def _set(self, instrument: Instrument, entry: Mapping[str, Any]) -> Instrument:
        self._must_be_here(entry)
        return set_cells(instrument, self.bench.visit, entry["cells"], time_now())

    def _must_be_here(self, entry: Mapping[str, Any]) -> None:
        if entry["place"] != self.place:
            raise typed_elsewhere(entry["place"], self.place)

    def _put(self, steps: Sequence[Instrument], cells: Sequence[Mapping[str, Any]]) -> None:
        if not steps:
            return
        self._mark(cells)
        self._unsaved |= {f"{cell['row']}:{cell['column']}" for cell in cells}
        self.bench.change(steps[-1], through=steps[:-1])
        self._say_saved()

    def _obey(self, entry: Mapping[str, Any]) -> None:
        if "keep" in entry:
            self._must_be_here(entry)
            self.bench.confirm(int(entry["keep"]["key"]), str(entry["keep"]["column"]))
            self._all_marks()
        elif "take" in entry:
            self._must_be_here(entry)
            doubt = self._doubts.get(str(entry["take"]))
            if doubt is not None and doubt.fits:
                self.bench.change(take_fitting(self.bench.instrument, self.bench.visit, doubt))
        elif "undo" in entry:
            self.bench.undo()
        elif "redo" in entry:
            self.bench.redo()

    def show_cell(self) -> None:
        """Put the cursor into the cell that the bench points at, in sight."""
        shown = self.bench.shown
        names = [column["name"] for column in self.view.columns]
        if shown and shown["column"] in names:
            self.view.show(shown["key"], names.index(shown["column"]))

    def _mark(self, cells: Sequence[Mapping[str, Any]]) -> None:
        """Mark what the neighbours do not believe, before the slower work of saving begins."""
        marks, latest = dict(self._marks), ""
        for cell in cells:
            place = f"{cell['row']}:{cell['column']}"
            marks.pop(place, None)
            self._doubts.pop(place, None)
            flag = self._doubt(self._trends, cell) if len(cells) <= _MOST_DOUBTED else None
            if flag is not None:
                doubt = self._doubts[place] = from_flag(flag)
                marks[place] = doubt.sentence
                latest = f"Key {doubt.key}: {marks[place]}"
        self._show_marks(marks)
        if isinstance(self.view, OneKey):
            self.view.latest = latest

    @staticmethod
    def _doubt(trends: Mapping[str, Any], cell: Mapping[str, Any]) -> Any:
        if cell["column"] not in READING_COLUMNS or cell["value"] is None:
            return None
        key = int(str(cell["row"]).partition("-")[0])
        return doubt_reading(trends, key, cell["column"], float(cell["value"]))

    def _rows(self) -> None:
        self.view.rows = entry_rows(self.bench.instrument, self.bench.visit)
        self.view.place = self.place
        self._settle.ask()

    def _all_marks(self) -> None:
        findings = self.bench.findings
        self._trends = findings.trends
        self._doubts = cell_doubts(self.bench.instrument, self.bench.visit, findings)
        self._show_marks({place: doubt.sentence for place, doubt in self._doubts.items()})
        self.ask_next()

    def _show_marks(self, marks: dict[str, str]) -> None:
        self._marks = self.view.marks = marks
        taken = {place: doubt.take for place, doubt in self._doubts.items()}
        self.view.fits = {place: words for place, words in taken.items() if words}

    def ask_next(self) -> None:
        """Say beforehand what the neighbours suggest for the reading that is asked for."""
        if isinstance(self.view, OneKey):
            name = self.view.columns[self.view.column]["name"]
            key, text = self.bench.key, expected_words(self._trends, self.bench.key, name)
            self.view.expected = {"key": key, "name": name, "text": text} if text else {}

    def _say_saved(self) -> None:
        self.saved.value = escape(self.bench.saved_where)
        if not self.bench.not_saved:
            self._unsaved.clear()
        self.view.unsaved = sorted(self._unsaved)


def _tools(bench: Bench, desk: EntryDesk) -> widgets.Box:
    def again() -> None:
        bench.change(read_again(bench.instrument, bench.visit, bench.key))

    return row(
        button("Undo", bench.undo, hint="Takes the last change back (Ctrl+Z)"),
        button("Redo", bench.redo, hint="Does it again (Ctrl+Y)"),
        button("Read this key again", again, hint="Adds a row for a repeat reading"),
        desk.saved,
        Saving(bench),
    )


def grid_panel(bench: Bench) -> widgets.VBox:
    """The table for entry with the keyboard."""
    grid = Grid(columns=entry_columns())
    desk = EntryDesk(bench, grid)
    return panel(
        "The bench grid",
        words(
            "Type a reading. <b>Enter</b> goes down, <b>Tab</b> right, arrows anywhere. "
            "<b>Delete</b> empties, <b>Ctrl+Z</b> takes back, a block pasted from a spreadsheet "
            "fills the cells. <b>Esc</b>, then Tab, leaves the table. A mark ◆ is a reading that "
            "is doubted: <b>T</b> takes what would fit, <b>K</b> keeps it."
        ),
        _tools(bench, desk),
        grid,
    )


def one_key_panel(bench: Bench) -> widgets.VBox:
    """One reading at a time, in large digits."""
    view = OneKey(columns=entry_columns(NEEDED_COLUMNS))
    desk = EntryDesk(bench, view)
    order = widgets.ToggleButtons(
        options=["key by key", "weight by weight"],
        description="Order",
        style={"description_width": "initial"},
    )
    reading = widgets.Dropdown(
        options=[(QUANTITIES[name].label, place) for place, name in enumerate(NEEDED_COLUMNS)],
        description="Reading",
        style={"description_width": "initial"},
    )
    traitlets.link((order, "value"), (view, "order"))
    traitlets.link((reading, "value"), (view, "column"))
    view.observe(lambda _: desk.ask_next(), ["key", "column"])
    return panel(
        "One key at a time",
        words("Type the reading and press <b>Enter</b>; the next one is asked for. "
              "<b>Shift+Enter</b> or the arrow up goes back."),
        row(order, reading),
        view,
        _tools(bench, desk),
        talking_scale(view),
    )  # fmt: skip
