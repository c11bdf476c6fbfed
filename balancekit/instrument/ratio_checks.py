"""Key ratio and action ratio of one instrument by other ways, beside what the readings give."""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation.balance import (
    find_balance_weight,
    find_friction,
    find_half_sum_uncertainty,
    find_load,
)
from balancekit.calculation.linkage.distances import USUAL_GEOMETRY
from balancekit.calculation.linkage.motion import ratio_from_rise
from balancekit.calculation.proof.friction_by_load import LoadPart, find_load_part
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.ratios import (
    Ratio,
    find_action_ratio_by_added_mass,
    find_action_ratio_by_travel,
    find_key_ratio_by_ruler,
    find_key_ratio_by_weight,
)
from balancekit.calculation.ways import compare_ways, find_shared_covariance
from balancekit.instrument.model import Instrument

ARM_U_MM = 0.5
# From memory: a steel ruler laid along a key, read to half a millimetre.


def _u(name: str) -> float:
    return float(QUANTITIES[name].reading_u or 0.0)


def _checks(instrument: Instrument) -> pd.DataFrame:
    """The last reading of each key."""
    return instrument.table("ratio_checks").groupby("key").last()


def _read(checks: pd.DataFrame, *names: str) -> pd.DataFrame:
    return checks[checks[list(names)].notna().all(axis=1)]


def compare_key_ratio(instrument: Instrument, table: pd.DataFrame) -> pd.DataFrame:
    """Compare the key ratio by ruler and by weight; see ``compare_ways``.

    Empty where fewer than two ways were read on any key. The ruler counts too where the
    readings hold a key ratio, which is taken as measured by ruler.
    """
    checks, settings = _checks(instrument), instrument.settings
    sharp = instrument.keys["colour"] == "sharp"
    arm = sharp.map({True: settings.sharp_arm_mm, False: settings.natural_arm_mm})
    ways: dict[str, Ratio] = {}
    measured = _read(checks, "capstan_arm_mm")
    if len(measured):
        ways["ruler"] = find_key_ratio_by_ruler(
            capstan_arm_mm=measured["capstan_arm_mm"], arm_mm=arm.loc[measured.index],
            capstan_arm_u_mm=_u("capstan_arm_mm"), arm_u_mm=ARM_U_MM,
        )  # fmt: skip
    else:
        direct = table["key_ratio"].notna() & (table["estimated"] == "")
        known = table[direct & table.index.isin(checks.index)]
        if len(known):
            ways["ruler"] = Ratio(known["key_ratio"], known["key_ratio_u"])
    weighed = _read(checks, "capstan_mass_g", "front_weight_with_mass_g")
    weighed = weighed[table.loc[weighed.index, "front_weight_g"].notna()]
    if len(weighed):
        ways["weight"] = find_key_ratio_by_weight(
            front_weight_g=table.loc[weighed.index, "front_weight_g"],
            front_weight_with_mass_g=weighed["front_weight_with_mass_g"],
            known_mass_g=weighed["capstan_mass_g"],
            front_weight_u_g=settings.reading_u["front_weight_g"],
            known_mass_u_g=_u("capstan_mass_g"),
        )
    return _compared("key_ratio", ways)


