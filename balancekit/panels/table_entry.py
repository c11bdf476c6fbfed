"""Entry into one of the instrument's optional tables: a grid, or the user's own file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.entry import entry_columns
from balancekit.instrument.table_files import from_bytes
from balancekit.instrument.tables import TABLES, TEXT_COLUMNS
from balancekit.panels.frame import button, escape, row, words
from balancekit.panels.saving import Saving
from balancekit.panels.widgets import FileDrop, Grid

_SPARE_ROWS = 3
"""Empty rows that wait at the end of the table."""


class TableEntry(widgets.VBox):
    """A grid over one optional table; a row is kept once its required cells are filled.

    Parameters
    ----------
    bench : where the table lives.
    kind : name of the table, one of ``TABLES``.
    columns : columns to show; all of the table's if left out.
    """

    def __init__(self, bench: Bench, kind: str, columns: Sequence[str] = ()) -> None:
        self.bench, self.kind = bench, TABLES[kind]
        self.shown = tuple(columns or self.kind.columns)
        self._unfinished: list[dict[str, Any]] = []
        self.grid = Grid(columns=entry_columns(self.shown), heads=["Row"], name=self.kind.meaning)
        self.grid.on_msg(self._received)
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

    def refresh(self) -> None:
        """Show the rows that are there, those not finished, and some empty ones."""
        kept = self.table[list(self.shown)].astype(object)
        kept = kept.where(kept.notna(), None)
        lines = kept.to_dict("records") + self._unfinished
        empty: dict[str, Any] = {}
        lines += [empty] * _SPARE_ROWS
        self.grid.rows = [
            {
                "id": str(place),
                "name": f"row {place + 1}",
                "heads": [str(place + 1)],
                "values": [_plain(name, line.get(name)) for name in self.shown],
            }
            for place, line in enumerate(lines)
        ]

    def _received(self, _: Any, content: Mapping[str, Any], __: Any) -> None:
        if content.get("kind") == "cells":
            self.take(content["cells"])
        elif content.get("kind") == "undo":
            self.bench.undo()
        elif content.get("kind") == "redo":
            self.bench.redo()

    def take(self, cells: Sequence[Mapping[str, Any]]) -> None:
        """Take cells that were typed or pasted."""
        lines: list[dict[str, Any]] = [*_records(self.table), *self._unfinished]
        for cell in cells:
            place = int(cell["row"])
            lines += [{} for _ in range(place + 1 - len(lines))]
            lines[place][cell["column"]] = cell["value"]
        needed = [name for name in self.kind.columns if name not in self.kind.optional]
        full = [line for line in lines if all(_filled(line.get(name)) for name in needed)]
        part = [
            line for line in lines
            if line not in full and any(_filled(value) for value in line.values())
        ]  # fmt: skip
        self._unfinished = part
        self._keep(pd.DataFrame(full, columns=list(self.kind.columns)))
        names = [column["label"].lower() for column in entry_columns(needed)]
        self.said.value = (
            f"Not finished: {plural(len(part), 'row')}. Still needed: {escape(', '.join(names))}."
            if part
            else ""
        )
        self.refresh()

    def _keep(self, table: pd.DataFrame) -> None:
        bench = self.bench
        if "key" in table and len(table):
            wrong = table[table["key"] > bench.instrument.settings.key_count]
            table = table.drop(wrong.index)
        bench.change(bench.instrument.with_table(self.kind.name, table))

    def take_file(self, name: str, data: bytes) -> None:
        """Take the table from the user's own file, or say every problem of it."""
        try:
            table = from_bytes(data, name, self.kind, self.bench.instrument.settings.key_count)
        except BalancekitError as error:
            self.said.value = "<br>".join(
                f'<span class="bench-bad">{escape(problem)}</span>' for problem in error.problems
            )
            return
        self._unfinished = []
        self._keep(table)
        self.said.value = f"{plural(len(table), 'row')} taken from {escape(name)}."

    def clear(self) -> None:
        """Empty the table; undo brings it back."""
        self._unfinished = []
        self._keep(self.kind.empty())


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in line.items()} for line in table.to_dict("records")]


def _filled(value: Any) -> bool:
    return value is not None and value == value and value != ""


def _plain(name: str, value: Any) -> Any:
    if name in TEXT_COLUMNS:
        return value or ""
    return None if value is None or value != value else value
