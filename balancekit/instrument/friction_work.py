"""Which keys ask for work on their friction."""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation.irregularities.advice import where_to_look
from balancekit.calculation.quantities import QUANTITIES
from balancekit.instrument.findings import Findings


def friction_work(found: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """List the keys whose friction asks for work: it stands out, or is far from usual."""
    quantity = QUANTITIES["friction_g"]
    trend = findings.trends.get("friction_g")
    columns = ["friction_g", "expected_g", "treat", "advice"]
    if trend is None:
        return pd.DataFrame(columns=columns)
    named = {flag.key for flag in findings.flags
             if flag.quantity == "friction_g" and flag.kind == "stands-out"}  # fmt: skip
    u = found["friction_u_g"].fillna(0.0)
    low, high = float(quantity.usual_low or 0.0), float(quantity.usual_high or np.inf)
    beyond = (found["friction_g"] - 2 * u > high) | (found["friction_g"] + 2 * u < low)
    rows = {}
    for key in sorted(named | set(found.index[beyond])):
        value, middle = float(found["friction_g"][key]), float(trend.trend[key])
        if value != value:
            continue
        above = value > min(max(middle, low), high)
        treat = "ease" if above else "tighten"
        rows[key] = (value, middle, treat, where_to_look("friction_g", above))
    table = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
    return table.rename_axis("key")
