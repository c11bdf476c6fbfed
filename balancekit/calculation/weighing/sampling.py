"""Readings taken on a few keys only: what the other keys may be taken to have.

Strike weight, wippen weight and key ratio are often read on a dozen keys. Before groups are
sought, and all readings are taken together, the others get the trend's value. Its uncertainty
holds what the trend does not know and the scatter from key to key, so it is larger than that of a
reading, and it is carried on.

The 95 % band keeps its word over instruments as they come. Where a reading is coarser than
the scatter from key to key, as with the key ratio, a dozen readings hardly tell an even
instrument from an uneven one: the band is then wide for the one and narrow for the other.
More keys, or repeats, mend that.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import pandas as pd

from balancekit.calculation import balance
from balancekit.calculation.irregularities.trend import Trend, fit_column
from balancekit.calculation.problems import refuse
from balancekit.calculation.quantities import READING_COLUMNS, uncertainty_name

SAMPLED = ("strike_weight_g", "wippen_weight_g", "key_ratio")
"""Readings that change slowly enough over the keyboard to be read on a few keys only."""


def fill_gaps(
    table: pd.DataFrame,
    names: Collection[str] = SAMPLED,
    trends: Mapping[str, Trend] | None = None,
) -> pd.DataFrame:
    """Fill readings that are missing with values and honest uncertainties from the trend.

    At the bench: read hammers on a dozen keys; every key gets an action ratio, and it
    says how well it is known.

    Parameters
    ----------
    table : the table of keys with ``colour``, readings and their uncertainties.
    names : the readings to fill. One that was read nowhere stays missing.
    trends : from ``fit_table`` of the same table, if at hand; fitted here if not.

    Returns
    -------
    a new table, to compute the results in. Its column ``estimated`` lists by key the names
    of the readings that were filled, now or before, with commas between; "" for none.

    Raises
    ------
    BalancekitError : a name that is not a reading.

    >>> from balancekit.calculation.keyboard import keyboard
    >>> table = keyboard(3)[["colour"]].assign(key_ratio=[0.5, None, 0.5], key_ratio_u=0.005)
    >>> filled = fill_gaps(table, ["key_ratio"])
    >>> filled["estimated"].tolist(), bool(filled["key_ratio_u"][2] > 0.005)
    (['', 'key_ratio', ''], True)
    """
    for name in names:
        if name not in READING_COLUMNS:
            raise refuse(f"'{name}' is not a reading.", f"Choose from {', '.join(SAMPLED)}.")
    filled = table.copy()
    before = table.get("estimated", "")
    words = pd.Series(before, index=table.index, dtype=object)
    for name in names:
        gap = table[name].isna()
        if not gap.any() or gap.all():
            continue
        trend = trends[name] if trends and name in trends else fit_column(table, name)
        filled[name] = table[name].astype(float).where(~gap, trend.value)
        u = uncertainty_name(name)
        filled[u] = table[u].astype(float).where(~gap, trend.value_u)
        words[gap] = words[gap].map(lambda said, name=name: f"{said}, {name}" if said else name)
    filled["estimated"] = words
    return filled


def with_ratio(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table of a grand with its action ratio solved anew from what stands in it."""
    terms = [name for name in balance.TERMS if name != "action_ratio"]
    table = table.copy()
    table["action_ratio"] = balance.solve_for_action_ratio(**{n: table[n] for n in terms})
    table["action_ratio_u"] = balance.uncertainty_of(
        "action_ratio",
        {name: table[name] for name in (*terms, "action_ratio")},
        {name: table[uncertainty_name(name)] for name in terms},
    )
    return table
