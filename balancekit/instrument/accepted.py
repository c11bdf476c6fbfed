"""What may stand in an instrument: tables, words and choices are checked as a file is.

Whatever enters passes here, so that what is saved can be opened again. What is handed out
are copies: changing one never reaches the instrument.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from balancekit.calculation.keyboard import MOST_KEYS
from balancekit.calculation.problems import BalancekitError, Problem, shown
from balancekit.calculation.quantities import QUANTITIES
from balancekit.instrument.table_files import LONGEST_CELL, MOST_ROWS, cell_value, headings_problem
from balancekit.instrument.tables import TABLES, TEXT_COLUMNS, TableKind, no_such_kind, typed
from balancekit.instrument.write_table import NOT_TEXT

LONGEST_TITLE = 200
_LONGEST_TEXT = 100_000
MOST_NESTED = 50
"""Characters of a title and of a note; lists or objects in one another in a choice."""

_SURROGATE = re.compile("[\ud800-\udfff]")
_DAY = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})?")

V = TypeVar("V")


class Held(Mapping[str, V]):
    """A mapping that cannot be changed; see ``put`` for a changed one."""

    def __init__(self, kept: Mapping[str, Any]) -> None:
        self._kept = dict(kept)

    def __getitem__(self, name: str) -> V:
        return self._handed_out(self._kept[name])

    def __iter__(self) -> Iterator[str]:
        return iter(self._kept)

    def __len__(self) -> int:
        return len(self._kept)

    def __repr__(self) -> str:
        return f"{type(self).__name__}({dict(self)!r})"

    def _handed_out(self, kept: Any) -> V:
        out: V = kept
        return out

    def mark(self, name: str) -> object:
        """Return an object that stays the same one as long as the entry is the same."""
        return self._kept.get(name)


class Tables(Held[pd.DataFrame]):
    """Tables by kind; what is handed out is a copy that shares its numbers until it is changed."""

    def _handed_out(self, kept: pd.DataFrame) -> pd.DataFrame:
        return kept.copy(deep=False)

    @classmethod
    def of(cls, tables: Mapping[str, pd.DataFrame]) -> Tables:
        """Check tables by kind.

        Raises
        ------
        BalancekitError : a kind that is not known, or a table that cannot be kept.
        """
        return tables if isinstance(tables, Tables) else cls({}).put(tables)

    def put(self, changed: Mapping[str, pd.DataFrame]) -> Tables:
        """Return these tables with some put in or replaced, checked."""
        problems: list[Problem] = []
        kept = dict(self._kept)
        for kind, table in changed.items():
            try:
                if kind not in TABLES or kind == "readings":
                    raise no_such_kind(kind, [name for name in TABLES if name != "readings"])
                kept[kind] = accepted_table(table, TABLES[kind])
            except BalancekitError as error:
                problems.extend(error.problems)
        if problems:
            raise BalancekitError(problems)
        return Tables(kept)


class Choices(Held[Any]):
    """What was decided by chapter, as plain JSON; what is handed out is a copy."""

    def _handed_out(self, kept: str) -> Any:
        return json.loads(kept)

    @classmethod
    def of(cls, choices: Mapping[str, Any]) -> Choices:
        """Check choices by chapter.

        Raises
        ------
        BalancekitError : one is not plain JSON, or holds what cannot be saved.
        """
        return choices if isinstance(choices, Choices) else cls({}).put(choices)

    def put(self, changed: Mapping[str, Any]) -> Choices:
        """Return these choices with some put in or replaced; None takes one out."""
        kept = dict(self._kept)
        for chapter, choice in changed.items():
            if choice is None:
                kept.pop(chapter, None)
                continue
            kept[chapter] = _json(chapter, choice)
        return Choices(kept)


def _json(chapter: str, choice: Any) -> str:
    """Return a choice as JSON that comes back as it is."""
    accepted_words(chapter, "The name of a choice", LONGEST_TITLE)
    try:
        _plain(choice)
        text = json.dumps(choice, ensure_ascii=False, allow_nan=False)
        json.loads(text)
    except (TypeError, ValueError, RecursionError, OverflowError) as error:
        raise BalancekitError(
            Problem(
                f"The choice of '{shown(chapter)}' cannot be kept ({shown(str(error))}).",
                "Give words, finite numbers, yes and no, lists and objects with names.",
            )
        ) from None
    return text


def _plain(value: Any, depth: int = 0) -> None:
    """Raise for what JSON would change or cannot hold."""
    if depth > MOST_NESTED:
        raise ValueError("too deep")
    if isinstance(value, Mapping):
        for name, part in value.items():
            if not isinstance(name, str):
                raise TypeError(f"the name {name!r} is not a text")
            _plain(name, depth + 1)
            _plain(part, depth + 1)
    elif isinstance(value, list | tuple):
        for part in value:
            _plain(part, depth + 1)
    elif isinstance(value, str) and _SURROGATE.search(value):
        raise ValueError("half of a character stands in it")
    elif isinstance(value, int) and abs(value) > 2**53:
        raise ValueError("a number is too large")


def accepted_words(text: object, name: str, longest: int = _LONGEST_TEXT) -> str:
    """Return a text that can be kept.

    Raises
    ------
    BalancekitError : no text, too long, or with half of a character in it.
    """
    if not isinstance(text, str):
        raise BalancekitError(Problem(f"{name} is not a text: {shown(repr(text))}.", "Give words."))
    if len(text) > longest:
        message = f"{name} has {len(text)} characters."
        raise BalancekitError(Problem(message, f"Write at most {longest}."))
    if _SURROGATE.search(text):
        message = f"{name} holds half of a character: '{shown(text)}'."
        raise BalancekitError(Problem(message, "Write it again."))
    return str(text)


def accepted_day(day: object) -> str:
    """Return a day in ISO 8601, or "".

    Raises
    ------
    BalancekitError : it is something else.
    """
    if not isinstance(day, str) or not _DAY.fullmatch(day):
        message = f"'{shown(str(day))}' is not a day."
        raise BalancekitError(Problem(message, "Write it as 2026-05-04, or leave it out."))
    return str(day)


def accepted_table(table: pd.DataFrame, kind: TableKind) -> pd.DataFrame:
    """Return a table of its own, typed, with every row that holds something.

    A column that is lacking is filled with "not read"; any other must be of the kind.

    Raises
    ------
    BalancekitError : every problem, with its line, key and column, as reading the file lists them.
    """
    names = [str(name) for name in table.columns]
    needed = {"key"} & set(kind.columns) if len(table) else set()
    if needed - set(names) or set(names) - set(kind.columns) or len(set(names)) < len(names):
        raise BalancekitError(headings_problem(names, kind, f"{kind.name}.csv", 1))
    if len(table) >= MOST_ROWS:
        message = f"There are {len(table)} rows."
        raise BalancekitError(
            Problem(message, f"Give fewer than {MOST_ROWS}.", file=f"{kind.name}.csv")
        )
    problems: list[Problem] = []
    own = table.set_axis(pd.Index(names), axis=1).reset_index(drop=True)
    columns = {name: _column(own[name], name, own, problems, kind) for name in names}
    if problems:
        raise BalancekitError(problems)
    out = typed(pd.DataFrame(columns), kind)
    empty = np.ones(len(out), dtype=bool)
    for name in kind.columns:
        blank = out[name].str.strip().eq("") if name in TEXT_COLUMNS else out[name].isna()
        empty &= blank.to_numpy(dtype=bool)
    return out[~empty].reset_index(drop=True) if empty.any() else out


def beyond(table: pd.DataFrame, key_count: int, name: str) -> list[Problem]:
    """List the rows of a checked table whose key the instrument does not have."""
    if "key" not in table or not len(table) or int(table["key"].max()) <= key_count:
        return []
    rows = np.flatnonzero(table["key"].to_numpy() > key_count)
    return [_problem(int(row), "key", table, key_count, name) for row in rows]


def section_problems(first_keys: Sequence[tuple[int, str]], key_count: int) -> Iterator[Problem]:
    """Find sections that begin beyond the keyboard or where another one begins.

    Parameters
    ----------
    first_keys : first key and name of each section, from the left.
    """
    before = 0
    for first, name in first_keys:
        told = f"The section '{shown(name)}' begins at key {first}"
        if first > key_count:
            yield Problem(f"{told}.", f"Give a whole number, 1 to {key_count}.")
        if first == before:
            yield Problem(f"{told}, as another one does.", "Give each section its own first key.")
        before = first


def _column(
    column: pd.Series, name: str, table: pd.DataFrame, problems: list[Problem], kind: TableKind
) -> pd.Series:
    """Return one column as it is kept; what is wrong with it is added to the problems."""
    if name in TEXT_COLUMNS:
        text = column.astype(object).where(column.notna(), "").map(str)
        wrong = text.str.contains(NOT_TEXT) | (text.str.len() > LONGEST_CELL)
        if name == "read_at":
            wrong |= text.str.strip().ne("")
            text = text.str.strip()
    elif column.dtype.kind in "fiu":
        low, high = _limits(name)
        text = column
        fits = column.between(low, high)
        wrong = ~(fits & (column % 1 == 0) if name == "key" else fits | column.isna())
    else:
        text, wrong = column.astype(object), pd.Series(True, index=column.index)
    if not wrong.any():
        return text
    cells: list[Any] = text.tolist()
    for row in map(int, np.flatnonzero(wrong.to_numpy(dtype=bool))):
        try:
            cells[row] = cell_value(name, _written(column.iat[row]), MOST_KEYS)
        except ValueError:
            problems.append(_problem(row, name, table, MOST_KEYS, kind.name))
    return pd.Series(cells, index=column.index, dtype=object)


def _limits(name: str) -> tuple[float, float]:
    if name == "key":
        return 1, MOST_KEYS
    return QUANTITIES[name].minimum, QUANTITIES[name].maximum


def _written(value: Any) -> str:
    """Return a cell as it would stand in a file."""
    return "" if value is None or value is pd.NA or value != value else str(value)


def _problem(row: int, name: str, table: pd.DataFrame, key_count: int, where: str) -> Problem:
    """Say what is wrong with one cell, in the words of reading a file."""
    message, advice = f"'{shown(_written(table[name].iat[row]))}' cannot be kept.", ""
    try:
        cell_value(name, _written(table[name].iat[row]), key_count)
    except ValueError as error:
        message, _, advice = str(error).partition("|")
    at = _written(table["key"].iat[row]).removesuffix(".0") if "key" in table else ""
    key = int(at) if name != "key" and re.fullmatch("[0-9]{1,2}", at) else None
    return Problem(message, advice, file=f"{where}.csv", line=row + 2, key=key, column=name)
