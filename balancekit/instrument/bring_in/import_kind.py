"""What kind of file some bytes are, whatever the name says."""

from __future__ import annotations

from pathlib import PurePath
from typing import Literal

from balancekit.calculation.problems import BalancekitError, Problem

_MOST_BYTES = 20_000_000
"""Largest file taken [byte]; a hundred thousand rows of readings have about a third of it."""

WORKBOOK_ENDINGS = (".xlsx", ".xlsm")

_ZIP = (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")
# APPNOTE.TXT, .ZIP File Format Specification, 4.3.7, 4.3.16 and 8.5.3.
_COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
# MS-CFB, 2.2: the header of a compound file, old workbooks and encrypted new ones.
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
# MS-OFFCRYPTO, 2.3.4.4: the stream that holds an encrypted workbook.

_OTHERS = (
    (b"%PDF", "a PDF document"),
    (b"\x89PNG\r\n\x1a\n", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!\x1a\x07", "a RAR archive"),
    (b"{\\rtf", "a text document (RTF)"),
    (b"SQLite format 3\x00", "a database (SQLite)"),
)
# From memory: the first bytes that each of these formats prescribes.

_PAGES = (b"<!doctype html", b"<html", b"<head", b"<table", b"<?xml", b"<!--")


def kind_of(data: bytes, file_name: str) -> Literal["text", "workbook"]:
    """Say whether a file is text or a workbook, by what it holds.

    Raises
    ------
    BalancekitError : it is neither, or its name says otherwise, or it is empty or too large.

    >>> kind_of(b"key,down_weight_g\\r\\n1,51\\r\\n", "readings.csv")
    'text'
    """
    ending = PurePath(file_name).suffix.lower()
    _check_size(data, file_name)
    if data.startswith(_COMPOUND):
        raise _compound(data, file_name)
    if data.startswith(_ZIP):
        return _zip_kind(data, file_name, ending)
    other = _other_format(data)
    if other:
        raise BalancekitError(
            Problem(
                f"The file is {other}, not a table.",
                "Open it in the program that made it, save the readings as CSV or .xlsx, and "
                "bring that in.",
                file=file_name,
            )
        )
    if ending in WORKBOOK_ENDINGS:
        raise BalancekitError(
            Problem(
                f"The file is named {ending} but is not a workbook.",
                "If it is text, let its name end in .csv; else save the workbook again.",
                file=file_name,
            )
        )
    return "text"


def _check_size(data: bytes, file_name: str) -> None:
    if not data.strip():
        raise BalancekitError(
            Problem(
                "The file is empty.",
                "Save the readings again and bring that file in.",
                file=file_name,
            )
        )
    if len(data) > _MOST_BYTES:
        raise BalancekitError(
            Problem(
                f"The file has {len(data) / 1e6:.0f} MB.",
                f"A table of readings has less than {_MOST_BYTES // 1_000_000} MB; choose the file "
                "with the readings alone.",
                file=file_name,
            )
        )


def _compound(data: bytes, file_name: str) -> BalancekitError:
    if _ENCRYPTED in data:
        return BalancekitError(
            Problem(
                "The workbook is locked with a password.",
                "Open it in the spreadsheet program, take the password off, save it as .xlsx, "
                "and bring that in.",
                file=file_name,
            )
        )
    return BalancekitError(
        Problem(
            "The file is in the old format of before .xlsx (.xls and its kin).",
            "Open it in the spreadsheet program, save it as .xlsx or CSV, and bring that in.",
            file=file_name,
        )
    )


def _zip_kind(data: bytes, file_name: str, ending: str) -> Literal["workbook"]:
    if ending in WORKBOOK_ENDINGS or (b"xl/workbook" in data and ending == ""):
        return "workbook"
    if b"xl/workbook" in data:
        holds = "a workbook (.xlsx)"
        advice = "Let its name end in .xlsx, or save the sheet as CSV, and bring that in."
    elif b"vnd.oasis.opendocument" in data[:300]:
        # OpenDocument, part 2, 3.3: the type stands first in the archive, not packed.
        holds = "an OpenDocument file"
        advice = "Open it in the spreadsheet program, save it as .xlsx or CSV, and bring that in."
    else:
        holds = "a zip archive"
        advice = "Take the table out of it, and bring in the CSV or .xlsx file itself."
    named = f" named {ending}" if ending else ""
    raise BalancekitError(Problem(f"The file is {holds}{named}.", advice, file=file_name))


def _other_format(data: bytes) -> str:
    for start, name in _OTHERS:
        if data.startswith(start):
            return name
    opening = data[:1000].removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    if opening.startswith(_PAGES):
        return "an XML document" if opening.startswith(b"<?xml") else "a web page (HTML)"
    return ""
