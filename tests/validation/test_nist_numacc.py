"""NIST Statistical Reference Datasets: scatter of repeats that differ in the last digit only.

NumAcc4, made by its rule: 10000000.2, then 10000000.1 and 10000000.3 in turn, 1001 values;
mean 10000000.2, standard deviation 0.1. SmLs01 to SmLs06 (Simon and Lesage 1989), read from
the scipy package that carries them: the certified residual standard deviation of each is the
scatter pooled over its groups.
"""

import re
from importlib.resources import files

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.weighing.repeats import average

GUARDS = ("balancekit.calculation.weighing.repeats.average",)

NUMACC4 = np.array([10000000.2] + [10000000.1, 10000000.3] * 500)
# What is left of 0.1 in a double of 10000000.1: its spacing is 1.9e-9.
LEFT_OF_A_DOUBLE = 2e-8


def test_scatter_of_one_key() -> None:
    found = average(
        pd.Series(1, index=range(len(NUMACC4))), pd.Series(NUMACC4), 0.7, pd.RangeIndex(1, 3)
    )
    assert found.mean[1] == pytest.approx(10000000.2, abs=1e-8)
    assert found.hand == pytest.approx(0.1, abs=LEFT_OF_A_DOUBLE)
    assert (found.freedom, found.count[1]) == (1000, 1001)


def read(name: str) -> tuple[float, int, pd.DataFrame]:
    """Return the certified residual standard deviation, its freedom, and the data."""
    text = (files("scipy.stats.tests") / "data" / "nist_anova" / f"{name}.dat").read_text()
    certified = re.search(r"Certified Residual\s+Standard Deviation\s+(\S+)", text)
    within = re.search(r"Within Treatment\s+(\d+)", text)
    assert certified and within
    body = text[text.rindex("Response") + len("Response") :]
    rows = [(int(group), float(value)) for group, value in map(str.split, body.splitlines()[1:])]
    return float(certified[1]), int(within[1]), pd.DataFrame(rows, columns=["key", "reading"])


@pytest.mark.parametrize("name", ["SmLs01", "SmLs02", "SmLs03", "SmLs04", "SmLs05", "SmLs06"])
def test_scatter_pooled_over_keys(name: str) -> None:
    certified, freedom, data = read(name)
    found = average(data["key"], data["reading"], 0.7, pd.RangeIndex(1, 10))
    assert found.freedom == freedom
    assert found.hand == pytest.approx(certified, abs=LEFT_OF_A_DOUBLE)
