"""The rows under the headings: which are readings, and what each cell says."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import partial

import pandas as pd

from balancekit.calculation.problems import Problem
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.calculation.words import plural
from balancekit.instrument.bring_in.import_cells import Cells
from balancekit.instrument.bring_in.import_headings import label
from balancekit.instrument.bring_in.import_keys import key_of
from balancekit.instrument.bring_in.import_numbers import (
    DecimalSign,
    Fault,
    find_decimal_sign,
    looks_like_number,
)
from balancekit.instrument.bring_in.import_parts import (
    LEAVE_OUT,
    MOST_FILE_ROWS,
    Answers,
    Cell,
    LeftOut,
    Question,
    RawTable,
    blank,
    quoted_cell,
    row_in_short,
)
from balancekit.instrument.bring_in.import_source import Source, TableLayout
from balancekit.instrument.bring_in.import_text import too_many_rows
from balancekit.instrument.marked import marks_text
from balancekit.instrument.table_files import check_time
from balancekit.instrument.tables import TABLES, typed
from balancekit.instrument.write_table import without_guard

_TOTALS = (
    r"(?:grand |sub-?)?(?:totals?|sums?|means?|averages?|avg|medians?|minimum|maximum|min|max|"
    r"lowest|highest|count|range|spread|standard deviation|std\.? ?dev\.?|stdev)"
)
_TOTALS_ALONE = re.compile(_TOTALS + r"\.?:?", re.IGNORECASE)
_TOTALS_START = re.compile(_TOTALS + r"\b", re.IGNORECASE)
_WORDS = re.compile(r"[^\W\d_]{2,}\W+[^\W\d_]{2,}")


@dataclass
class Body:
    """What the rows gave.

    Attributes
    ----------
    readings : table of kind "readings"; None while a question is open.
    left_out : lines that were not taken, with the reason.
    blank_rows : how many rows held nothing.
    decimal : how the numbers are written.
    remarks : what else the user should know.
    problems : what is wrong with single cells.
    """

    readings: pd.DataFrame | None = None
    left_out: list[LeftOut] = field(default_factory=list)
    blank_rows: int = 0
    decimal: DecimalSign = field(default_factory=DecimalSign)
    remarks: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def read_rows(table: RawTable, layout: TableLayout, answers: Answers, key_count: int) -> Body:
    """Turn the rows below the headings into readings.

    Parameters
    ----------
    table : the cells.
    layout : where the headings stand and what each column is; it has no problems.
    answers : answers given, and where a question is kept.
    key_count : number of keys of the instrument.
    """
    body = Body()
    body.left_out += _above(table, layout)
    rows = _rows_of_keys(table, layout, body)
    if len(rows) > MOST_FILE_ROWS:
        body.problems.append(too_many_rows(table.place))
        return body
    numbers = [source for name, source in layout.taken.items() if name in QUANTITIES]
    cells = ((s.column or "", s.factor, _at(row, s)) for _, row in rows for s in numbers)
    body.decimal = find_decimal_sign(cells, answers, table.delimiter in (";", "\t"))
    body.remarks += _merged_values(table, layout, numbers)
    columns = _values(table, layout, rows, body, answers, key_count)
    if not rows and not table.problems:
        body.problems.append(_no_rows(table, layout))
    if not answers.open and not body.problems:
        body.readings = typed(pd.DataFrame(columns), TABLES["readings"])
    return body


def _no_rows(table: RawTable, layout: TableLayout) -> Problem:
    return Problem(
        "There are headings and no readings below them.",
        "Give each key that was weighed a row of its own, with its number.",
        file=table.place,
        line=layout.line,
    )


def _at(row: Sequence[Cell], source: Source) -> Cell:
    return row[source.index] if source.index < len(row) else None


def _above(table: RawTable, layout: TableLayout) -> Iterator[LeftOut]:
    yield from table.left_out
    for line, row in table.rows[: layout.position]:
        if not all(blank(cell) for cell in row):
            yield LeftOut(line, row_in_short(row), "stands above the headings")


Rows = list[tuple[int, Sequence[Cell]]]


def _rows_of_keys(table: RawTable, layout: TableLayout, body: Body) -> Rows:
    """Keep the rows that are to hold readings; note the others with the reason."""
    headings = [cell for cell in table.rows[layout.position][1] if not blank(cell)]
    key = layout.taken.get("key")
    rows: Rows = []
    last_line = layout.line
    for position, (line, cells) in enumerate(
        table.rows[layout.position + 1 :], layout.position + 1
    ):
        body.blank_rows += max(0, line - last_line - 1) if table.sheet is not None else 0
        last_line = line
        filled = [cell for cell in cells if not blank(cell)]
        if not filled:
            body.blank_rows += 1
        elif position == layout.units_position:
            body.left_out.append(LeftOut(line, row_in_short(cells), "names the units"))
        elif filled == headings:
            body.left_out.append(LeftOut(line, row_in_short(cells), "repeats the headings"))
        elif key is not None and _is_total(_at(cells, key), filled):
            body.left_out.append(
                LeftOut(line, row_in_short(cells), "is a row of totals, not of a key")
            )
        else:
            rows.append((line, cells))
    rows = _with_merged_keys(table, layout, rows, body)
    return _without_remarks_below(rows, body)


def _is_total(key: Cell, filled: Sequence[Cell]) -> bool:
    """Say whether a row with no key number is named as a total or mean."""
    if isinstance(key, str) and _TOTALS_START.match(key.strip()):
        return True
    words = (cell for cell in filled if isinstance(cell, str))
    return blank(key) and any(_TOTALS_ALONE.fullmatch(word.strip()) for word in words)


def _without_remarks_below(rows: Rows, body: Body) -> Rows:
    """Leave out lines of words at the end of the table."""
    kept = list(rows)
    below: list[LeftOut] = []
    while kept:
        line, cells = kept[-1]
        filled = [cell for cell in cells if not blank(cell)]
        if len(filled) != 1 or not isinstance(filled[0], str) or not _WORDS.search(filled[0][:500]):
            break
        below.append(LeftOut(line, row_in_short(cells), "is a line of words below the readings"))
        kept.pop()
    body.left_out += reversed(below)
    return kept


def _with_merged_keys(table: RawTable, layout: TableLayout, rows: Rows, body: Body) -> Rows:
    """Give each row of a merged key cell that key: its rows are repeat readings."""
    key = layout.taken.get("key")
    if key is None:
        return rows
    column = key.index + 1
    merges = sorted(
        (m for m in table.merges if m.left <= column <= m.right and m.bottom > m.top),
        key=lambda merge: merge.top,
    )
    if not merges:
        return rows
    tops = [merge.top for merge in merges]
    by_line = dict(rows)
    filled: Rows = []
    for line, cells in rows:
        merge = merges[max(0, bisect_left(tops, line) - 1)]
        if merge.top < line <= merge.bottom and merge.top in by_line and blank(_at(cells, key)):
            value = _at(by_line[merge.top], key)
            cells = [*cells, *[None] * (column - len(cells))]
            cells[key.index] = value
            body.remarks.append(
                f"Line {line} is under the merged cell of key {quoted_cell(value)}: it is taken as "
                "a repeat reading of that key."
            )
        filled.append((line, cells))
    return filled


def _merged_values(
    table: RawTable, layout: TableLayout, numbers: Sequence[Source]
) -> Iterator[str]:
    """Say of which merged cells only the first row or column is taken."""
    for merge in table.merges:
        columns = [s for s in numbers if merge.left <= s.index + 1 <= merge.right]
        if merge.bottom > layout.line and columns and merge.top > layout.line:
            yield (
                f"Merged cells in line {merge.top} to {merge.bottom}, column "
                f"'{columns[0].heading}': the value is taken for line {merge.top} and the first "
                "column alone."
            )


def _too_long(table: RawTable, layout: TableLayout, line: int, row: Sequence[Cell]) -> Problem:
    """Refuse a row of a text file with more cells than there are headings."""
    return Problem(
        f"The row has {plural(len(row), 'cell')}, the headings have {layout.width}.",
        "Put a cell that holds the delimiter, as a decimal comma may be, into quotation marks.",
        file=table.place,
        line=line,
    )


ROWS = "rows"
"""Id of the question whether rows that are no readings are left out."""


def _values(
    table: RawTable, layout: TableLayout, rows: Rows, body: Body, answers: Answers, key_count: int
) -> dict[str, list[object]]:
    """Read each cell; what cannot be is left open and marked, what is unclear is asked."""
    taken = layout.taken
    columns: dict[str, list[object]] = {name: [] for name in (*taken, "note", "doubted")}
    when = taken.get("read_at")
    if layout.in_order:
        columns["key"] = []
    notes = [source for source in layout.sources if source.column == "note"]
    cells = Cells(answers, body.decimal)
    odd: list[tuple[LeftOut, Problem]] = []
    short = 0
    for line, row in rows:
        key = _key(row, layout, key_count, len(columns["note"]))
        if isinstance(key, Fault):
            problem = _at_place(table, line, None, "key", key)
            odd.append(
                (LeftOut(line, row_in_short(row), "is no reading of a key, as you said"), problem)
            )
            continue
        if table.sheet is None and not all(blank(cell) for cell in row[layout.width :]):
            problem = _too_long(table, layout, line, row)
            odd.append(
                (LeftOut(line, row_in_short(row), "has too many cells, as you said"), problem)
            )
            continue
        short += len(row) < layout.width
        words = [text for text in (_note(_at(row, source)) for source in notes) if text]
        place = f"line {line}" + (f" (key {key})" if key else "")
        time = _time(_at(row, when), words.append) if when else ""
        own = {name: source for name, source in taken.items() if name in QUANTITIES}
        for number, sources in enumerate([own, *layout.repeats]):
            if number and all(blank(_at(row, source)) for source in sources.values()):
                continue
            marks: dict[str, str] = {}
            read = {
                name: cells.read(_at(row, source), source, f"{place}, {label(name)}", words.append,
                                 partial(marks.__setitem__, name))
                for name, source in sources.items()
            }  # fmt: skip
            for name in own:
                columns[name].append(read.get(name, float("nan")))
            if "key" in columns:
                columns["key"].append(key)
            if when:
                columns["read_at"].append(time)
            columns["note"].append("; ".join([*words, *_widths_that_cannot_be(marks)]))
            columns["doubted"].append(marks_text(marks))
            words = []
    if table.sheet is None and short:
        told = "is shorter" if short == 1 else "are shorter"
        body.remarks.append(f"{plural(short, 'row')} {told} than the headings: the rest is empty.")
    _settle_odd(odd, len(rows), body, answers)
    cells.ask()
    return columns


def _settle_odd(
    odd: list[tuple[LeftOut, Problem]], rows: int, body: Body, answers: Answers
) -> None:
    """Ask once for all rows that are no readings; with too many of them the key is at fault."""
    if not odd:
        return
    wrong = [problem for left, problem in odd if _WRONG_NUMBER.match(left.text)]
    if len(odd) == rows or len(wrong) > max(2, rows / 5):
        body.problems += [problem for _, problem in odd]
        return
    few = "; ".join(f"line {left.line}: {left.text}" for left, _ in odd[:5])
    more = f"; and {len(odd) - 5} more" if len(odd) > 5 else ""
    answer = answers.ask(
        Question(
            ROWS,
            f"{plural(len(odd), 'row')} cannot be readings of a key ({few}{more}). "
            "Are they left out?",
            ((LEAVE_OUT, "yes, leave them all out"), ("refuse", "no, I mend the file first")),
        )
    )
    if answer == "refuse":
        body.problems += [problem for _, problem in odd]
    else:
        body.left_out += [left for left, _ in odd]


_WRONG_NUMBER = re.compile(r"[-+.0-9]")


def _at_place(table: RawTable, line: int, key: int | None, column: str, fault: Fault) -> Problem:
    return Problem(fault.message, fault.advice, table.place, line, key, column)


def _key(row: Sequence[Cell], layout: TableLayout, key_count: int, before: int) -> int | Fault:
    """Return the key of a row, 0 while that is asked."""
    source = layout.taken.get("key")
    if source is None and layout.in_order:
        cells = (_at(row, each) for each in layout.taken.values())
        if any(looks_like_number(cell) for cell in cells):
            return before + 1
        return Fault("The row holds no reading.", "Leave it out.")
    if source is None:
        return 0
    cell = _at(row, source)
    if blank(cell):
        return Fault(
            "The key number is missing.",
            f"Write it, 1 to {key_count} from the left, on each row; a row of totals is left out "
            "if the word Total stands in place of the key.",
        )
    return key_of(cell, source, layout, key_count)


def _note(cell: Cell) -> str:
    """Return a remark as it is, without the apostrophe that guards a spreadsheet."""
    if cell is None:
        return ""
    text = cell if isinstance(cell, str) else quoted_cell(cell)
    return without_guard(text)


def _time(cell: Cell, note: Callable[[str], None]) -> str:
    """Return day and time in ISO 8601; what is none of that stays as a remark."""
    if isinstance(cell, date):
        return cell.isoformat()
    text = "" if blank(cell) else quoted_cell(cell)
    try:
        check_time(text)
    except ValueError:
        if text:
            note(f"{label('read_at')}: {text}")
        return ""
    return text


def _widths_that_cannot_be(marks: dict[str, str]) -> list[str]:
    """Take the columns that are no readings out of the marks, and say them in the remark."""
    others = [name for name in marks if name not in READING_COLUMNS]
    return [f"{label(name)}: {marks.pop(name)}" for name in others]
