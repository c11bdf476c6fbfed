"""Which key a row belongs to: a column of numbers, of note names, or the order of the rows."""

from __future__ import annotations

from collections.abc import Sequence

from balancekit.calculation.keyboard import note_number
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.instrument.bring_in.import_heading_row import Rows
from balancekit.instrument.bring_in.import_numbers import Fault, looks_like_number, read_key
from balancekit.instrument.bring_in.import_parts import (
    ANSWERED,
    Answers,
    Cell,
    Question,
    RawTable,
    blank,
    quoted_cell,
)
from balancekit.instrument.bring_in.import_source import Source, TableLayout, take

WHICH_KEY = "which: key"
"""Id of the question which column says the key."""

IN_ORDER = "in order"
"""The answer that the rows are keys 1, 2, 3 in their order."""

_LOOKED_AT = 200


def values_of(source: Source, body: Rows) -> list[Cell]:
    """Return what stands in the first cells of a column."""
    start = (row[source.index] for _, row in body[:_LOOKED_AT] if source.index < len(row))
    return [cell for cell in start if not blank(cell)]


def mostly_numbers(source: Source, body: Rows) -> bool:
    """Say whether more than half of a column are numbers."""
    values = values_of(source, body)
    return 2 * sum(looks_like_number(value) for value in values) > len(values)


def note_names(source: Source, body: Rows) -> bool:
    """Say whether a column holds note names, in nearly each row."""
    values = values_of(source, body)
    if len(values) < max(2, len(body[:_LOOKED_AT])):
        return False
    return all(_note(value) is not None for value in values)


def need_key(
    table: RawTable, layout: TableLayout, answers: Answers, body: Rows, key_count: int
) -> None:
    """Ask what says the key where no heading does; else say that it is missing."""
    if "key" in layout.taken or any(q.id == WHICH_KEY for q in answers.open):
        return
    numbers = [s for s in layout.sources if not s.known and _can_be_key(s, body, key_count)]
    names = [s for s in layout.sources if s.column in (None, "note") and note_names(s, body)]
    choices = [(source.heading, source.heading) for source in numbers]
    choices += [(source.heading, f"{source.heading}, by its note names") for source in names]
    ordered = sum(_has_number(row) for _, row in body)
    if 1 < ordered <= key_count:
        choices.append((IN_ORDER, f"none: the rows are keys 1 to {ordered} in their order"))
    if not choices:
        layout.problems.append(_no_key(table, layout, key_count))
        return
    question = Question(WHICH_KEY, "Which column holds the key number?", tuple(choices))
    answer = answers.ask(question)
    layout.in_order = answer == IN_ORDER
    for source in (*numbers, *names):
        if source.heading == answer:
            take(source, "key")
            source.how = ANSWERED
            source.by_note = source in names and source not in numbers
            answers.open[:] = [q for q in answers.open if q.id != source.meaning_id]


def key_of(cell: Cell, source: Source, layout: TableLayout, key_count: int) -> int | Fault:
    """Return the key that one cell says, or what is wrong with it."""
    if not source.by_note or blank(cell):
        return read_key(cell, key_count)
    number = _note(cell)
    if number is None:
        return Fault(f"'{quoted_cell(cell)}' is not a note name.", "Write it as C4 or F#3.")
    return read_key(float(number - layout.first_note_number + 1), key_count)


def _no_key(table: RawTable, layout: TableLayout, key_count: int) -> Problem:
    return Problem(
        "No column holds the key number.",
        f"Head one column 'key' and number the keys 1 to {key_count} from the left.",
        file=table.place,
        line=layout.line,
    )


def _has_number(row: Sequence[Cell]) -> bool:
    return any(looks_like_number(cell) for cell in row)


def _note(cell: Cell) -> int | None:
    try:
        return note_number(str(cell).strip())
    except BalancekitError:
        return None


def _can_be_key(source: Source, body: Rows, key_count: int) -> bool:
    """Say whether all numbers of a column are key numbers, and most cells are numbers."""
    numbers = [value for value in values_of(source, body) if looks_like_number(value)]
    keys = [read_key(value, key_count) for value in numbers]
    sound = not any(isinstance(key, Fault) for key in keys)
    return mostly_numbers(source, body) and sound
