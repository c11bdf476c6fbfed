"""Evenness: against a published variance, by hand, and with keys missing."""

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.proof.evenness import (
    EVENNESS_OF,
    compare_evenness,
    evenness_table,
    expected_evenness,
    find_evenness,
)

BOARD = keyboard()
KEYS, COLOURS = BOARD.index, BOARD["colour"]


def series(values) -> pd.Series:
    return pd.Series(values, KEYS, dtype=float)


def test_variance_is_that_of_the_mean_square_successive_difference():
    # von Neumann and others, Annals of Mathematical Statistics 12 (1941) 153, from memory: for
    # n values by chance with variance 1 the mean square difference of neighbours has mean 2 and
    # variance 4 (3 n - 4) / (n - 1)^2.
    keys, n = pd.RangeIndex(1, 53), 52
    white, zero = pd.Series("natural", keys), pd.Series(0.0, keys)
    draw = np.random.default_rng(1)
    found = [find_evenness(pd.Series(draw.normal(0, 1, n), keys), zero, white) for _ in range(2000)]
    squares = np.array([each.step**2 for each in found])
    # Four standard errors of a mean and of a variance of 2,000 draws.
    assert squares.mean() == pytest.approx(2.0, abs=4 * squares.std() / 2000**0.5)
    published = 4 * (3 * n - 4) / (n - 1) ** 2
    assert squares.var() == pytest.approx(published, rel=4 * (2 / 2000) ** 0.5)
    stated = np.mean([each.step_u for each in found])
    assert stated == pytest.approx(np.std([each.step for each in found]), rel=0.1)


@pytest.mark.parametrize("n", [9, 20])
def test_uncertainty_of_few_steps_is_the_published_one(n):
    """The same variance, for the mean square of n - 1 steps, carried to its root (5.1.2)."""
    keys = pd.RangeIndex(1, n + 1)
    values = pd.Series(np.random.default_rng(5).normal(0, 1, n), keys)
    white, zero = pd.Series("natural", keys), pd.Series(0.0, keys)
    part = (4 * (3 * n - 4) / (n - 1) ** 2) ** 0.5 / 2  # over the mean, which is 2
    for found in (
        find_evenness(values, zero, white),
        expected_evenness(values, zero, zero, white),
    ):
        assert found.steps == n - 1
        assert found.step_u == pytest.approx(found.step * part / 2, rel=1e-12)


SAW = pd.Series([9, 8, 9, 8, 9, 8, 9.0], range(1, 8))
"""Seven naturals: six steps of 1 g, half of them up."""
SAW_U = pd.Series([0.3, np.nan, 0.4, 0.4, 0.4, 0.4, 1.2], SAW.index)
"""Squares at both ends of each step: 0.09, 0.16, 0.32, 0.32, 0.32 and 1.60, 2.81 in all."""


def test_one_saw_worked_out_by_hand():
    white = pd.Series("natural", SAW.index)
    found = find_evenness(SAW, SAW_U, white)
    assert (found.step, found.steps) == (1.0, 6)
    assert found.weighing**2 == pytest.approx(2.81 / 6)
    assert found.real**2 == pytest.approx(1 - 2.81 / 6)
    assert found.ratio == pytest.approx((6 / 2.81) ** 0.5)
    exact = find_evenness(SAW, 0 * SAW, white)
    assert exact.real == exact.step == 1.0 and np.isnan(exact.ratio)
    # What is only expected has its uncertainty put on: 1 + 2.81 / 6, then 0.5 of the next weighing.
    then = expected_evenness(SAW, SAW_U, 0 * SAW + 0.5, white)
    assert then.real**2 == pytest.approx(1 + 2.81 / 6)
    assert then.weighing**2 == pytest.approx(0.5)
    assert then.ratio**2 == pytest.approx((1.5 + 2.81 / 6) / 0.5)
    assert np.isnan(expected_evenness(SAW, SAW_U, 0 * SAW, white).ratio)


@pytest.mark.parametrize(("keys", "told"), [(5, False), (6, True)])
def test_five_steps_are_enough_and_four_are_not(keys, told):
    # Steps of -1, 1, -1, 1, -1: the mean is -0.2, so the squares are 3 x 0.64 + 2 x 1.44 = 4.80.
    few, white = SAW.iloc[:keys], pd.Series("natural", SAW.index[:keys])
    for found in (find_evenness(few, 0 * few, white),
                  expected_evenness(few, 0 * few, 0 * few + 0.5, white)):  # fmt: skip
        assert found.steps == keys - 1
        assert np.isfinite(found.step) == told
    if told:
        assert find_evenness(few, 0 * few, white).step ** 2 == pytest.approx(4.8 / 5)
        then = expected_evenness(few, 0 * few, 0 * few + 0.5, white)
        assert then.step**2 == pytest.approx(4.8 / 5 + 0.5)


