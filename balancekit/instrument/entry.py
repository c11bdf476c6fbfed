"""Entry at the bench: the rows that a grid shows, and a change to some of their cells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from balancekit.calculation.keyboard import MOST_KEYS
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS, WITHIN_COLUMNS
from balancekit.instrument.model import Instrument
from balancekit.instrument.tables import TABLES, TEXT_COLUMNS, typed

ENTRY_COLUMNS = (*READING_COLUMNS, "note")
"""The columns of the grid, from left to right."""


def entry_columns(names: Sequence[str] = ENTRY_COLUMNS) -> list[dict[str, Any]]:
    """Describe the columns of a grid from the register, as plain values."""
    return [_column(name) for name in names]


def _column(name: str) -> dict[str, Any]:
    if name in TEXT_COLUMNS:
        label = "Remark" if name == "note" else name.replace("_", " ").capitalize()
        return {
            "name": name, "label": label, "heading": label, "unit": "", "kind": "words",
            "meaning": TEXT_COLUMNS[name],
        }  # fmt: skip
    if name == "key":
        return {
            "name": name, "label": "Key", "heading": "Key", "unit": "", "kind": "number",
            "minimum": 1, "maximum": MOST_KEYS, "meaning": "Key number, from the left.",
        }  # fmt: skip
    quantity = QUANTITIES[name]
    return {
        "name": name, "label": quantity.label, "heading": quantity.axis_label,
        "unit": quantity.unit, "kind": "number", "minimum": quantity.minimum,
        "maximum": quantity.maximum, "meaning": quantity.meaning,
    }  # fmt: skip


def entry_table(instrument: Instrument, visit: int) -> pd.DataFrame:
    """Return the readings of a visit with an empty row for each key that has none.

    Indexed by row id: key number, a dash, and 0 for the key's first row, 1 for the next.
    """
    readings = instrument.visits[visit].readings
    lacking = instrument.keys.index.difference(pd.Index(readings["key"]))
    empty = pd.DataFrame({"key": lacking})
    table = typed(pd.concat([readings, empty], ignore_index=True), TABLES["readings"])
    table = table.sort_values("key", kind="stable")
    again = table.groupby("key").cumcount()
    table.index = pd.Index([f"{key}-{n}" for key, n in zip(table["key"], again, strict=True)])
    return table


def entry_rows(instrument: Instrument, visit: int) -> list[dict[str, Any]]:
    """Return the rows of a grid as plain values; an empty cell is None."""
    table, keys = entry_table(instrument, visit), instrument.keys
    cells = (
        table[list(ENTRY_COLUMNS)].astype(object).where(table[list(ENTRY_COLUMNS)].notna(), None)
    )
    return [
        {
            "id": row_id,
            "key": int(key),
            "name": f"key {key}",
            "heads": [
                str(key) if str(row_id).endswith("-0") else f"{key} again",
                keys.at[key, "note_name"],
            ],
            "note_name": keys.at[key, "note_name"],
            "colour": keys.at[key, "colour"],
            "values": values,
        }
        for row_id, key, values in zip(
            table.index, table["key"], cells.values.tolist(), strict=True
        )
    ]


def set_cells(
    instrument: Instrument, visit: int, cells: Sequence[Mapping[str, Any]], read_at: str = ""
) -> Instrument:
    """Return the instrument with some cells of a visit's readings changed, all or none.

    A reading that is set anew is no longer known within what was noted of the one before.

    Parameters
    ----------
    cells : ``{"row": row id, "column": column name, "value": number, text or None}`` each; the
        columns of ``WITHIN_COLUMNS`` come after their reading.
    read_at : day and time (ISO 8601) of what is read now; a row keeps that of its first reading.

    Raises
    ------
    BalancekitError : a row or column that is not there, or a value that is not possible.
    """
    table = entry_table(instrument, visit)
    unread = table.index[table[list(READING_COLUMNS)].isna().all(axis=1)]
    problems: list[Problem] = []
    for cell in cells:
        try:
            _set(table, cell)
        except BalancekitError as error:
            problems.extend(error.problems)
    if problems:
        raise BalancekitError(problems)
    first = unread[table.loc[unread, list(READING_COLUMNS)].notna().any(axis=1)]
    table.loc[first, "read_at"] = read_at
    words = table["note"].str.len() > 0
    filled = table[list(READING_COLUMNS)].notna().any(axis=1) | words
    known = set(entry_ids(instrument, visit))
    kept = table[
        [row_id in known or full for row_id, full in zip(table.index, filled, strict=True)]
    ]
    return instrument.with_readings(kept, visit)


def entry_ids(instrument: Instrument, visit: int) -> list[str]:
    """Return the row ids of the readings that the visit already has."""
    keys = instrument.visits[visit].readings["key"]
    again = keys.groupby(keys).cumcount()
    return [f"{key}-{n}" for key, n in zip(keys, again, strict=True)]


def _set(table: pd.DataFrame, cell: Mapping[str, Any]) -> None:
    row, column, value = cell.get("row"), cell.get("column"), cell.get("value")
    if row not in table.index or column not in (*ENTRY_COLUMNS, *WITHIN_COLUMNS.values()):
        raise BalancekitError(Problem(f"There is no cell {row}, {column}.", "Load the page again."))
    if column in TEXT_COLUMNS:
        table.at[row, column] = str(value or "").strip()
        return
    if column in WITHIN_COLUMNS:
        table.at[row, WITHIN_COLUMNS[column]] = float("nan")
    if value is None:
        table.at[row, column] = float("nan")
        return
    quantity = QUANTITIES[column]
    number = float(value) if isinstance(value, int | float) else float("nan")
    if not quantity.minimum <= number <= quantity.maximum:
        allowed = f"{quantity.minimum:g} to {quantity.maximum:g} {quantity.unit}".strip()
        raise BalancekitError(
            Problem(
                f"{value} is not possible.",
                f"{quantity.label} is {allowed}.",
                key=int(str(row).partition("-")[0]),
                column=quantity.label,
            )
        )
    table.at[row, column] = number


def read_again(instrument: Instrument, visit: int, key: int) -> Instrument:
    """Return the instrument with an empty row added, for a repeat reading of one key."""
    readings = instrument.visits[visit].readings
    have = int((readings["key"] == key).sum())
    added = pd.DataFrame({"key": [key] * (1 if have else 2)})
    return instrument.with_readings(pd.concat([readings, added], ignore_index=True), visit)
