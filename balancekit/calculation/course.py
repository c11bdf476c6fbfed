"""The slow course of a series over the keyboard: level, change, step and bends.

Every model of a series here has this one course::

    level + change x place + (step + its change x place) x colour + bends(k)

``place`` runs from -1/2 at the first key to 1/2 at the last; ``colour`` is 1/2 for a natural and
-1/2 for a sharp.

References
----------
Whittaker, Proc. Edinburgh Math. Soc. 41 (1923) 63: bends whose differences are independent.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_MOST_SLOW = 12
# The thirteenth is 500 times smaller than the first; on 88 keys it repeats every 12 keys.

ROBUST = 1.4826
# Median absolute deviation to standard deviation of a normal: 1 / 0.6745 (standard table).

_NEIGHBOURS = 7
# Our own choice: half an octave of naturals.


@dataclass(frozen=True)
class Sizes:
    """What is expected of a series before it is weighed, as standard deviations."""

    change: float
    bend: float
    step: float
    scatter: float


EXPECTED: dict[str, Sizes] = {
    "down_weight_g": Sizes(change=15, bend=3, step=4, scatter=1.5),
    "up_weight_g": Sizes(change=15, bend=3, step=4, scatter=1.5),
    "front_weight_g": Sizes(change=30, bend=4, step=8, scatter=2),
    "strike_weight_g": Sizes(change=8, bend=0.7, step=0.5, scatter=0.3),
    "wippen_weight_g": Sizes(change=3, bend=0.5, step=0.5, scatter=0.3),
    "key_ratio": Sizes(change=0.03, bend=0.005, step=0.02, scatter=0.002),
    "spring_relief_g": Sizes(change=10, bend=3, step=3, scatter=1),
    "balance_weight_g": Sizes(change=10, bend=2, step=3, scatter=1),
    "friction_g": Sizes(change=8, bend=2, step=1.5, scatter=1),
    "action_ratio": Sizes(change=0.5, bend=0.15, step=0.2, scatter=0.05),
}
"""How much each series may change, bend, step and scatter, before anything is weighed.

Common practice, no source, and wide on purpose: a dozen readings outweigh it. Only where
the weighing error is larger than the scatter does it still count; a key ratio's scatter of
0.002 is half a millimetre in the place of the capstan.
"""


def size_grid(largest: float, points: int, factor: float) -> Floats:
    """Return sizes from the largest downwards, each smaller by the factor, in rising order."""
    result: Floats = largest * factor ** -np.arange(points, dtype=float)[::-1]
    return result


def log_prior_of_size(sizes: Floats, expected: float) -> Floats:
    """Return the log prior of sizes that lie evenly in their logarithm, up to a constant.

    A folded t distribution with three degrees of freedom (Gelman, Bayesian Analysis 1 (2006) 515):
    about the expected size or less, but readings that show ten times as much are believed.
    """
    result: Floats = np.log(sizes) - 2 * np.log1p((sizes / expected) ** 2 / 3)
    return result


@lru_cache(maxsize=32)
def bend_shapes(count: int) -> Floats:
    """Return the bends of the discrete smoothing spline, (keys, bends), smoothest first.

    They are the eigenvectors of the squared second difference, each sized by one over
    the square root of its eigenvalue; together they have a mean square of 1 over the keys.
    """
    if count < 3:
        return np.zeros((count, 0))
    second = np.diff(np.eye(count), n=2, axis=0)
    sizes, shapes = np.linalg.eigh(second.T @ second)
    bends = shapes[:, 2:] / np.sqrt(sizes[2:])
    result: Floats = bends / np.sqrt(np.mean(np.sum(bends**2, axis=1)))
    result.setflags(write=False)
    return result


@lru_cache(maxsize=32)
def smooth_shapes(count: int) -> Floats:
    """Return the slow ones of ``bend_shapes``, the shorter ones still smaller.

    Their size falls with the cube of their number, as in a course whose third differences are
    independent: it follows a slow wave, and not a step.
    """
    bends = bend_shapes(count)
    slow = (bends / np.arange(2, bends.shape[1] + 2))[:, :_MOST_SLOW]
    result: Floats = slow / np.sqrt(np.mean(np.sum(slow**2, axis=1))) if count > 2 else slow
    result.setflags(write=False)
    return result


def lines(naturals: NDArray[np.bool_]) -> Floats:
    """Return level, change over the keyboard, and step, for every key, (K, 3)."""
    count = len(naturals)
    places = (np.arange(count) - (count - 1) / 2) / max(count - 1, 1)
    return np.column_stack([np.ones(count), places, np.where(naturals, 0.5, -0.5)])


def course_lines(naturals: NDArray[np.bool_]) -> Floats:
    """Return level, change and step, and how a step changes over the keyboard, (K, 4).

    Where the sharps have another ratio, what it makes of a weight falls over the keyboard as the
    weight does: the step between the colours changes, and no run of sharps is shifted.
    """
    plain = lines(naturals)
    return np.column_stack([plain, plain[:, 1] * plain[:, 2]])


def course_columns(naturals: NDArray[np.bool_], sizes: Sizes, level: float) -> Floats:
    """Return the course as columns of one standard deviation each, (K, 4 + bends).

    Parameters
    ----------
    naturals : which keys are naturals, (K,).
    sizes : how much the series changes, bends and steps.
    level : how far its level may lie off.
    """
    wide = [level, sizes.change, sizes.step, sizes.step]
    return np.hstack([course_lines(naturals) * wide, sizes.bend * smooth_shapes(len(naturals))])


def off_neighbours(values: Floats, naturals: NDArray[np.bool_]) -> Floats:
    """Return how far values lie off the median of the seven nearest of their colour, (n,).

    At the ends those before the last are taken twice, so that a slip there stands alone. Of fewer
    than seven all are taken, less one where they are even; where a colour has fewer than three, 0.
    """
    off: Floats = np.zeros(len(values))
    for colour in (True, False):
        own = naturals == colour
        window = min(_NEIGHBOURS, (int(own.sum()) - 1) // 2 * 2 + 1)
        if window >= 3:
            padded = np.pad(values[own], window // 2, mode="reflect")
            around = np.lib.stride_tricks.sliding_window_view(padded, window)
            off[own] = values[own] - np.median(around, axis=1)
    return off
