"""What is expected of one series before groups are sought in it: scatter and errors."""

from __future__ import annotations

from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.course import ROBUST, Floats, off_neighbours

USUAL_SCATTER, WITHIN = 0.7, 0.6
# Our own choice, no source: what is expected is wide on purpose, so half of all instruments scatter
# less than 0.7 of it; two in three lie within a factor of 1.8 of that, 95 of 100 within 3.2.

_FAR = 3.5
# Our own choice: a reading counts at most this many robust standard deviations off the median
# of its neighbours, so that one odd key makes no group.

_OWN_MEDIAN = 0.82
# By simulation: a value counts for the median of its own seven, so that it lies nearer to it than
# to that of others; without this the scatter is found 8 % too small.

MOST_FAR = 0.25
"""Part of the keys that slips and odd keys are at most."""
# Our own choice: more are not slips but the piano.

NEIGHBOUR_SHARES = {0.0: 0.9, 0.5: 0.07, 0.9: 0.03}
"""Part of the weighing errors' variance that neighbours share, and how likely each is before."""
# Our own choice, no source: most people's errors are new at every key.

Axes: TypeAlias = tuple[Floats, Floats]
"""Squares (n,) and axes (n, n) of a covariance."""

NEIGHBOUR_KEYS = 2.0
# Our own choice: such an error lasts over about five keys.


def neighbour_errors(where: NDArray[np.intp], share: float) -> Floats:
    """Return the correlation of weighing errors of which neighbours share a part, (n, n)."""
    apart = (where[:, None] - where) / NEIGHBOUR_KEYS
    result: Floats = share * np.exp(-0.5 * apart**2) + (1 - share) * np.eye(len(where))
    return result


@lru_cache(maxsize=32)
def _neighbour_axes(where: tuple[int, ...], share: float) -> Axes:
    square, axes = np.linalg.eigh(neighbour_errors(np.array(where), share))
    return square, axes


def error_axes(where: NDArray[np.intp], noise: Floats, share: float) -> Axes:
    """Return squares and axes of the covariance of errors of which neighbours share a part.

    Where all are of one size, or none is shared, the axes are those of ``neighbour_errors``.
    """
    if share == 0.0 or np.ptp(noise) == 0.0:
        square, axes = _neighbour_axes(tuple(where.tolist()), share)
        return square * noise, axes
    each = np.sqrt(noise)
    square, axes = np.linalg.eigh(neighbour_errors(where, share) * each[:, None] * each)
    return square, axes


def log_prior_of_scatter(sizes: Floats, middle: float, within: float) -> Floats:
    """Return the log prior of the scatter on sizes that lie evenly in their logarithm.

    A normal distribution of the logarithm, ``within`` about the middle. No key is just as its
    neighbours are, so a scatter of nothing has a density of nothing: where the weighing error
    hides the scatter, the likelihood often has its top there, and bands that believe it are too
    narrow (Chung and others, Psychometrika 78 (2013) 685; from memory). A dozen readings with ten
    times the scatter outweigh it.
    """
    result: Floats = -0.5 * (np.log(sizes / middle) / within) ** 2
    return result


def brought_near(
    values: Floats, noise: Floats, naturals: NDArray[np.bool_]
) -> tuple[Floats, float, NDArray[np.bool_]]:
    """Return values with far ones brought near their neighbours, their spread, and lonely ones.

    A far one with a far neighbour on the same side may be of a group; one alone is an odd key.
    Where more than one in four is far, it is the piano, and all stay.
    """
    off = off_neighbours(values, naturals)
    spread = max(
        ROBUST / _OWN_MEDIAN * float(np.median(np.abs(off))), float(np.sqrt(np.median(noise)))
    )
    far = np.abs(off) > _FAR * spread
    if far.mean() > MOST_FAR:
        return values, float(np.sqrt(np.mean(off**2))), np.zeros(len(off), dtype=bool)
    side = np.sign(off) * far
    around = np.pad(side, 1)
    alone = (side != 0) & (around[:-2] != side) & (around[2:] != side)
    return values - off + np.clip(off, -_FAR * spread, _FAR * spread), spread, alone
