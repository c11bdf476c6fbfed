"""A workbook (.xlsx) to rows of cells, its size checked before it is opened."""

from __future__ import annotations

import io
import posixpath
import re
import warnings
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.instrument.bring_in.import_parts import (
    MOST_COLUMNS,
    NO_RESULT,
    Cell,
    Merge,
    RawTable,
    blank,
    quoted_cell,
)
from balancekit.instrument.bring_in.import_text import too_many_columns, too_many_rows

MOST_MEMBERS = 2000
MOST_SHEETS = 100
MOST_SHEET_ROWS = 50_000
MOST_SHEETS_BYTES = 40_000_000
"""Unpacked size of all sheets [byte]; a hundred thousand rows of readings have less."""
MOST_OTHER_BYTES = 8_000_000
"""Unpacked size of all else that is read, as styles and words [byte]."""
MOST_CELLS = 200_000
MOST_MARKS = {"xl/sharedStrings.xml": 250_000}
"""Tags of one part that is no sheet; 100,000 where nothing else is said here."""
MOST_OTHER_MARKS = 100_000
"""Tags of all sheets that are no cells, as merged blocks and hyperlinks."""
LONGEST_MARK = 50_000
"""Characters of one tag or comment: an XML reader reads a long one again for each new piece."""
# Our own choices: far above any table of readings, and read in seconds.

_LONGEST_TEXT = 32_767
"""Characters of one cell; what spreadsheet programs hold at most, from memory."""

_LAST_ROW = 1_048_576
# ECMA-376, Part 1, and every spreadsheet program: the last row that a sheet can have.

_FAR = re.compile(rb"\br=['\"][A-Z]{2,3}[0-9]|<c(?:>|/|\s+(?!r=))")
"""A cell that lies in column AA or beyond, or that does not say where it lies."""
_LONG_MARK = re.compile(rb"<[^<>]{%d}" % LONGEST_MARK)
_SHEET_NAME = re.compile(rb"<(?:[A-Za-z_][\w.-]*:)?sheet[\s/>]")
_PACKINGS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
# ECMA-376, Part 2, annex on the physical package: no other packing.
_CELL = (b"<c ", b"<c>", b"<c/")
_IN_CELL = (b"</", b"<v>", b"<v/", b"<f>", b"<f ", b"<f/", b"<is>", b"<t>", b"<t ", b"<row")

_KINDS = (
    ("xl/workbook.bin", "a binary workbook (.xlsb)"),
    ("word/document.xml", "a text document (.docx)"),
    ("ppt/presentation.xml", "a presentation (.pptx)"),
    ("content.xml", "an OpenDocument file, as .ods"),
)


def read_workbook(data: bytes, file_name: str) -> tuple[RawTable, ...]:
    """Return the visible sheets of a workbook that hold anything.

    Results of formulas are those that the file holds; nothing is computed here.

    Raises
    ------
    BalancekitError : not a workbook, damaged, locked, or larger than any table of readings.
    """
    parts = _unpack(data, file_name)
    try:
        with warnings.catch_warnings():
            # openpyxl warns of styles and extensions that it drops; no cell depends on them.
            warnings.simplefilter("ignore")
            tables = _read_sheets(data, parts, file_name)
    except BalancekitError:
        raise
    except Exception as error:
        # A damaged workbook makes openpyxl raise errors of many kinds: all mean the same.
        raise _damaged(file_name, f" ({type(error).__name__})") from error
    if not tables:
        raise BalancekitError(
            Problem(
                "No visible sheet of the workbook holds anything.",
                "Save the readings again, on a sheet that is not hidden.",
                file=file_name,
            )
        )
    return tables


def _damaged(file_name: str, detail: str = "") -> BalancekitError:
    return BalancekitError(
        Problem(
            f"The workbook is cut short or damaged{detail}.",
            "Copy or download it again; or open it in the spreadsheet program, save it again as "
            ".xlsx, and bring that in.",
            file=file_name,
        )
    )


