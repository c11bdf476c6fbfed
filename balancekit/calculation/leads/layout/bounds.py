"""How near to a place plugs can lie at all; a quick bound for the search of layouts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.leads.layout.sets import Floats, Ints

FAR = 100_000
"""A distance beyond every key [mm]."""


def row_at_the_front(free: NDArray[np.bool_], own_gap_mm: Ints, most: int) -> Floats:
    """Return where plugs of one kind stand when they are pushed to the front, from there back.

    Parameters
    ----------
    free : shape (n, s, p), where a new hole fits, for each key and kind.
    own_gap_mm : shape (s,), least distance of two plugs of the same kind [mm].

    Returns
    -------
    columns, shape (n, s, most); minus infinity where so many do not fit.

    >>> free = np.array([[[True, True, False, True, True, True]]])
    >>> row_at_the_front(free, np.array([2]), 3).tolist()
    [[[5.0, 3.0, 1.0]]]
    """
    keys, kinds, places = free.shape
    behind = np.full((keys, kinds, places + 1), -FAR)
    behind[..., 1:] = np.maximum.accumulate(np.where(free, np.arange(places), -FAR), axis=2)
    row = np.full((keys, kinds, most), -np.inf)
    at = np.full((keys, kinds), places - 1)
    for k in range(most):
        found = np.take_along_axis(behind, np.maximum(at + 1, 0)[..., None], axis=2)[..., 0]
        row[..., k] = np.where(found >= 0, found, -np.inf)
        at = found - own_gap_mm
    return row


class Radii:
    """For every key and kind of plug: how far to both sides of a place k plugs reach at least.

    A row of k plugs of one kind that starts at the free place s and is packed towards the
    front as close as holes allow ends at e. It lies within max(c - s, e - c) of the place c,
    and the row that lies nearest begins just before or just after s + e passes 2 c. So a table
    of how many rows have passed each value of 2 c answers at once.

    Parameters
    ----------
    free : shape (n, s, p), where a new hole fits, for each key and kind.
    start_mm : first place of the grid [mm].
    own_gap_mm : shape (s,), least distance of two plugs of the same kind [mm].
    most : greatest k.
    """

    def __init__(self, free: NDArray[np.bool_], start_mm: int, own_gap_mm: Ints, most: int) -> None:
        keys, kinds, places = free.shape
        self.start, self.places, self.most, self.kinds = start_mm, places, most, kinds
        place = np.where(free, np.arange(places), FAR)
        ahead = np.full((keys, kinds, places + 1), FAR)
        ahead[..., :-1] = np.minimum.accumulate(place[..., ::-1], axis=2)[..., ::-1]
        ends = [ahead]
        for _ in range(1, most):
            step = np.minimum(ends[-1] + own_gap_mm[None, :, None], places)
            ends.append(np.take_along_axis(ahead, step, axis=2))
        self.end = np.stack(ends, axis=2).reshape(-1, places + 1).astype(np.int32)
        self.begin = np.repeat(ahead.reshape(-1, places + 1), most, axis=0).astype(np.int32)
        values = 2 * places + 1
        sums = np.minimum(self.begin + self.end, values - 1)
        sums += np.arange(len(sums))[:, None] * values
        counts = np.bincount(sums.ravel(), minlength=len(sums) * values).reshape(-1, values)
        self.passed = np.cumsum(counts, axis=1)

    def find_mm(self, key: Ints, centre_mm: Floats) -> Floats:
        """Return the radii about one place of each key, shape (n, s, most) [mm]."""
        centre = np.clip(centre_mm - self.start, 0, self.places - 1)
        rows = self.kinds * self.most
        row = key[:, None] * rows + np.arange(rows)
        at = self.passed[row, np.floor(2 * centre).astype(np.int64)[:, None]]
        behind = np.where(at > 0, centre[:, None] - self.begin[row, np.maximum(at - 1, 0)], FAR)
        ahead = self.end[row, np.minimum(at, self.places)] - centre[:, None]
        radii: Floats = np.minimum(behind, np.maximum(ahead, 0.0))
        return radii.reshape(len(key), self.kinds, self.most)

    def spread_g_mm2(self, key: Ints, centre_mm: Floats, mass_g: Floats, narrower: Ints) -> Floats:
        """Return a bound of the sum of m (x - c)^2 for sets of plugs.

        Among any k plugs of a set at least k less those that are narrower are of a kind or
        wider. The heaviest plugs are taken to lie nearest.

        Parameters
        ----------
        mass_g : shape (n, most), masses of each set, the heaviest first [g].
        narrower : shape (n, s), how many plugs of the set are narrower than each kind.
        """
        radii = self.find_mm(key, centre_mm)
        best = np.zeros((len(key), self.most))
        for kind in range(self.kinds):
            shift = narrower[:, kind]
            for skip in np.unique(shift):
                rows = np.nonzero(shift == skip)[0]
                if skip < self.most:
                    kept = radii[rows, kind, : self.most - skip]
                    best[rows, skip:] = np.maximum(best[rows, skip:], kept)
        spread: Floats = (mass_g * np.where(mass_g > 0, best, 0.0) ** 2).sum(axis=1)
        return spread
