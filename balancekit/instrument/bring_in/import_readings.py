"""Bring in readings from what people have: text or workbook, shown before it is taken.

Works on the bytes of a file and opens none. Nothing is guessed: what is not
clear comes back as questions, and the same call with the answers goes on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from balancekit.calculation.keyboard import MOST_KEYS, keyboard, note_number
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.instrument.bring_in.import_blocks import below_each_other, without_headings
from balancekit.instrument.bring_in.import_columns import understand_columns
from balancekit.instrument.bring_in.import_heading_row import (
    find_heading_row,
    header_cells,
    heading_score,
)
from balancekit.instrument.bring_in.import_headings import (
    COLUMNS,
    label,
    plain_heading,
    read_heading,
    written,
)
from balancekit.instrument.bring_in.import_kind import kind_of
from balancekit.instrument.bring_in.import_parts import (
    LEAVE_OUT,
    Answers,
    Cell,
    Heading,
    LeftOut,
    Question,
    RawTable,
    blank,
)
from balancekit.instrument.bring_in.import_rows import Body, read_rows
from balancekit.instrument.bring_in.import_source import TableLayout
from balancekit.instrument.bring_in.import_text import read_text
from balancekit.instrument.bring_in.import_workbook import read_workbook
from balancekit.instrument.doubts import Doubt, find_doubts
from balancekit.instrument.tables import TABLES

__all__ = ["LEAVE_OUT", "Heading", "LeftOut", "Question", "Understood", "understand"]

_MOST_READ = 0.9
"""Share of the keys up to the highest that must be read before that one is the last key."""
_FEWEST_KEYS = 73
# Our own choices: a smaller table is more likely a part of a keyboard.

SHEET = "sheet"
"""Id of the question which sheet of a workbook is taken."""


@dataclass(frozen=True)
class Understood:
    """What was made of one file; nothing is taken yet.

    Attributes
    ----------
    file : name of the file.
    kind : what kind of file it is, in words: encoding, delimiter, decimal sign, or sheet.
    headings : each heading, and what was made of it.
    rows_used : how many rows hold readings.
    rows_left_out : lines that are not taken, with the reason.
    blank_rows : how many rows below the headings held nothing.
    questions : what only the user can say; answer by id and call again.
    readings : table of kind "readings"; empty while a question is open.
    doubts : what can be, but looks like a slip.
    remarks : what else the user should know, one sentence each.
    key_count : number of keys that was given, or taken from the file.
    """

    file: str
    kind: str
    headings: tuple[Heading, ...] = ()
    rows_used: int = 0
    rows_left_out: tuple[LeftOut, ...] = ()
    blank_rows: int = 0
    questions: tuple[Question, ...] = ()
    readings: pd.DataFrame = field(default_factory=TABLES["readings"].empty)
    doubts: tuple[Doubt, ...] = ()
    remarks: tuple[str, ...] = ()
    key_count: int = 88


def understand(
    data: bytes,
    file_name: str,
    *,
    key_count: int | None = 88,
    answers: Mapping[str, str] | None = None,
    remembered: Mapping[str, str] | None = None,
    reading_u: Mapping[str, float] | None = None,
    first_note: str = "A0",
) -> Understood:
    """Understand a file of readings.

    Parameters
    ----------
    data : the bytes of the file: CSV, TSV or .xlsx.
    file_name : its name, for messages.
    key_count : number of keys of the instrument; None to take it from the file.
    answers : answers to questions of an earlier call, by question id. The id of a heading
        (``Heading.answer_id``), or the heading itself, assigns it to a column, or leaves it out.
    remembered : what headings meant in earlier files, by heading.
    reading_u : standard uncertainty of one reading by column, for the doubts; from the register
        of quantities if not given.
    first_note : note name of key 1, for the doubts.

    Raises
    ------
    BalancekitError : the file cannot be taken; every problem is listed.

    References
    ----------
    RFC 4180 (CSV); ECMA-376 (.xlsx).

    >>> found = understand(b"Key;Down weight [g]\\r\\n8;51,5\\r\\n", "bench.csv", key_count=8)
    >>> found.kind
    'text in UTF-8, semicolon between the columns, decimal comma'
    >>> found.readings["key"].tolist(), found.readings["down_weight_g"].tolist()
    ([8], [51.5])
    """
    keyboard(key_count or 1, first_note)
    most = key_count or MOST_KEYS
    given = Answers(dict(answers or {}), remembered=remembered or {})
    kind = kind_of(data, file_name)
    if kind == "text":
        table: RawTable | None = read_text(
            data, file_name, lambda rows: heading_score(rows, given.given)
        )
        others: list[str] = []
    else:
        table, others = _choose_sheet(read_workbook(data, file_name), given)
    if table is None:
        return Understood(file_name, "workbook", questions=tuple(given.open))
    table, blocks, layout = _layout(table, given, most, note_number(first_note))
    body = read_rows(table, layout, given, most)
    _raise_all([*table.problems, *layout.problems, *body.problems])
    if key_count is None:
        key_count = _keys_of(body)
    if blocks > 1:
        others.append(f"{blocks} tables stand side by side; they are taken one below the other.")
    return _understood(file_name, table, layout, body, given, others, reading_u, key_count,
                       first_note)  # fmt: skip


def _understood(
    file_name: str,
    table: RawTable,
    layout: TableLayout,
    body: Body,
    given: Answers,
    others: Sequence[str],
    reading_u: Mapping[str, float] | None,
    key_count: int,
    first_note: str,
) -> Understood:
    doubts: tuple[Doubt, ...] = ()
    readings = TABLES["readings"].empty() if body.readings is None else body.readings
    if not given.open:
        stated = reading_u or {n: QUANTITIES[n].reading_u or 0.0 for n in READING_COLUMNS}
        doubts = find_doubts(readings, stated, key_count, first_note)
    unused = [f"The answer to '{name}' was not needed." for name in given.unused()]
    words = f"{table.kind}, {body.decimal.words}" if table.sheet is None else table.kind
    return Understood(
        file=file_name,
        kind=words,
        headings=layout.headings,
        rows_used=len(readings),
        rows_left_out=tuple(body.left_out),
        blank_rows=body.blank_rows,
        questions=tuple(given.open),
        readings=readings,
        doubts=doubts,
        remarks=(*others, *body.remarks, *unused),
        key_count=key_count,
    )


def _keys_of(body: Body) -> int:
    """Take the number of keys from the readings, and say what was taken."""
    if body.readings is None:
        return 88
    read = {int(key) for key in body.readings["key"]}
    highest = max(read)
    every = len(read) >= _MOST_READ * highest and highest >= _FEWEST_KEYS
    count = highest if every else max(88, highest)
    if every and highest != 88:
        body.remarks.append(
            f"Keys 1 to {highest} are read and none above: it is taken as a piano of {highest} "
            "keys. Say its number of keys if that is wrong."
        )
    return count


def _layout(
    table: RawTable, given: Answers, key_count: int, first_note_number: int
) -> tuple[RawTable, int, TableLayout]:
    """Find the headings and what they mean; also return the table, in order, and its blocks.

    Raises
    ------
    BalancekitError : it is no table, or the columns cannot be told apart.
    """
    position = find_heading_row(table, given.given)
    if position is None:
        bare = without_headings(table)
        if bare is None:
            raise BalancekitError(table.problems or _no_headings(table))
        table, position = bare, 0
    table, blocks = below_each_other(table, position)
    _name_headings(header_cells(table, position), given)
    layout = understand_columns(table, position, given, key_count, first_note_number)
    if layout.problems and "key" not in layout.taken:
        _raise_all([*table.problems, *layout.problems])
    return table, blocks, layout


def _name_headings(cells: Sequence[Cell], given: Answers) -> None:
    """Let an answer name a heading alone, and a column by its words."""
    headings = {plain_heading(written(cell)): written(cell) for cell in cells if not blank(cell)}
    words = {label(column).partition(" (")[0]: column for column in COLUMNS}
    named = {}
    for name, answer in given.given.items():
        bare = name.removeprefix("meaning: ")
        heading = headings.get(plain_heading(bare)) if name != SHEET else None
        if heading is None:
            named[name] = answer
        else:
            named[f"meaning: {heading}"] = words.get(answer.casefold(), answer)
    given.given = named


def _no_headings(table: RawTable) -> Problem:
    filled = [line for line, row in table.rows if not all(blank(cell) for cell in row)]
    if not filled:
        return Problem(
            "The file is empty.",
            "Save the readings again and bring that file in.",
            file=table.place,
        )
    return Problem(
        "No row of headings is found, so no column holds the key number.",
        "Put a row of headings above the readings: key, down_weight_g, up_weight_g and so on, "
        "with comma, semicolon or tab between them.",
        file=table.place,
        line=filled[0],
    )


def _choose_sheet(tables: Sequence[RawTable], given: Answers) -> tuple[RawTable | None, list[str]]:
    """Return the sheet with readings, and a remark on the others; None if it must be asked."""
    with_key = [table for table in tables if _looks_like_readings(table, given)]
    with_headings = [t for t in tables if find_heading_row(t, given.given) is not None]
    fitting = with_key or with_headings or list(tables[:1])
    chosen: RawTable | None = fitting[0]
    if len(fitting) > 1:
        names = tuple((str(table.sheet), f"sheet '{table.sheet}'") for table in fitting)
        text = "More than one sheet looks like readings. Which one is taken?"
        answer = given.ask(Question(SHEET, text, names))
        chosen = next((table for table in fitting if table.sheet == answer), None)
    if chosen is None:
        return None, []
    others = [table for table in tables if table is not chosen]
    return chosen, [f"The sheet '{table.sheet}' is not taken." for table in others]


def _looks_like_readings(table: RawTable, given: Answers) -> bool:
    """Say whether a sheet has headings for the key and for at least one reading."""
    position = find_heading_row(table, given.given)
    if position is None:
        return False
    meanings = [read_heading(written(cell)) for cell in header_cells(table, position)]
    columns = {column for meaning in meanings for column in meaning.columns}
    return "key" in columns and bool(columns & set(READING_COLUMNS))


def _raise_all(problems: list[Problem]) -> None:
    """Raise what was found, in the order of the lines."""
    if problems:
        raise BalancekitError(sorted(problems, key=lambda problem: problem.line or 0))
