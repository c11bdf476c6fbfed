"""Which keys' plugs are known: a key with no record is unknown, never empty."""

from __future__ import annotations

import pandas as pd

from balancekit.calculation.inertia import plug_inertia_g
from balancekit.calculation.leads.lead_estimate import estimate_lead
from balancekit.instrument.model import Instrument


def recorded_keys(instrument: Instrument) -> frozenset[int]:
    """Return the keys whose plugs were recorded, those without any plug among them.

    Nothing is planned, bored, taken out or counted on the others.

    Parameters
    ----------
    instrument : what was given; a key with a row in ``leads`` counts as recorded.

    >>> sorted(recorded_keys(Instrument()))
    []
    """
    rows = (instrument.table("leads")["key"], instrument.table("leads_seen")["key"])
    return frozenset(int(key) for column in rows for key in column)


def lead_by_key(
    instrument: Instrument,
    front_weight_g: pd.Series,
    front_weight_u_g: pd.Series,
    sticks: pd.DataFrame,
) -> pd.DataFrame:
    """Return the lead in each key, counted or estimated; see ``estimate_lead``.

    Parameters
    ----------
    front_weight_g, front_weight_u_g : by key [g].
    sticks : table of key sticks; see ``key_stick.usual_sticks``.
    """
    leads, arm = instrument.table("leads"), sticks["arm_mm"]
    arms = arm.loc[leads["key"]].to_numpy()
    rows = pd.DataFrame(
        {
            "lead_g": leads["mass_g"],
            "lead_front_weight_g": leads["mass_g"] * leads["distance_mm"] / arms,
            "lead_inertia_g": plug_inertia_g(
                mass_g=leads["mass_g"],
                distance_mm=leads["distance_mm"],
                radius_mm=leads["diameter_mm"] / 2,
                arm_mm=arms,
            ),
        }
    )
    counted = rows.groupby(leads["key"]).sum()
    counted = counted.reindex(sorted(recorded_keys(instrument)), fill_value=0.0)
    return estimate_lead(front_weight_g, front_weight_u_g, sticks, counted)
