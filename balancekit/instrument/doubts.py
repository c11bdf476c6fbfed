"""What is doubted, one thing at a time, and what the rows alone say of it.

Plain rules about rows: what is missing, could not be, was marked, or does not come back when it
is read again. What the other keys do not believe is found in ``calculation.irregularities``;
``findings`` puts both into one list.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from balancekit.calculation.irregularities.pen_slips import moved_points
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.quantities import OPTIONAL_COLUMNS, QUANTITIES, READING_COLUMNS
from balancekit.calculation.words import plural
from balancekit.instrument.marked import marks_of

COLUMNS_EXCHANGED = "columns exchanged"
REPEATS_DISAGREE = "repeats disagree"
MISSING_READING = "missing reading"
IMPOSSIBLE = "impossible reading"
MARKED = "marked doubtful"
SLIP = "slip"
STANDS_OUT = "stands-out"

_SIDE = 4
"""Neighbours looked at on each side."""
_FEWEST_NEIGHBOURS = 3
_BEYOND_WEIGHING = 4.0
"""Repeats disagree from this many standard uncertainties of their difference."""
_MOST_OFF = 0.35
"""Share of the neighbours' value within which a mended reading fits."""
_SAMPLED_BELOW = 2 / 3
"""A quantity read on fewer keys than this share was sampled, not forgotten."""
_ALL_EXCHANGED_ABOVE = 0.5
_FEWEST_FOR_ALL = 3
# Common practice, no source: chosen so that a sound instrument raises no doubt.

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Doubt:
    """One thing that looks like a slip.

    Attributes
    ----------
    key : key number, or None for the instrument as a whole.
    quantity : column name; "key" where a whole row is meant.
    kind : "columns exchanged" (as a whole), "repeats disagree", "missing reading",
        "impossible reading" (left open), "marked doubtful"; "slip" and "stands-out" for what
        the other keys do not believe.
    read : what was read.
    expected : what would not be doubted.
    advice : what to do.
    fits : what would fit in place of what was read: pairs of column and value; two where
        columns are exchanged, none where nothing is known to fit.
    """

    key: int | None
    quantity: str
    kind: str
    read: str
    expected: str
    advice: str
    fits: tuple[tuple[str, float], ...] = ()

    @property
    def quantities(self) -> tuple[str, ...]:
        """The columns that are doubted together."""
        return tuple(name for name, _ in self.fits) or (self.quantity,)

    @property
    def take(self) -> str:
        """What can be done about it at once, in words, or ""."""
        if self.kind == COLUMNS_EXCHANGED:
            return "take the columns the other way round"
        values = " and ".join(_text(name, value) for name, value in self.fits)
        return f"take {values}" if values else ""

    @property
    def keep(self) -> bool:
        """Whether what was read can be kept."""
        return self.key is not None and self.kind != MISSING_READING

    @property
    def choices(self) -> str:
        """What the list and the grid let one do at once, as a sentence, or "".

        >>> Doubt(1, "up_weight_g", MARKED, "62", "", "", (("up_weight_g", 26.0),)).choices
        'Take 26 g, or keep it.'
        """
        ways = [way for way in (self.take, "keep it" if self.keep else "") if way]
        return ", or ".join(ways).capitalize() + "." if ways else ""

    @property
    def sentence(self) -> str:
        """What is doubted, and what to do."""
        return f"{self.words}. {self.advice}"

    @property
    def words(self) -> str:
        """What is doubted, without what to do."""
        if self.kind in (SLIP, STANDS_OUT):
            label = "" if len(self.fits) > 1 else f"{QUANTITIES[self.quantity].label.lower()} "
            return f"{label}{self.read}, expected {self.expected}"
        return f"{self.kind}: {self.read}"


