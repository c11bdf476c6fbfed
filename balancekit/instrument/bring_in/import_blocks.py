"""Tables that are not one row of headings above all rows: side by side, or without headings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from balancekit.instrument.bring_in.import_heading_row import header_cells
from balancekit.instrument.bring_in.import_headings import plain_heading, read_heading, written
from balancekit.instrument.bring_in.import_numbers import looks_like_number
from balancekit.instrument.bring_in.import_parts import Cell, RawTable, blank

_FEWEST_NUMBERS = 2
"""Numbers in a row of readings: a key and one reading."""
_MOST_OTHERS = 0.5
"""Share of the rows that may hold fewer. Both are our own choice."""


def without_headings(table: RawTable) -> RawTable | None:
    """Return a table of numbers without headings with an empty row of them; None if it is none."""
    filled = [row for _, row in table.rows if not all(blank(cell) for cell in row)]
    numbers = [sum(looks_like_number(cell) for cell in row) >= _FEWEST_NUMBERS for row in filled]
    if len(filled) < _FEWEST_NUMBERS or sum(numbers) <= _MOST_OTHERS * len(filled):
        return None
    width = max(len(row) for row in filled)
    return replace(table, rows=[(0, [None] * width), *table.rows])


def below_each_other(table: RawTable, position: int) -> tuple[RawTable, int]:
    """Put tables that stand side by side, with the same headings, one below the other.

    Returns
    -------
    the table, and in how many blocks it stood.
    """
    headings = [plain_heading(written(cell)) for cell in header_cells(table, position)]
    keys = [at for at, heading in enumerate(headings) if _is_key(heading)]
    if len(keys) < 2:
        return table, 1
    width = keys[1] - keys[0]
    first = _start(headings, keys[0], width)
    if first is None:
        return table, 1
    starts = [first + (key - keys[0]) for key in keys]
    if any(_block(headings, start, width) != _block(headings, first, width) for start in starts):
        return table, 1
    line, row = table.rows[position]
    rows: list[tuple[int, Sequence[Cell]]] = [
        *table.rows[:position],
        (line, _cut(row, first, width)),
    ]
    for start in starts:
        cut = ((at, _cut(cells, start, width)) for at, cells in table.rows[position + 1 :])
        rows += [(at, cells) for at, cells in cut if not all(blank(cell) for cell in cells)]
    return replace(table, rows=rows, merges=()), len(starts)


def _is_key(heading: str) -> bool:
    return read_heading(heading).columns == ("key",) if heading else False


def _start(headings: list[str], key: int, width: int) -> int | None:
    """Return where the first block begins: with its key column, or with one before it."""
    for start in range(max(0, key - width + 1), key + 1):
        if _block(headings, start, width) == _block(headings, start + width, width):
            return start
    return None


def _block(headings: list[str], start: int, width: int) -> list[str]:
    block = headings[start : start + width]
    return block + [""] * (width - len(block))


def _cut(cells: Sequence[Cell], start: int, width: int) -> list[Cell]:
    cut = list(cells[start : start + width])
    return cut + [None] * (width - len(cut))