def _unpack(data: bytes, file_name: str) -> dict[str, bytes]:
    """Check what the archive holds and how large it becomes, then unpack its XML parts."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
            _check_members(members, file_name)
            names = [m for m in members if m.filename.lower().endswith((".xml", ".rels"))]
            parts = {_inside(member.filename): archive.read(member) for member in names}
    except BalancekitError:
        raise
    except Exception as error:
        # zipfile and zlib raise errors of many kinds on damaged data: all mean the same.
        raise _damaged(file_name) from error
    for name, content in parts.items():
        _check_marks(name, content, file_name)
    _check_cells(parts, file_name)
    return parts


def _inside(name: str) -> str:
    """Return the name of a part without signs that lead to the same part under another name."""
    return posixpath.normpath("/" + name)[1:]


def _is_sheet(name: str) -> bool:
    return name.startswith("xl/worksheets/")


def _check_marks(name: str, content: bytes, file_name: str) -> None:
    """Refuse what no workbook holds and what an XML reader cannot read in one go."""
    if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        # ECMA-376, Part 2, 8.1: no part may hold a document type declaration.
        raise _damaged(file_name, " (it holds declarations that no workbook may have)")
    if b"\0" in content:
        # Then it is in UTF-16, which the standard allows and no spreadsheet program writes.
        raise _damaged(file_name, f" ({quoted_cell(name)} is not text in UTF-8)")
    longest = max(
        LONGEST_MARK if _LONG_MARK.search(content) else 0,
        _longest(content, b"<!--", b"-->"),
        _longest(content, b"<?", b"?>"),
    )
    if longest >= LONGEST_MARK:
        raise _too_large(
            file_name,
            f"has a mark or comment of over {LONGEST_MARK:,} characters in {quoted_cell(name)}",
        )


def _longest(content: bytes, opening: bytes, closing: bytes) -> int:
    """Return the length of the longest piece between two signs."""
    longest, at = 0, content.find(opening)
    while at >= 0 and longest < LONGEST_MARK:
        end = content.find(closing, at)
        end = len(content) if end < 0 else end
        longest, at = max(longest, end - at), content.find(opening, end)
    return longest


def _check_members(members: list[zipfile.ZipInfo], file_name: str) -> None:
    names = {member.filename for member in members}
    if "xl/workbook.xml" not in names:
        kind = next((words for name, words in _KINDS if name in names), "a zip archive")
        raise BalancekitError(
            Problem(
                f"The file is {kind}, not a workbook (.xlsx).",
                "Open it in the program that made it, save the readings as .xlsx or CSV, and "
                "bring that in.",
                file=file_name,
            )
        )
    if any(member.flag_bits & 0x1 for member in members):
        raise BalancekitError(
            Problem(
                "The archive is locked with a password.",
                "Save the workbook without a password, and bring that in.",
                file=file_name,
            )
        )
    if len({_inside(member.filename).lower() for member in members}) < len(members):
        raise _damaged(file_name, " (it holds two parts of the same name)")
    if any(member.compress_type not in _PACKINGS for member in members):
        raise _damaged(file_name, " (it is packed in a way that no workbook is)")
    sheets = sum(m.file_size for m in members if _is_sheet(m.filename))
    others = sum(
        m.file_size
        for m in members
        if not _is_sheet(m.filename) and m.filename.lower().endswith((".xml", ".rels"))
    )
    if sheets > MOST_SHEETS_BYTES or others > MOST_OTHER_BYTES or len(members) > MOST_MEMBERS:
        size = f"unpacks to {(sheets + others) / 1e6:,.0f} MB"
        many = f"has {len(members):,} parts"
        raise _too_large(file_name, many if len(members) > MOST_MEMBERS else size)


def _too_large(file_name: str, what: str) -> BalancekitError:
    return BalancekitError(
        Problem(
            f"The workbook {what}, far more than a table of readings.",
            "Copy the readings alone into a new workbook, save it, and bring that in.",
            file=file_name,
        )
    )


def _check_cells(parts: Mapping[str, bytes], file_name: str) -> None:
    named = len(_SHEET_NAME.findall(parts["xl/workbook.xml"]))
    if named > MOST_SHEETS:
        raise _too_large(file_name, f"names {named:,} sheets")
    cells, rows, other = 0, 0, 0
    for name, content in parts.items():
        if not _is_sheet(name):
            if content.count(b"<") > MOST_MARKS.get(name, MOST_OTHER_MARKS):
                raise _too_large(file_name, f"has {content.count(b'<'):,} marks in {name}")
            continue
        rows += content.count(b"<row") + content.count(b":row ")
        cells += sum(content.count(tag) for tag in _CELL)
        other += content.count(b"<") - sum(content.count(tag) for tag in (*_CELL, *_IN_CELL))
    if rows > MOST_SHEET_ROWS:
        raise BalancekitError(too_many_rows(file_name, MOST_SHEET_ROWS))
    if other > MOST_OTHER_MARKS:
        raise _too_large(file_name, f"has {other:,} marks besides its cells")
    if cells > MOST_CELLS:
        raise _too_large(file_name, f"has {cells:,} cells")


def _read_sheets(data: bytes, parts: Mapping[str, bytes], file_name: str) -> tuple[RawTable, ...]:
    from openpyxl import load_workbook  # costs a tenth of a second, which text files need not pay

    book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    tables = []
    try:
        # openpyxl has no public name for where in the archive a sheet lies.
        places = [_inside(sheet._worksheet_path) for sheet in book.worksheets]
        if len(set(places)) < len(places):
            raise _damaged(file_name, " (two of its sheets are the same part)")
        for sheet, part in zip(book.worksheets, places, strict=True):
            if sheet.sheet_state != "visible":
                continue
            title = quoted_cell(sheet.title, 80)
            place = f"{file_name} sheet '{title}'"
            marks = _find_marks(parts[part])
            wide = (too_many_columns(place, *marks.far),) if marks.far else ()
            rows = _rows(sheet, place, marks)
            if rows:
                kind = f"workbook, sheet '{title}'"
                tables.append(RawTable(place, kind, rows, wide, marks.merges, title))
    finally:
        book.close()
    return tuple(tables)


def _rows(sheet: object, place: str, marks: _Marks) -> list[tuple[int, tuple[Cell, ...]]]:
    """Return the rows that hold anything, without the empty cells at their end."""
    kept: list[tuple[int, tuple[Cell, ...]]] = []
    # A sheet may claim any size: what it claims is not believed, and no row is read in full.
    every = sheet.iter_rows(  # type: ignore[attr-defined]
        min_row=1, max_row=_end(sheet), min_col=1, max_col=MOST_COLUMNS, values_only=True
    )
    for line, found in enumerate(every, start=1):
        cells = found
        if line in marks.without_result:
            cells = _with_marks(found, marks.without_result[line])
        if cells.count(None) == len(cells):
            continue
        width = len(cells)
        while width and blank(cells[width - 1]):
            width -= 1
        if width:
            _check_texts(cells[:width], place, line)
            kept.append((line, cells[:width]))
    return kept


def _check_texts(cells: Sequence[Cell], place: str, line: int) -> None:
    for index, cell in enumerate(cells):
        if isinstance(cell, str) and len(cell) > _LONGEST_TEXT:
            told = f"Cell {index + 1} of the row has {len(cell):,} characters."
            advice = f"A cell has at most {_LONGEST_TEXT:,}; shorten it, then try again."
            raise BalancekitError(Problem(told, advice, file=place, line=line))


def _end(sheet: object) -> int:
    """Forget the size that a sheet claims, and return the last row possible."""
    sheet.reset_dimensions()  # type: ignore[attr-defined]
    return _LAST_ROW


def _with_marks(cells: tuple[Cell, ...], columns: set[int]) -> tuple[Cell, ...]:
    return tuple(
        NO_RESULT if index in columns and cell is None else cell
        for index, cell in enumerate(cells, start=1)
    )


@dataclass(frozen=True)
class _Marks:
    """Merged cells; by line the columns of formulas whose result is not in the file; and line
    and column of the first cell that lies too far to the right."""

    merges: tuple[Merge, ...]
    without_result: dict[int, set[int]]
    far: tuple[int, int] | None


def _find_marks(content: bytes) -> _Marks:
    """Find what openpyxl does not tell of a sheet that it reads row by row."""
    merges: list[Merge] = []
    without: dict[int, set[int]] = {}
    far: tuple[int, int] | None = None
    if any(mark in content for mark in (b"mergeCell", b"<f", b":f")) or _FAR.search(content):
        line = 0
        for _, element in ElementTree.iterparse(io.BytesIO(content)):
            name = element.tag.rpartition("}")[2]
            if name == "row":
                line = int(element.get("r", line + 1))
                cells = list(_columns_of(element))
                columns = {column for column, cell in cells if _lacks_result(cell)}
                if columns:
                    without[line] = columns
                for column, cell in cells:
                    if column > MOST_COLUMNS and far is None and len(cell):
                        far = (line, column)
                element.clear()
            elif name == "mergeCell":
                merges.append(_merge(element.get("ref", "")))
    return _Marks(tuple(merges), without, far)


def _columns_of(row: ElementTree.Element) -> Iterator[tuple[int, ElementTree.Element]]:
    column = 0
    for cell in row:
        column = _column_of(cell.get("r", ""), column + 1)
        yield column, cell


def _lacks_result(cell: ElementTree.Element) -> bool:
    """Say whether a cell is a formula with no stored result; an empty text is a result."""
    children = {child.tag.rpartition("}")[2]: child for child in cell}
    value = children.get("v")
    stored = cell.get("t") == "str" or (value is not None and bool(value.text))
    return "f" in children and not stored


def _column_of(reference: str, otherwise: int) -> int:
    """Return the column of a reference such as B7, counted from 1."""
    column = 0
    for letter in reference:
        if not "A" <= letter <= "Z":
            break
        column = column * 26 + ord(letter) - 64
    return column or otherwise


def _merge(reference: str) -> Merge:
    first, _, last = reference.partition(":")
    ends = [(int(end.strip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")), _column_of(end, 1)) for end in
            (first, last or first)]  # fmt: skip
    (top, left), (bottom, right) = ends
    return Merge(top, left, bottom, right)
