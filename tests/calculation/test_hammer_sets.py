"""Sets of hammers: checking, filling, comparing; the invented sets in data."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.balance import solve_for_balance_weight
from balancekit.calculation.hammers.hammer_curve import curve_from_levels
from balancekit.calculation.hammers.hammer_sets import (
    Setting,
    check_set,
    compare_sets,
    consequences,
    fill_set,
    try_set,
)
from balancekit.calculation.hammers.least_work import CurveBounds
from balancekit.calculation.problems import BalancekitError
from tests.calculation.invented_sets import RECIPES, as_csv, invented_sets

KEYS = pd.RangeIndex(1, 89, name="key")
FOLDER = Path(__file__).resolve().parents[2] / "data" / "hammer_sets"
BOUNDS = CurveBounds(bend_g=0.02, most_trimmed_g=1.5, most_added_g=1.0)
SETTING = Setting(
    table=pd.DataFrame(
        {
            "front_weight_g": np.linspace(30, 5, 88),
            "wippen_weight_g": 18.0,
            "key_ratio": 0.5,
            "action_ratio": 5.6,
        },
        index=KEYS,
    ),
    balance_weight_g=38.0,
    arm_mm=np.where(KEYS % 2, 240.0, 200.0),
    plug_distance_mm=140.0,
    stick_inertia_g=16.0,
    bare_front_weight_g=2.0,
)


def table(keys, masses) -> pd.DataFrame:
    return pd.DataFrame({"key": keys, "strike_weight_g": masses})


def filled(name: str) -> pd.Series:
    return fill_set(check_set(invented_sets()[name], 88), KEYS)


@pytest.mark.parametrize("name", RECIPES)
def test_the_files_are_what_the_package_makes(name):
    assert (FOLDER / f"{name}.csv").read_text(encoding="utf-8") == as_csv(invented_sets()[name])


def test_every_problem_of_a_set_is_said_at_once():
    wrong = table([1, 1, 0, 89, 2.5, 5, 6, 7, 8], [11, 11, 11, 11, 11, -11, 110, 0.1, None])
    with pytest.raises(BalancekitError) as caught:
        check_set(wrong, 88, "own.csv")
    assert [str(problem) for problem in caught.value.problems] == [
        "own.csv line 3, key 1, key: Key 1 stands twice. Give each key once.",
        "own.csv line 4, key 0, key: Key 0 is not on this keyboard. "
        "Give whole numbers from 1 to 88, counted from the left.",
        "own.csv line 5, key 89, key: Key 89 is not on this keyboard. "
        "Give whole numbers from 1 to 88, counted from the left.",
        "own.csv line 6, key: Key 2.5 is not on this keyboard. "
        "Give whole numbers from 1 to 88, counted from the left.",
        "own.csv line 7, key 5, strike_weight_g: '-11' is negative. "
        "Hammer and shank weigh 0.5 to 40 g there; check the sign.",
        "own.csv line 8, key 6, strike_weight_g: '110' is heavier than any hammer. "
        "Hammer and shank weigh 0.5 to 40 g there; check the decimal point.",
        "own.csv line 9, key 7, strike_weight_g: '0.1' is lighter than any hammer. "
        "Hammer and shank weigh 0.5 to 40 g there; check the decimal point.",
        "own.csv line 10, key 8, strike_weight_g: The weight is missing or no number. "
        "Weigh it or take the row out.",
    ]


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (table([1], [11.0]), "has 1 weighed keys"),
        (table([], []), "has 0 weighed keys"),
        (pd.DataFrame({"key": [1, 2]}), "strike_weight_g: The column is not there"),
        (table(["1", "two"], [11.0, 10.9]), "not on this keyboard"),
        (table([1, 2], ["11", "heavy"]), "no number"),
    ],
)
def test_other_wrong_sets(wrong, words):
    with pytest.raises(BalancekitError, match=words):
        check_set(wrong, 88)


def test_order_of_the_rows_does_not_matter():
    rows = invented_sets()["light_even"]
    mixed = rows.sample(frac=1.0, random_state=1)
    pd.testing.assert_series_equal(check_set(rows, 88), check_set(mixed, 88))


def test_filling_keeps_what_was_weighed_and_falls_between():
    weighed = check_set(invented_sets()["middle_every_seventh_key"], 88)
    whole = fill_set(weighed, KEYS)
    assert whole.loc[weighed.index].tolist() == pytest.approx(weighed.tolist())
    for left, right in zip(weighed.index[:-1], weighed.index[1:], strict=True):
        ends = weighed[[left, right]]
        assert whole.loc[left:right].between(ends.min() - 1e-9, ends.max() + 1e-9).all()


def test_filling_beyond_the_weighed_keys_goes_straight_on():
    whole = fill_set(pd.Series([10.0, 9.0], index=[30, 40]), KEYS)
    assert whole.loc[[20, 50]].tolist() == pytest.approx([11.0, 8.0])
    with pytest.raises(BalancekitError, match="beyond the weighed keys"):
        fill_set(pd.Series([10.0, 5.0], index=[30, 40]), KEYS)


def test_each_end_goes_on_with_its_own_slope():
    """By hand: 0.1 g a key falls to 0.05 g a key; ten keys on are 1 g up and 0.5 g down."""
    whole = fill_set(pd.Series([10.0, 9.0, 8.5], index=[30, 40, 50]), KEYS)
    assert whole.loc[[20, 60]].tolist() == pytest.approx([11.0, 8.0])


def test_consequences_balance_every_key():
    """With the front weight they ask for, every key has the balance weight that was wanted."""
    strike_g = filled("heavy_scattered")
    found = consequences(strike_g, SETTING)
    balance = solve_for_balance_weight(
        front_weight_g=found["front_weight_g"],
        wippen_weight_g=18.0,
        key_ratio=0.5,
        strike_weight_g=strike_g,
        action_ratio=5.6,
    )
    assert balance.tolist() == pytest.approx([38.0] * 88)
    by_lead = found["lead_g"] * 140.0 / SETTING.arm_mm
    assert (2.0 + by_lead).tolist() == pytest.approx(found["front_weight_g"].tolist())


def test_a_heavier_set_asks_for_more_of_everything():
    light = consequences(filled("light_even"), SETTING)
    heavy = consequences(filled("heavy_scattered"), SETTING)
    for column in ("front_weight_g", "lead_g", "hammer_inertia_g"):
        assert (heavy[column] > light[column]).all()


def test_the_even_set_needs_less_work_than_the_scattered_one():
    """By construction: scatter 0.06 g against 0.22 g."""
    results = {name: try_set(filled(name), BOUNDS, SETTING) for name in RECIPES}
    compared = compare_sets(results, BOUNDS)
    assert compared.index[-1] == "heavy_scattered"
    assert compared["work"].is_monotonic_increasing
    assert compared.at["heavy_scattered", "touched_count"] > 10
    assert compared["left_over_g"].max() <= 0.2 + 1e-9
    assert compared.at["light_even", "inertia_g"] < compared.at["heavy_scattered", "inertia_g"]


def test_a_set_that_cannot_be_brought_under_the_ceiling_says_why():
    bounds = CurveBounds(ceiling_g=curve_from_levels({1: 10.8, 88: 5.5}, KEYS), most_trimmed_g=0.5)
    results = {name: try_set(filled(name), bounds, SETTING) for name in RECIPES}
    compared = compare_sets(results, bounds)
    assert compared.index[0] == "light_even"
    assert "the ceiling" in compared.at["heavy_scattered", "reason"]
    assert np.isnan(compared.at["heavy_scattered", "work"])


def test_towards_a_curve_that_was_decided_on_the_rest_stays_uneven():
    target = curve_from_levels({1: 11.0, 88: 5.5}, KEYS)
    bounds = CurveBounds(most_trimmed_g=0.5, most_added_g=0.5)
    result = try_set(filled("heavy_scattered"), bounds, SETTING, target_g=target)
    assert result.plan["trimmed_g"].max() == pytest.approx(0.5)
    assert result.plan["left_over_g"].max() > 0.5


def test_bad_input_is_said():
    with pytest.raises(BalancekitError, match="Arm"):
        Setting(SETTING.table, 38.0, 0.0, 140.0, 16.0)
