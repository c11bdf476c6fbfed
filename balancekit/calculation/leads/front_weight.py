"""How heavy the front of each key must be, and which keys ask for what cannot be."""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation import balance
from balancekit.calculation.inertia import Values
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.quantities import uncertainty_name
from balancekit.calculation.uncertainty import coverage_factor

HIGHEST_G = 45.0
# From memory: above it a grand's key is full of lead. A limit for warnings; set your own.

_PARTS = ("strike_weight_g", "action_ratio", "wippen_weight_g", "key_ratio")
"""What the target needs of each key beside the wanted balance weight."""


def front_weight_target(
    table: pd.DataFrame,
    balance_weight_g: Values,
    *,
    spring_relief_g: Values = 0.0,
    strike_weight_g: Values | None = None,
    strike_weight_u_g: Values = 0.0,
    highest_g: Values = HIGHEST_G,
) -> pd.DataFrame:
    """Find the front weight that gives each key its wanted balance weight.

    Parameters
    ----------
    table : indexed by key: ``strike_weight_g, action_ratio, wippen_weight_g, key_ratio`` and,
        as far as known, their standard uncertainties (``action_ratio_u`` and so on).
    balance_weight_g : wanted, a level or a curve indexed by key [g].
    spring_relief_g : what a spring carries, a level or a curve [g].
    strike_weight_g : target strike weight; as weighed if not given [g].
    strike_weight_u_g : how exactly the hammers will meet the target [g].
    highest_g : highest front weight allowed [g].

    Returns
    -------
    DataFrame by key: ``front_weight_g, front_weight_u_g, low_g, high_g`` (a band that holds
        the truth with about 95 %), ``beyond_g`` (how far below 0, negative, or above the
        limit, positive; else 0) and the ways out, each alone: ``strike_less_g, ratio_less,
        relief_more_g, balance_weight_more_g``. They are negative where the front weight
        would be below 0: there a heavier hammer, a higher ratio, less relief or a lower
        balance weight would help. A missing reading gives a missing target.

    Raises
    ------
    BalancekitError : a column is lacking.

    References
    ----------
    Band: first order, inputs independent, JCGM 100:2008, 5.1.2; k = 1.96.

    >>> row = pd.DataFrame(dict(strike_weight_g=10.0, action_ratio=5.5, wippen_weight_g=18.0,
    ...                         key_ratio=0.5), index=[1])
    >>> float(front_weight_target(row, 37.0).loc[1, "front_weight_g"])
    27.0
    >>> beyond = front_weight_target(row, 37.0, highest_g=16.0).loc[1]
    >>> [float(beyond[name]) for name in ("beyond_g", "strike_less_g", "relief_more_g")]
    [11.0, 2.0, 11.0]
    """
    lacking = [name for name in _PARTS if name not in table]
    if lacking:
        raise BalancekitError(
            [
                Problem("The table of keys lacks a column.", "Weigh or measure it first.", column=n)
                for n in lacking
            ]
        )
    keys = table.index
    values = {name: table[name].to_numpy(dtype=float) for name in _PARTS}
    spread: dict[str, Values] = {
        name: table[uncertainty_name(name)].fillna(0.0).to_numpy(dtype=float)
        for name in _PARTS
        if uncertainty_name(name) in table
    }
    if strike_weight_g is not None:
        values["strike_weight_g"] = np.broadcast_to(_aligned(strike_weight_g, keys), len(keys))
        spread["strike_weight_g"] = _aligned(strike_weight_u_g, keys)
    front = balance.solve_for_front_weight(
        balance_weight_g=_aligned(balance_weight_g, keys),
        spring_relief_g=_aligned(spring_relief_g, keys),
        **values,
    )
    u = balance.uncertainty_of("front_weight_g", values, spread)
    above = np.maximum(front - _aligned(highest_g, keys), 0.0)
    beyond = above + np.minimum(front, 0.0)
    return pd.DataFrame(
        {
            "front_weight_g": front,
            "front_weight_u_g": u,
            "low_g": front - coverage_factor() * u,
            "high_g": front + coverage_factor() * u,
            "beyond_g": beyond,
            "strike_less_g": beyond / values["action_ratio"],
            "ratio_less": beyond / values["strike_weight_g"],
            "relief_more_g": beyond,
            "balance_weight_more_g": beyond,
        },
        index=keys,
    )


def _aligned(value: Values, keys: pd.Index) -> Values:
    """Return a curve in the order of the keys, and anything else as it is."""
    return value.reindex(keys).to_numpy(dtype=float) if isinstance(value, pd.Series) else value


def front_ways_in_words(row: pd.Series) -> str:
    """Say what one key asks for beyond what can be, and the ways out; "" where it is in order.

    Parameters
    ----------
    row : one row of ``front_weight_target``.
    """
    beyond = float(row["beyond_g"])
    if beyond != beyond or beyond == 0:
        return ""
    strike, ratio = abs(float(row["strike_less_g"])), abs(float(row["ratio_less"]))
    if beyond > 0:
        return (
            f"Front weight {row['front_weight_g']:.1f} g is {beyond:.1f} g above the limit. "
            f"Ways out, each alone: a hammer {strike:.1f} g lighter, a ratio {ratio:.2f} lower, "
            f"{beyond:.1f} g more spring relief, or {beyond:.1f} g more balance weight."
        )
    short = -beyond
    return (
        f"Front weight would be {short:.1f} g below 0. Ways out, each alone: {short:.1f} g less "
        f"spring relief, {short:.1f} g less balance weight, a hammer {strike:.1f} g heavier, "
        f"a ratio {ratio:.2f} higher, or lead behind the balance pin."
    )
