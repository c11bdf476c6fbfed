"""The other ways to a ratio: kinds, inverses, what is refused, and where two ways disagree."""

from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation import balance
from balancekit.calculation.generator import invent, weigh
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.ratios import (
    Ratio,
    find_action_ratio_by_added_mass,
    find_action_ratio_by_travel,
    find_key_ratio_by_ruler,
    find_key_ratio_by_weight,
)
from balancekit.calculation.ways import REASONS, WAYS, compare_ways, find_shared_covariance

READINGS: list[tuple[Any, dict[str, float], dict[str, float], float]] = [
    (
        find_key_ratio_by_ruler,
        {"capstan_arm_mm": 120.0, "arm_mm": 240.0},
        {"capstan_arm_u_mm": 0.5, "arm_u_mm": 0.5},
        0.5,
    ),
    (
        find_key_ratio_by_weight,
        {"front_weight_g": 5.0, "front_weight_with_mass_g": -5.0, "known_mass_g": 20.0},
        {"front_weight_u_g": 0.1, "known_mass_u_g": 0.02},
        0.5,
    ),
    (
        find_action_ratio_by_added_mass,
        {"balance_weight_g": 38.0, "balance_weight_with_mass_g": 65.5, "known_mass_g": 5.0},
        {
            "balance_weight_u_g": 0.5,
            "balance_weight_with_mass_u_g": 0.5,
            "known_mass_u_g": 0.02,
        },
        5.5,
    ),
    (
        find_action_ratio_by_travel,
        {"hammer_rise_mm": 44.0, "key_dip_mm": 8.0},
        {"hammer_rise_u_mm": 0.5, "key_dip_u_mm": 0.1},
        5.5,
    ),
]
EACH = pytest.mark.parametrize(("find", "readings", "stated", "expected"), READINGS)


@EACH
def test_same_kind_out(
    find: Any, readings: dict[str, float], stated: dict[str, float], expected: float
) -> None:
    one = find(**readings, **stated)
    assert isinstance(one.value, float) and isinstance(one.uncertainty, float)
    assert one.value == expected
    keys = pd.Index([3, 4], name="key")
    array = find(**{n: np.full(2, v) for n, v in readings.items()}, **stated)
    series = find(**{n: pd.Series(v, keys) for n, v in readings.items()}, **stated)
    assert isinstance(array.value, np.ndarray) and isinstance(array.uncertainty, np.ndarray)
    assert isinstance(series.value, pd.Series) and isinstance(series.uncertainty, pd.Series)
    assert series.value.index.equals(keys)
    for many in (array, series):
        assert np.asarray(many.value) == pytest.approx([one.value] * 2)
        assert np.asarray(many.uncertainty) == pytest.approx([one.uncertainty] * 2)


@EACH
def test_missing_reading_gives_missing_ratio(
    find: Any, readings: dict[str, float], stated: dict[str, float], expected: float
) -> None:
    for name in readings:
        found = find(**(readings | {name: float("nan")}), **stated)
        assert np.isnan(found.value) and np.isnan(found.uncertainty), name


@EACH
def test_impossible_readings_are_said_all_at_once(
    find: Any, readings: dict[str, float], stated: dict[str, float], expected: float
) -> None:
    keys = pd.Index([3, 4, 5], name="key")
    for name, value in readings.items():
        spoilt = {n: pd.Series(v, keys) for n, v in readings.items()}
        spoilt[name] = pd.Series([value, float("inf"), -1e4], keys)
        for u_name in stated:
            doubtful = {u_name: pd.Series([0.1, 0.1, -0.1], keys)}
            with pytest.raises(BalancekitError) as caught:
                find(**spoilt, **(stated | doubtful))
            problems = caught.value.problems
            assert [(p.key, p.column) for p in problems] == [(4, name), (5, name), (5, u_name)]
            assert all("Give" in p.advice for p in problems)
            assert problems[2].message == "The standard uncertainty is -0.1."
            with pytest.raises(BalancekitError) as caught:
                find(**readings, **(stated | {u_name: -0.1}))
            (problem,) = caught.value.problems
            assert (problem.key, problem.column) == (None, u_name)


@pytest.mark.parametrize("end", ["minimum", "maximum"])
def test_a_reading_at_the_edge_of_what_can_be_is_taken(end: str) -> None:
    arm_mm = getattr(QUANTITIES["arm_mm"], end)
    found = find_key_ratio_by_ruler(
        capstan_arm_mm=arm_mm / 2, arm_mm=arm_mm, capstan_arm_u_mm=0.0, arm_u_mm=0.0
    )
    assert found == (0.5, 0.0)
    with pytest.raises(BalancekitError, match="Arm"):
        find_key_ratio_by_ruler(
            capstan_arm_mm=arm_mm / 2, arm_mm=arm_mm + (1 if end == "maximum" else -1),
            capstan_arm_u_mm=0.0, arm_u_mm=0.0,
        )  # fmt: skip


