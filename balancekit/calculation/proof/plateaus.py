"""Plateaus: runs of keys that stand higher or lower than those beside them.

The step from key to key does not see a plateau, because inside it neighbours are alike. So runs
of keys are sought as groups are: beside a slow course, a step between the colours and scatter, at
a price that chance seldom pays; see ``believed.groups``. How high they stand follows for all of
them together. At each point of the grid of sizes, with Q the inverse covariance of the readings
with all plateaus in it, y the readings, h a column of 0 and 1 and t the prior size of a shift::

    shift = t^2 h'Qy        variance = t^2 - t^4 h'Qh

and the points are mixed by their weight w::

    shift = sum(w shift)        u^2 = sum(w (variance + (shift of the point - shift)^2))

References
----------
Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 2.2: the
mean and variance of one part of a sum of normals.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import pandas as pd

from balancekit.calculation.believed.groups import Run, find_runs
from balancekit.calculation.believed.running_sums import steps_of
from balancekit.calculation.believed.search import Search
from balancekit.calculation.irregularities.setting_aside import Series
from balancekit.calculation.irregularities.trend import EXPECTED
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.words import run_in_words

PLATEAUS_OF = ("balance_weight_g", "friction_g")
"""What the hand meets: in these plateaus are sought. Down and up weight follow from them."""

FEWEST_READINGS = 12
# Our own choice, as for groups: on fewer a plateau cannot be told from a course that bends.


@dataclass(frozen=True)
class Plateau:
    """Keys that stand higher or lower together than those beside them.

    Attributes
    ----------
    first_key, last_key : the run; only the sharps within it where ``members`` says so.
    members : "keys" or "sharps".
    shift, shift_u : how much higher, and its standard uncertainty, in the quantity's unit.
    sides : on how many sides it has neighbours; 1 at the end of the keyboard.
    """

    first_key: int
    last_key: int
    members: str
    shift: float
    shift_u: float
    sides: int = 2


def find_plateaus(
    values: pd.Series, values_u: pd.Series, colours: pd.Series, quantity: str
) -> tuple[Plateau, ...] | None:
    """Find the plateaus of one series, from the left; None where too few keys were read.

    Parameters
    ----------
    values, values_u : by key; a value of NaN was not read, an uncertainty of NaN counts as 0.
    colours : "natural" or "sharp", by the same index.
    quantity : what the values are of; it says how much a series may bend and scatter.
    """
    search = _search(values, values_u, colours, quantity)
    if search is None:
        return None
    runs = find_runs(search)
    found = [
        _plateau(run, shift, values.index)
        for run, shift in zip(runs, _shifts(search, runs), strict=True)
    ]
    return tuple(sorted(found, key=lambda each: (each.first_key, each.last_key)))


Plateaus: TypeAlias = Mapping[str, tuple[Plateau, ...] | None]
"""Plateaus by quantity; None where too few keys were read."""


def plateaus_in(table: pd.DataFrame) -> Plateaus:
    """Find the plateaus of what the hand meets.

    Parameters
    ----------
    table : indexed by key, with ``colour`` and, as far as known, the quantities of ``PLATEAUS_OF``
        and the columns of their standard uncertainties.
    """
    return {
        name: find_plateaus(table[name], table[uncertainty_name(name)], table["colour"], name)
        for name in PLATEAUS_OF
        if name in table
    }


def highest(found: Sequence[Plateau] | None) -> Plateau | None:
    """Return the plateau that stands off most; None where there is none."""
    return max(found or (), key=lambda each: abs(each.shift), default=None)


def shift_of(
    values: pd.Series,
    values_u: pd.Series,
    colours: pd.Series,
    quantity: str,
    run: tuple[int, int, str],
) -> tuple[float, float]:
    """Return how far given keys stand off those beside them, and its standard uncertainty.

    Parameters
    ----------
    values, values_u, colours, quantity : see ``find_plateaus``.
    run : first key, last key, and "keys" or "sharps".

    Returns
    -------
    shift and standard uncertainty; NaN where too few keys were read.
    """
    search = _search(values, values_u, colours, quantity)
    keys = values.index.tolist()
    first, last = keys.index(run[0]), keys.index(run[1])
    asked = Run(first, last, run[2] == "sharps", 0.0)
    if search is None or not asked.column(search.naturals)[search.where].any():
        return float("nan"), float("nan")
    others = [each for each in find_runs(search) if not _overlap(each, asked)]
    together = replace(search, runs=(asked, *others), shifts=(0.0,) * (1 + len(others)), looks={})
    return _shifts(together, [asked])[0]


def _overlap(one: Run, other: Run) -> bool:
    """Whether one of two runs lies mostly in the other."""
    shared = min(one.last, other.last) - max(one.first, other.first) + 1
    return shared >= min(each.last - each.first + 1 for each in (one, other)) / 2


def _search(
    values: pd.Series, values_u: pd.Series, colours: pd.Series, quantity: str
) -> Search | None:
    if values.notna().sum() < FEWEST_READINGS:
        return None
    sizes = EXPECTED[quantity]
    series = Series.of(values.astype(float), values_u.fillna(0.0), colours, sizes)
    return Search(series.where, series.values, series.noise, series.naturals, series.places, sizes)


def _shifts(search: Search, runs: Sequence[Run]) -> list[tuple[float, float]]:
    """Return how far some of the runs in the course stand off; see the module."""
    if not runs:
        return []
    columns = [run.column(search.naturals)[search.where] for run in runs]
    lean = np.column_stack([steps_of(column) for column in columns])
    seen = search.running @ lean
    mean = search.shift**2 * seen[:, -1]
    variance = search.shift**2 - search.shift**4 * np.einsum("nr,gnr->gr", lean, seen)
    share = search.share
    middle = share @ mean
    square = share @ (variance + (mean - middle) ** 2)
    return list(zip(middle.tolist(), np.sqrt(square).tolist(), strict=True))


def _plateau(run: Run, shift: tuple[float, float], keys: pd.Index) -> Plateau:
    sides = int(run.first > 0) + int(run.last < len(keys) - 1)
    return Plateau(
        int(keys[run.first]), int(keys[run.last]), "sharps" if run.sharps else "keys",
        *shift, sides,
    )  # fmt: skip


def plateau_sentence(found: Plateau, quantity: str) -> str:
    """Say how far some keys stand off.

    >>> plateau_sentence(Plateau(27, 43, "keys", 2.6, 0.2), "balance_weight_g")
    'The balance weight of keys 27 to 43 stands 2.6 g higher than that of their neighbours on \
both sides, ± 0.4 g.'
    """
    unit, digits = QUANTITIES[quantity].unit, max(QUANTITIES[quantity].decimals, 1)
    way = "higher" if found.shift > 0 else "lower"
    side = " on both sides" if found.sides == 2 else ""
    return (
        f"The {QUANTITIES[quantity].label.lower()} of {keys_of(found)} stands "
        f"{abs(found.shift):.{digits}f} {unit} {way} than that of their neighbours{side}, "
        f"± {2 * found.shift_u:.{digits}f} {unit}."
    )


def keys_of(found: Plateau) -> str:
    """Name the keys of a plateau."""
    return run_in_words(found.first_key, found.last_key, found.members)


def plateaus_sentences(found: Plateaus) -> list[str]:
    """Say of every plateau how far it stands off, or that there is none; [] where none was sought.

    >>> plateaus_sentences({"balance_weight_g": (), "friction_g": None})
    ['No run of keys stands off those beside it in balance weight by more than weighing explains.']
    """
    said, none = [], []
    for name, plateaus in found.items():
        said += [plateau_sentence(each, name) for each in plateaus or ()]
        none += [QUANTITIES[name].label.lower()] if plateaus == () else []
    if none:
        said.append(
            f"No run of keys stands off those beside it in {' or '.join(none)} by more than "
            "weighing explains."
        )
    return said
