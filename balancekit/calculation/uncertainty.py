"""Carrying uncertainty through a calculation, to first order and by chance draws."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from balancekit.calculation.problems import refuse

Draw = Callable[[np.random.Generator, int], NDArray[np.float64]]


def combine(slopes: ArrayLike, covariance: ArrayLike) -> float:
    """Return the standard uncertainty of a result from correlated inputs.

    Parameters
    ----------
    slopes : partial derivatives of the result by each input, shape (n,).
    covariance : covariance of the inputs, shape (n, n).

    References
    ----------
    JCGM 100:2008, 5.2.2, equation 13.

    >>> combine([1.0, -1.0], [[4.0, 4.0], [4.0, 4.0]])  # fully correlated: the error cancels
    0.0
    """
    slope = np.asarray(slopes, dtype=float)
    return float(np.sqrt(slope @ np.asarray(covariance, dtype=float) @ slope))


def mean_covariance(readings: ArrayLike) -> NDArray[np.float64]:
    """Return the covariance of the means of readings taken together.

    Parameters
    ----------
    readings : shape (n, k): n repeats of k quantities read at the same time.

    Raises
    ------
    BalancekitError : fewer than two repeats.

    References
    ----------
    JCGM 100:2008, 5.2.3, equation 17.
    """
    table = np.asarray(readings, dtype=float)
    if len(table) < 2:
        raise refuse("One reading has no scatter.", "Take at least two repeats.")
    return np.atleast_2d(np.cov(table, rowvar=False)) / len(table)


def effective_freedom(parts: ArrayLike, freedoms: ArrayLike) -> float:
    """Return the effective degrees of freedom of a combined uncertainty.

    Parameters
    ----------
    parts : contribution of each input to the standard uncertainty, shape (n,).
    freedoms : degrees of freedom of each, shape (n,); infinity where well known.

    References
    ----------
    Welch-Satterthwaite, JCGM 100:2008, G.4.1, equation G.2b.

    >>> effective_freedom([1.0, 1.0], [10, 10])
    20.0
    """
    part, freedom = np.asarray(parts, dtype=float), np.asarray(freedoms, dtype=float)
    spread = float(np.sum(part**4 / freedom))
    return float("inf") if spread == 0 else float(np.sum(part**2) ** 2 / spread)


def coverage_factor(freedom: float = float("inf"), probability: float = 0.95) -> float:
    """Return how many standard uncertainties to each side hold the truth with a probability.

    References
    ----------
    JCGM 100:2008, G.3.

    >>> round(coverage_factor(), 2), round(coverage_factor(16, 0.99), 2)
    (1.96, 2.92)
    """
    return float(stdtrit(freedom, (1 + probability) / 2))


@dataclass(frozen=True)
class Draws:
    """What chance draws gave: mean, standard uncertainty and a 95 % interval."""

    mean: float
    uncertainty: float
    low: float
    high: float


def monte_carlo(
    function: Callable[..., Any],
    inputs: Mapping[str, tuple[float, float] | Draw],
    *,
    draws: int = 200_000,
    seed: int = 0,
) -> Draws:
    """Carry whole distributions through a function by chance draws.

    Parameters
    ----------
    function : takes the inputs by name, as arrays of shape (draws,).
    inputs : by name, (value, standard uncertainty) for a normal distribution, or a
        function of a generator and a count for any other.
    draws : how many.
    seed : the same seed gives the same draws.

    References
    ----------
    JCGM 101:2008, 7.

    >>> result = monte_carlo(lambda a, b: a + b, {"a": (1.0, 3.0), "b": (2.0, 4.0)})
    >>> round(result.uncertainty, 1)
    5.0
    """
    generator = np.random.default_rng(seed)
    drawn = {
        name: given(generator, draws)
        if callable(given)
        else generator.normal(given[0], given[1], draws)
        for name, given in inputs.items()
    }
    results = np.asarray(function(**drawn), dtype=float)
    low, high = np.quantile(results, [0.025, 0.975])
    return Draws(float(results.mean()), float(results.std(ddof=1)), float(low), float(high))
