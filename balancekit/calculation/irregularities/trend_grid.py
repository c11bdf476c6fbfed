"""The algebra under ``trend``: a slow course, scatter and weighing error, on a grid.

A reading at key k is modelled as::

    course(k) + shift of k's groups + scatter(k) + weighing error(k)

``calculation.course`` says what a course is. Scatter is independent from key to key,
weighing error has the standard uncertainty that is known.

Two sizes are unknown: that of the scatter and that of the bends. Both are laid on a
grid and every point is weighted by its marginal likelihood and its prior, so nothing
is searched for, nothing can fail to converge, and what few readings leave open about
the two sizes widens the answer. With both sizes fixed it is ordinary generalised least
squares with a prior, a Gaussian process written in its basis functions.

References
----------
Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 2.7 (explicit
basis functions), 5.4.1 (marginal likelihood), 5.4.2 (leave one out).
Gelman, Bayesian Analysis 1 (2006) 515, folded t prior for a standard deviation.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri_exp

from balancekit.calculation.course import Floats, Sizes

SCATTER_POINTS, SCATTER_FACTOR = 34, 1.15
BEND_POINTS, BEND_FACTOR = 11, 2.0
# Our own choice: with 88 readings the scatter's standard uncertainty is about 8 %, so that
# neighbouring points stand 1.8 of them apart; down to 1/100 and 1/1000 of the largest.

HOPELESS = 60.0
# A scatter whose log weight lies further below the best is left out: e^-60 of it. A reading that
# lies ten standard units off takes e^50 from a small scatter, and is judged without itself.


def size_grid(largest: float, points: int, factor: float) -> Floats:
    """Return sizes from the largest downwards, each smaller by the factor, in rising order."""
    result: Floats = largest * factor ** -np.arange(points, dtype=float)[::-1]
    return result


def log_prior(sizes: Floats, expected: float) -> Floats:
    """Return the log prior of sizes that lie evenly in their logarithm, up to a constant.

    A folded t distribution with three degrees of freedom: about the expected size or less,
    but readings that show ten times as much are believed.
    """
    result: Floats = np.log(sizes) - 2 * np.log1p((sizes / expected) ** 2 / 3)
    return result


def log_sum(logs: Floats) -> Floats:
    """Return the log of the sum over the grid of what is given as logs, (S, B, ...)."""
    most = logs.max(axis=(0, 1))
    result: Floats = most + np.log(np.exp(logs - most).sum(axis=(0, 1)))
    return result


@dataclass(frozen=True)
class SolvedGrid:
    """The readings as every point of the grid sees them.

    Shapes: S sizes of the scatter, B sizes of the bends, K keys, n readings.

    Attributes
    ----------
    scatter, bend : the two sizes, (S,) and (B,).
    log_weight : log of likelihood x prior, up to a constant, (S, B).
    mean, variance : of the trend at every key, (S, B, K).
    step, step_variance : step from sharps to naturals, (S, B).
    used : where the readings are among the keys, (n,).
    values, noise : readings, and squares of their weighing errors, (n,).
    """

    scatter: Floats
    bend: Floats
    log_weight: Floats
    mean: Floats
    variance: Floats
    step: Floats
    step_variance: Floats
    used: NDArray[np.intp]
    values: Floats
    noise: Floats

    @cached_property
    def weight(self) -> Floats:
        """Weights that add up to 1, (S, B)."""
        result: Floats = np.exp(self.log_weight - log_sum(self.log_weight))
        return result

    def mix(self, mean: Floats, variance: Floats) -> tuple[Floats, Floats]:
        """Mean and standard deviation of a mixture over the grid, for arrays (S, B, ...)."""
        weight = self.weight
        middle = np.tensordot(weight, mean, 2)
        spread = np.tensordot(weight, variance + (mean - middle) ** 2, 2)
        return middle, np.sqrt(spread)

    def key_values(self) -> tuple[Floats, Floats]:
        """Return mean and variance of each key's own true value, (S, B, K)."""
        scatter = (self.scatter**2)[:, None, None]
        mean, variance = self.mean.copy(), self.variance + scatter
        share = scatter / (scatter + self.noise)
        trend, spread = self.mean[..., self.used], self.variance[..., self.used]
        mean[..., self.used] = trend + share * (self.values - trend)
        variance[..., self.used] = (1 - share) ** 2 * spread + share * self.noise
        return mean, variance

    def without_own(self) -> tuple[Floats, Floats, Floats]:
        """Return what the other readings say of each reading: mean, variance, log weight.

        Shapes (S, B, n); the log weights are those of the other readings too.
        """
        total = (self.scatter**2)[:, None, None] + self.noise
        kept = np.maximum(1 - self.variance[..., self.used] / total, 1e-12)
        miss = (self.values - self.mean[..., self.used]) / kept
        variance = total / kept
        own = -0.5 * (miss**2 / variance + np.log(variance))
        log_weight = self.log_weight[..., None] - own
        return self.values - miss, variance, log_weight - log_sum(log_weight)