def find_doubts(
    readings: pd.DataFrame,
    reading_u: Mapping[str, float],
    key_count: int,
    first_note: str = "A0",
) -> tuple[Doubt, ...]:
    """Find what the rows alone give to doubt, by key from the left.

    Parameters
    ----------
    readings : table of kind "readings", raw rows, repeats kept.
    reading_u : standard uncertainty of one reading, by column [unit of the column].
    key_count : number of keys of the instrument.
    first_note : note name of key 1.

    Raises
    ------
    BalancekitError : key_count or first_note is not possible.

    >>> rows = pd.DataFrame({"key": [1, 1], "down_weight_g": [26.0, 50.0]})
    >>> [doubt.kind for doubt in find_doubts(rows, {"down_weight_g": 0.7}, 1) if doubt.key]
    ['repeats disagree']
    """
    names = keyboard(key_count, first_note)["note_name"]
    keys = readings["key"].to_numpy(dtype=int)
    values = {
        name: readings[name].to_numpy(dtype=float)
        if name in readings
        else np.full(len(keys), np.nan)
        for name in READING_COLUMNS
    }
    if not len(keys):
        return ()
    found = [
        *_missing(keys, values, key_count, names),
        *_exchanged(keys, values["down_weight_g"], values["up_weight_g"]),
    ]
    for name in READING_COLUMNS:
        known = ~np.isnan(values[name])
        stated = float(reading_u.get(name, 0.0))
        found += _disagreeing(keys[known], values[name][known], name, stated)
    found = _with_marks(found, readings, values)
    order = {name: place for place, name in enumerate(("key", *READING_COLUMNS))}
    return tuple(sorted(found, key=lambda doubt: (doubt.key or 0, order[doubt.quantity])))


def _with_marks(
    found: list[Doubt], readings: pd.DataFrame, values: Mapping[str, Floats]
) -> list[Doubt]:
    """Add what a file had and could not be, and what its writer doubted; each said once."""
    if "doubted" not in readings or not readings["doubted"].any():
        return found
    keys = readings["key"].to_numpy(dtype=int)
    marked: dict[tuple[int, str], Doubt] = {}
    for row in np.flatnonzero(readings["doubted"].astype(bool)):
        for name, read in marks_of(str(readings["doubted"].iloc[row])).items():
            key, value = int(keys[row]), values[name][row]
            near = _near(keys, values[name], key)
            about = f"about {_text(name, near)}, as its neighbours have" if near == near else ""
            if np.isnan(value):
                fits = _would_fit(name, read, near)
                fitting = f" {_text(name, fits[0][1])} would fit: take it, or" if fits else ""
                advice = f"It was left open.{fitting} {'read' if fits else 'Read'} it again."
                marked[key, name] = Doubt(key, name, IMPOSSIBLE, read, about, advice, fits)
            elif read == f"{_plain(read):g}?" and _plain(read) == value:
                advice = "It had a question mark: read it again, or keep it."
                marked.setdefault((key, name), Doubt(key, name, MARKED, read, about, advice))
    told = {place for place, doubt in marked.items() if doubt.kind == IMPOSSIBLE}
    kept = [d for d in found if d.kind != MISSING_READING or (d.key, d.quantity) not in told]
    return [*kept, *marked.values()]


def _near(keys: npt.NDArray[np.int_], values: Floats, key: int) -> float:
    """Return the median of the eight nearest keys with a reading, NaN if there are too few."""
    known = np.flatnonzero(~np.isnan(values) & (keys != key))
    if len(known) < _FEWEST_NEIGHBOURS:
        return float("nan")
    nearest = known[np.argsort(np.abs(keys[known] - key), kind="stable")[: 2 * _SIDE]]
    return float(f"{np.median(values[nearest]):.3g}")


def _plain(read: str) -> float:
    number = re.search(r"[-+]?[0-9]+(?:[.,][0-9]+)?", read)
    return float(number.group().replace(",", ".")) if number else float("nan")


def _would_fit(name: str, read: str, near: float) -> tuple[tuple[str, float], ...]:
    """Return what would fit, if the point moved or a letter stands for a digit."""
    digits = _plain(read.translate(str.maketrans("lIoO", "1100")))
    limits = QUANTITIES[name]
    for value in (digits, *(meant.value for meant in moved_points(digits))):
        possible = limits.minimum <= value <= limits.maximum
        if possible and near == near and abs(value - near) <= _MOST_OFF * abs(near):
            return ((name, value),)
    return ()


