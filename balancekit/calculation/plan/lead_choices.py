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

from balancekit.calculation.leads.layout import KEEP, KeyLines, LayoutBench, LayoutRules
from balancekit.calculation.leads.layout.find import (
    Searched,
    counts_of,
    gain_g,
    lead_inertia_g,
    mix_prices,
)
from balancekit.calculation.leads.layout.on_lines import found_on_lines
from balancekit.calculation.leads.layout.tables import Found
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
    asked = np.arange(step_g, reach_g + step_g / 2, step_g)
    steps = [sign * float(each) for each in asked for sign in (1, -1)]
    columns: list[dict[str, Floats]] = []
    if not len(bench.keys):
        return _gathered(bench.keys, columns)
    now, prices = bench.front_weight_now_g, mix_prices(bench.rules, 0.0)
    free = np.flatnonzero(np.isfinite(now) & ~bench.keys.isin(list(on or {})))
    searched = Searched(bench, free, prices) if len(free) else None
    tolerance = np.full(len(free), bench.rules.tolerance_g)
    still_g = np.array(
        [lead_inertia_g(bench, row, _as_it_is(bench, row)) for row in range(len(now))]
    )
    for number, step in enumerate(steps):
        found = found_on_lines(bench, now + step, prices, on or {})
        if searched is not None:
            each = searched.run(now[free] + step, tolerance)
            pairs = zip(free.tolist(), each, strict=True)
            found |= {row: one for row, one in pairs if one.way >= 0}
        columns.append(_column(bench, step, found, still_g, costs))
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


_COLUMNS = ("change_g", "minutes", "money", "new_holes", "plugs_in", "plugs_out", "inertia_g")
_COUNTS = ("new_holes", "plugs_in", "plugs_out")  # as ``counts_of`` has them


def _column(
    bench: LayoutBench,
    step_g: float,
    found: Mapping[int, Found],
    still_g: Floats,
    costs: WorkCosts,
) -> dict[str, Floats]:
    """Return what one change of the front weight asks of each key, infinite where it cannot be."""
    column = {name: np.zeros(len(bench.keys)) for name in _COLUMNS}
    may = np.zeros(len(bench.keys), dtype=bool)
    for row, one in found.items():
        gain, counts = gain_g(bench, row, one), counts_of(bench, row, one)
        within = abs(gain - step_g) <= bench.rules.tolerance_g + 1e-6
        may[row] = within and counts.plugs_in + counts.taken_out > 0
        if may[row]:
            column["change_g"][row] = gain
            column["inertia_g"][row] = lead_inertia_g(bench, row, one) - still_g[row]
            for name, count in zip(_COUNTS, counts, strict=True):
                column[name][row] = count
    put_in, out, new = (column[name] for name in ("plugs_in", "plugs_out", "new_holes"))
    done = {"put plug in": put_in, "take plug out": out, "new hole": new}
    minutes = sum(costs.each(name) * count for name, count in done.items())
    column["minutes"] = np.where(may, minutes, np.inf)
    column["money"] = np.asarray(sum(costs.price(name) * count for name, count in done.items()))
    return column


def _as_it_is(bench: LayoutBench, row: int) -> Found:
    """Return the layout that leaves every plug of one key where it is."""
    still = (bench.tasks[row].ways.doing == KEEP).all(axis=1)
    return Found(way=int(np.flatnonzero(still)[0]))


def _gathered(keys: pd.Index, columns: list[dict[str, Floats]]) -> LeadChoices:
    """Lay the choices side by side, nothing first; a layout that comes again counts once."""
    stack = {
        name: np.column_stack([np.zeros(len(keys)), *(column[name] for column in columns)])
        for name in _COLUMNS
    }
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
