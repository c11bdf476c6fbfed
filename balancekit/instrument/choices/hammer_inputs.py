"""What the choice of hammers works with: the readings of one visit, best estimate of each.

A single reading of a ratio is mostly weighing error, and a slip of the pen would bend every
curve. So each quantity is taken as its best estimate from all readings; see ``believed``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from balancekit.calculation.by_value import ByValue
from balancekit.calculation.inertia import wippen_inertia_g
from balancekit.calculation.leads.bare_key import bare_inertia_g
from balancekit.calculation.leads.lead_estimate import PLUG_PLACE
from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.instrument.believed import believe
from balancekit.instrument.findings import Findings, find_all
from balancekit.instrument.leads_record import key_sticks, lead_by_key
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import reading_table

SMOOTHED = (
    "wippen_weight_g",
    "key_ratio",
    "action_ratio",
    "front_weight_g",
    "balance_weight_g",
    "friction_g",
)
"""Taken as the best estimate at every key."""


@dataclass(frozen=True, eq=False)
class HammerInputs(ByValue):
    """The instrument as the choice of hammers sees it.

    Attributes
    ----------
    table : indexed by every key: ``note_name, colour``; best estimates with their standard
        uncertainties of ``strike_weight_g, wippen_weight_g, key_ratio, action_ratio,
        front_weight_g, balance_weight_g, friction_g, spring_relief_g``; ``own_share``, the
        weight of the key's own readings in its ratio; ``arm_mm``;
        ``bare_front_weight_g, stick_inertia_g`` of the key without lead and
        ``lead_inertia_g`` of the lead that is in it, with ``lead_inertia_u_g``: estimated where
        its plugs were not recorded [g].
    weighed_g : strike weight as weighed; NaN where not weighed or doubted [g].
    weighed_u_g : its standard uncertainty [g].
    doubted : by key, why its strike weight is not taken as weighed.
    plug_place : middle of the plugs as a part of the arm.
    blow_distance_mm, aftertouch_mm, key_dip_mm : regulation [mm].
    """

    table: pd.DataFrame
    weighed_g: pd.Series
    weighed_u_g: pd.Series
    doubted: Mapping[int, str]
    plug_place: float
    blow_distance_mm: float
    aftertouch_mm: float
    key_dip_mm: float


def hammer_inputs(
    instrument: Instrument, visit: int = 0, findings: Findings | None = None
) -> HammerInputs:
    """Return what the choice of hammers works with.

    A strike weight that the others do not believe is replaced by the trend, and its hammer
    counts as not weighed. Weigh it again, or confirm the reading in the bench grid.

    Parameters
    ----------
    instrument : what was given.
    visit : which set of readings, 0 for the first.
    findings : of that visit, if they are at hand.

    Raises
    ------
    BalancekitError : an upright, or a quantity that was read at no key.
    """
    if instrument.settings.action == "upright":
        raise refuse(
            "This is an upright: its hammers do not hang on the key by their weight.",
            "Choose hammers here for a grand only.",
        )
    findings = findings or find_all(instrument, visit, reading_table(instrument, visit))
    read, believed = findings.table, believe(instrument, visit, findings).table
    _refuse_lacking(believed)
    table = read[["note_name", "colour"]].copy()
    for name in (*SMOOTHED, "spring_relief_g"):
        for column in (name, uncertainty_name(name)):
            table[column] = believed[column]
    table["spring_relief_g"] = table["spring_relief_g"].fillna(0.0).clip(lower=0.0)
    table["spring_relief_u_g"] = table["spring_relief_u_g"].fillna(0.0)
    table["own_share"] = _own_share(findings, believed)
    doubted = _doubted(findings, instrument, visit)
    weighed = read["strike_weight_g"].astype(float).copy()
    weighed[list(doubted)] = float("nan")
    known = weighed.notna()
    table["strike_weight_g"] = weighed.fillna(believed["strike_weight_g"])
    table["strike_weight_u_g"] = read["strike_weight_u_g"].where(
        known, believed["strike_weight_u_g"]
    )
    place = _add_key(table, instrument)
    settings = instrument.settings
    return HammerInputs(
        table,
        weighed,
        table["strike_weight_u_g"],
        doubted,
        place,
        settings.blow_distance_mm,
        settings.aftertouch_mm,
        settings.key_dip_mm,
    )


def _refuse_lacking(believed: pd.DataFrame) -> None:
    """Refuse an instrument on which something was read at no key at all."""
    problems = []
    for name in ("strike_weight_g", *SMOOTHED):
        if believed[name].isna().any():
            label = QUANTITIES[name].label
            advice = "Weigh it at a few keys at least; each key needs all readings for a ratio."
            problems.append(Problem(f"{label} is not known at any key.", advice))
    if problems:
        raise BalancekitError(problems)


def _own_share(findings: Findings, believed: pd.DataFrame) -> pd.Series:
    """Return the weight of each key's own readings in its action ratio.

    The best estimate weighs reading and trend by their variances, so a reading with
    uncertainty u has the weight (uncertainty of the estimate / u)^2.
    """
    read = findings.table
    share = ((believed["action_ratio_u"] / read["action_ratio_u"]) ** 2).clip(upper=1.0)
    slips = [flag.key for flag in findings.flags if flag.kind == "slip"]
    share[slips] = 0.0
    return share.where(read["action_ratio"].notna(), 0.0)


def _doubted(findings: Findings, instrument: Instrument, visit: int) -> dict[int, str]:
    """Say for each strike weight that the others do not believe why it is not taken."""
    trend = findings.trends["strike_weight_g"]
    slips = {flag.key for flag in findings.flags
             if flag.kind == "slip" and flag.quantity == "strike_weight_g"}  # fmt: skip
    confirmed = instrument.visits[visit].confirmed
    text = QUANTITIES["strike_weight_g"].text
    return {
        key: f"read {text(trend.reading[key])}, the others suggest {text(trend.expected[key])}: "
        "weigh it again"
        for key in sorted({*trend.set_aside, *slips})
        if (key, "strike_weight_g") not in confirmed
    }


def others_found_g(found: pd.DataFrame, inputs: HammerInputs | None) -> pd.Series:
    """Return the inertia of all but hammer and shank, as found; missing without inputs [g].

    Parameters
    ----------
    found : by key, with ``wippen_weight_g`` and ``key_ratio``.
    """
    if inputs is None:
        return pd.Series(float("nan"), found.index)
    wippen = wippen_inertia_g(
        wippen_weight_g=found["wippen_weight_g"].where(found["wippen_weight_g"] >= 0),
        key_ratio=found["key_ratio"].where(found["key_ratio"] > 0),
    )
    others: pd.Series = wippen + inputs.table["stick_inertia_g"] + inputs.table["lead_inertia_g"]
    return others


def sticks_of(instrument: Instrument, table: pd.DataFrame) -> pd.DataFrame:
    """Return the key sticks that were given; usual ones for the other keys.

    Parameters
    ----------
    table : indexed by key, with ``colour`` and ``key_ratio``.

    Raises
    ------
    BalancekitError : see ``key_stick.usual_sticks``.
    """
    return key_sticks(instrument, table["key_ratio"])


def _add_key(table: pd.DataFrame, instrument: Instrument) -> float:
    """Put arm, stick and lead in; return the middle of the plugs as a part of the arm."""
    leads, sticks = instrument.table("leads"), sticks_of(instrument, table)
    table["arm_mm"] = sticks["arm_mm"]
    lead = lead_by_key(instrument, table["front_weight_g"], table["front_weight_u_g"], sticks)
    for name in ("bare_front_weight_g", "lead_inertia_g", "lead_inertia_u_g", "lead_g",
                 "lead_u_g", "lead_shared_u_g", "lead_estimated"):  # fmt: skip
        table[name] = lead[name]
    table["stick_inertia_g"] = bare_inertia_g(sticks, table["bare_front_weight_g"])
    front = leads[leads["distance_mm"] > 0]
    if front.empty:
        return PLUG_PLACE
    arms = sticks["arm_mm"].loc[front["key"]].to_numpy()
    return float((front["mass_g"] * front["distance_mm"] / arms).sum() / front["mass_g"].sum())
