"""Repeat readings: whose scatter is believed, and what the mean is worth.

The factor sqrt(freedom / (freedom - 2)) is the standard deviation of Student's t
distribution (JCGM 101:2008, 6.4.9; scipy.stats.t gives the same).
"""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from balancekit.calculation.weighing.repeats import ENOUGH_FREEDOM, Averaged, average

KEYS = pd.RangeIndex(1, 6, name="key")
STATED = 0.7


def averaged(rows: list[tuple[int, float]]) -> Averaged:
    table = pd.DataFrame(rows, columns=["key", "reading"])
    return average(table["key"], table["reading"].astype(float), STATED, KEYS)


def test_single_readings_have_the_stated_uncertainty() -> None:
    found = averaged([(1, 50.0), (2, 51.0), (5, float("nan"))])
    assert found.uncertainty[[1, 2]].tolist() == [STATED, STATED]
    assert found.uncertainty[[3, 4, 5]].isna().all() and found.mean[[3, 4, 5]].isna().all()
    assert found.count.tolist() == [1, 1, 0, 0, 0]
    assert np.isnan(found.hand) and found.freedom == 0


def test_few_repeats_do_not_speak() -> None:
    """Five keys read three times: ten degrees of freedom, two too few."""
    found = averaged([(key, 50.0 + step) for key in KEYS for step in (0, 2, 4)])
    assert (found.freedom, found.hand) == (10, 2.0)
    assert found.uncertainty[1] == pytest.approx(STATED / 3**0.5)


def test_pooled_scatter() -> None:
    """Four keys read four times: variance 4 each, pooled over twelve degrees of freedom."""
    half = 2 * (3 / 4) ** 0.5
    rows = [(key, 50.0 + key + step) for key in (1, 2, 3, 4) for step in (-half, half) * 2]
    found = averaged([*rows, (5, 60.0)])
    assert (found.freedom, found.hand) == (ENOUGH_FREEDOM, pytest.approx(2.0))
    single = 2.0 * stats.t.std(12)
    assert found.uncertainty[[1, 5]].tolist() == pytest.approx([single / 2, single])


def test_own_scatter_of_a_key_read_often() -> None:
    """Key 1 has twelve degrees of freedom of its own; key 2 has the pooled scatter."""
    often = [50.0, 52.0] * 6 + [51.0]
    found = averaged([(1, value) for value in often] + [(2, 40.0), (2, 40.2)])
    own = np.std(often, ddof=1)
    assert found.uncertainty[1] == pytest.approx(own * stats.t.std(12) / 13**0.5)
    pooled = ((12 * own**2 + 0.02) / 13) ** 0.5
    assert found.hand == pytest.approx(pooled)
    assert found.uncertainty[2] == pytest.approx(pooled * stats.t.std(13) / 2**0.5)


def test_coarse_weights_do_not_make_a_sure_hand() -> None:
    found = averaged([(1, 50.0)] * 14)
    assert found.hand == 0.0
    assert found.uncertainty[1] == pytest.approx(STATED / 14**0.5)


@given(
    rows=st.lists(st.tuples(st.integers(1, 5), st.floats(0, 300)), min_size=1, max_size=30),
    seed=st.integers(0, 1000),
)
@settings(max_examples=60, deadline=None)
def test_order_of_rows_does_not_matter(rows: list[tuple[int, float]], seed: int) -> None:
    shuffled = [rows[place] for place in np.random.default_rng(seed).permutation(len(rows))]
    one, other = averaged(rows), averaged(shuffled)
    pd.testing.assert_series_equal(one.mean, other.mean, rtol=1e-9)
    pd.testing.assert_series_equal(one.count, other.count)
    assert one.hand == pytest.approx(other.hand, rel=1e-6, abs=1e-9, nan_ok=True)
    # Below 1e-6 g a scatter is what the sums leave over, not a reading.
    if not 0 < one.hand < 1e-6:
        pd.testing.assert_series_equal(one.uncertainty, other.uncertainty, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize("repeats", [2, 6, 13, 14])
def test_intervals_hold_the_truth(repeats: int) -> None:
    """1.96 standard uncertainties hold the truth in 93 to 97 of 100 cases."""
    draw = np.random.default_rng(repeats)
    keys = pd.RangeIndex(1, 89)
    number = pd.Series(np.repeat(keys, repeats))
    held = []
    for _ in range(30):
        found = average(number, pd.Series(draw.normal(50, 0.5, len(number))), STATED, keys)
        held.append(((found.mean - 50).abs() <= 1.96 * found.uncertainty).mean())
    assert 0.93 <= np.mean(held) <= 0.97


@pytest.mark.parametrize("repeated", [12, 16, 25])
def test_intervals_hold_the_truth_with_few_keys_repeated(repeated: int) -> None:
    draw = np.random.default_rng(repeated)
    keys = pd.RangeIndex(1, 31)
    number = pd.Series([*keys, *range(1, repeated + 1)])
    held = []
    for _ in range(400):
        found = average(number, pd.Series(draw.normal(50, 0.5, len(number))), STATED, keys)
        held.append(((found.mean - 50).abs() <= 1.96 * found.uncertainty).mean())
    assert 0.93 <= np.mean(held) <= 0.97
