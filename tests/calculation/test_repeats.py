"""Repeat readings: what stated and own scatter tell together, and what the mean is worth.

With a scaled inverse chi-square of three degrees of freedom as prior, a reading errs as Student's
t with three more degrees of freedom than the repeats have (Gelman and others, Bayesian Data
Analysis, 2.6, from memory); scipy.stats gives its interval.
"""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from balancekit.calculation.weighing.guided import Threshold
from balancekit.calculation.weighing.repeats import Averaged, average

KEYS = pd.RangeIndex(1, 6, name="key")
STATED = 0.7


def averaged(rows: list[tuple[int, float]]) -> Averaged:
    table = pd.DataFrame(rows, columns=["key", "reading"])
    return average(table["key"], table["reading"].astype(float), STATED, KEYS)


def test_single_readings_have_the_stated_uncertainty() -> None:
    found = averaged([(1, 50.0), (2, 51.0), (5, float("nan"))])
    assert found.uncertainty[[1, 2]].tolist() == pytest.approx([STATED, STATED])
    assert found.uncertainty[[3, 4, 5]].isna().all() and found.mean[[3, 4, 5]].isna().all()
    assert found.count.tolist() == [1, 1, 0, 0, 0]
    assert np.isnan(found.hand) and found.freedom == 0


def of_scipy(squares: float, freedom: int) -> float:
    """The u of a reading whose 1.96 are the half width of Student's t, from the sums of squares."""
    prior = 3
    whole = prior * (STATED * stats.norm.ppf(0.975) / stats.t.ppf(0.975, prior)) ** 2 + squares
    scale = (whole / (prior + freedom)) ** 0.5
    return float(stats.t.interval(0.95, prior + freedom, scale=scale)[1] / stats.norm.ppf(0.975))


@pytest.mark.parametrize("read", [1, 2, 3, 5])
def test_stated_and_own_scatter_count_together_with_no_threshold(read: int) -> None:
    rows = [(key, 50.0 + step) for key in range(1, read + 1) for step in (0, 2, 4)]
    found = averaged([*rows, (5, 60.0)] if read < 5 else rows)
    assert (found.freedom, found.hand) == (2 * read, 2.0)
    assert found.single_u == pytest.approx(of_scipy(8.0 * read, 2 * read))
    assert found.uncertainty[1] >= found.single_u / 3**0.5


def test_each_repeat_moves_the_uncertainty_a_little() -> None:
    def single(pairs: int) -> float:
        rows = [(1, 50.0 + step) for _ in range(pairs) for step in (-1, 1)]
        return averaged(rows).single_u

    sizes = np.array([single(pairs) for pairs in range(1, 40)])
    assert (np.abs(np.diff(sizes)) < 0.12).all()
    assert sizes[-1] == pytest.approx(1.0, abs=0.05)


def test_own_scatter_of_a_key_read_often_pulls_from_that_of_the_keyboard() -> None:
    often = [50.0, 52.0] * 20
    found = averaged([(1, value) for value in often] + [(2, 40.0), (2, 40.2)])
    assert found.uncertainty[1] * 40**0.5 == pytest.approx(1.0, abs=0.05)
    assert 0.7 < found.uncertainty[2] * 2**0.5 < found.uncertainty[1] * 40**0.5


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


def test_a_coarse_step_counts_for_less_and_widens_its_key_alone() -> None:
    """The mean of readings of unlike uncertainty: weights by the inverse of their variance.

    numpy.average weighs; the variance of the sum is from JCGM 100:2008, 5.1.2.
    """
    keys, values = pd.Series([1, 2, 3, 4, 4]), pd.Series([50.0, 50.0, 50.0, 50.0, 50.4])
    within = pd.Series([float("nan"), 0.25, 1.0, 0.5, 2.0])
    found = average(keys, values, STATED, KEYS, within=within)
    alone = average(keys[:3], values[:3], STATED, KEYS, within=within[:3])
    coarse = STATED**2 + (1.0 - 0.25) / 3
    assert alone.uncertainty[[1, 2, 3]].tolist() == pytest.approx([STATED, STATED, coarse**0.5])
    weights = 1 / np.array([STATED**2, STATED**2 + (4.0 - 0.25) / 3])
    mean, whole = np.average([50.0, 50.4], weights=weights, returned=True)
    assert found.mean[4] == pytest.approx(mean)
    left = ((np.array([50.0, 50.4]) - mean) ** 2 * weights).sum() * STATED**2
    assert found.hand == pytest.approx(left**0.5)
    assert found.uncertainty[4] < whole**-0.5, "the two agree better than was stated"


@pytest.mark.parametrize(
    ("step_g", "repeats", "anew"),
    [(0.5, 1, False), (1.0, 1, True), (2.0, 1, False), (2.0, 1, True), (2.0, 2, False)],
)
def test_bands_of_guided_readings_hold_the_truth(step_g: float, repeats: int, anew: bool) -> None:
    """1.96 uncertainties hold the truth in 95 of 100 keys, however coarse the steps are.

    The hand that is simulated is the stated 0.7 g less a step of 1 g; it judges once a reading,
    or anew at each placement. Neighbours predict each key to 1.5 g.
    """
    draw = np.random.default_rng(5)
    keys, hand = pd.RangeIndex(1, 601), (STATED**2 - 1 / 12) ** 0.5
    truth = pd.Series(draw.uniform(40, 60, len(keys)), keys)
    rows = []
    for key in keys:
        for _ in range(repeats):
            search = Threshold(truth[key] + draw.normal(0, 1.5), 1.5, step_g)
            judged = truth[key] + draw.normal(0, hand)
            while not search.found:
                judged = truth[key] + draw.normal(0, hand) if anew else judged
                search = search.after(search.next_g, search.next_g >= judged)
            rows.append((key, search.middle_g, search.within_g))
    key, value, within = (pd.Series(column) for column in zip(*rows, strict=True))
    found = average(key, value, STATED, keys, within=within)
    held = ((found.mean - truth).abs() <= 1.96 * found.uncertainty).mean()
    assert 0.935 <= held <= 0.985
    without = average(key, value, STATED, keys)
    if step_g == 2.0 and repeats == 1:
        assert ((without.mean - truth).abs() <= 1.96 * without.uncertainty).mean() < 0.93
    if step_g < 2.0:
        assert found.uncertainty.equals(without.uncertainty), "a fine step widens nothing"
