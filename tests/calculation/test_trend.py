"""A series taken apart: coverage against known truth, slips, few readings.

Agreement with other software stands in ``tests/validation`` and ``test_joint``. The rates here
follow from what a 95 % interval and a standard deviation mean (JCGM 100:2008, 3.1 and 6.2).
"""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.irregularities.trend import scatter_sentence
from balancekit.calculation.keyboard import keyboard
from tests.calculation.series import HELD_G, KEYS, NATURAL, draw_series, fit, weighed


def inside(value: Any, u: Any, truth: Any) -> float:
    """Share of truths within 1.96 standard uncertainties."""
    return float(np.mean(np.abs(np.asarray(value) - truth) <= 1.96 * np.asarray(u)))


@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Over 60 full series: trend and scatter, each near 95 in 100."""
    trends, scatters, off = [], [], []
    for seed in range(60):
        drawn = draw_series(seed, scatter=0.6, reading_u=0.5)
        found = fit(KEYS, drawn.reading, 0.5)
        trends.append(inside(found.trend, found.trend_u, drawn.curve))
        scatters.append(inside(found.scatter, found.scatter_u, 0.6))
        off.append(found.deviation)
    assert 0.91 <= np.mean(trends) <= 0.98
    assert np.mean(scatters) >= 0.88
    assert np.std(pd.concat(off)) == pytest.approx(1.0, abs=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("keys", [KEYS[::6], KEYS[::10], np.r_[1:30, 70:89]])
def test_keys_not_weighed_lie_in_their_band(keys: np.ndarray) -> None:
    """What a reading is expected to be holds the scatter, and the error of a usual reading."""
    rates = []
    for seed in range(60):
        drawn = draw_series(seed, scatter=0.6, reading_u=0.2)
        found = fit(keys, drawn.reading[keys - 1], 0.2)
        rest = ~np.isin(KEYS, keys)
        rates.append(inside(found.expected[rest], found.expected_u[rest], drawn.reading[rest]))
    assert 0.92 <= np.mean(rates) <= 0.985


@pytest.mark.parametrize("count", [1, 2, 3, 4, 6])
def test_few_readings_never_claim_too_much(count: int) -> None:
    keys = np.linspace(5, 85, count).round().astype(int)
    rates = []
    for seed in range(30):
        drawn = draw_series(seed, scatter=0.6, reading_u=0.2)
        found = fit(keys, drawn.reading[keys - 1], 0.2)
        rest = ~np.isin(KEYS, keys)
        rates.append(inside(found.expected[rest], found.expected_u[rest], drawn.reading[rest]))
        assert (f"{count} readings only" in found.remark) == (1 < count < 5)
    assert np.mean(rates) >= 0.93


def test_weighing_alone_is_not_taken_for_the_piano() -> None:
    drawn = draw_series(3, scatter=0.0, reading_u=0.5)
    found = fit(KEYS, drawn.reading, 0.5)
    assert found.scatter < 0.3
    assert "cannot be told from none" in scatter_sentence(found, "friction_g")


def test_a_slip_does_not_bend_the_trend() -> None:
    drawn = draw_series(14, scatter=0.4, reading_u=0.5)
    slipped = drawn.reading.copy()
    slipped[[20, 30, 31]] = [1000.0, -500.0, slipped[31] * 10]
    found = fit(KEYS, slipped, 0.5)
    assert found.set_aside == (21, 31, 32)
    rest = np.delete(KEYS, [20, 30, 31])
    without = fit(rest, drawn.reading[rest - 1], 0.5)
    assert np.allclose(found.trend, without.trend, atol=0.05)
    assert found.scatter == pytest.approx(without.scatter, rel=0.05)
    assert found.reading[21] == 1000.0
    assert found.expected[21] == pytest.approx(without.expected[21], abs=0.05)


def test_many_slips_do_not_hide_one_another() -> None:
    drawn = draw_series(5, scatter=0.5, reading_u=0.5)
    slipped = drawn.reading.copy()
    slipped[::8] += 20
    assert set(fit(KEYS, slipped, 0.5).set_aside) == set(KEYS[::8])


def test_a_third_of_the_keys_is_not_a_slip() -> None:
    drawn = draw_series(6, scatter=0.5, reading_u=0.5)
    raised = drawn.reading + np.where(KEYS % 3 == 0, 20.0, 0.0)
    found = fit(KEYS, raised, 0.5)
    assert found.set_aside == () and found.scatter > 5


@pytest.mark.parametrize("reading_u", [0.01, 0.5])
@pytest.mark.parametrize(
    ("key_count", "keys"),
    [(1, [1]), (2, [1, 2]), (3, [1, 2, 3]), (88, [40]), (88, [3, 4]), (88, list(range(1, 89)))],
)
def test_equal_readings_give_a_level_trend(
    key_count: int, keys: list[int], reading_u: float
) -> None:
    found = fit(keys, [10.0] * len(keys), reading_u, keyboard(key_count))
    assert np.allclose(found.trend, 10.0, atol=1e-4)
    assert np.isfinite(found.expected_u).all() and found.set_aside == ()


def test_one_reading_says_what_it_cannot_tell() -> None:
    found = fit([40], [10.0], 0.5)
    assert "One reading only" in found.remark and "No sharp was weighed" in found.remark
    assert found.trend_u[1] > found.trend_u[39] > 0.5


def test_no_sharp_weighed_widens_only_the_sharps() -> None:
    naturals = KEYS[NATURAL]
    found = fit(naturals, 12 - naturals / 20, 0.1)
    assert "No sharp was weighed" in found.remark
    assert found.trend_u[~NATURAL].min() > 1 > found.trend_u[NATURAL].max()


def test_values_without_a_reading_are_left_out() -> None:
    drawn = draw_series(7, scatter=0.4, reading_u=0.5)
    gaps = np.where(KEYS % 5 == 0, np.nan, drawn.reading)
    assert fit(KEYS, gaps, 0.5).count == (KEYS % 5 != 0).sum()


def test_small_weighing_errors_weigh_more() -> None:
    drawn = draw_series(8, scatter=0.0, reading_u=0.0)
    u = np.where(KEYS % 2 == 0, 0.1, 5.0)
    reading = drawn.truth + np.random.default_rng(8).normal(0, u)
    found = fit(KEYS, reading, u)
    assert np.abs(found.trend - drawn.curve).max() < 0.5


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 1000), level=st.floats(-100, 100), count=st.integers(2, 88))
def test_order_and_level_do_not_matter(seed: int, level: float, count: int) -> None:
    draw = np.random.default_rng(seed)
    keys = draw.permutation(KEYS)[:count]
    values = draw_series(seed, 0.5, 0.5).reading[keys - 1]
    plain = fit(keys, values, 0.5)
    moved = fit(keys[::-1], level + values[::-1], 0.5)
    assert np.allclose(moved.trend, level + plain.trend, atol=1e-4)
    assert moved.scatter == pytest.approx(plain.scatter, rel=1e-3)
    assert set(moved.set_aside) == set(plain.set_aside)


def test_a_result_follows_the_weights_that_it_is_of() -> None:
    """Friction and balance weight are half the difference and half the sum of the two weights."""
    drawn = draw_series(2, scatter=0.5, reading_u=0.5)
    found = weighed(KEYS, drawn.reading, 0.5).trends
    down, up = found["down_weight_g"], found["up_weight_g"]
    friction, held = found["friction_g"], found["balance_weight_g"]
    for of in ("trend", "expected"):
        half = (getattr(down, of) - getattr(up, of)) / 2
        assert np.allclose(getattr(friction, of), half)
        assert np.allclose(getattr(held, of), getattr(down, of) - half)
    assert np.allclose(held.trend, HELD_G, atol=0.05)


def test_a_table_without_a_reading_has_no_trend() -> None:
    assert weighed([], [], 0.5).trends == {}


def test_sentence_adds_in_squares() -> None:
    drawn = draw_series(9, scatter=0.6, reading_u=0.5)
    found = fit(KEYS, drawn.reading, 0.5)
    whole = np.hypot(found.scatter, 0.5)
    sentence = scatter_sentence(found, "friction_g")
    assert sentence.startswith(f"Of the {whole:.2f} g scatter in friction, 0.50 g is weighing and")
    assert f"{found.scatter:.2f} g is the piano" in sentence
