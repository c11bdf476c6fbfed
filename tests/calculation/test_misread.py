"""Readings that all others together do not believe: the algebra, and how many are found.

The size of a misreading and its standard units are held against statsmodels' generalised least
squares, the mean shift outlier model written as a regression on one column.
"""

import numpy as np
import pytest
import statsmodels.api as sm

from balancekit.calculation.believed.joint import Known, System
from balancekit.calculation.believed.misread import Readings, find_misread
from balancekit.calculation.irregularities.trend import fit_table
from balancekit.instrument.findings import find_all
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import reading_table
from tests.benchmarks.flag_rates import invented_table
from tests.benchmarks.invented_pianos import invent

TABLE = invented_table(3)
KNOWN = Known(fit_table(TABLE))
READINGS = Readings.of(TABLE, KNOWN)


@pytest.mark.parametrize("row", [0, 100, 400])
def test_a_misreading_is_that_of_a_regression_on_it(row):
    system = System(TABLE, KNOWN, plain=True)
    _, total, left = system.linear(system.begin())
    column = np.zeros(len(left))
    column[row] = 1.0
    fit = sm.GLS(left, column, sigma=total).fit(cov_type="fixed scale")
    assert READINGS.left[row] / READINGS.inverse[row, row] == pytest.approx(fit.params[0])
    assert READINGS.off()[row] == pytest.approx(fit.tvalues[0])


def test_what_a_tight_centre_does_is_friction():
    table = TABLE.copy()
    table.loc[40, "down_weight_g"] += 4.0
    table.loc[40, "up_weight_g"] -= 4.0
    found = find_misread(table, KNOWN)
    assert [(each.key, each.real) for each in found] == [(40, "friction_g")]


def test_a_misread_weight_is_named_with_its_size():
    table = TABLE.copy()
    table.loc[40, "up_weight_g"] += 6.0
    (found,) = find_misread(table, KNOWN)
    assert (found.key, found.name, found.real) == (40, "up_weight_g", "")
    assert found.by == pytest.approx(6.0, abs=3.0)


def test_the_smallest_misreading_that_is_told_apart_is_found_as_often_as_promised():
    """Normal distribution: of readings off by that much, 80 in 100 lie beyond the limit."""
    sizes = READINGS.told_apart(0.8)
    draw = np.random.default_rng(1)
    spread = 1 / np.sqrt(np.diagonal(READINGS.inverse))
    seen = (sizes + spread * draw.normal(size=(400, len(sizes)))) / spread
    assert (np.abs(seen) > READINGS.beyond()).mean() == pytest.approx(0.8, abs=0.01)


@pytest.mark.slow
def test_weights_misread_by_five_grams_are_mostly_found_and_clean_ones_hardly_doubted():
    found, clean = 0, 0
    for seed in range(401, 409):
        readings = invent("quiet", seed).readings.assign(note="")
        whole = Instrument().with_readings(readings)
        flags = find_all(whole, 0, reading_table(whole)).flags
        clean += sum(flag.kind != "missing" for flag in flags)
        for row, name in ((11, "down_weight_g"), (44, "up_weight_g"), (70, "down_weight_g")):
            readings.loc[row, name] += 5.0 if row % 2 else -5.0
        wrong = Instrument().with_readings(readings)
        flags = find_all(wrong, 0, reading_table(wrong)).flags
        found += len({flag.key for flag in flags if flag.kind != "missing"} & {12, 45, 71})
    # 24 are planted; found in 80 of 100, fewer than 15 are so 13 times in 1,000 (binomial).
    assert found >= 15
    # At 1 in 1,000 of 4224 readings, more than 10 are flagged 4 times in 1,000 (Poisson).
    assert clean <= 10
