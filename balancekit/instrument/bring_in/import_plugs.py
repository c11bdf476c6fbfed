"""Plugs as people note them in one cell: "3 x 12.7 at 100/115/131", 1/2", a count, places."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from balancekit.instrument.bring_in.import_numbers import Fault
from balancekit.instrument.bring_in.import_parts import Cell, blank, quoted_cell

INCH_MM = 25.4
# Exact: international yard and pound agreement of 1959; NIST SP 811 (2008), appendix B.8.

_LARGEST_INCHES = 1.5
_LARGEST_MM = 30.0
_MOST_PLUGS = 12
# Our own choices: plugs are 6 to 20 mm wide, and a key holds a few of them.

_PARTS_OF_AN_INCH = ("2", "4", "8", "16", "32", "64")
_NONE = ("0", "none", "no", "nil", "-", "–", "—")
_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_SIZE = rf"(?P<size>[0-9]+\s*/\s*[0-9]+|{_NUMBER})\s*(?P<unit>mm|in\.?|inch(?:es)?|\"|″|'')?"
_GROUP = re.compile(
    rf"(?:(?P<count>[0-9]+)\s*[x×*]\s*)?(?:{_SIZE})?\s*(?:(?:at|@|:)\s*(?P<places>[-0-9.,/ ]+))?"
    r"(?:mm)?",
    re.IGNORECASE,
)
_PLACES = re.compile(rf"-?{_NUMBER}(?:\s*[/, ]\s*-?{_NUMBER})+")


@dataclass(frozen=True)
class Noted:
    """Some plugs of one key, as far as a cell tells.

    Attributes
    ----------
    count : how many; None if it is not said.
    diameter_mm : None if it is not said.
    places_mm : one for each plug, or none.
    """

    count: int | None = None
    diameter_mm: float | None = None
    places_mm: tuple[float, ...] = ()


def read_plugs(cell: Cell) -> tuple[Noted, ...] | Fault:
    """Read what one cell says of the plugs of a key; an empty one says nothing.

    >>> read_plugs('3 x 12.7 at 100/115/131')
    (Noted(count=3, diameter_mm=12.7, places_mm=(100.0, 115.0, 131.0)),)
    >>> read_plugs('1/2" @ 100 + 9,5 @ 60')[0].diameter_mm, read_plugs("2")[0].count
    (12.7, 2)
    """
    if blank(cell):
        return ()
    text = quoted_cell(cell, 200).strip()
    if text.casefold() in _NONE:
        return (Noted(0),)
    found = []
    for part in re.split(r"\s*(?:[;+&\n]|\band\b)\s*", text):
        noted = _group(part.strip()) if part.strip() else None
        if noted is None:
            return Fault(
                f"'{quoted_cell(cell)}' is not understood.",
                'Write it as 3 x 12.7 at 100/115/131, or as 1/2" at 100.',
            )
        found.append(noted)
    return tuple(found)


def read_size(cell: Cell) -> float | Fault:
    """Read the diameter of a plug; a fraction and a small number are inches [mm].

    >>> read_size('7/16'), read_size("12,7"), read_size(0.5)
    (11.1125, 12.7, 12.7)
    """
    matched = re.fullmatch(_SIZE, quoted_cell(cell).strip(), re.IGNORECASE)
    size = None if matched is None else _size_mm(matched["size"], matched["unit"] or "")
    if size is None:
        return Fault(f"'{quoted_cell(cell)}' is no size of a plug.", 'Write it as 12.7 or as 1/2".')
    return size


def read_places(text: str) -> tuple[float, ...]:
    """Read distances: parted by strokes or blanks, or else by commas [mm].

    >>> read_places("100/115,5"), read_places("100, 115, 131"), read_places("-60")
    ((100.0, 115.5), (100.0, 115.0, 131.0), (-60.0,))
    """
    text = text.replace("\u2212", "-")  # U+2212 is the true minus sign
    strokes = "/" in text
    parts = re.split(r"\s*/\s*" if strokes else r"\s*,\s*|\s+", text.strip().rstrip(",/ "))
    one = re.fullmatch(r"-?[0-9]+,[0-9]", text.strip())
    if one:
        parts = [text.strip()]
    return tuple(float(part.replace(",", ".")) for part in parts if part)


def _group(text: str) -> Noted | None:
    """Read plugs of one size; None if the words mean nothing here."""
    if _PLACES.fullmatch(text) and not _is_fraction(text):
        places = read_places(text)
        return Noted(len(places), None, places) if len(places) <= _MOST_PLUGS else None
    matched = _GROUP.fullmatch(text)
    if matched is None or not text:
        return None
    count = int(matched["count"]) if matched["count"] else None
    size, unit = matched["size"], matched["unit"] or ""
    try:
        places = read_places(matched["places"]) if matched["places"] else ()
    except ValueError:
        return None
    if size and count is None and not unit and size.isdecimal() and int(size) <= _MOST_PLUGS:
        if places and len(places) != int(size):
            return None
        return Noted(int(size), None, places)  # "3", or "2 at 100/115"
    diameter = None
    if size:
        diameter = _size_mm(size, unit)
        if diameter is None:
            return None
    if count is None:
        count = len(places) or 1
    if count > _MOST_PLUGS or (places and len(places) != count):
        return None
    return Noted(count, diameter, places)


def _is_fraction(text: str) -> bool:
    """Say whether a text is a part of an inch, as rulers have it, and not two distances."""
    top, _, bottom = text.partition("/")
    return top.strip().isdecimal() and bottom.strip() in _PARTS_OF_AN_INCH and int(top) < 25


def _size_mm(size: str, unit: str) -> float | None:
    if "/" in size:
        top, _, bottom = size.partition("/")
        if not _is_fraction(size):
            return None
        value, inches = float(Fraction(int(top), int(bottom))), True
    else:
        value = float(size.replace(",", "."))
        inches = unit[:1] in ("i", "I", '"', "″", "'") or (not unit and value <= _LARGEST_INCHES)
    mm = value * INCH_MM if inches else value
    return round(mm, 4) if 1.0 <= mm <= _LARGEST_MM else None
