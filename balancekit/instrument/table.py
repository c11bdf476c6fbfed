"""The table of keys as it was read: friction, balance weight and action ratio of each key."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from balancekit.calculation import balance
from balancekit.calculation.quantities import (
    NEEDED_COLUMNS,
    READING_COLUMNS,
    TOUCH_COLUMNS,
    WITHIN_COLUMNS,
    uncertainty_name,
)
from balancekit.calculation.weighing.repeats import Averaged, average
from balancekit.calculation.weighing.sampling import with_ratio
from balancekit.calculation.weighing.session import find_drifts
from balancekit.instrument.model import Instrument

_SUMS = ("balance_weight_g", "friction_g")


def averages(instrument: Instrument, visit: int = 0) -> dict[str, Averaged]:
    """Average the repeat readings of one visit, by reading column.

    An action without a support spring has a spring relief of exactly 0.
    """
    readings, settings = instrument.visits[visit].readings, instrument.settings
    keys = instrument.keys.index
    drifts = find_drifts(readings, settings.reading_u) if "read_at" in readings else {}
    drifts = {
        name: replace(drift, taken_off=settings.drift_taken_off) for name, drift in drifts.items()
    }
    result = {
        name: average(
            readings["key"],
            readings[name],
            settings.reading_u[name],
            keys,
            drifts.get(name),
            readings.get(WITHIN_COLUMNS.get(name, "")),
        )
        for name in READING_COLUMNS
    }
    if readings["spring_relief_g"].isna().all():
        none = pd.Series(0.0, index=keys)
        result["spring_relief_g"] = Averaged(none, none, none.astype(int), float("nan"), 0, 0.0)
    return result


def reading_table(instrument: Instrument, visit: int = 0) -> pd.DataFrame:
    """Compute the table of keys from what was read, and from nothing else.

    Parameters
    ----------
    instrument : what was given.
    visit : which set of readings, 0 for the first.

    Returns
    -------
    DataFrame indexed by key, one row for each key of the instrument:
    ``note_name, colour``, every reading with its standard uncertainty
    (``down_weight_g, down_weight_u_g`` and so on), ``balance_weight_g, balance_weight_u_g,
    friction_g, friction_u_g, action_ratio, action_ratio_u``, ``missing`` (the readings that a
    result lacks, with commas between), ``note``, and ``estimated``, here always "".
    A missing reading gives a missing result.
    """
    table = instrument.keys[["note_name", "colour"]].copy()
    for name, averaged in averages(instrument, visit).items():
        table[name] = averaged.mean
        table[uncertainty_name(name)] = averaged.uncertainty
    add_results(table, instrument.settings.action == "upright")
    table["note"] = _notes(instrument, visit)
    table["estimated"] = ""
    return table


def add_results(table: pd.DataFrame, upright: bool = False) -> None:
    """Put balance weight, friction and action ratio into a table that holds the readings."""
    weights = {name: table[name] for name in TOUCH_COLUMNS}
    spread = balance.find_half_sum_uncertainty(
        down_weight_u_g=table["down_weight_u_g"], up_weight_u_g=table["up_weight_u_g"]
    )
    table["balance_weight_g"] = balance.find_balance_weight(**weights)
    table["friction_g"] = balance.find_friction(**weights)
    for name in _SUMS:
        table[uncertainty_name(name)] = spread
    if upright:
        table["action_ratio"] = table["action_ratio_u"] = float("nan")
        needed: tuple[str, ...] = TOUCH_COLUMNS
    else:
        solved = with_ratio(table)
        table[["action_ratio", "action_ratio_u"]] = solved[["action_ratio", "action_ratio_u"]]
        needed = NEEDED_COLUMNS
        if table["spring_relief_g"].isna().any():
            needed = READING_COLUMNS
    table["missing"] = [
        ", ".join(name for name in needed if row[name] != row[name])
        for row in table[list(needed)].to_dict("records")
    ]


def _notes(instrument: Instrument, visit: int) -> pd.Series:
    """Join the notes of each key: those of its readings, then the key's own."""
    readings = instrument.visits[visit].readings
    words: dict[int, list[str]] = {}
    for key, note in zip(readings["key"], readings["note"], strict=True):
        words.setdefault(int(key), []).append(note)
    for key, note in instrument.key_notes.items():
        words.setdefault(key, []).append(note)
    joined = {key: "; ".join(dict.fromkeys(filter(None, each))) for key, each in words.items()}
    return pd.Series([joined.get(key, "") for key in instrument.keys.index], instrument.keys.index)