@pytest.mark.parametrize("place", range(len(READINGS)))
def test_impossible_ratio_is_said(place: int) -> None:
    """Each reading is possible by itself, the ratio of them is not."""
    find, readings, stated, _ = READINGS[place]
    slip = (
        {"capstan_arm_mm": 230.0},
        {"known_mass_g": 2.0},
        {"known_mass_g": 50.0},
        {"hammer_rise_mm": 8.0},
    )[place]
    with pytest.raises(BalancekitError, match=r"ratio is .*Possible is .*Look for a slip"):
        find(**(readings | slip), **stated)


@given(ratio=st.floats(0.25, 0.85), arm=st.floats(100, 300))
@settings(max_examples=50, deadline=None)
def test_ruler_undoes_the_lever(ratio: float, arm: float) -> None:
    found = find_key_ratio_by_ruler(
        capstan_arm_mm=ratio * arm, arm_mm=arm, capstan_arm_u_mm=0.5, arm_u_mm=0.5
    )
    assert found.value == pytest.approx(ratio, rel=1e-12)


@given(ratio=st.floats(0.25, 0.85), front=st.floats(-20, 60), mass=st.floats(5, 100))
@settings(max_examples=50, deadline=None)
def test_weight_undoes_the_lever(ratio: float, front: float, mass: float) -> None:
    found = find_key_ratio_by_weight(
        front_weight_g=front,
        front_weight_with_mass_g=front - ratio * mass,
        known_mass_g=mass,
        front_weight_u_g=0.1,
        known_mass_u_g=0.02,
    )
    assert found.value == pytest.approx(ratio, rel=1e-9)


@given(ratio=st.floats(3, 9), strike=st.floats(4, 14), mass=st.floats(2, 12))
@settings(max_examples=50, deadline=None)
def test_added_mass_undoes_the_balance_equation(ratio: float, strike: float, mass: float) -> None:
    parts = {
        "front_weight_g": 27.0,
        "wippen_weight_g": 18.0,
        "key_ratio": 0.5,
        "action_ratio": ratio,
    }
    without, heavier = (
        balance.solve_for_balance_weight(strike_weight_g=strike + added, **parts)
        for added in (0.0, mass)
    )
    found = find_action_ratio_by_added_mass(
        balance_weight_g=without,
        balance_weight_with_mass_g=heavier,
        known_mass_g=mass,
        balance_weight_u_g=0.5,
        balance_weight_with_mass_u_g=0.5,
        known_mass_u_g=0.02,
    )
    assert found.value == pytest.approx(ratio, rel=1e-9)


def test_ways_that_agree() -> None:
    table = compare_ways(
        "action_ratio", {"balance": Ratio(5.50, 0.06), "travel": Ratio(5.60, 0.09)}, keys=[44]
    )
    assert table.index.tolist() == [44] and table.index.name == "key"
    row = table.loc[44]
    assert (row["verdict"], row["reason"]) == ("agree", "")
    assert (row["higher"], row["lower"]) == ("travel", "balance")
    assert row["action_ratio_by_balance_u"] == 0.06
    assert row["difference"] == pytest.approx(0.1)


def test_likely_reason_follows_the_direction() -> None:
    high, low = Ratio(0.53, 0.004), Ratio(0.50, 0.004)
    over = compare_ways("key_ratio", {"ruler": high, "weight": low}).loc[1]
    under = compare_ways("key_ratio", {"ruler": low, "weight": high}).loc[1]
    assert over["verdict"] == under["verdict"] == "disagree"
    assert over["reason"].startswith("the known mass sat nearer to the balance pin")
    assert under["reason"].startswith("the known mass sat behind the capstan line")


def test_the_worst_pair_is_shown() -> None:
    """Travel differs most, but it is also the least sure of the three."""
    ways = {
        "balance": Ratio(np.array([5.5, 5.5, np.nan]), 0.05),
        "added_mass": Ratio(np.array([5.8, 5.5, np.nan]), 0.05),
        "travel": Ratio(np.array([6.0, np.nan, 5.5]), 0.5),
    }
    table = compare_ways("action_ratio", ways)
    assert table["verdict"].tolist() == ["disagree", "agree", "not compared"]
    assert (table.loc[1, "higher"], table.loc[1, "lower"]) == ("added_mass", "balance")
    assert table.loc[1, "difference_u"] == pytest.approx(0.05 * 2**0.5)
    assert table.loc[3, ["higher", "lower", "reason"]].tolist() == ["", "", ""]


