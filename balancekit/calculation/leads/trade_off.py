"""What a spring saves: relief against lead, inertia and work, for one action.

The more a spring carries, the less lead the keys need, and the lighter they are to set going.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from balancekit.calculation.leads.layout import Layout, find_layout
from balancekit.calculation.leads.layout_bench import LayoutBench
from balancekit.calculation.leads.leads_plan import totals
from balancekit.calculation.problems import refuse


def trade_off(
    bench: LayoutBench,
    front_weight_without_g: pd.Series,
    relief_g: Sequence[pd.Series | float],
    slider: float = 0.5,
    *,
    other_inertia_g: pd.Series | float = 0.0,
) -> pd.DataFrame:
    """Lay the plugs out again for each of several reliefs, and sum each layout.

    A layout of 88 keys takes some hundredths of a second, so a dozen reliefs take about a
    second: let a panel do it when the slider is released.

    Parameters
    ----------
    bench : from ``layout_bench.prepare_layout``.
    front_weight_without_g : target front weight without any spring, indexed by key [g].
    relief_g : the reliefs to try, each a level or a curve indexed by key [g].
    slider : 0 for least work, 1 for least inertia.
    other_inertia_g : effective mass of hammer, wippen and key stick; see ``totals`` [g].

    Returns
    -------
    DataFrame, one row a relief: ``relief_g`` (mean over the keys) and the sums of
        ``leads_plan.totals``.

    Raises
    ------
    BalancekitError : no relief to try.
    """
    if not len(relief_g):
        raise refuse("There is no relief to try.", "Give at least one, for example 0 g.")
    rows = []
    for relief in relief_g:
        target = front_weight_without_g - relief
        mean = float(np.mean((front_weight_without_g - target).dropna()))
        rows.append(
            {"relief_g": mean, **totals(find_layout(bench, target, slider), other_inertia_g)}
        )
    return pd.DataFrame(rows)


def saved(with_spring: Layout, without_spring: Layout) -> pd.DataFrame:
    """Compare the same keys with and without a spring.

    Returns
    -------
    DataFrame by key: ``lead_g`` and ``lead_inertia_g``, what the spring saves [g].
    """
    columns = ["lead_g", "lead_inertia_g"]
    return without_spring.keys[columns] - with_spring.keys[columns]
