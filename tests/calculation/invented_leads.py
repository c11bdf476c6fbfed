"""Invented keyboards for the tests and benchmarks of layouts: sticks, leads, targets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.leads.key_stick import usual_sticks

PLUG_MASS_G = {9.5: 7.6, 11.1: 10.4, 12.7: 13.6}
# Lead plugs 9.5 mm long, as computed from 11.34 g/cm3.


@dataclass(frozen=True)
class InventedLeads:
    """One keyboard, before the work."""

    sticks: pd.DataFrame
    front_weight_now_g: pd.Series
    leads: pd.DataFrame
    target_g: pd.Series

    def old_of(self, key: int) -> list[tuple[float, float, float]]:
        """(distance, diameter, mass) of each plug in one key."""
        rows = self.leads[self.leads["key"] == key]
        return list(rows[["distance_mm", "diameter_mm", "mass_g"]].itertuples(False, None))


def invent_leads(seed: int, *, with_old: bool = True) -> InventedLeads:
    """Invent 88 keys, up to four old plugs in the bass and none in the treble."""
    chance = np.random.default_rng(seed)
    sticks = usual_sticks(keyboard()["colour"])
    rows = []
    for key in sticks.index if with_old else []:
        wanted = round(4 * (1 - (key - 1) / 87) + chance.uniform(-0.5, 0.5))
        places: list[float] = []
        for x in chance.uniform(35, 175, 20):
            if len(places) < wanted and all(abs(x - place) > 16 for place in places):
                places.append(round(float(x), 1))
        for x in places:
            diameter = float(chance.choice(list(PLUG_MASS_G)))
            rows.append((key, diameter, PLUG_MASS_G[diameter], x))
    leads = pd.DataFrame(rows, columns=["key", "diameter_mm", "mass_g", "distance_mm"])
    moment = (leads["mass_g"] * leads["distance_mm"]).groupby(leads["key"]).sum()
    bare = pd.Series(chance.normal(3, 1, 88), sticks.index)
    now = bare + moment.reindex(sticks.index).fillna(0.0) / sticks["arm_mm"]
    target = pd.Series(np.linspace(34, 4, 88) + chance.normal(0, 1, 88), sticks.index)
    return InventedLeads(sticks, now, leads, target)
