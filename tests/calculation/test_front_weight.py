"""Front weight targets: put back into the balance equation, and the ways out tried."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.balance import solve_for_balance_weight
from balancekit.calculation.leads.front_weight import front_ways_in_words, front_weight_target
from balancekit.calculation.problems import BalancekitError
from tests.calculation.chance_draws import monte_carlo

KEYS = pd.RangeIndex(1, 89, name="key")
TABLE = pd.DataFrame(
    {
        "strike_weight_g": np.linspace(11.5, 4.5, 88),
        "action_ratio": 5.6,
        "action_ratio_u": 0.05,
        "wippen_weight_g": 18.0,
        "wippen_weight_u_g": 0.2,
        "key_ratio": 0.5,
    },
    index=KEYS,
)
PARTS = ["strike_weight_g", "action_ratio", "wippen_weight_g", "key_ratio"]


def parts_of(table):
    return {name: table[name] for name in PARTS}


def test_the_target_gives_the_wanted_balance_weight():
    wanted = pd.Series(np.linspace(38, 35, 88), KEYS)
    relief = pd.Series(np.linspace(10, 0, 88), KEYS)
    target = front_weight_target(TABLE, wanted, spring_relief_g=relief)
    back = solve_for_balance_weight(
        front_weight_g=target["front_weight_g"], spring_relief_g=relief, **parts_of(TABLE)
    )
    assert back.to_numpy() == pytest.approx(wanted.to_numpy())


def test_a_curve_in_another_order_means_the_same_keys():
    wanted = pd.Series(np.linspace(38, 35, 88), KEYS)
    plain = front_weight_target(TABLE, wanted)["front_weight_g"]
    turned = front_weight_target(TABLE, wanted[::-1])["front_weight_g"]
    assert turned.equals(plain)


def test_the_band_is_that_of_chance_draws():
    """JCGM 101 draws against the first order of JCGM 100."""
    target = front_weight_target(TABLE, 37.0).loc[1]
    draws = monte_carlo(
        lambda ratio, wippen: wippen * 0.5 + 11.5 * ratio - 37.0,
        {"ratio": (5.6, 0.05), "wippen": (18.0, 0.2)},
    )
    assert target["front_weight_u_g"] == pytest.approx(draws.uncertainty, rel=0.01)
    assert (target["low_g"], target["high_g"]) == pytest.approx((draws.low, draws.high), abs=0.02)


def test_each_way_out_alone_brings_the_key_back_to_the_limit():
    limit = 30.0
    target = front_weight_target(TABLE, 37.0, highest_g=limit)
    far = target[target["beyond_g"] != 0]
    assert (far["beyond_g"] > 0).any() and (far["beyond_g"] < 0).any()
    bound = pd.Series(np.where(far["beyond_g"] > 0, limit, 0.0), far.index)
    parts = TABLE.loc[far.index]
    lighter = parts.assign(strike_weight_g=parts["strike_weight_g"] - far["strike_less_g"])
    lower = parts.assign(action_ratio=parts["action_ratio"] - far["ratio_less"])
    again = [
        front_weight_target(lighter, 37.0),
        front_weight_target(lower, 37.0),
        front_weight_target(parts, 37.0 + far["balance_weight_more_g"]),
        front_weight_target(parts, 37.0, spring_relief_g=far["relief_more_g"]),
    ]
    for each in again:
        assert each["front_weight_g"].to_numpy() == pytest.approx(bound.to_numpy())


def test_ways_out_in_words():
    target = front_weight_target(TABLE, 37.0, highest_g=30.0)
    high, low = front_ways_in_words(target.loc[1]), front_ways_in_words(target.loc[88])
    assert "6.4 g above the limit" in high and "a hammer 1.1 g lighter" in high
    assert "2.8 g below 0" in low and "behind the balance pin" in low
    assert front_ways_in_words(target.loc[40]) == ""


def test_a_target_curve_for_the_hammers_takes_the_place_of_those_weighed():
    curve = pd.Series(np.linspace(10, 5, 88), KEYS)
    target = front_weight_target(TABLE, 37.0, strike_weight_g=curve, strike_weight_u_g=0.1)
    assert target.loc[1, "front_weight_g"] == pytest.approx(18 * 0.5 + 10 * 5.6 - 37)
    expected = (0.1**2 + (0.1 * 5.6) ** 2 + (10 * 0.05) ** 2) ** 0.5
    assert target.loc[1, "front_weight_u_g"] == pytest.approx(expected)


def test_missing_readings_and_columns():
    gap = TABLE.copy()
    gap.loc[3, "key_ratio"] = np.nan
    target = front_weight_target(gap, 37.0)
    assert target.index[target["front_weight_g"].isna()].tolist() == [3]
    assert front_ways_in_words(target.loc[3]) == ""
    with pytest.raises(BalancekitError, match="key_ratio"):
        front_weight_target(TABLE.drop(columns="key_ratio"), 37.0)