def _exchanged(keys: npt.NDArray[np.int_], down: Floats, up: Floats) -> Iterator[Doubt]:
    """Doubt two whole columns, with the up weight above the down weight on most keys."""
    both = ~(np.isnan(down) | np.isnan(up))
    pairs: dict[int, tuple[float, float]] = {}
    for row in np.flatnonzero(both & (up > down)):
        pairs.setdefault(int(keys[row]), (float(down[row]), float(up[row])))
    for key in np.unique(keys[~both]):
        own = keys == key
        if not (own & both).any() and np.isfinite(down[own]).any() and np.isfinite(up[own]).any():
            means = float(np.nanmean(down[own])), float(np.nanmean(up[own]))
            if means[1] > means[0]:
                pairs.setdefault(int(key), means)
    weighed = len(np.unique(keys[both]))
    if len(pairs) >= _FEWEST_FOR_ALL and len(pairs) > _ALL_EXCHANGED_ABOVE * weighed:
        yield Doubt(
            None,
            "up_weight_g",
            COLUMNS_EXCHANGED,
            f"up weight above down weight on {len(pairs)} of {weighed} keys",
            "down weight above up weight",
            "Are the two headings exchanged? Then take the readings the other way round.",
        )


def _text(name: str, value: float) -> str:
    """The value as it was read, with its unit."""
    return f"{value:.6g} {QUANTITIES[name].unit}".strip().replace("-", "\u2212")


def _disagreeing(
    keys: npt.NDArray[np.int_], values: Floats, name: str, stated_u: float
) -> Iterator[Doubt]:
    """Doubt repeats of a key of which one lies farther off than weighing explains."""
    every, counts = np.unique(keys, return_counts=True)
    for key in every[counts > 1]:
        own = values[keys == key]
        gaps = _from_the_others(own)
        allowed = _BEYOND_WEIGHING * stated_u * (1.0 + 1.0 / (len(own) - 1)) ** 0.5
        if gaps.max() > allowed:
            number = ", ".join(_text(name, float(value)) for value in own[:6])
            yield Doubt(
                int(key),
                name,
                REPEATS_DISAGREE,
                number if len(own) <= 6 else f"{number} and {len(own) - 6} more",
                f"within {_text(name, float(f'{allowed:.2g}'))} of each other",
                "Weigh the key again, and strike out the reading that does not come back.",
            )


def _from_the_others(own: Floats) -> Floats:
    """Return how far each value, in rising order, lies from the median of the others."""
    rising = np.sort(own)
    place, others = np.arange(len(own)), len(own) - 1
    low, high = (others - 1) // 2, others // 2
    median = (rising[low + (low >= place)] + rising[high + (high >= place)]) / 2
    return np.asarray(np.abs(rising - median), dtype=float)


def _missing(
    keys: npt.NDArray[np.int_],
    values: Mapping[str, Floats],
    key_count: int,
    names: pd.Series,
) -> Iterator[Doubt]:
    """Doubt keys without a row, and rows without a reading that most other keys have."""
    weighed = np.unique(keys[np.any([~np.isnan(v) for v in values.values()], axis=0)])
    absent = np.setdiff1d(np.arange(1, key_count + 1), weighed)
    if len(weighed) < _SAMPLED_BELOW * key_count:
        yield _sampled("key", len(weighed), key_count)
    else:
        for key in absent:
            yield Doubt(
                int(key), "key", MISSING_READING, f"no reading of key {key} ({names[key]})",
                "a reading of each key", "Weigh the key, or go on without it.",
            )  # fmt: skip
    for name, column in values.items():
        with_it = np.unique(keys[~np.isnan(column)])
        if not len(with_it) and name in OPTIONAL_COLUMNS:
            continue
        if len(with_it) < _SAMPLED_BELOW * len(weighed):
            yield _sampled(name, len(with_it), len(weighed))
            continue
        for key in np.setdiff1d(weighed, with_it):
            label = QUANTITIES[name].label.lower()
            yield Doubt(
                int(key), name, MISSING_READING, f"no {label} of key {key} ({names[key]})",
                f"a {label} of each key", f"Read the {label}, or go on without the result.",
            )  # fmt: skip


def _sampled(name: str, count: int, of: int) -> Doubt:
    """Say once that a quantity was read on a few keys only."""
    label = "readings" if name == "key" else QUANTITIES[name].label.lower()
    keys = plural(of, "key")
    read = f"{label} on {count} of {keys}" if count else f"no {label} at all"
    return Doubt(
        None,
        name,
        MISSING_READING,
        read,
        f"{label} on each of the {keys}" if of > 1 else f"{label} of the key",
        "If you sampled on purpose, confirm; else read the keys that are missing.",
    )
