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

from balancekit.calculation.believed.groups import find_runs
from balancekit.calculation.believed.running_sums import steps_of
from balancekit.calculation.believed.runs import Run, mostly_inside
from balancekit.calculation.believed.search import Search, search_of
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.words import run_in_words

PLATEAUS_OF = ("balance_weight_g", "friction_g")
"""What the hand meets: in these plateaus are sought. Down and up weight follow from them."""


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
    values, values_u, colours, quantity : see ``search.search_of``.
    """
    search = search_of(values, values_u, colours, quantity)
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


def shifts_of(
    values: pd.Series,
    values_u: pd.Series,
    colours: pd.Series,
    quantity: str,
    runs: Sequence[tuple[int, int, str]],
) -> list[tuple[float, float]]:
    """Return how far given keys stand off those beside them, and its standard uncertainty.

    Parameters
    ----------
    values, values_u, colours, quantity : see ``find_plateaus``.
    runs : first key, last key, and "keys" or "sharps" of each.

    Returns
    -------
    shift and standard uncertainty of each; NaN where too few keys were read.
    """
    search = search_of(values, values_u, colours, quantity)
    shifts = [(float("nan"), float("nan"))] * len(runs)
    if search is None:
        return shifts
    found, keys = find_runs(search), values.index.tolist()
    for number, (first, last, members) in enumerate(runs):
        asked = Run(keys.index(first), keys.index(last), members == "sharps", 0.0)
        if asked.column(search.naturals)[search.where].any():
            others = [each for each in found if not mostly_inside(each.place, asked.place)]
            shifted = (0.0,) * (1 + len(others))
            together = replace(search, runs=(asked, *others), shifts=shifted)
            shifts[number] = _shifts(together, [asked])[0]
    return shifts


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


def sentences_by_occasion(found: Mapping[str, Plateaus]) -> list[str]:
    """Say of several occasions which runs of keys stand off together, one sentence each."""
    return [f"{name}: {each}" for name, some in found.items() for each in plateaus_sentences(some)]


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
