"""A reading that all others together do not believe: of this key and of all keys, joined.

A down weight that is misread by 5 g moves friction and balance weight by 2.5 g each, and neither
alone stands out. Taken together they do: with Q the inverse covariance of all readings, r what is
left of them over the model, and h the pattern of one cause, a cause of free size explains::

    gain = (h'Qr)^2 / h'Qh        its size = h'Qr / h'Qh

For one misread reading h is 1 at that reading; the root of the gain is then its distance from what
all other readings lead one to expect, in standard units. A real peculiarity of the key has a
pattern too: a tight centre moves down and up weight apart. Whichever explains the key best is
named.

References
----------
Cook and Weisberg, Residuals and Influence in Regression (1982), 2.2.2: the mean shift outlier
model; from memory.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray

from balancekit.calculation.believed.joint import Known, System
from balancekit.calculation.course import Floats

MISREAD_BEYOND = {"down_weight_g": 3.4, "up_weight_g": 3.4}
"""Standard units beyond which all other readings together do not believe one, by column."""
# Our own choice: beyond it lie 7 of 10,000 by chance (standard normal table). What is set by hand
# is misread most easily.

_BEYOND = 4.2
# Our own choice, for what is read off a scale or a rule: 3 of 100,000 by chance.


@dataclass(frozen=True)
class Misread:
    """One reading that seems wrong.

    Attributes
    ----------
    key, name : which reading.
    by : how far it is off, in its unit.
    off : the same in standard units.
    real : the quantity that explains the key better if it is really so, or "".
    """

    key: int
    name: str
    by: float
    off: float
    real: str


@dataclass(frozen=True)
class Readings:
    """All readings, held against each other.

    Attributes
    ----------
    at, names : key, counted from 0, and column of each reading, (n,).
    left : Q r of each, (n,).
    inverse : Q, (n, n).
    slopes : how each moves with the quantities of its key, by quantity, (n,).
    """

    at: NDArray[np.intp]
    names: list[str]
    left: Floats
    inverse: Floats
    slopes: dict[str, Floats]

    @classmethod
    def of(cls, table: pd.DataFrame, known: Known) -> Readings | None:
        """Hold the readings of a table against each other; None without any."""
        system = System(table, known, plain=True)
        if not system.rows:
            return None
        _, root, left = system.at_first
        half, _ = scipy.linalg.lapack.dpotri(root, lower=1)
        inverse = np.where(np.tri(len(half), dtype=bool), half, half.T)
        moves = system.moves(system.begin())
        slopes: dict[str, Floats] = {
            name: moves[:, at : at + system.count].sum(axis=1) for name, at in system.start.items()
        }
        at = np.concatenate([rows.at for rows in system.rows])
        names = [rows.name for rows in system.rows for _ in rows.at]
        return cls(at, names, inverse @ left, inverse, slopes)

    def off(self) -> Floats:
        """Standard units between each reading and what all others lead one to expect, (n,)."""
        result: Floats = self.left / np.sqrt(np.diagonal(self.inverse))
        return result

    def beyond(self) -> Floats:
        """Return from how many standard units on each reading is doubted, (n,)."""
        return np.array([MISREAD_BEYOND.get(name, _BEYOND) for name in self.names])

    def told_apart(self, share: float = 0.8) -> Floats:
        """Return how far each reading must be off to be doubted with this probability, (n,).

        It is the information limit: the best that any method can do with these readings, if it
        doubts as few clean ones.
        """
        reach = self.beyond() + float(scipy.special.ndtri(share))
        result: Floats = reach / np.sqrt(np.diagonal(self.inverse))
        return result

    def real(self, place: int) -> tuple[float, str]:
        """Return what the best of a key's own peculiarities explains, and its name."""
        own = np.flatnonzero(self.at == place)
        inside, left = self.inverse[np.ix_(own, own)], self.left[own]
        gains = [
            (float((slope[own] @ left) ** 2 / (slope[own] @ inside @ slope[own])), name)
            for name, slope in self.slopes.items()
            if slope[own].any()
        ]
        return max(gains)


def find_misread(
    table: pd.DataFrame, known: Known, aside: Collection[int] = ()
) -> tuple[Misread, ...]:
    """Find readings that all others together do not believe, at most one a key.

    Parameters
    ----------
    table : the table of keys as it was read, with uncertainties.
    known : what is known of the readings as a whole; its slips bear on nothing.
    aside : keys that are judged already; they are passed over.
    """
    readings = Readings.of(table, known)
    if readings is None:
        return ()
    off, found = readings.off(), []
    doubted = np.abs(off) > readings.beyond()
    for place in np.unique(readings.at[doubted]):
        key = int(table.index[place])
        if key in aside:
            continue
        own = np.flatnonzero((readings.at == place) & doubted)
        worst = int(own[np.argmax(np.abs(off[own]))])
        gain, name = readings.real(int(place))
        real = name if gain > off[worst] ** 2 else ""
        by = readings.left[worst] / readings.inverse[worst, worst]
        found.append(Misread(key, readings.names[worst], float(by), float(off[worst]), real))
    return tuple(found)
