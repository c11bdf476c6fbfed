"""What stands in the table of keys where wippen weight and key ratio were read on 16 keys only.

Truth: pianos written apart from the model. Ten pianos with 72 keys each that are not read: what is
off on them is not independent, so of 100 values 90 to 99 may lie in their bands.
"""

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.believed.find import find_groups
from balancekit.calculation.uncertainty import coverage_factor
from balancekit.calculation.weighing.sampling import fill_gaps, with_ratio
from balancekit.instrument.filled_in import key_table
from balancekit.instrument.model import Instrument
from balancekit.instrument.occasion import Occasion
from balancekit.instrument.table import reading_table
from tests.benchmarks.invented_pianos import KEYS, invent, keep_some

FEW = ("wippen_weight_g", "key_ratio")
SIXTEEN = np.linspace(1, KEYS, 16).round()


def sampled(seed: int, shape: str = "quiet") -> tuple[Instrument, dict[str, np.ndarray]]:
    piano = invent(shape, seed)
    return Instrument().with_readings(keep_some(piano.readings, FEW, SIXTEEN)), piano.truth


@pytest.mark.slow
def test_bands_of_what_is_filled_in_hold_and_it_is_nearer_than_a_trend_of_each_series() -> None:
    held, off, apart = [], [], []
    for seed in range(10):
        instrument, true = sampled(seed)
        table = key_table(instrument)
        gaps = (table["estimated"] != "").to_numpy()
        assert gaps.sum() == KEYS - len(SIXTEEN)
        miss = (table["action_ratio"] - true["action_ratio"])[gaps]
        held.append((miss.abs() <= coverage_factor() * table["action_ratio_u"][gaps]).mean())
        off.append(miss)
        read = reading_table(instrument)
        courses = {name: find_groups(read).courses[name] for name in FEW}
        each = with_ratio(fill_gaps(read, courses))
        apart.append((each["action_ratio"] - true["action_ratio"])[gaps])
    assert 0.90 <= np.mean(held) <= 0.99
    assert pd.concat(off).pow(2).mean() < 0.8 * pd.concat(apart).pow(2).mean()


def test_the_table_says_what_plans_believe_where_a_key_was_not_read() -> None:
    instrument, _ = sampled(1)
    occasion = Occasion(instrument)
    gaps = occasion.table["estimated"] != ""
    for name in (*FEW, "action_ratio"):
        told, believed = occasion.table.loc[gaps, name], occasion.believed.table.loc[gaps, name]
        pd.testing.assert_series_equal(told, believed)
    pd.testing.assert_series_equal(
        occasion.table.loc[~gaps, "action_ratio"], occasion.read.loc[~gaps, "action_ratio"]
    )