def compare_action_ratio(instrument: Instrument, table: pd.DataFrame) -> pd.DataFrame:
    """Compare the action ratio by balance, by added mass and by travel; see ``compare_ways``."""
    checks, settings = _checks(instrument), instrument.settings
    ways: dict[str, Ratio] = {}
    shared = {}
    hung = _read(checks, "strike_mass_g", "down_weight_with_mass_g", "up_weight_with_mass_g")
    hung = hung[table.loc[hung.index, "balance_weight_g"].notna()]
    known = table.loc[table.index.isin(checks.index) & table["action_ratio"].notna()]
    if len(known):
        ways["balance"] = Ratio(known["action_ratio"], known["action_ratio_u"])
    if len(hung):
        beside = table.loc[hung.index]
        ways["added_mass"] = find_action_ratio_by_added_mass(
            balance_weight_g=beside["balance_weight_g"],
            balance_weight_with_mass_g=find_balance_weight(
                down_weight_g=hung["down_weight_with_mass_g"],
                up_weight_g=hung["up_weight_with_mass_g"],
            ),
            known_mass_g=hung["strike_mass_g"],
            balance_weight_u_g=beside["balance_weight_u_g"],
            balance_weight_with_mass_u_g=find_half_sum_uncertainty(
                down_weight_u_g=settings.reading_u["down_weight_g"],
                up_weight_u_g=settings.reading_u["up_weight_g"],
            ),
            known_mass_u_g=_u("strike_mass_g"),
        )
        if len(known):
            both = hung.index.intersection(known.index)
            shared[("balance", "added_mass")] = find_shared_covariance(
                balance_weight_u_g=table.loc[both, "balance_weight_u_g"],
                strike_weight_g=table.loc[both, "strike_weight_g"],
                known_mass_g=hung.loc[both, "strike_mass_g"],
            )
    moved = _read(checks, "hammer_rise_mm", "key_dip_mm")
    if len(moved):
        mean = find_action_ratio_by_travel(
            hammer_rise_mm=moved["hammer_rise_mm"], key_dip_mm=moved["key_dip_mm"],
            hammer_rise_u_mm=_u("hammer_rise_mm"), key_dip_u_mm=_u("key_dip_mm"),
        )  # fmt: skip
        ways["travel"] = _at_half_stroke(mean, moved["key_dip_mm"], instrument, table)
    return _compared("action_ratio", ways, shared)


def load_part_of(instrument: Instrument, believed: pd.DataFrame) -> LoadPart:
    """Return the part of the friction that grows with the load, by keys with an added mass.

    Parameters
    ----------
    instrument : with its ratio checks.
    believed : what is believed of every key; see ``believed.believe``.
    """
    checks, settings = _checks(instrument), instrument.settings
    hung = _read(checks, "strike_mass_g", "down_weight_with_mass_g", "up_weight_with_mass_g")
    table = believed.loc[hung.index]
    names = ("wippen_weight_g", "key_ratio", "strike_weight_g", "action_ratio")
    load = find_load(**{name: table[name] for name in names})
    return find_load_part(
        table["friction_g"],
        table["friction_u_g"],
        find_friction(
            down_weight_g=hung["down_weight_with_mass_g"],
            up_weight_g=hung["up_weight_with_mass_g"],
        ),
        find_half_sum_uncertainty(
            down_weight_u_g=settings.reading_u["down_weight_g"],
            up_weight_u_g=settings.reading_u["up_weight_g"],
        ),
        hung["strike_mass_g"] * table["action_ratio"] / load,
    )


def _at_half_stroke(
    mean: Ratio, dip_mm: pd.Series, instrument: Instrument, table: pd.DataFrame
) -> Ratio:
    """Turn the mean ratio over a part of the stroke into that at half stroke, by the levers."""
    keys, settings = dip_mm.index, instrument.settings
    sharp = (instrument.keys["colour"] == "sharp").loc[keys].to_numpy()
    ratio = ratio_from_rise(
        mean.value.to_numpy(dtype=float),
        travel_mm=dip_mm.to_numpy(dtype=float),
        key_ratio=table.loc[keys, "key_ratio"]
        .fillna(USUAL_GEOMETRY.key_ratio)
        .to_numpy(dtype=float),
        arm_mm=np.where(sharp, settings.sharp_arm_mm, settings.natural_arm_mm),
        blow_distance_mm=settings.blow_distance_mm,
    )
    return Ratio(pd.Series(ratio, keys), mean.uncertainty * ratio / mean.value)


def _compared(
    quantity: str,
    ways: dict[str, Ratio],
    covariances: dict[tuple[str, str], pd.Series] | None = None,
) -> pd.DataFrame:
    if len(ways) < 2:
        return pd.DataFrame()
    return compare_ways(quantity, ways, covariances=covariances)
