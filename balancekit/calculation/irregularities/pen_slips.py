"""Slips of the pen: what may have been meant by a reading that does not fit.

Each kind of slip offers values that may have been meant. ``slips`` keeps the one that fits.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS

_POINT_MOVES = {
    10.0: "decimal point one place too far left",
    0.1: "decimal point lost, or one place too far right",
    100.0: "decimal point two places too far left",
    0.01: "decimal point lost, or two places too far right",
}


@dataclass(frozen=True)
class Meant:
    """One value that may have been meant, and how it came to be written otherwise."""

    value: float
    cause: str


def moved_points(value: float) -> Iterator[Meant]:
    """Offer the value with its decimal point moved.

    >>> [meant.value for meant in moved_points(510.0)]
    [5100.0, 51.0, 51000.0, 5.1]
    """
    for factor, cause in _POINT_MOVES.items():
        yield Meant(round(value * factor, 6), cause)


def exchanged_digits(value: float) -> Iterator[Meant]:
    """Offer the value with two neighbouring digits exchanged.

    >>> [meant.value for meant in exchanged_digits(35.2)]
    [53.2, 32.5]
    """
    text = f"{value:g}"
    places = [place for place, sign in enumerate(text) if sign.isdigit()]
    for first, second in pairwise(places):
        if text[first] != text[second]:
            signs = list(text)
            signs[first], signs[second] = signs[second], signs[first]
            yield Meant(float("".join(signs)), "digits exchanged")


def repeated_neighbour(value: float, key: int, readings: Mapping[int, float]) -> str:
    """Say so if the value is that of the key beside it, "" if not.

    Parameters
    ----------
    readings : believed readings of the same column, by key.

    >>> repeated_neighbour(47.0, 3, {2: 47.0, 3: 47.0})
    'the same as key 2: written in the wrong row'
    """
    for beside in (key - 1, key + 1):
        if readings.get(beside) == value:
            return f"the same as key {beside}: written in the wrong row"
    return ""


def column_pairs(names: list[str]) -> Iterator[tuple[str, str]]:
    """Offer pairs of columns that stand side by side, among those that were read.

    >>> list(column_pairs(["down_weight_g", "up_weight_g", "strike_weight_g"]))
    [('down_weight_g', 'up_weight_g')]
    """
    for first, second in pairwise(READING_COLUMNS):
        if first in names and second in names:
            yield first, second


def exchange_words(other: str) -> str:
    """Name the cause of two exchanged columns.

    >>> exchange_words("up_weight_g")
    'exchanged with up weight'
    """
    return f"exchanged with {QUANTITIES[other].label.lower()}"
