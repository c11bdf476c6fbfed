"""Plugs that were recorded: what they weigh at the front, and what they add to the inertia."""

import pandas as pd
import pytest

from balancekit.calculation.leads.key_stick import usual_sticks
from balancekit.instrument.leads_record import lead_by_key
from balancekit.instrument.model import BenchSettings, Instrument


def test_a_recorded_plug_by_hand():
    """20 g of 24 mm across, 120 mm in front on an arm of 240 mm, and 5 g of 8 mm behind the pin.

    Front weight 20 / 2 - 5 / 4; inertia m (x^2 + r^2 / 2) / a^2, the textbook cylinder.
    """
    leads = pd.DataFrame(
        {"key": [1, 1], "diameter_mm": [24.0, 8.0], "mass_g": [20.0, 5.0],
         "distance_mm": [120.0, -60.0]}
    )  # fmt: skip
    instrument = Instrument(settings=BenchSettings(key_count=2)).with_table("leads", leads)
    keys = instrument.keys
    sticks = usual_sticks(keys["colour"], natural_arm_mm=240.0, front_edge_mm=13.0)
    front = pd.Series(20.0, keys.index)
    found = lead_by_key(instrument, front, pd.Series(0.3, keys.index), sticks).loc[1]
    assert found["lead_g"] == 25.0
    assert found["lead_front_weight_g"] == pytest.approx(20 / 2 - 5 / 4)
    inertia = (20 * (120**2 + 12**2 / 2) + 5 * (60**2 + 4**2 / 2)) / 240**2
    assert found["lead_inertia_g"] == pytest.approx(inertia, rel=1e-12)