def test_occasions_stand_below_each_other_by_quantity():
    late = pd.DataFrame({"friction_g": SAW, "down_weight_g": SAW, "colour": "natural"})
    told = compare_evenness({"as found": late, "after the work": late.assign(strike_weight_g=SAW)})
    assert told.index.tolist() == list(range(5))
    assert told.columns[:2].tolist() == ["quantity", "occasion"]
    assert [*zip(told["quantity"], told["occasion"], strict=True)] == [
        ("down_weight_g", "as found"), ("down_weight_g", "after the work"),
        ("friction_g", "as found"), ("friction_g", "after the work"),
        ("strike_weight_g", "after the work"),
    ]  # fmt: skip


def test_a_table_without_uncertainties_is_taken_as_exact():
    table = pd.DataFrame({"friction_g": SAW, "colour": "natural"})
    row = evenness_table(table, ("friction_g", "strike_weight_g"))
    assert row.index.tolist() == ["friction_g"]
    assert row.loc["friction_g", ["step", "weighing", "real"]].tolist() == [1.0, 0.0, 1.0]
    uneven = evenness_table(table.assign(friction_u_g=SAW_U)).loc["friction_g"]
    assert uneven["weighing"] ** 2 == pytest.approx(2.81 / 6)


def test_real_scatter_is_found_beneath_the_weighing():
    draw = np.random.default_rng(2)
    real, u = 0.8, 0.5
    found = []
    for _ in range(200):
        slow = np.linspace(50, 44, 88) - 3 * (COLOURS == "sharp")
        values = series(slow + draw.normal(0, real, 88) + draw.normal(0, u, 88))
        found.append(find_evenness(values, series(u), COLOURS).real ** 2)
    # Two keys of a step each have their own scatter: real step = sqrt(2) x scatter.
    assert np.mean(found) == pytest.approx(2 * real**2, rel=0.05)


def test_a_straight_fall_and_a_step_to_the_sharps_are_even():
    values = pd.Series(0.0, KEYS)
    for colour, level in (("natural", 12.0), ("sharp", 10.0)):
        here = colour == COLOURS
        values[here] = level - 0.1 * np.arange(here.sum())
    assert find_evenness(values, series(0.0), COLOURS).step == pytest.approx(0.0, abs=1e-12)


def test_missing_keys_cost_their_own_steps_only():
    draw = np.random.default_rng(3)
    values = series(draw.normal(0, 1, 88))
    whole = find_evenness(values, series(0.1), COLOURS)
    gaps = values.copy()
    gaps[[1, 30, 31, 60]] = np.nan
    found = find_evenness(gaps, series(0.1), COLOURS)
    assert whole.steps == 51 + 35
    # Key 1 ends a row: one step. Keys 30 (sharp), 31 and 60: two each.
    assert found.steps == whole.steps - 7
    assert found.step == pytest.approx(whole.step, rel=0.15)


def test_too_few_keys_give_no_figure():
    values = series(np.nan)
    values[[1, 3, 4]] = 50.0
    found = find_evenness(values, series(0.1), COLOURS)
    assert np.isnan(found.step) and found.steps == 2


def test_exact_readings_have_no_ratio_but_a_step():
    found = find_evenness(series(np.arange(88) % 2), series(0.0), COLOURS)
    assert np.isnan(found.ratio) and found.step > 0 and found.real == found.step


def test_a_prediction_adds_its_band_where_readings_take_it_out():
    flat, u = series(38.0), series(0.6)
    found = expected_evenness(flat, u, series(0.5), COLOURS)
    # By hand: real = sqrt(2) x 0.6; the next weighing adds sqrt(2) x 0.5.
    assert found.real == pytest.approx(0.6 * 2**0.5)
    assert found.step == pytest.approx((2 * 0.6**2 + 2 * 0.5**2) ** 0.5)


def test_tables_of_two_occasions_stand_side_by_side():
    table = pd.DataFrame({"colour": COLOURS, "friction_g": series(np.arange(88) % 3)})
    table["friction_u_g"] = 0.5
    assert evenness_table(table).index.tolist() == ["friction_g"]
    both = compare_evenness({"as found": table, "after": table.assign(friction_g=10.0)})
    assert both[["quantity", "occasion"]].values.tolist() == [
        ["friction_g", "as found"],
        ["friction_g", "after"],
    ]
    assert both["real"].iloc[1] == 0.0
    assert compare_evenness({}).empty
    assert set(EVENNESS_OF) > {"friction_g"}


def test_bad_input_is_said():
    with pytest.raises(BalancekitError, match="same keys"):
        find_evenness(series(1.0).iloc[:5], series(0.1), COLOURS)
    with pytest.raises(BalancekitError, match="negative"):
        find_evenness(series(1.0), series(-0.1), COLOURS)
