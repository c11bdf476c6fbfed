"""Twelve people write down one afternoon's readings, each in their own way.

Invented: the village hall's grand. ``READ`` is what was read; each writer turns it into a file
and says with which answers it is taken. A key or reading that a writer spoils is named.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import openpyxl
import pandas as pd

from balancekit.calculation.keyboard import keyboard

KEYS = 88
OUNCE_G = 28.349523125
# NIST Special Publication 811 (2008), appendix B.8.


def _read() -> pd.DataFrame:
    draw, place = np.random.default_rng(88), np.linspace(0.0, 1.0, KEYS)
    columns = {
        "down_weight_g": np.round(53 - 5 * place + draw.normal(0, 0.7, KEYS)),
        "up_weight_g": np.round(25 + 2 * place + draw.normal(0, 0.7, KEYS)),
        "front_weight_g": np.round(29 - 30 * place + draw.normal(0, 0.3, KEYS), 1),
        "strike_weight_g": np.round(11.4 - 5.6 * place + draw.normal(0, 0.1, KEYS), 1),
    }
    return pd.DataFrame(columns, index=pd.RangeIndex(1, KEYS + 1, name="key"))


READ = _read()
"""What was read: down, up, front and strike weight by key [g]."""

NOTES = keyboard(KEYS)["note_name"]
DOWN, UP, FRONT, STRIKE = READ.columns


@dataclass(frozen=True)
class Written:
    """One file, and how it is taken.

    Attributes
    ----------
    name, data : of the file.
    answers : by question; as many as a person gives in the panel.
    open : readings that cannot be read back, by key and column.
    has : the columns that the writer has.
    """

    name: str
    data: bytes
    answers: dict[str, str] = field(default_factory=dict)
    open: frozenset[tuple[int, str]] = frozenset()
    has: tuple[str, ...] = (DOWN, UP, FRONT, STRIKE)


Rows = list[list[object]]


def _number(value: float, sign: str = ".") -> str:
    return f"{value:g}".replace(".", sign)


def _rows(sign: str = ".", columns: Sequence[str] = (DOWN, UP, FRONT, STRIKE)) -> Rows:
    return [
        [str(key), *(_number(READ.at[key, name], sign) for name in columns)] for key in READ.index
    ]


def _text(rows: Iterable[Sequence[object]], between: str, encoding: str = "utf-8") -> bytes:
    return "\r\n".join(between.join(map(str, row)) for row in rows).encode(encoding)


def _workbook(rows: Iterable[Sequence[object]], title: str = "Sheet1") -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = title
    for row in rows:
        sheet.append([_cell(value) for value in row])
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def _cell(value: object) -> object:
    try:
        return float(str(value)) if value != "" else None
    except ValueError:
        return value


def an_afternoon() -> Written:
    """Title, client line, blank rows, short headings, remarks, two slips, a count of leads."""
    rows = _rows()
    for row in rows:
        row.append(str(3 if int(str(row[0])) < 60 else 1))
    rows[4][1] = "n/a"
    rows[11][1] = "38,5"
    rows[39][1] = "520"
    rows[60][4] = "n/a"
    rows[70].append("bushing rubs")
    table: Rows = [["Village hall grand"], ["Client: the parish"], [],
                   ["Key", "Dn. wt.", "Up wt.", "Frnt wt.", "Strk wt.", "leads", "remark"],
                   *rows, [], ["written on the train"]]  # fmt: skip
    answers = {"Dn. wt.": DOWN, "Up wt.": UP, "Frnt wt.": FRONT, "Strk wt.": STRIKE,
               "word: n/a": "not read"}  # fmt: skip
    spoiled = {(5, DOWN), (12, DOWN), (40, DOWN), (61, STRIKE)}
    return Written("afternoon.csv", _text(table, "\t"), answers, frozenset(spoiled))


def with_semicolons() -> Written:
    """Semicolons and decimal commas, sections between the rows, totals and a signature below."""
    rows = _rows(",")
    for at, name in ((68, "Treble"), (43, "Middle"), (20, "Tenor"), (0, "Bass")):
        rows.insert(at, [name, "", "", "", ""])
    rows += [["Mean", "50,5", "26", "14", "8,6"], ["signed, the caretaker", "", "", "", ""]]
    head = ["Key", "Down weight", "Up weight", "Front weight", "Strike weight"]
    data = _text([head, *rows], ";", "windows-1252")
    return Written("hall.csv", data, {"rows": "leave out"})


def in_another_language() -> Written:
    """Headings in words that are not known here, and a dash for what was not read."""
    rows = _rows(",")
    rows[9][3] = "–"
    head = ["Taste", "Niedergewicht", "Aufgewicht", "Vorn", "Hammer"]
    answers = {"Taste": "key", "Niedergewicht": DOWN, "Aufgewicht": UP, "Vorn": FRONT,
               "Hammer": STRIKE, "word: –": "not read"}  # fmt: skip
    return Written("Flügel.csv", _text([head, *rows], ";"), answers, frozenset({(10, FRONT)}))


def in_ounces() -> Written:
    """The strike weights in ounces, as the kitchen scale shows them."""
    rows = _rows()
    for row in rows:
        row[4] = f"{float(str(row[4])) / OUNCE_G:.4f}"
    head = ["Key no.", "Down weight (g)", "Up weight (g)", "Front weight (g)", "Strike weight (oz)"]
    answers = {"unit: Strike weight (oz)": "convert"}
    return Written("kitchen.xlsx", _workbook([["Hall"], [], head, *rows]), answers)


def by_note_names() -> Written:
    """No key numbers: the notes are named."""
    rows = [[NOTES[key], *row[1:]] for key, row in zip(READ.index, _rows(), strict=True)]
    head = ["Note", "Down weight", "Up weight", "Front weight", "Strike weight"]
    return Written("notes.csv", _text([head, *rows], ","), {"which: key": "Note"})


def side_by_side() -> Written:
    """Two halves of the keyboard side by side, so that they fit on one page."""
    rows = _rows()
    head = ["Key", "Down weight", "Up weight", "Front weight", "Strike weight"]
    pairs = [[*left, "", *right] for left, right in zip(rows[:44], rows[44:], strict=True)]
    return Written("one_page.xlsx", _workbook([[*head, "", *head], *pairs]))


def without_headings() -> Written:
    """Numbers alone."""
    rows = [row[:3] for row in _rows()]
    answers = {"which: key": "column 1", "meaning: column 2": DOWN, "meaning: column 3": UP}
    return Written("numbers.csv", _text(rows, ","), answers, has=(DOWN, UP))


def in_order() -> Written:
    """No key column at all: from the left, one row a key."""
    rows = [row[1:] for row in _rows()]
    head = ["Down weight", "Up weight", "Front weight", "Strike weight"]
    return Written("from_the_left.csv", _text([head, *rows], ","), {"which: key": "in order"})


def read_twice() -> Written:
    """Two columns of one heading: down and up were read twice."""
    rows = [[row[0], row[1], row[1], row[2], row[2], row[4]] for row in _rows()]
    head = ["Key", "Down weight", "Down weight", "Up weight", "Up weight", "Strike weight"]
    answers = {f"which: {DOWN}": "repeats", f"which: {UP}": "repeats"}
    return Written("twice.csv", _text([head, *rows], ","), answers, has=(DOWN, UP, STRIKE))


def with_doubts() -> Written:
    """Question marks behind numbers, words in place of a number, letters for digits."""
    rows = _rows()
    rows[6][1] += "?"
    rows[19][2] += " ?"
    rows[33][4] = "sticks"
    rows[50][2] = "x"
    rows[55][1] = "5l"
    head = ["key", "down weight", "up weight", "front weight", "strike weight"]
    answers = {"question marks": "take", "word: x": "not read"}
    spoiled = {(34, STRIKE), (51, UP), (56, DOWN)}
    data = _text([head, *rows], ",", "utf-16")
    return Written("doubts.txt", data, answers, frozenset(spoiled))


def with_blanks() -> Written:
    """A blank row between octaves, rows that end early, a units row, no strike above key 70."""
    rows: Rows = []
    for row in _rows(columns=(DOWN, UP, FRONT, STRIKE)):
        key = int(str(row[0]))
        rows += [row[:4] if key > 70 else row, *([[]] if key % 12 == 3 else [])]
    head = [["Key", "Down weight", "Up weight", "Front weight", "Strike weight"],
            ["", "g", "g", "g", "g"]]  # fmt: skip
    spoiled = {(key, STRIKE) for key in range(71, 89)}
    return Written("octaves.csv", _text([*head, *rows], ","), {}, frozenset(spoiled))


def with_two_sheets() -> Written:
    """A workbook with an old sheet and the new one, and one column in words of the house."""
    rows = _rows()
    book = openpyxl.Workbook()
    old, new = book.active, book.create_sheet("today")
    old.title = "last year"
    for sheet, table in ((old, rows[:10]), (new, rows)):
        sheet.append(["Key", "Down weight", "Up weight", "Front weight", "head"])
        for row in table:
            sheet.append([_cell(value) for value in row])
    data = io.BytesIO()
    book.save(data)
    return Written("hall.xlsx", data.getvalue(), {"sheet": "today", "head": STRIKE})


WRITERS: tuple[Callable[[], Written], ...] = (
    an_afternoon, with_semicolons, in_another_language, in_ounces, by_note_names, side_by_side,
    without_headings, in_order, read_twice, with_doubts, with_blanks, with_two_sheets,
)  # fmt: skip