def deviation(value: Floats, mean: Floats, variance: Floats, log_weight: Floats) -> Floats:
    """Return how far values lie from a mixture of normals, in standard units of a normal.

    The probability of the tail beyond the value is turned into the standard deviate with
    the same tail, so that 2 means the same with 3 readings as with 88.

    Parameters
    ----------
    value : shape (n,). mean, variance, log_weight : shape (S, B, n).
    """
    side = np.sign(value - np.sum(np.exp(log_weight) * mean, axis=(0, 1)))
    tail = log_sum(log_weight + log_ndtr(-side * (value - mean) / np.sqrt(variance)))
    result: Floats = -side * ndtri_exp(np.minimum(tail, 0.0))
    return result


def solve_grid(
    used: NDArray[np.intp],
    values: Floats,
    noise: Floats,
    lines: Floats,
    shapes: Floats,
    expected: Sizes,
    largest: tuple[float, float],
    groups: Floats | None = None,
) -> SolvedGrid:
    """Solve the model at every point of the grid.

    Parameters
    ----------
    used, values, noise : as in ``SolvedGrid``; at least one reading.
    lines : level, change, step and change of the step at every key, (K, 4).
    shapes : bends at every key, (K, bends).
    expected : prior standard deviations.
    largest : largest scatter and largest bend of the grid.
    groups : a column of 0 and 1 for each group of keys that is shifted together, (K, groups).
    """
    scatter = size_grid(largest[0], SCATTER_POINTS, SCATTER_FACTOR)
    bend = size_grid(largest[1], BEND_POINTS, BEND_FACTOR)
    steps = np.zeros((len(lines), 0)) if groups is None else groups
    fixed_all = np.column_stack([lines, steps])
    fixed, bends = fixed_all[used], shapes[used]
    total = (scatter**2)[:, None] + noise
    fixed_w, bends_w = fixed.T / total[:, None, :], bends.T / total[:, None, :]
    precision = fixed_w @ fixed + np.diag(
        [0.0, expected.change**-2, *[expected.step**-2] * (2 + steps.shape[1])]
    )
    inverse = np.linalg.inv(precision)
    cross, right = fixed_w @ bends, fixed_w @ values
    line = np.einsum("sij,sj->si", inverse, right)
    lift = inverse @ cross
    sizes, turn = np.linalg.eigh(bends_w @ bends - np.swapaxes(cross, 1, 2) @ lift)
    sizes = np.maximum(sizes, 0.0)[:, None, :]
    pull = np.einsum("srt,sr->st", turn, bends_w @ values - np.einsum("sir,si->sr", cross, line))
    square = (bend**2)[:, None]
    shrink = square / (1 + square * sizes)
    bent = shrink * pull[:, None, :]
    squares = np.sum(values**2 / total, axis=1) - np.sum(right * line, axis=1)
    log_weight = -0.5 * (
        np.sum(np.log(total), axis=1)[:, None]
        + np.linalg.slogdet(precision)[1][:, None]
        + np.sum(np.log1p(square * sizes), axis=2)
        + squares[:, None]
        - np.sum(bent * pull[:, None, :], axis=2)
    )
    log_weight += log_prior(scatter, expected.scatter)[:, None]
    log_weight += log_prior(bend, expected.bend)
    # What is hopeless is not worked out on the keys.
    kept = log_weight.max(axis=1) > log_weight.max() - HOPELESS
    scatter, log_weight, line, lift = scatter[kept], log_weight[kept], line[kept], lift[kept]
    turn, shrink, bent, inverse = turn[kept], shrink[kept], bent[kept], inverse[kept]
    # The keys, and as one more row the step alone.
    rows = np.vstack([fixed_all, np.eye(fixed_all.shape[1])[2]])
    turned = (np.vstack([shapes, np.zeros(shapes.shape[1])]) - rows @ lift) @ turn
    mean = (line @ rows.T)[:, None, :] + bent @ np.swapaxes(turned, 1, 2)
    variance = np.einsum("ki,sij,kj->sk", rows, inverse, rows)[:, None, :]
    variance = variance + shrink @ np.swapaxes(turned**2, 1, 2)
    return SolvedGrid(
        scatter, bend, log_weight, mean[..., :-1], variance[..., :-1], mean[..., -1],
        variance[..., -1], used, values, noise,
    )  # fmt: skip
