"""Errors that the readings of one visit share: drift over the session, and the scale's correction.

They do not average out over the keys, so they are handed on once, as columns, and not as an
uncertainty of every key.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.quantities import uncertainty_name
from balancekit.calculation.weighing.scale import (
    FEWEST_LOADS,
    ON_THE_SCALE,
    SCALE_CORRECTED,
    fit_scale,
    last_digit_g,
)
from balancekit.calculation.weighing.session import PAIR
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import averages

Floats = NDArray[np.float64]


def shared_errors(instrument: Instrument, visit: int) -> dict[str, Floats]:
    """Return by reading the errors that its keys share, (K, errors); see ``joint.Known``."""
    parts = [*_drifts(instrument, visit), *_scale(instrument, visit)]
    width = [next(iter(part.values())).shape[1] for part in parts]
    count, found = len(instrument.keys), {}
    for name in {name for part in parts for name in part}:
        columns = [
            part.get(name, np.zeros((count, wide))) for part, wide in zip(parts, width, strict=True)
        ]
        found[name] = np.hstack(columns)
    return found


def _drifts(instrument: Instrument, visit: int) -> list[dict[str, Floats]]:
    """Return the drifts that were worked out, those of down and up weight as one."""
    readings = instrument.visits[visit].readings
    if "read_at" not in readings or not (readings["read_at"] != "").any():
        return []
    averaged = averages(instrument, visit)
    own = {name: each.shared for name, each in averaged.items() if each.shared is not None}
    pair = {name: own.pop(name) for name in PAIR if name in own}
    return [*([pair] if pair else []), *({name: each} for name, each in own.items())]


def _scale(instrument: Instrument, visit: int) -> list[dict[str, Floats]]:
    """Return the error of the correction that was added to the readings of the scale."""
    readings, weights = instrument.visits[visit].readings, instrument.table("check_weights")
    corrected = readings["note"].fillna("").str.contains(SCALE_CORRECTED, regex=False)
    if not corrected.any() or weights["nominal_g"].nunique() < FEWEST_LOADS:
        return []
    fit = fit_scale(
        weights["nominal_g"], weights["weight_class"], weights["reading_g"],
        display_step_g=last_digit_g(weights["reading_g"]),
    )  # fmt: skip
    keys, found = instrument.keys.index, {}
    for name in ON_THE_SCALE:
        means = readings.loc[corrected, name].groupby(readings.loc[corrected, "key"]).mean()
        errors = fit.errors_g(means.reindex(keys).to_numpy(dtype=float))
        found[name] = np.nan_to_num(errors)
    return [found]


def with_shared(table: pd.DataFrame, shared: Mapping[str, Floats]) -> pd.DataFrame:
    """Return a table of keys in which the uncertainty of each reading holds the shared errors."""
    told = table.copy()
    for name, errors in shared.items():
        u = uncertainty_name(name)
        told[u] = np.hypot(told[u].to_numpy(dtype=float), np.linalg.norm(errors, axis=1))
    return told