def test_exact_ways() -> None:
    same, other = Ratio(0.5, 0.0), Ratio(0.51, 0.0)
    assert compare_ways("key_ratio", {"ruler": same, "weight": same}).loc[1, "verdict"] == "agree"
    told = compare_ways("key_ratio", {"ruler": same, "weight": other})
    assert told.loc[1, "verdict"] == "disagree"


def test_ways_on_different_keys_meet_by_key() -> None:
    ruler = Ratio(pd.Series([0.50, 0.51], [1, 2]), pd.Series(0.003, [1, 2]))
    weight = Ratio(pd.Series([0.51, 0.60], [2, 3]), pd.Series(0.003, [2, 3]))
    table = compare_ways("key_ratio", {"ruler": ruler, "weight": weight})
    assert table["verdict"].to_dict() == {1: "not compared", 2: "agree", 3: "not compared"}


@pytest.mark.parametrize("quantity", WAYS)
def test_every_pair_has_its_reasons(quantity: str) -> None:
    for one, other in combinations(WAYS[quantity], 2):
        for pair in ((one, other), (other, one)):
            assert len(REASONS[pair]) >= 3
            assert len(set(REASONS[pair])) == len(REASONS[pair])


ONE = Ratio(0.5, 0.01)


@pytest.mark.parametrize(
    ("quantity", "ways", "options", "said"),
    [
        ("friction_g", {"ruler": ONE, "weight": ONE}, {}, "has no ways to compare"),
        ("key_ratio", {"ruler": ONE, "travel": ONE}, {}, "'travel' is not a known way"),
        ("key_ratio", {"ruler": ONE}, {}, "1 way is not enough"),
        ("key_ratio", {"ruler": ONE, "weight": ONE}, {"coverage": 0.0}, "coverage of 0"),
        ("key_ratio", {"ruler": ONE, "weight": ONE}, {"keys": [1, 2]}, "1 ratios and 2 keys"),
    ],
)
def test_wrong_comparisons_are_said(
    quantity: str, ways: dict[str, Ratio], options: dict[str, Any], said: str
) -> None:
    with pytest.raises(BalancekitError, match=said):
        compare_ways(quantity, ways, **options)


def test_sound_keys_are_seldom_shown() -> None:
    """At two standard uncertainties 4.6 % of sound keys are shown; the shared reading counts.

    200 draws of 88 keys: the standard error of the share is about 0.2 %.
    """
    truth = invent(7).truth
    strike, ratio = truth["strike_weight_g"], truth["action_ratio"]
    known = {n: truth[n] for n in ("front_weight_g", "wippen_weight_g", "key_ratio")}
    mass, u = 5.0, 0.5
    shared = find_shared_covariance(balance_weight_u_g=u, strike_weight_g=strike, known_mass_g=mass)
    draw = np.random.default_rng(8)
    shown = {True: 0, False: 0}
    for _ in range(200):
        first = truth["balance_weight_g"] + draw.normal(0, u, 88)
        second = truth["balance_weight_g"] + mass * ratio + draw.normal(0, u, 88)
        by_mass = find_action_ratio_by_added_mass(
            balance_weight_g=first,
            balance_weight_with_mass_g=second,
            known_mass_g=mass,
            balance_weight_u_g=u,
            balance_weight_with_mass_u_g=u,
            known_mass_u_g=0.0,
        )
        by_balance = Ratio(
            balance.solve_for_action_ratio(balance_weight_g=first, strike_weight_g=strike, **known),
            u / strike,
        )
        for told in shown:
            table = compare_ways(
                "action_ratio",
                {"balance": by_balance, "added_mass": by_mass},
                covariances={("balance", "added_mass"): shared} if told else None,
            )
            shown[told] += int((table["verdict"] == "disagree").sum())
    assert shown[True] / (200 * 88) == pytest.approx(0.0455, abs=0.006)
    assert shown[False] > 1.5 * shown[True]


def test_weighed_key_ratio_against_the_ruler() -> None:
    """An invented instrument: keys whose capstan line was misread by 12 mm are shown."""
    truth = invent(9).truth
    readings = weigh(truth, 10).set_index("key")
    arm = 240.0
    capstan = truth["key_ratio"] * arm + np.random.default_rng(11).normal(0, 0.5, 88)
    capstan[[20, 50]] += 12.0
    ruler = find_key_ratio_by_ruler(
        capstan_arm_mm=capstan, arm_mm=arm, capstan_arm_u_mm=0.5, arm_u_mm=0.0
    )
    table = compare_ways(
        "key_ratio", {"ruler": ruler, "weight": Ratio(readings["key_ratio"], 0.005)}
    )
    wrong = table[table["verdict"] == "disagree"]
    assert {20, 50} <= set(wrong.index)
    assert set(wrong.loc[[20, 50], "higher"]) == {"ruler"}
    assert len(wrong) <= 12
