"""Which row of a table holds the headings."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TypeAlias

from balancekit.instrument.bring_in.import_headings import guesses, read_heading, written
from balancekit.instrument.bring_in.import_numbers import looks_like_number
from balancekit.instrument.bring_in.import_parts import MOST_COLUMNS, Cell, RawTable, blank

Rows: TypeAlias = Sequence[tuple[int, Sequence[Cell]]]

_LOOKED_AT = 80
"""Rows among which the headings are searched. Our own choice."""

_LETTER = re.compile(r"[^\W\d_]|#")


def _recognised(cell: Cell, given: Mapping[str, str]) -> bool:
    if not isinstance(cell, str) or not _LETTER.search(cell):
        return False
    heading = written(cell)
    return (
        read_heading(heading).kind != "unknown"
        or f"meaning: {heading}" in given
        or heading in given
        or bool(guesses(heading))
        or heading in given.values()
    )


def heading_score(rows: Rows, given: Mapping[str, str]) -> int:
    """Count the headings understood in the row that has most of them."""
    return max((_score(row, given) for _, row in rows[:_LOOKED_AT]), default=0)


def _score(row: Sequence[Cell], given: Mapping[str, str]) -> int:
    return sum(_recognised(cell, given) for cell in row)


def find_heading_row(table: RawTable, given: Mapping[str, str]) -> int | None:
    """Return the position of the row of headings among the rows, or None.

    It is the row with most headings understood. Where none is understood, it is the first
    row of words alone with numbers in the row below, and last a heading that stands alone.
    """
    rows = [(line, header_cells(table, i)) for i, (line, _) in enumerate(table.rows[:_LOOKED_AT])]
    scores = [_score(row, given) for _, row in rows]
    alone = [sum(not blank(cell) for cell in row) == 1 for _, row in rows]
    best = max(range(len(rows)), key=lambda i: 0 if alone[i] else scores[i], default=None)
    if best is not None and scores[best] and not alone[best]:
        return best
    words = _row_of_words(rows)
    if words is not None:
        return words
    return next((i for i, score in enumerate(scores) if score), None)


def _row_of_words(rows: Rows) -> int | None:
    for position in range(len(rows) - 1):
        filled = [cell for cell in rows[position][1] if not blank(cell)]
        words = all(isinstance(cell, str) and not looks_like_number(cell) for cell in filled)
        below = sum(looks_like_number(cell) for cell in rows[position + 1][1])
        if len(filled) >= 2 and words and below >= 2:
            return position
    return None


def header_cells(table: RawTable, position: int) -> list[Cell]:
    """Return the cells of a row, with what is merged down into it from above."""
    line, row = table.rows[position]
    cells = list(row)
    for merge in table.merges:
        if merge.top < line <= merge.bottom and merge.left <= MOST_COLUMNS:
            above = next((r for at, r in table.rows[:position] if at == merge.top), ())
            if merge.left <= len(above):
                cells += [None] * (merge.left - len(cells))
                if blank(cells[merge.left - 1]):
                    cells[merge.left - 1] = above[merge.left - 1]
    return cells
