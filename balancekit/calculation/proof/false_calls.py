"""How surely a key is off, over the whole keyboard: the false discovery rate of calling it.

References
----------
Benjamini and Hochberg, Journal of the Royal Statistical Society B 57 (1995) 289; the rate holds
where keys share errors of one sign: Benjamini and Yekutieli, Annals of Statistics 29 (2001) 1165.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

from balancekit.calculation.quantities import uncertainty_name


def told_by_parts(
    offs: Mapping[str, pd.DataFrame], grams: pd.DataFrame, predicted: pd.DataFrame
) -> pd.DataFrame:
    """Return how far the balance weight is off, in standard units, as its parts tell of it.

    ``parts`` is what strike weight, front weight and spring relief tell, ``both`` that and the
    balance weight as read, taken together. What the work set is in the error of both.
    """
    slope = predicted["action_ratio"].abs()
    slopes: dict[str, pd.Series] = {
        "strike_weight_g": slope,
        "front_weight_g": 0 * slope + 1,
        "spring_relief_g": 0 * slope + 1,
    }
    whole, planned = 0 * slope, 0 * slope
    for name, by in slopes.items():
        whole = whole + (offs[name]["u"] * by) ** 2
        planned = planned + (predicted[uncertainty_name(name)] * by) ** 2
    spread = (whole**0.5).where(whole > 0)
    parts = grams.sum(axis=1, skipna=False) / spread
    same = (planned / (spread * offs["balance_weight_g"]["u"])).clip(0.0, 1.0)
    both = (parts + offs["balance_weight_g"]["off"]) / np.sqrt(2 + 2 * same)
    return pd.DataFrame({"parts": parts, "both": both})


def false_calls(
    offs: Mapping[str, pd.DataFrame],
    names: tuple[str, ...],
    told: pd.DataFrame,
    judged: list[bool],
) -> pd.DataFrame:
    """Return, for each judged quantity of each key, the false discovery rate at which it is off.

    It is the adjusted probability of Benjamini and Hochberg over all of the keyboard; NaN where
    nothing is known. The balance weight is off by its own reading or by what ``told`` tells:
    the surest counts, for as many times its chance as there are to choose from.

    Parameters
    ----------
    offs : from ``meeting_plan.find_off``, by quantity.
    names : the judged quantities, the balance weight first.
    told : from ``told_by_parts``.
    judged : by key, whether its readings are believed.
    """
    off = pd.DataFrame({name: offs[name]["off"] for name in names})
    tail = 2 * ndtr(-off.abs().to_numpy(dtype=float))
    ways = np.column_stack([tail[:, 0], 2 * ndtr(-told.abs().to_numpy(dtype=float))])
    count = np.isfinite(ways).sum(axis=1)
    surest = np.where(np.isfinite(ways), ways, 1.0).min(axis=1)  # no chance is above 1
    tail[:, 0] = np.where(np.isfinite(tail[:, 0]), np.minimum(count * surest, 1.0), np.nan)
    known = np.isfinite(tail) & np.array(judged)[:, None]
    tail[~known] = float("nan")
    if known.any():
        tail[known] = _adjusted(tail[known])
    return pd.DataFrame(tail, off.index, off.columns)


def _adjusted(chances: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return each chance, shape (n,), as the least rate of false calls at which it is called."""
    rising = np.argsort(chances)
    rates = chances[rising] * (len(chances) / np.arange(1.0, len(chances) + 1))
    adjusted = np.empty_like(chances)
    adjusted[rising] = np.minimum.accumulate(rates[::-1])[::-1]
    return np.clip(adjusted, 0.0, 1.0)
