"""Which front weights each key can be given, and at what cost: the table a plan chooses from.

For front weights a step apart, over the whole reach of a plan, the layout of least bench time is
looked up with ``layout.find_layout``, which is exact on its grid. Leaving the plugs alone is
always the first choice of a key.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.leads.layout import (
    KeyLines,
    Layout,
    LayoutBench,
    LayoutRules,
    find_layout,
    layout_on_lines,
)
from balancekit.calculation.plan.work_costs import WorkCosts

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class LeadChoices:
    """What can be done about the lead of each key; shape (keys, choices), the first is nothing.

    Attributes
    ----------
    keys : key numbers, (keys,).
    change_g : change of the front weight [g]; NaN where a key has fewer choices.
    minutes, money : of each choice; infinite minutes where there is none.
    new_holes, plugs_in, plugs_out : counts.
    inertia_g : change of the lead's inertia at the finger [g].
    """

    keys: pd.Index
    change_g: Floats
    minutes: Floats
    money: Floats
    new_holes: Floats
    plugs_in: Floats
    plugs_out: Floats
    inertia_g: Floats

    def on(self, keys: pd.Index) -> LeadChoices:
        """Return the choices on other keys; one that is not here can only be left alone."""
        if not len(self.keys):
            only = np.zeros((len(keys), 1))
            return LeadChoices(keys, only, only, only, only, only, only, only)
        rows = self.keys.get_indexer(keys)
        known = (rows >= 0)[:, None]
        first = np.arange(self.change_g.shape[1]) == 0

        def taken(values: Floats, lacking: float) -> Floats:
            return np.where(known, values[rows], np.where(first, 0.0, lacking))

        return LeadChoices(
            keys, taken(self.change_g, np.nan), taken(self.minutes, np.inf),
            *(taken(getattr(self, name), 0.0)
              for name in ("money", "new_holes", "plugs_in", "plugs_out", "inertia_g")),
        )  # fmt: skip


def list_lead_choices(
    bench: LayoutBench,
    costs: WorkCosts,
    *,
    reach_g: float = 12.0,
    step_g: float = 0.5,
    on: Mapping[int, KeyLines] | None = None,
    done: Callable[[float], None] = lambda _: None,
) -> LeadChoices:
    """List the layouts of least bench time, a step of front weight apart.

    Parameters
    ----------
    bench : keys whose plugs are known; see ``layout.prepare_layout``.
    costs : minutes of each operation.
    reach_g : how far the front weight may change, to both sides [g].
    step_g : from one front weight to the next; each is met within half of it [g].
    on : straight lines that were decided for the plugs of some keys; they keep to them.
    done : told the share that is done, 0 to 1.

    Returns
    -------
    LeadChoices, of equal layouts only the first.
    """
    bench = replace(bench, rules=time_rules(bench.rules, costs, step_g / 2))
    now = pd.Series(bench.front_weight_now_g, bench.keys)
    asked = np.arange(step_g, reach_g + step_g / 2, step_g)
    steps = [sign * float(each) for each in asked for sign in (1, -1)]
    columns: list[pd.DataFrame] = []
    if not len(bench.keys):
        return _gathered(bench.keys, columns)
    still = find_layout(bench, now, 0.0)
    for number, step in enumerate(steps):
        columns.append(_column(layout_on_lines(bench, now + step, 0.0, on or {}), still, costs))
        done((number + 1) / len(steps))
    return _gathered(bench.keys, columns)


def time_rules(rules: LayoutRules, costs: WorkCosts, tolerance_g: float) -> LayoutRules:
    """Return the rules of a layout by which the least cost is the least bench time.

    Taking a plug out and putting one in count the same there, the mean of the two.
    """
    return replace(
        rules,
        tolerance_g=max(tolerance_g, 0.02),
        operation_g=(costs.each("take plug out") + costs.each("put plug in")) / 2,
        new_hole_g=costs.each("new hole"),
    )


def _column(layout: Layout, still: Layout, costs: WorkCosts) -> pd.DataFrame:
    """Return what one front weight asks of each key."""
    keys, before = layout.keys, still.keys
    counts = {
        "put plug in": keys["plugs_in"],
        "take plug out": keys["taken_out"],
        "new hole": keys["new_holes"],
    }
    minutes = sum(costs.each(name) * count for name, count in counts.items())
    money = sum(costs.price(name) * count for name, count in counts.items())
    return pd.DataFrame(
        {
            "change_g": keys["front_weight_g"] - before["front_weight_g"],
            "minutes": np.where(keys["within"] & (keys["operations"] > 0), minutes, np.inf),
            "money": money,
            "new_holes": keys["new_holes"],
            "plugs_in": keys["plugs_in"],
            "plugs_out": keys["taken_out"],
            "inertia_g": keys["lead_inertia_g"] - before["lead_inertia_g"],
        }
    )


def _gathered(keys: pd.Index, columns: list[pd.DataFrame]) -> LeadChoices:
    """Lay the choices side by side, nothing first; a layout that comes again counts once."""
    stack = {
        name: np.column_stack(
            [np.zeros(len(keys)), *(column[name].to_numpy(dtype=float) for column in columns)]
        )
        for name in ("change_g", "minutes", "money", "new_holes", "plugs_in", "plugs_out",
                     "inertia_g")
    }  # fmt: skip
    change = np.round(stack["change_g"], 6)
    for row in range(len(keys)):
        seen: set[float] = set()
        for column in range(1, change.shape[1]):
            if change[row, column] in seen:
                stack["minutes"][row, column] = np.inf
            elif np.isfinite(stack["minutes"][row, column]):
                seen.add(float(change[row, column]))
    none = ~np.isfinite(stack["minutes"])
    stack["change_g"][none] = np.nan
    for name in ("money", "new_holes", "plugs_in", "plugs_out", "inertia_g"):
        stack[name][none] = 0.0
    return LeadChoices(keys, **stack)
