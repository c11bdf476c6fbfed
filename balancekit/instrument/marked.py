"""Readings that a file had and that were left open or marked, as the readings' table keeps them."""

from __future__ import annotations

from balancekit.calculation.quantities import READING_COLUMNS

_BETWEEN = "; "


def marks_text(marks: dict[str, str]) -> str:
    """Write the marks of one row: by column, what stood in the file.

    >>> marks_text({"down_weight_g": "520", "up_weight_g": "26?"})
    'down_weight_g 520; up_weight_g 26?'
    """
    return _BETWEEN.join(f"{name} {read.replace(';', ',')}" for name, read in marks.items())


def marks_of(text: str) -> dict[str, str]:
    """Return the marks of one row, whatever else stands there left out.

    >>> marks_of("down_weight_g 520; by hand")
    {'down_weight_g': '520'}
    """
    pairs = (part.partition(" ") for part in text.split(_BETWEEN))
    return {name: read for name, _, read in pairs if name in READING_COLUMNS and read}
