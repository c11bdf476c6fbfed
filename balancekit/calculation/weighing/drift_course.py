"""The drift of one reading over time, and what the keys that were read again say of it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation.weighing.session import PAUSE_H, Drift


def drift_course(readings: pd.DataFrame, name: str, drift: Drift) -> pd.DataFrame:
    """Return the drift at every reading that has its time, in order.

    Parameters
    ----------
    readings : raw rows with ``key``, ``read_at`` (ISO 8601, "" for none) and the reading.
    name : reading column.
    drift : of that column; see ``session.find_drifts``.

    Returns
    -------
    DataFrame with ``key``, ``read_at``, ``hours`` since the first [h], ``session`` from 0,
    ``drift`` and ``drift_u`` [unit of the column], and ``off``: how far the reading is from its
    key's mean without drift, for a key that was read more than once, else NaN.

    >>> rows = pd.DataFrame({"key": [1, 1], "front_weight_g": [50.0, 51.0],
    ...     "read_at": ["2026-05-04T09:00", "2026-05-04T11:00"]})
    >>> half = Drift(np.array([0.0, 1.0]), np.array([[0.0], [0.5]]), 1.0, 0.5, 1, 2)
    >>> drift_course(rows, "front_weight_g", half)[["hours", "drift", "drift_u", "off"]].values
    array([[0. , 0. , 0. , 0. ],
           [2. , 1. , 0.5, 1. ]])
    """
    timed = (readings["read_at"].fillna("") != "") & readings[name].notna()
    times = pd.to_datetime(readings.loc[timed, "read_at"], format="ISO8601", utc=True)
    at = timed.to_numpy()
    course = pd.DataFrame(
        {
            "key": readings["key"].to_numpy(dtype=int)[at],
            "read_at": readings["read_at"].to_numpy(dtype=object)[at],
            "hours": np.asarray((times - times.min()) / pd.Timedelta(hours=1), dtype=np.float64),
            "drift": drift.rows[at],
            "drift_u": np.linalg.norm(drift.shared[at], axis=1),
        }
    )
    values = readings[name].to_numpy(dtype=float)[at]
    level = pd.Series(values - course["drift"]).groupby(course["key"])
    again = level.transform("count") > 1
    course["off"] = (values - level.transform("mean")).where(again)
    course = course.sort_values("hours", kind="stable", ignore_index=True)
    course["session"] = (course["hours"].diff() > PAUSE_H).cumsum()
    return course
