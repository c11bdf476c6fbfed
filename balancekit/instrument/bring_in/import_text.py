"""Text to rows of cells: its encoding, its delimiter, its quotation marks."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from itertools import islice

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.words import plural
from balancekit.instrument.bring_in.import_parts import (
    MOST_COLUMNS,
    MOST_FILE_ROWS,
    Cell,
    LeftOut,
    RawTable,
    quoted_cell,
)

_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}

Score = Callable[[Sequence[tuple[int, Sequence[Cell]]]], int]
"""How many headings of the best row are understood, for choosing the delimiter."""

_LOOKED_AT = 80
"""Lines from which the delimiter is found. Our own choice."""

LONGEST_LINE = 1_000_000
"""Our own choice; a cell of csv has at most 131,072 characters."""

_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")
_CONTROL = re.compile(r"[\x01-\x08\x0e-\x1f]")
_SEPARATOR_LINE = re.compile(r"\"?sep=(.)\"?\s*", re.IGNORECASE)
_BYTE_ORDER_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig", "UTF-8 with byte order mark"),
    (b"\xff\xfe", "utf-16", "UTF-16"),
    (b"\xfe\xff", "utf-16", "UTF-16"),
)
# The Unicode Standard, section 23.8, byte order mark.


def decode(data: bytes, file_name: str) -> tuple[str, str]:
    """Return the text of a file and the encoding in words.

    Raises
    ------
    BalancekitError : it is not text in UTF-8, UTF-16 or Windows-1252.

    >>> decode("Gewicht 51 g, flüssig".encode("windows-1252"), "notes.csv")
    ('Gewicht 51 g, flüssig', 'Windows-1252')
    """
    text, words = _decoded(data, file_name)
    if "\0" in text:
        raise _not_text(
            f"The file holds {plural(text.count(chr(0)), 'NUL byte')}, which no text has.",
            file_name,
            _line_of(text, text.index("\0")),
        )
    control = _CONTROL.search(text)
    if control:
        raise _not_text(
            f"The file holds the control character {ord(control.group()):02X}, so it is not text.",
            file_name,
            _line_of(text, control.start()),
        )
    return text, words


def _decoded(data: bytes, file_name: str) -> tuple[str, str]:
    for mark, codec, words in _BYTE_ORDER_MARKS:
        if data.startswith(mark):
            return _strictly(data, codec, file_name, words), words
    codec = _unmarked_utf16(data)
    if codec:
        words = "UTF-16 without byte order mark"
        return _strictly(data, codec, file_name, words), words
    try:
        return data.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        words = "UTF-8, UTF-16 or Windows-1252"
        return _strictly(data, "windows-1252", file_name, words), "Windows-1252"


def _strictly(data: bytes, codec: str, file_name: str, words: str) -> str:
    try:
        return data.decode(codec)
    except UnicodeDecodeError as error:
        before = data[: error.start].decode(codec, errors="replace")
        raise _not_text(
            f"The file is not text in {words}.", file_name, _line_of(before, len(before))
        ) from None


def _unmarked_utf16(data: bytes) -> str:
    """Name the UTF-16 codec if every other byte is zero, as in Western text; else ""."""
    start = data[:4000]
    even, odd = start[0::2].count(0), start[1::2].count(0)
    if odd > len(start) * 0.35 and even == 0:
        return "utf-16-le"
    if even > len(start) * 0.35 and odd == 0:
        return "utf-16-be"
    return ""


def _line_of(text: str, position: int) -> int:
    return 1 + len(re.findall(r"\r\n|\r|\n", text[:position]))


def _not_text(message: str, file_name: str, line: int) -> BalancekitError:
    advice = (
        "The file is damaged or of another kind: save the readings again as CSV in UTF-8, and "
        "bring that in."
    )
    return BalancekitError(Problem(message, advice, file=file_name, line=line))


def text_lines(text: str) -> Iterator[str]:
    """Yield the lines as an editor counts them, each with its line end.

    >>> list(text_lines("a\\r\\nb\\rc"))
    ['a\\r\\n', 'b\\r', 'c']
    """
    return (match.group() for match in _LINE.finditer(text))


def _bounded_lines(text: str, file_name: str) -> Iterator[str]:
    """Yield the lines, and refuse one that would fill the memory with its cells."""
    for number, line in enumerate(text_lines(text), 1):
        if len(line) > LONGEST_LINE:
            message = f"The line has {len(line):,} characters."
            advice = (
                f"A line of readings has less than {LONGEST_LINE:,}; choose the file with the "
                "readings alone."
            )
            raise BalancekitError(Problem(message, advice, file=file_name, line=number))
        yield line


def read_text(data: bytes, file_name: str, score: Score) -> RawTable:
    """Return the rows of a text file.

    Parameters
    ----------
    data : the file.
    file_name : its name, for messages.
    score : tells how many headings of some rows are understood; the delimiter with the most wins.

    Raises
    ------
    BalancekitError : not text, or more rows or columns than any table of readings. What is
        wrong with a single row is kept in ``problems``, so that all can be told at once.
    """
    text, encoding = decode(data, file_name)
    start = list(islice(_bounded_lines(text, file_name), _LOOKED_AT))
    named = _SEPARATOR_LINE.fullmatch(start[0]) if start else None
    left_out: tuple[LeftOut, ...] = ()
    if named and named.group(1) in _DELIMITERS:
        delimiter = named.group(1)
        left_out = (LeftOut(1, quoted_cell(start[0]), "names the delimiter"),)
    else:
        delimiter = _find_delimiter(start, score)
    rows, problems = _read_rows(text, delimiter, file_name)
    if left_out:
        rows = [row for row in rows if row[0] > 1]
    kind = f"text in {encoding}, {_DELIMITERS[delimiter]} between the columns"
    return RawTable(file_name, kind, rows, tuple(problems), (), None, delimiter, left_out)


def _find_delimiter(lines: Sequence[str], score: Score) -> str:
    """Choose the delimiter under which most headings are understood, then most columns hold."""

    def merit(delimiter: str) -> tuple[int, int]:
        rows: list[tuple[int, Sequence[Cell]]] = []
        reader = csv.reader(iter(lines), delimiter=delimiter)
        with suppress(csv.Error):  # said with its line when the whole file is read
            rows.extend((reader.line_num, row[: MOST_COLUMNS + 1]) for row in reader)
        widths = [len(row) for _, row in rows if row]
        return score(rows), max(widths, key=widths.count, default=0)

    return max(_DELIMITERS, key=merit)


def _read_rows(
    text: str, delimiter: str, file_name: str
) -> tuple[list[tuple[int, Sequence[Cell]]], list[Problem]]:
    lines = _bounded_lines(text, file_name)
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    rows: list[tuple[int, Sequence[Cell]]] = []
    while True:
        line = reader.line_num + 1
        try:
            row = next(reader)
        except StopIteration:
            return rows, []
        except csv.Error as error:
            return rows, [_quotation_problem(error, file_name, line, reader.line_num)]
        if len(row) > MOST_COLUMNS:
            raise BalancekitError(too_many_columns(file_name, line, len(row)))
        rows.append((line, row))
        if len(rows) > MOST_FILE_ROWS + 100 or line > 10 * MOST_FILE_ROWS:
            raise BalancekitError(too_many_rows(file_name))


def _quotation_problem(error: csv.Error, file_name: str, line: int, last: int) -> Problem:
    if "end of data" in str(error):
        message = 'A quotation mark (") opens a cell in this line and is never closed.'
    elif "field larger" in str(error):
        message = 'A cell has more than 131,072 characters: a quotation mark (") is open.'
    elif last > line:
        message = (
            f'A quotation mark (") opens a cell in this line, and the text goes on behind the '
            f"closing one in line {last}."
        )
    else:
        message = 'Text goes on behind the quotation mark (") that closes a cell.'
    advice = (
        'Close the quotation mark, or take it out; inside a quoted cell write it twice (""). '
        "What follows could not be checked."
    )
    return Problem(message, advice, file=file_name, line=line)


def too_many_rows(place: str, most: int = MOST_FILE_ROWS) -> Problem:
    """Say that a table has more rows than readings of any piano."""
    return Problem(
        f"The table has more than {most:,} rows, more than readings of any piano.",
        "Choose the file with the readings alone.",
        file=place,
    )


def too_many_columns(place: str, line: int, count: int) -> Problem:
    """Say that a row has more cells than any table of readings."""
    return Problem(
        f"The row has {count:,} cells.",
        f"A table of readings has at most {MOST_COLUMNS} columns; choose the file with the "
        "readings alone.",
        file=place,
        line=line,
    )
