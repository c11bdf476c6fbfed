"""Entry into one of the instrument's optional tables: a grid, or the user's own file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.problems import BalancekitError, refuse
from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.entry import entry_columns
from balancekit.instrument.table_files import from_bytes
from balancekit.instrument.tables import TABLES, TEXT_COLUMNS
from balancekit.panels.frame import button, row, words, wrong
from balancekit.panels.places import place_of, typed_elsewhere
from balancekit.panels.saving import Saving
from balancekit.panels.widgets import Entries, FileDrop, Grid

_SPARE_ROWS = 3
"""Empty rows that wait at the end of the table."""


class TableEntry(widgets.VBox):
    """A grid over one optional table; a row is kept once its required cells are filled.

    Parameters
    ----------
    bench : where the table lives.
    kind : name of the table, one of ``TABLES``.
    """

    def __init__(self, bench: Bench, kind: str) -> None:
        self.bench, self.kind = bench, TABLES[kind]
        self.shown = tuple(self.kind.columns)
        self._lines: dict[str, dict[str, Any]] = {}
        self._count = 0
        self.grid = Grid(columns=entry_columns(self.shown), heads=["Row"], name=self.kind.meaning)
        self.grid.take = self.take
        self.said = words()
        self.drop = FileDrop(self.take_file, text=f"or drop a file {kind}.csv here", low=True)
        super().__init__(
            [self.grid, row(button("Undo", bench.undo), button("Empty the table", self.clear)),
             self.said, Saving(bench), self.drop]
        )  # fmt: skip
        bench.when_changed(self.refresh, "instrument")

    @property
    def table(self) -> pd.DataFrame:
        """The table as the instrument has it."""
        table: pd.DataFrame = self.bench.instrument.table(self.kind.name)
        return table

    @property
    def place(self) -> str:
        """What the rows belong to, in words that a new kernel finds again."""
        return place_of(self.kind.name, self.bench.instrument)

    def refresh(self) -> None:
        """Show the rows that are there, those not finished, and some empty ones.

        A row keeps its name in the grid while it is filled, so that what is typed meanwhile
        lands in it.
        """
        kept = _records(self.table)
        lines: dict[str, dict[str, Any]] = {}
        for name, line in self._lines.items():
            if line in kept:
                kept.remove(line)
                lines[name] = line
            elif line and not self._is_whole(line):
                lines[name] = line
        lines |= {self._new(): line for line in kept}
        spare = [name for name, line in self._lines.items() if not line]
        spare += [self._new() for _ in range(_SPARE_ROWS - len(spare))]
        self._lines = lines | {name: {} for name in spare[:_SPARE_ROWS]}
        self.grid.place = self.place
        self.grid.rows = [
            {
                "id": name,
                "name": f"row {at + 1}",
                "heads": [str(at + 1)],
                "values": [_plain(column, line.get(column)) for column in self.shown],
            }
            for at, (name, line) in enumerate(self._lines.items())
        ]

    def _new(self) -> str:
        self._count += 1
        return str(self._count)

    def _is_whole(self, line: Mapping[str, Any]) -> bool:
        return all(_filled(line.get(name)) for name in self._needed)

    @property
    def _needed(self) -> list[str]:
        return [name for name in self.kind.columns if name not in self.kind.optional]

    def take(self, entries: Entries) -> dict[int, str]:
        """Take what was typed or pasted, in order; return why an entry was refused."""
        refused: dict[int, str] = {}
        for at, entry in enumerate(entries):
            try:
                self._take(entry)
            except BalancekitError as error:
                refused[at] = str(error)
        return refused

    def _take(self, entry: Mapping[str, Any]) -> None:
        if "undo" in entry:
            self.bench.undo()
        elif "redo" in entry:
            self.bench.redo()
        elif "cells" in entry and entry["place"] != self.place:
            raise typed_elsewhere(entry["place"], self.place)
        elif "cells" in entry:
            self.take_cells(entry["cells"])

    def take_cells(self, cells: Sequence[Mapping[str, Any]]) -> None:
        """Take some cells together; ``row`` is a row's name in the grid.

        Raises
        ------
        BalancekitError : a row that is not there, a key beyond the keyboard, or a value that the
            table refuses; nothing is changed.
        """
        lines = {name: dict(line) for name, line in self._lines.items()}
        for cell in cells:
            if cell["row"] not in lines:
                raise refuse("This row is not in the table any more.", "Type it into another row.")
            lines[cell["row"]][cell["column"]] = cell["value"]
            self._on_the_keyboard(cell)
        whole = [line for line in lines.values() if self._is_whole(line)]
        self._keep(pd.DataFrame(whole, columns=list(self.kind.columns)), lines)
        part = sum(bool(line) and not self._is_whole(line) for line in self._lines.values())
        names = [column["label"].lower() for column in entry_columns(self._needed)]
        self.said.value = (
            f"Not finished: {plural(part, 'row')}. Still needed: {escape(', '.join(names))}."
            if part
            else ""
        )

    def _on_the_keyboard(self, cell: Mapping[str, Any]) -> None:
        count = self.bench.instrument.settings.key_count
        if cell["column"] == "key" and cell["value"] is not None and cell["value"] > count:
            raise refuse(
                f"Key {cell['value']:g} is beyond the keyboard.",
                f"This instrument has keys 1 to {count}.",
            )

    def _keep(self, table: pd.DataFrame, lines: Mapping[str, dict[str, Any]] | None = None) -> None:
        changed = self.bench.instrument.with_table(self.kind.name, table)
        if lines is not None:
            self._lines = {name: _filled_of(line) for name, line in lines.items()}
        else:
            self._lines = {}
        if changed.table(self.kind.name).equals(self.table):
            self.refresh()
        else:
            self.bench.change(changed)

    def take_file(self, name: str, data: bytes) -> None:
        """Take the table from the user's own file, or say every problem of it."""
        try:
            table = from_bytes(data, name, self.kind, self.bench.instrument.settings.key_count)
        except BalancekitError as error:
            self.said.value = wrong(error)
            return
        self._keep(table)
        self.said.value = f"{plural(len(table), 'row')} taken from {escape(name)}."

    def clear(self) -> None:
        """Empty the table; undo brings it back."""
        self._keep(self.kind.empty())


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a table; what is empty is left out."""
    return [_filled_of(line) for line in table.to_dict("records")]


def _filled_of(line: Mapping[Any, Any]) -> dict[str, Any]:
    return {str(name): value for name, value in line.items() if _filled(value)}


def _filled(value: Any) -> bool:
    return value is not None and value == value and value != ""


def _plain(name: str, value: Any) -> Any:
    if name in TEXT_COLUMNS:
        return value or ""
    return None if value is None or value != value else value
