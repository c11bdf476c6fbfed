"""Small invented pianos for plans: drawn from a seed, with lead choices made up as well."""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation.plan.lead_choices import LeadChoices
from balancekit.calculation.plan.piano import Piano, Shift


def invented_piano(count: int, seed: int, *, shifts: bool = False, springs: bool = False) -> Piano:
    draw = np.random.default_rng(seed)
    strike = np.linspace(11, 6, count) + draw.normal(0, 0.3, count)
    ratio = 5.6 + draw.normal(0, 0.08, count)
    found: tuple[Shift, ...] = ()
    if shifts:
        rows = tuple(range(count // 3, 2 * count // 3))
        ratio[list(rows)] += 0.25  # Apart from the model of the levers, on purpose.
        found = (Shift(rows, rows[0] + 1, rows[-1] + 1, "capstan", 1 - 0.045, 1 - 0.045, 5.5),)
    front = np.linspace(30, 8, count) + draw.normal(0, 1.5, count)
    wippen, key_ratio = np.full(count, 18.0), np.full(count, 0.5)
    relief = np.full(count, 6.0) if springs else np.zeros(count)
    balance = wippen * key_ratio + strike * ratio - front - relief
    excess = np.where(draw.random(count) < 0.2, draw.normal(0, 4, count), 0.0)
    return Piano(
        pd.RangeIndex(1, count + 1), balance, front, strike, wippen, relief, ratio, key_ratio,
        strike * ratio**2 + 60, excess, np.full(count, 0.5), np.full(count, np.nan),
        np.full(count, np.nan), np.ones(count, dtype=bool), np.ones(count, dtype=bool), springs,
        found,
    )  # fmt: skip


def invented_leads(piano: Piano, seed: int, choices: int = 4) -> LeadChoices:
    draw = np.random.default_rng(seed)
    shape = (piano.count, choices)
    plugs = draw.integers(1, 3, shape).astype(float)
    change = draw.normal(0, 3, shape).round(2) + 0.01
    holes = np.minimum(draw.integers(0, 3, shape), plugs)
    minutes = 7 * plugs + 3 * holes
    for values in (plugs, change, holes, minutes):
        values[:, 0] = 0.0
    return LeadChoices(piano.keys, change, minutes, plugs, holes, plugs, 0 * plugs, 0.4 * change)
