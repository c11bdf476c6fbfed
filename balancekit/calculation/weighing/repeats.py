"""Repeat readings: their mean, and what their scatter says of the hand that took them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

ENOUGH_FREEDOM = 12
"""Degrees of freedom from which a scatter is believed over the stated uncertainty."""
# Our own choice: a standard deviation is itself uncertain by 1 / sqrt(2 x freedom)
# (JCGM 100:2008, E.4.3), here a fifth. With fewer, no single factor makes 95 % intervals
# honest both for one mean and for a result of several means.


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
    """

    mean: pd.Series
    uncertainty: pd.Series
    count: pd.Series
    hand: float
    freedom: int


def average(keys: pd.Series, values: pd.Series, stated_u: float, all_keys: pd.Index) -> Averaged:
    """Average the readings of each key and give the mean's uncertainty.

    A key with at least twelve degrees of freedom (13 readings) uses its own scatter. Any
    other key uses the scatter pooled over the keyboard, if that has twelve or more, for
    example from twelve keys read twice; else the uncertainty that the user stated. A
    scatter of exactly zero says only that the weights are coarse; then the stated
    uncertainty stands.

    A scatter from few readings is itself uncertain. It is widened by
    sqrt(freedom / (freedom - 2)), the standard deviation of a t distribution, so that
    1.96 standard uncertainties to each side hold the truth in about 95 of 100 cases.

    Parameters
    ----------
    keys, values : key number and reading of each row, shape (n,); NaN is no reading.
    stated_u : standard uncertainty of one reading, if the scatter cannot tell.
    all_keys : the keys of the instrument.

    References
    ----------
    JCGM 100:2008, 4.2 (type A), 4.2.4 (pooled). JCGM 101:2008, 6.4.9 (t distribution).

    >>> one_key, readings = pd.Series([1] * 6), pd.Series([2.0, 0, 2, 0, 2, 0])
    >>> hand = average(one_key, readings, 0.7, pd.RangeIndex(1, 2)).hand
    >>> round(hand**2, 3)  # six squares of 1, over five degrees of freedom
    1.2
    """
    known = values.notna()
    groups = values[known].groupby(keys[known])
    count = groups.count().reindex(all_keys, fill_value=0)
    mean = groups.mean().reindex(all_keys)
    squares = groups.var(ddof=1).mul(groups.count() - 1).reindex(all_keys).fillna(0.0)
    freedom = (count - 1).clip(lower=0)
    total = int(freedom.sum())
    hand = float(np.sqrt(squares.sum() / total)) if total else float("nan")
    believed = total >= ENOUGH_FREEDOM and hand > 0
    single = hand * (total / (total - 2)) ** 0.5 if believed else stated_u
    # Sum of squares over (freedom - 2): the variance, widened as a t distribution is.
    own = (squares / (freedom - 2).where(freedom >= ENOUGH_FREEDOM)) ** 0.5
    one = own.where((freedom >= ENOUGH_FREEDOM) & (own > 0), single)
    uncertainty: pd.Series = (one / np.sqrt(count.where(count > 0))).where(count > 0)
    return Averaged(mean, uncertainty, count, hand, total)
