"""A series taken apart: coverage against known truth, slips, few readings, bad input.

Agreement with other software stands in ``tests/validation``. The rates here follow from
what a 95 % interval and a standard deviation mean (JCGM 100:2008, 3.1 and 6.2).
"""

import time
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.irregularities import trend_grid
from balancekit.calculation.irregularities.trend import (
    Trend,
    fit_column,
    fit_trend,
    scatter_sentence,
)
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.problems import BalancekitError
from tests.calculation.series import BOARD, KEYS, NATURAL, draw_series, fit


def inside(value: Any, u: Any, truth: Any) -> float:
    """Share of truths within 1.96 standard uncertainties."""
    return float(np.mean(np.abs(np.asarray(value) - truth) <= 1.96 * np.asarray(u)))


@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Over 60 full series: trend, own values, step and scatter, each near 95 in 100."""
    trends, values, steps, scatters, off = [], [], [], [], []
    for seed in range(60):
        drawn = draw_series(seed, scatter=0.6, reading_u=0.5)
        found = fit(KEYS, drawn.reading, 0.5)
        trends.append(inside(found.trend, found.trend_u, drawn.curve))
        values.append(inside(found.value, found.value_u, drawn.truth))
        steps.append(inside(found.step, found.step_u, 0.7))
        scatters.append(inside(found.scatter, found.scatter_u, 0.6))
        off.append(found.deviation)
    assert 0.93 <= np.mean(values) <= 0.97
    assert 0.91 <= np.mean(trends) <= 0.98
    assert np.mean(steps) >= 0.88 and np.mean(scatters) >= 0.88
    assert np.std(pd.concat(off)) == pytest.approx(1.0, abs=0.05)


def test_scatters_that_are_left_out_change_nothing(monkeypatch) -> None:
    """The whole grid gives the same, also for a key that is nine standard units off."""
    drawn = draw_series(1, scatter=0.6, reading_u=0.5)
    drawn.reading[30] += 9 * np.hypot(0.6, 0.5)
    found = []
    for limit in (1e9, trend_grid.HOPELESS):
        monkeypatch.setattr(trend_grid, "HOPELESS", limit)
        found.append(fit(KEYS, drawn.reading, 0.5))
    whole, less = found
    assert less.set_aside == whole.set_aside == (31,)
    for name in ("value", "value_u", "expected", "expected_u", "deviation"):
        assert np.allclose(getattr(less, name), getattr(whole, name), rtol=1e-6), name


@pytest.mark.slow
@pytest.mark.parametrize("keys", [KEYS[::6], KEYS[::10], np.r_[1:30, 70:89]])
def test_keys_not_weighed_lie_in_their_band(keys: np.ndarray) -> None:
    rates = []
    for seed in range(60):
        drawn = draw_series(seed, scatter=0.6, reading_u=0.2)
        found = fit(keys, drawn.reading[keys - 1], 0.2)
        rest = ~np.isin(KEYS, keys)
        rates.append(inside(found.value[rest], found.value_u[rest], drawn.truth[rest]))
    assert 0.92 <= np.mean(rates) <= 0.985


@pytest.mark.parametrize("count", [1, 2, 3, 4, 6])
def test_few_readings_never_claim_too_much(count: int) -> None:
    keys = np.linspace(5, 85, count).round().astype(int)
    rates = []
    for seed in range(30):
        drawn = draw_series(seed, scatter=0.6, reading_u=0.2)
        found = fit(keys, drawn.reading[keys - 1], 0.2)
        rates.append(inside(found.value, found.value_u, drawn.truth))
        assert (f"{count} readings only" in found.remark) == (1 < count < 5)
    assert np.mean(rates) >= 0.93


def test_weighing_alone_is_not_taken_for_the_piano() -> None:
    drawn = draw_series(3, scatter=0.0, reading_u=0.5)
    found = fit(KEYS, drawn.reading, 0.5)
    assert found.scatter < 0.25
    assert "cannot be told from none" in scatter_sentence(found, "friction_g")


def test_a_slip_does_not_bend_the_trend() -> None:
    drawn = draw_series(14, scatter=0.4, reading_u=0.5)
    slipped = drawn.reading.copy()
    slipped[[20, 30, 31]] = [1000.0, -500.0, slipped[31] * 10]
    found = fit(KEYS, slipped, 0.5)
    assert found.set_aside == (21, 31, 32)
    rest = np.delete(KEYS, [20, 30, 31])
    without = fit(rest, drawn.reading[rest - 1], 0.5)
    assert np.allclose(found.trend, without.trend, atol=1e-6)
    assert found.scatter == pytest.approx(without.scatter, rel=1e-3)
    assert found.reading[21] == 1000.0 and found.value[21] == pytest.approx(found.trend[21])


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


def one(values: Any, keys: Any, reading_u: float, board: pd.DataFrame) -> Trend:
    return fit_trend(
        keys, values, np.full(len(keys), reading_u), colours=board["colour"], all_keys=board.index
    )


@pytest.mark.parametrize("reading_u", [0.0, 0.5])
@pytest.mark.parametrize(
    ("key_count", "keys"),
    [(1, [1]), (2, [1, 2]), (3, [1, 2, 3]), (88, [40]), (88, [3, 4]), (88, list(range(1, 89)))],
)
def test_equal_readings_give_a_level_trend(
    key_count: int, keys: list[int], reading_u: float
) -> None:
    found = one([10.0] * len(keys), keys, reading_u, keyboard(key_count))
    assert np.allclose(found.trend, 10.0, atol=1e-6)
    assert np.isfinite(found.value_u).all() and found.set_aside == ()


def test_one_reading_says_what_it_cannot_tell() -> None:
    found = fit([40], [10.0], 0.5)
    assert "One reading only" in found.remark and "No sharp was weighed" in found.remark
    assert found.deviation.isna().all()
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
    found = fit_trend(KEYS, reading, u, colours=BOARD["colour"], all_keys=BOARD.index)
    assert np.abs(found.trend - drawn.curve).max() < 0.3


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 1000), level=st.floats(-100, 100), size=st.floats(1e-3, 1e3),
    count=st.integers(2, 88),
)  # fmt: skip
def test_order_level_and_unit_do_not_matter(
    seed: int, level: float, size: float, count: int
) -> None:
    draw = np.random.default_rng(seed)
    keys = draw.permutation(KEYS)[:count]
    values = draw_series(seed, 0.5, 0.5).reading[keys - 1]
    plain = one(values, keys, 0.5, BOARD)
    moved = one(level + size * values[::-1], keys[::-1], 0.5 * size, BOARD)
    assert np.allclose(moved.trend, level + size * plain.trend, atol=1e-4 * size)
    assert moved.scatter == pytest.approx(size * plain.scatter, rel=1e-3)
    assert set(moved.set_aside) == set(plain.set_aside)


@pytest.mark.parametrize(
    ("keys", "values", "us", "words"),
    [
        ([], [], [], "no reading"),
        ([1], [np.nan], [0.5], "no reading"),
        ([89], [10.0], [0.5], "There is no key 89. Keys are 1 to 88."),
        ([4, 4], [10.0, 11.0], [0.5, 0.5], "Average repeats first"),
        ([4], [10.0], [-0.5], "uncertainty of -0.5"),
        ([4], [10.0], [np.nan], "uncertainty of nan"),
        ([4], [np.inf], [0.5], "reading is inf"),
    ],
)
def test_bad_input_is_said(keys: Any, values: Any, us: Any, words: str) -> None:
    with pytest.raises(BalancekitError, match=words):
        fit_trend(keys, values, us, colours=BOARD["colour"], all_keys=BOARD.index)


def test_a_column_without_readings_is_named() -> None:
    table = BOARD[["colour"]].assign(friction_g=np.nan, friction_u_g=0.5)
    with pytest.raises(BalancekitError, match="Friction: There is no reading"):
        fit_column(table, "friction_g")


def test_sentence_adds_in_squares() -> None:
    drawn = draw_series(9, scatter=0.6, reading_u=0.5)
    found = fit(KEYS, drawn.reading, 0.5)
    whole = np.hypot(found.scatter, 0.5)
    sentence = scatter_sentence(found, "friction_g")
    assert sentence.startswith(f"Of the {whole:.2f} g scatter in friction, 0.50 g is weighing and")
    assert f"{found.scatter:.2f} g is the piano" in sentence


def test_a_full_series_takes_less_than_a_tenth_of_a_second() -> None:
    """One column is fitted anew after each Enter; the best of five is the machine's own time."""
    drawn, times = draw_series(10, scatter=0.6, reading_u=0.5), []
    for _ in range(5):
        start = time.perf_counter()
        fit(KEYS, drawn.reading, 0.5)
        times.append(time.perf_counter() - start)
    assert min(times) < 0.1
