"""The hammers of a way lie on one smooth curve: what a plan carries from key to key.

A hammer that is trimmed or added to until its own key is even sticks out of its neighbours. So
every way has a course of the hammers, above or below the smooth curve through the strike weights
as found by a level that changes by half a step of the bench from key to key at most. A hammer
that is worked on ends within half a step of it; one that is left lies no farther from it than
from the curve as found, or than half a step. A hammer whose reading is doubted, or whose strike
weight was decided, bears on no other.

The level is the state of a dynamic programme along the keys (R. Bellman, Dynamic Programming,
1957, cited from memory), for all prices of a minute at once: exact, and so is the bound of
``front`` that rests on it.
"""

from __future__ import annotations

from itertools import accumulate, pairwise

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.plan.piano import Floats, Piano

Ints = NDArray[np.int64]

_NEAR_G = 1e-9


class HammerCourse:
    """Which change of each hammer goes with which level of the course.

    Parameters
    ----------
    piano : the keys.
    cell_row, cell_change_g : key and change of the strike weight, for every change that is
        possible; each key's first is what happens to a hammer that is left.
    step_g : how finely hammers are worked [g].
    """

    def __init__(self, piano: Piano, cell_row: Ints, cell_change_g: Floats, step_g: float) -> None:
        half = step_g / 2
        lowest = np.floor(min(cell_change_g.min(), 0.0) / half + _NEAR_G)
        highest = np.ceil(max(cell_change_g.max(), 0.0) / half - _NEAR_G)
        self.level_g = half * np.arange(lowest, highest + 1)
        off_g = piano.strike_weight_g - piano.smooth(piano.strike_weight_g, half / 2)
        bound = piano.may_cut & ~np.isfinite(piano.hammer_fixed_g)
        firsts = np.searchsorted(cell_row, np.arange(piano.count + 1))
        none = len(cell_row)
        self.cells = np.full((piano.count, len(self.level_g), 3), none)
        for key, (first, last) in enumerate(pairwise(firsts.tolist())):
            reach = max(abs(off_g[key]), half) if bound[key] else np.inf
            left = np.abs(off_g[key] - self.level_g) <= reach + _NEAR_G
            self.cells[key, left, 0] = first
            ends = off_g[key] + cell_change_g[first + 1 : last]
            fits = np.abs(ends[None, :] - self.level_g[:, None]) <= half + _NEAR_G
            # A band as wide as a step holds two changes at most, both at its edges.
            rank = np.cumsum(fits, axis=1)
            level, which = np.nonzero(fits)
            self.cells[key, level, rank[level, which]] = first + 1 + which

    def forward(self, cost: Floats) -> tuple[list[Floats], Ints]:
        """Walk along the keys once, for all prices.

        Parameters
        ----------
        cost : of every change at every price, shape (changes, prices).

        Returns
        -------
        The least cost of each key and all before it at each level and price, (levels, prices), key
        by key; the least of the last is that of all keys. And which of the ``cells`` of each key
        and level is the cheapest, (keys, levels, prices).
        """
        padded = np.vstack([cost, np.full((1, cost.shape[1]), np.inf)])
        here = padded[self.cells[..., 0]]
        taken = np.zeros(here.shape, dtype=np.int64)
        for place in (1, 2):
            other = padded[self.cells[..., place]]
            taken[other < here] = place
            np.minimum(here, other, out=here)
        return list(accumulate(here, lambda best, now: _least_beside(best) + now)), taken

    def path(self, best: list[Floats], taken: Ints) -> Ints:
        """Return the change of each key that is taken at each price, shape (keys, prices).

        Parameters
        ----------
        best, taken : as ``forward`` returns them.
        """
        prices = np.arange(best[0].shape[1])
        level = best[-1].argmin(axis=0)
        chosen = np.zeros((len(best), len(prices)), dtype=np.int64)
        for key in reversed(range(len(best))):
            chosen[key] = self.cells[key, level, taken[key, level, prices]]
            if key:
                was = np.vstack([best[key - 1], np.full((2, len(prices)), np.inf)])
                beside = level + np.array([[0], [-1], [1]])  # -1 is past the end as well
                level = beside[was[beside, prices].argmin(axis=0), prices]
        return chosen

    def open_to(self, taken: Ints, key: int) -> Ints:
        """Return the changes of one hammer that a course allows, all others as they are.

        Parameters
        ----------
        taken : change of each key, shape (keys,).
        key : whose changes are asked for, from 0.
        """
        goes = (self.cells == taken[:, None, None]).any(axis=2)
        both = np.ones(len(self.level_g), dtype=bool)
        for others in (range(key), range(len(taken) - 1, key, -1)):
            reach = np.ones(len(self.level_g), dtype=bool)
            for other in others:
                reach &= goes[other]
                reach = reach | np.append(False, reach[:-1]) | np.append(reach[1:], False)
            both &= reach
        return np.unique(self.cells[key, both])


def _least_beside(best: Floats) -> Floats:
    """Return the least of each row, the one before and the one after.

    >>> _least_beside(np.array([[3.0], [1.0], [2.0], [5.0]])).ravel().tolist()
    [1.0, 1.0, 1.0, 2.0]
    """
    least = best.copy()
    np.minimum(least[1:], best[:-1], out=least[1:])
    np.minimum(least[:-1], best[1:], out=least[:-1])
    return least
