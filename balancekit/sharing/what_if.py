"""What a change of balance weight, spring or hammers does to the front weight of each key.

The sliders of a report work with the numbers of ``what_if_inputs`` and with the same
formula, in the browser; a test holds the two together.
"""

from __future__ import annotations

import pandas as pd

from balancekit.calculation.balance import solve_for_front_weight
from balancekit.calculation.hammers.least_work import per_key
from balancekit.calculation.inertia import Values
from balancekit.sharing.work import Work


def what_if_inputs(work: Work) -> pd.DataFrame | None:
    """Return what the front weight needs at each key; None where it cannot be known.

    Returns
    -------
    DataFrame by key: ``front_weight_g`` (as found), ``strike_weight_g`` (planned), ``action_ratio``
    (planned; the best estimate), ``wippen_weight_g, key_ratio, spring_relief_g`` (planned).
    """
    found, planned = work.believed.table, work.planned
    key_part = pd.Series(per_key(planned.key_ratio_part, found.index), found.index)
    table = pd.DataFrame(
        {
            "front_weight_g": found["front_weight_g"],
            "strike_weight_g": work.expected["strike_weight_g"],
            "action_ratio": work.expected["action_ratio"],
            "wippen_weight_g": found["wippen_weight_g"],
            "key_ratio": found["key_ratio"] * key_part,
            "spring_relief_g": work.expected["spring_relief_g"],
        }
    )
    return table if table.drop(columns="front_weight_g").notna().all(axis=1).any() else None


def front_weight_needed_g(
    inputs: pd.DataFrame,
    *,
    balance_weight_g: float,
    spring_relief_more_g: float = 0.0,
    hammer_more_g: Values = 0.0,
) -> pd.Series:
    """Return the front weight that each key needs [g].

    Parameters
    ----------
    inputs : from ``what_if_inputs``.
    balance_weight_g : wanted [g].
    spring_relief_more_g : spring relief on top of what is planned [g].
    hammer_more_g : strike weight on top of what is planned [g].

    >>> one = pd.DataFrame({"strike_weight_g": [10.0], "action_ratio": [5.5],
    ...     "wippen_weight_g": [18.0], "key_ratio": [0.5], "spring_relief_g": [0.0]})
    >>> front_weight_needed_g(one, balance_weight_g=37.0, hammer_more_g=-1.0).tolist()
    [21.5]
    """
    needed: pd.Series = solve_for_front_weight(
        balance_weight_g=balance_weight_g,
        wippen_weight_g=inputs["wippen_weight_g"],
        key_ratio=inputs["key_ratio"],
        strike_weight_g=inputs["strike_weight_g"] + hammer_more_g,
        action_ratio=inputs["action_ratio"],
        spring_relief_g=inputs["spring_relief_g"] + spring_relief_more_g,
    )
    return needed
