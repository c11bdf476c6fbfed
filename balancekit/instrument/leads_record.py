"""Which keys' plugs are known: a key with no record is unknown, never empty."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from balancekit.calculation.inertia import plug_inertia_g
from balancekit.calculation.leads.lead_estimate import estimate_lead
from balancekit.calculation.problems import refuse
from balancekit.instrument.model import Instrument

PLUG_COLUMNS = ["diameter_mm", "mass_g", "distance_mm"]
MOST_PLUGS = 20
"""Plugs that one key may have; far more than any needs."""


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


def plugs_of(instrument: Instrument, key: int) -> pd.DataFrame:
    """Return the recorded plugs of one key, the foremost first."""
    leads = instrument.table("leads")
    own = leads.loc[leads["key"] == key, PLUG_COLUMNS]
    return own.sort_values("distance_mm", ascending=False).reset_index(drop=True)


def record_plugs(instrument: Instrument, plugs: dict[int, pd.DataFrame]) -> Instrument:
    """Return the instrument with the plugs of some keys recorded anew; no rows mean no plug.

    Parameters
    ----------
    plugs : by key: ``diameter_mm, mass_g, distance_mm`` [mm, g, mm from the balance pin].

    Raises
    ------
    BalancekitError : a key or a value that cannot be; nothing is recorded then.
    """
    for key, rows in plugs.items():
        if len(rows) > MOST_PLUGS:
            raise refuse(f"Key {key} has {len(rows)} plugs.", f"Give up to {MOST_PLUGS}.")
    leads, seen = instrument.table("leads"), set(instrument.table("leads_seen")["key"])
    added = [rows.assign(key=key)[["key", *PLUG_COLUMNS]] for key, rows in plugs.items()]
    parts = [leads[~leads["key"].isin(list(plugs))], *(rows for rows in added if len(rows))]
    whole = pd.concat(parts, ignore_index=True).sort_values("key", kind="stable")
    looked = pd.DataFrame({"key": sorted(seen | set(plugs))})
    return instrument.with_table("leads", whole).with_table("leads_seen", looked)


def forget_plugs(instrument: Instrument, keys: Sequence[int]) -> Instrument:
    """Return the instrument with no record of some keys: they are unknown again."""
    for kind in ("leads", "leads_seen"):
        table = instrument.table(kind)
        instrument = instrument.with_table(kind, table[~table["key"].isin(list(keys))])
    return instrument


def lead_by_key(
    instrument: Instrument,
    front_weight_g: pd.Series,
    front_weight_u_g: pd.Series,
    sticks: pd.DataFrame,
) -> pd.DataFrame:
    """Return the lead in each key, counted or estimated; see ``estimate_lead``.

    This one figure for lead is what every panel and table gives.

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
