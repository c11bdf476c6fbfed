"""Repeat readings: their mean, and what their scatter says of the hand that took them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.uncertainty import coverage_factor
from balancekit.calculation.weighing.guided import step_variance
from balancekit.calculation.weighing.session import Drift

STATED_COUNTS = 3
"""Repeats that the stated uncertainty counts as, beside those that were taken."""
# Our own choice: the stated one is then believed as far as a scatter with three degrees of
# freedom, which is uncertain by about 0.4 of itself (JCGM 100:2008, E.4.3).

POOLED_COUNTS = 10
# Our own choice: what the keyboard tells of the hand counts as ten repeats of the key itself.

_LEAST_U = 1e-6
# Our own choice: readings without any uncertainty are told from those with a step.


@dataclass(frozen=True)
class Averaged:
    """Repeat readings brought to one value a key.

    Attributes
    ----------
    mean : mean of the readings of each key; NaN where there is none.
    uncertainty : standard uncertainty of that mean.
    count : number of readings.
    hand : standard deviation of one reading, pooled over the keys; NaN if no key was repeated.
    freedom : degrees of freedom of ``hand``.
    single_u : standard uncertainty of one reading, from the stated one and the hand together.
    drift : over the session, taken off the mean; None where nothing can be said of it.
    shared : errors that the means share, (K, errors), each of one standard deviation.
    """

    mean: pd.Series
    uncertainty: pd.Series
    count: pd.Series
    hand: float
    freedom: int
    single_u: float
    drift: Drift | None = None
    shared: NDArray[np.float64] | None = None


def average(
    keys: pd.Series,
    values: pd.Series,
    stated_u: float,
    all_keys: pd.Index,
    drift: Drift | None = None,
    within: pd.Series | None = None,
) -> Averaged:
    """Average the readings of each key and give the mean's uncertainty.

    The scatter of the repeats, pooled over the keyboard, and the stated uncertainty are taken
    together, each for what it is worth. What is not known of the hand is a scaled inverse
    chi-square, so a reading errs as Student's t: with t(n) the factor of its 95 of 100, for the
    three degrees of freedom of the stated one and those of the repeats::

        scale^2 = (3 x (1.96 stated / t(3))^2 + sum of squares) / (3 + freedom)
        one reading = scale x t(3 + freedom) / 1.96

    So 1.96 standard uncertainties to each side hold the truth in 95 of 100 cases, with no repeat
    as with many. A key that was read often leans in the same way from the
    pooled scatter towards its own. A scatter of exactly zero says only that the weights are
    coarse; then the stated uncertainty stands.

    Drift over the session, where it is known, is taken off first, unless it is left in.

    A reading that was left anywhere between two weights errs by half their distance over the root
    of three besides. The stated uncertainty holds the usual step of 1 g; what goes beyond it is
    added, and such a reading counts for less in its key's mean.

    Parameters
    ----------
    keys, values : key number and reading of each row, shape (n,); NaN is no reading.
    stated_u : standard uncertainty of one reading, if the scatter cannot tell.
    all_keys : the keys of the instrument.
    drift : over the session, of each row; see ``session.find_drifts``.
    within : how far from each reading the truth may lie, either way; NaN is not known (n,).

    References
    ----------
    JCGM 100:2008, 4.2 (type A), 4.2.4 (pooled), 4.3.7 (anywhere between two limits). JCGM
    101:2008, 6.4.9 (t distribution). Gelman and others, Bayesian Data Analysis, 2.6: the conjugate
    prior of a variance; from memory.

    >>> one_key, readings = pd.Series([1] * 6), pd.Series([2.0, 0, 2, 0, 2, 0])
    >>> hand = average(one_key, readings, 0.7, pd.RangeIndex(1, 2)).hand
    >>> round(hand**2, 3)  # six squares of 1, over five degrees of freedom
    1.2
    """
    if drift is not None:
        values = values - drift.correction
    place = all_keys.get_indexer(pd.Index(keys))
    known = values.notna().to_numpy() & (place >= 0)
    place, read = place[known], values.to_numpy(dtype=float)[known]
    width = np.zeros(len(read)) if within is None else within.to_numpy(dtype=float)[known]
    weight = 1.0 / (1.0 + step_variance(width, stated_u) / max(stated_u**2, _LEAST_U**2))

    def summed(each: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(place, each, len(all_keys)).astype(np.float64)

    count = np.bincount(place, minlength=len(all_keys))
    share = weight / summed(weight)[place]
    mean = summed(share * read)
    mean += summed(share * (read - mean[place]))  # what rounding left in a sum of large numbers
    squares = summed(weight * (read - mean[place]) ** 2)
    freedom = np.maximum(count - 1, 0)
    whole, total = float(squares.sum()), int(freedom.sum())
    hand = float(np.sqrt(whole / total)) if total else float("nan")
    seen = total if hand > 0 else 0
    freedoms = STATED_COUNTS + seen
    prior = (stated_u / _widening(STATED_COUNTS)) ** 2
    single = ((STATED_COUNTS * prior + whole) / freedoms) ** 0.5 * _widening(freedoms)
    own = ((POOLED_COUNTS * single**2 + squares) / (POOLED_COUNTS + freedom)) ** 0.5
    one = np.where(squares > 0, own, single)[place]
    uncertainty = summed(share**2 * (one**2 + step_variance(width, one))) ** 0.5

    def by_key(each: NDArray[np.float64]) -> pd.Series:
        return pd.Series(np.where(count > 0, each, np.nan), all_keys)

    shared = None
    if drift is not None:
        errors = share[:, None] * drift.errors[known]
        shared = np.column_stack([summed(column) for column in errors.T])
    return Averaged(
        by_key(mean), by_key(uncertainty), pd.Series(count, all_keys), hand, total, float(single),
        drift, shared,
    )  # fmt: skip


def _widening(freedom: float) -> float:
    """Return how much wider 95 of 100 lie for Student's t than for the normal distribution."""
    return coverage_factor(freedom) / coverage_factor()
