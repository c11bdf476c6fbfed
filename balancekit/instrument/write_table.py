"""A table as CSV bytes that come back as they were: RFC 4180, exact numbers, text made safe."""

from __future__ import annotations

import csv
import io
import math
import re

import pandas as pd

from balancekit.calculation.problems import refuse

DELIMITERS = (",", ";", "\t")
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "windows-1252")
DECIMAL_SIGNS = (".", ",")

_GUARDED = re.compile(r"[=+\-@\t\r\n]|'[=+\-@\t\r\n']")
_GUARD = re.compile(r"'[=+\-@\t\r\n']")
# OWASP, CSV injection: a text cell that starts so may be run as a formula. An apostrophe before
# it stops that; one that stands there already gets another, so that reading undoes it.
_EITHER = re.compile(r"-?[1-9][0-9]{0,2},[0-9]{3}")
NOT_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff]")


def to_bytes(
    table: pd.DataFrame, delimiter: str = ",", encoding: str = "utf-8", decimal: str = "."
) -> bytes:
    """Write a table as CSV, one row a line, headings first.

    Numbers are written in the shortest form that comes back exactly, and a missing one as
    nothing. With a decimal comma a number as 1,234 gets a zero more, 1,2340, so that the
    comma cannot be read as one between thousands.

    Parameters
    ----------
    table : numbers and text; the index is not written.
    delimiter : one of ``DELIMITERS``.
    encoding : one of ``ENCODINGS``.
    decimal : one of ``DECIMAL_SIGNS``.

    Raises
    ------
    BalancekitError : another delimiter, encoding or sign; a number that is infinite; text that
        the encoding cannot hold.

    References
    ----------
    RFC 4180, section 2. OWASP, CSV injection.

    >>> to_bytes(pd.DataFrame({"key": [1], "down_weight_g": [51.5], "note": ["=tight"]}))
    b"key,down_weight_g,note\\r\\n1,51.5,'=tight\\r\\n"
    """
    for given, allowed in (
        (delimiter, DELIMITERS),
        (encoding, ENCODINGS),
        (decimal, DECIMAL_SIGNS),
    ):
        if given not in allowed:
            raise refuse(f"'{given}' cannot be written.", f"Choose one of {allowed}.")
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\r\n")
    writer.writerow([_text(str(name)) for name in table.columns])
    columns = [_cells(table[name], decimal) for name in table.columns]
    writer.writerows(zip(*columns, strict=True))
    return _encoded(out.getvalue(), encoding)


def _cells(column: pd.Series, decimal: str) -> list[str]:
    if pd.api.types.is_integer_dtype(column):
        return [str(value) for value in column.tolist()]
    if pd.api.types.is_float_dtype(column):
        return [_number(value, decimal) for value in column.tolist()]
    return ["" if value is None or value != value else _text(str(value)) for value in column]


def _number(value: float, decimal: str) -> str:
    if math.isnan(value):
        return ""
    if math.isinf(value):
        raise refuse("An infinite number cannot be written.", "Give the number that was read.")
    text = repr(value).removesuffix(".0")
    if decimal == ",":
        text = text.replace(".", ",")
        text += "0" if _EITHER.fullmatch(text) else ""
    return text


def _text(text: str) -> str:
    if NOT_TEXT.search(text):
        raise refuse(
            "A control character in a text cannot be written.", "Take it out, then save again."
        )
    return f"'{text}" if _GUARDED.match(text) else text


def without_guard(text: str) -> str:
    """Return a text cell as it was before ``to_bytes`` guarded it.

    >>> without_guard("'=tight"), without_guard("'tis tight")
    ('=tight', "'tis tight")
    """
    return text[1:] if _GUARD.match(text) else text


def _encoded(text: str, encoding: str) -> bytes:
    advice = "Choose UTF-8 instead."
    try:
        data = text.encode(encoding)
    except UnicodeEncodeError as error:
        sign = text[error.start]
        raise refuse(f"{encoding} has no character '{sign}'.", advice) from None
    if encoding == "windows-1252" and _reads_as_utf8(data):
        raise refuse("The text would be read as UTF-8, with other characters.", advice)
    return data


def _reads_as_utf8(data: bytes) -> bool:
    if data.isascii():
        return False
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True
