"""Results that take too long for a notebook, kept in ``data`` and held by a test.

Made anew with ``python -m balancekit.instrument.kept_results``.
"""

from __future__ import annotations

import io

import pandas as pd

from balancekit.calculation.weighing.plan_comparison import compare_with_every_sixth
from balancekit.instrument.in_hand import data_folder
from balancekit.instrument.store import read_file
from balancekit.instrument.write_table import to_bytes

PLAN_COMPARISON = "plan_comparison.csv"


def plan_comparison() -> pd.DataFrame:
    """Return what ``compare_with_every_sixth`` found over 50 invented instruments."""
    data = read_file(data_folder() / PLAN_COMPARISON)
    return pd.read_csv(io.BytesIO(data), index_col="seed")


if __name__ == "__main__":
    found = compare_with_every_sixth().reset_index()
    (data_folder() / PLAN_COMPARISON).write_bytes(to_bytes(found))
