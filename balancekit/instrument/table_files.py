"""A table of an instrument read back from CSV bytes, checked against the register.

Strict: this reads what balancekit wrote, or what a person changed in it by
hand. What people bring in from elsewhere goes through ``import_readings``.
"""

from __future__ import annotations

import csv
import io
from datetime import datetime

import pandas as pd

from balancekit.calculation.problems import BalancekitError, Problem, shown
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import nearest
from balancekit.instrument.tables import TEXT_COLUMNS, TableKind, typed
from balancekit.instrument.write_table import NOT_TEXT, without_guard

MOST_ROWS = 100_000
LONGEST_CELL = 100_000
"""Rows of a table and characters of a cell."""

_MOST_MEANT = 5


def from_bytes(data: bytes, file_name: str, kind: TableKind, key_count: int) -> pd.DataFrame:
    """Read a table back.

    Raises
    ------
    BalancekitError : every problem found, with its line, key and column.
    """
    try:
        lines = csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True)
        rows = [(lines.line_num, row) for row in lines]
    except (UnicodeDecodeError, csv.Error) as error:
        raise BalancekitError(
            Problem(
                f"The table cannot be read ({error}).",
                "Save it as CSV, UTF-8, comma between the columns.",
                file=file_name,
            )
        ) from None
    heading = rows[0][1] if rows else []
    needed = [column for column in kind.columns if column not in kind.optional]
    wrong = [name for name in heading if name not in kind.columns or heading.count(name) > 1]
    lacking = [name for name in needed if name not in heading]
    if wrong or lacking or len(rows) > MOST_ROWS:
        raise BalancekitError(headings_problem(heading, kind, file_name, 1))
    return _typed_rows(rows[1:], heading, file_name, kind, key_count)


def headings_problem(heading: list[str], kind: TableKind, file: str, line: int | None) -> Problem:
    """Say that the headings of a table are not those of its kind."""
    strange = [name for name in heading if name not in kind.columns]
    free = [name for name in kind.columns if name not in heading]
    meant = [f"'{shown(name)}': {nearest(name, free)}" for name in strange if nearest(name, free)]
    said = "".join(f" {each}" for each in meant[:_MOST_MEANT])
    return Problem(
        f"The headings are {shown(', '.join(heading)) or 'missing'}.{said}",
        f"They must be {', '.join(kind.columns)}, each once, and at most {MOST_ROWS} rows.",
        file=file,
        line=line,
    )


def _typed_rows(
    rows: list[tuple[int, list[str]]],
    heading: list[str],
    file_name: str,
    kind: TableKind,
    key_count: int,
) -> pd.DataFrame:
    problems: list[Problem] = []
    columns: dict[str, list[object]] = {name: [] for name in heading}
    for line, row in rows:
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(heading):
            message = f"There are {len(row)} cells under {len(heading)} headings."
            problems.append(Problem(message, "Give one cell a column.", file_name, line))
            continue
        for name, text in zip(heading, row, strict=True):
            try:
                columns[name].append(cell_value(name, text, key_count))
            except ValueError as error:
                message, _, advice = str(error).partition("|")
                problems.append(Problem(message, advice, file_name, line, None, name))
                columns[name].append(None)
    if problems:
        raise BalancekitError(problems)
    return typed(pd.DataFrame(columns), kind)


def cell_value(column: str, text: str, key_count: int) -> object:
    """Return one cell's value; a ValueError says what is wrong, a bar, and what to do."""
    told = shown(text).replace("|", " ")
    if column == "read_at" and text.strip():
        try:
            check_time(text.strip())
        except ValueError:
            raise ValueError(
                f"'{told}' is not a time.|Write day and time as 2026-05-04T10:30, or nothing."
            ) from None
        return text.strip()
    if column in TEXT_COLUMNS:
        if NOT_TEXT.search(text):
            raise ValueError(f"'{told}' holds a control character.|Take it out.")
        if len(text) > LONGEST_CELL:
            raise ValueError(f"'{told}' is too long.|Write at most {LONGEST_CELL} characters.")
        return without_guard(text)
    if not text.strip():
        if column == "key":
            raise ValueError("The key number is missing.|Give the number of the key.")
        return float("nan")
    try:
        value = float(text.replace("_", "?"))
    except ValueError:
        raise ValueError(f"'{told}' is not a number.|Give digits and a decimal point.") from None
    if column == "key":
        if not (1 <= value <= key_count and value == int(value)):
            raise ValueError(f"'{told}' is not a key.|Give a whole number, 1 to {key_count}.")
        return int(value)
    quantity = QUANTITIES[column]
    if not quantity.minimum <= value <= quantity.maximum:
        allowed = f"{quantity.minimum:g} to {quantity.maximum:g} {quantity.unit}".strip()
        raise ValueError(f"'{told}' is not possible.|Give {allowed}.")
    return value


def check_time(text: str) -> None:
    """Raise a ValueError for what is no day, or day and time, in ISO 8601; weeks are none here."""
    datetime.fromisoformat("" if "W" in text else text)
