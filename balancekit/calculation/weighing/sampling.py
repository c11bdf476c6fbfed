"""Readings taken on a few keys only: what the other keys may be taken to have.

Strike weight, wippen weight and key ratio are often read on a dozen keys. Before groups are
sought, and all readings are taken together, the others get what their own series tells of them.
Its uncertainty holds what the course does not tell and the scatter from key to key, so it is
larger than that of a reading, and it is carried on.

The 95 % band keeps its word over instruments as they come. Where a reading is coarser than
the scatter from key to key, as with the key ratio, a dozen readings hardly tell an even
instrument from an uneven one: the band is then wide for the one and narrow for the other.
More keys, or repeats, mend that.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from balancekit.calculation import balance
from balancekit.calculation.believed.one_series import Course
from balancekit.calculation.quantities import uncertainty_name

SAMPLED = ("strike_weight_g", "wippen_weight_g", "key_ratio")
"""Readings that change slowly enough over the keyboard to be read on a few keys only."""


def fill_gaps(table: pd.DataFrame, courses: Mapping[str, Course]) -> pd.DataFrame:
    """Fill readings that are missing with values and honest uncertainties of their own series.

    At the bench: read hammers on a dozen keys; every key gets an action ratio, and it
    says how well it is known.

    Parameters
    ----------
    table : the table of keys with readings and their uncertainties.
    courses : of the readings to fill, by name; see ``one_series.course_of``.

    Returns
    -------
    a new table, to compute the results in.
    """
    filled = table.copy()
    for name, course in courses.items():
        u, gap = uncertainty_name(name), table[name].isna()
        filled[name] = table[name].astype(float).mask(gap, pd.Series(course.guess, table.index))
        filled[u] = table[u].astype(float).mask(gap, pd.Series(course.guess_u, table.index))
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
