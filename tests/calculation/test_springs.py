"""Support springs: statics by hand, the stroke, warnings, and what is refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.balance import solve_for_balance_weight
from balancekit.calculation.leads.springs import (
    TorsionSpring,
    find_relief_g,
    relief_along_stroke,
    relief_curve,
    spring_at_rest,
)
from balancekit.calculation.linkage.distances import fit_distances
from balancekit.calculation.linkage.positions import Linkage
from balancekit.calculation.problems import BalancekitError

LEVERS = Linkage(fit_distances(0.52, 5.5, heel_arm_mm=95.0))
DIP_MM = 10.0


@settings(max_examples=30, deadline=None)
@given(st.floats(0.1, 60), st.floats(0.45, 0.56), st.floats(55.0, 110.0))
def test_torque_by_hand_within_what_the_arms_swing(relief, key_ratio, heel_mm):
    """Grams at the finger over the key ratio, at the capstan, times the wippen's arm.

    By hand with level arms; 5 mm above level they have turned by 2 to 3 degrees.
    """
    levers = Linkage(fit_distances(key_ratio, 5.5, heel_arm_mm=heel_mm))
    torque = float(spring_at_rest(levers, relief, key_dip_mm=DIP_MM).torque_n_mm)
    assert torque == pytest.approx(relief / key_ratio * 9.80665e-3 * heel_mm, rel=0.05)
    at_level = float(spring_at_rest(levers, relief, key_dip_mm=0.0).torque_n_mm)
    assert at_level == pytest.approx(relief / key_ratio * 9.80665e-3 * heel_mm, rel=1e-9)


def test_the_key_grows_heavier_by_what_the_spring_lets_go():
    """Energy: relief over the dip, added up, is what the spring gives off, rest to end."""
    rate, start = 150.0, 12.0
    keys = pd.Series([start], index=[40])
    row = relief_along_stroke(keys, LEVERS, rate_n_mm_rad=rate, key_dip_mm=DIP_MM).loc[40]
    way = np.linspace(-DIP_MM / 2, DIP_MM / 2, 2001)
    at = LEVERS.lift(LEVERS.turn_down(way))
    turned = at.wippen[0] - at.wippen
    torque = float(spring_at_rest(LEVERS, start, key_dip_mm=DIP_MM).torque_n_mm)
    relief_n = (torque - rate * turned) * -at.wippen_for_key / at.travel_for_key
    given_off_mj = torque * turned[-1] - rate * turned[-1] ** 2 / 2
    assert np.trapezoid(relief_n, way) == pytest.approx(given_off_mj, rel=1e-6)
    places = [row[f"relief_{place}_g"] for place in ("at_rest", "middle", "end")]
    assert places == pytest.approx(relief_n[[0, 1000, 2000]] / 9.80665e-3, rel=1e-9)
    parts = dict(
        front_weight_g=20.0, wippen_weight_g=18.0, key_ratio=0.52, strike_weight_g=10.0,
        action_ratio=5.5,
    )  # fmt: skip
    rest = solve_for_balance_weight(spring_relief_g=row["relief_at_rest_g"], **parts)
    end = solve_for_balance_weight(spring_relief_g=row["relief_end_g"], **parts)
    assert end - rest == pytest.approx(row["change_g"])


def test_a_spring_that_turns_twice_as_far_counts_twice_over():
    """Half the torque carries the same, but its rate counts four times: torque and angle."""
    keys = pd.Series([12.0], index=[40])

    def followed(rate, ratio):
        return relief_along_stroke(
            keys, LEVERS, rate_n_mm_rad=rate, key_dip_mm=DIP_MM, spring_turn_ratio=ratio
        )

    pd.testing.assert_frame_equal(followed(50.0, 2.0), followed(200.0, 1.0))
    torques = [
        float(spring_at_rest(LEVERS, 12.0, key_dip_mm=DIP_MM, turn_ratio=ratio).torque_n_mm)
        for ratio in (1.0, 2.0)
    ]
    assert torques[1] == pytest.approx(torques[0] / 2)


def test_a_short_stiff_spring_goes_slack_and_is_named():
    reliefs = pd.Series([2.0, 30.0], index=[1, 2])
    table = relief_along_stroke(reliefs, LEVERS, rate_n_mm_rad=800.0, key_dip_mm=DIP_MM)
    assert table["goes_slack"].tolist() == [True, False]
    assert table.loc[1, "relief_end_g"] == 0.0
    assert table.index.tolist() == [1, 2]
    small = pd.Series([0.7], index=[9])
    for rate, slack in ((0.5, False), (800.0, True)):
        row = relief_along_stroke(small, LEVERS, rate_n_mm_rad=rate, key_dip_mm=DIP_MM)
        assert row["goes_slack"].tolist() == [slack]
    # A key without a spring has none to go slack.
    none = relief_along_stroke(pd.Series([0.0], [9]), LEVERS, rate_n_mm_rad=0.5, key_dip_mm=DIP_MM)
    assert none.loc[9].tolist() == [0.0, 0.0, 0.0, 0.0, False]
    assert none.columns.tolist() == [
        "relief_at_rest_g", "relief_middle_g", "relief_end_g", "change_g", "goes_slack"
    ]  # fmt: skip


def test_a_key_that_does_not_move_keeps_its_relief():
    """Without a stroke nothing turns, whatever the rate; without a rate the torque stays."""
    keys = pd.Series([12.0, 7], index=[1, 2])
    still = relief_along_stroke(keys, LEVERS, rate_n_mm_rad=500.0, key_dip_mm=0.0)
    assert still["relief_end_g"].tolist() == pytest.approx([12.0, 7.0])
    small = relief_along_stroke(keys, LEVERS, rate_n_mm_rad=0.0, key_dip_mm=0.5)
    assert still["change_g"].tolist() == pytest.approx([0.0, 0.0], abs=1e-12)
    assert small["change_g"].tolist() == pytest.approx([0.0, 0.0], abs=0.1)
    # The same torque at every place of the stroke, with no rate said.
    torque = spring_at_rest(LEVERS, 12.0, key_dip_mm=DIP_MM)
    assert float(torque.lifts_g_mm(0.1)) == pytest.approx(float(torque.lifts_g_mm(0.0)))


def test_warning_near_and_above_yield():
    spring = TorsionSpring(0.8, 6.0, 4.0)
    limit = spring.greatest_torque_n_mm
    assert spring.stress_mpa(limit) == pytest.approx(spring.yield_mpa)
    assert spring.warning(0.5 * limit) == ""
    assert "may set" in spring.warning(0.9 * limit)
    assert "yields: 110%" in spring.warning(1.1 * limit)
    assert spring.warning(0.79 * limit) == "" and "at 81%" in spring.warning(0.81 * limit)
    assert "at 99%" in spring.warning(0.99 * limit)
    # By hand: coil / wire is 7.5, so K = (4 x 56.25 - 7.5 - 1) / (4 x 7.5 x 6.5) = 216.5 / 195;
    # yield 0.78 x 2211 / 0.8^0.145 over K x 32 / (pi 0.8^3).
    assert limit == pytest.approx(0.78 * 2211 * 0.8**-0.145 * np.pi * 0.512 * 195 / 216.5 / 32)
    said = spring.warning(1.1 * limit)
    assert f"at {1.1 * limit:.3g} N mm. The spring will stay bent." in said


def test_relief_as_weighed():
    relief, u = find_relief_g(without_g=50.0, with_g=38.5)
    assert relief == 11.5 and u == pytest.approx(0.5 * 2**0.5)
    assert find_relief_g(without_g=38.0, with_g=40.0, without_u_g=0.8, with_u_g=0.6)[0] == -2.0
    assert find_relief_g(without_g=1.0, with_g=1.0, without_u_g=8.0, with_u_g=6.0)[1] == 10.0


def test_relief_by_level_and_by_curve():
    keys = pd.RangeIndex(1, 89, name="key")
    assert (relief_curve(8.0, keys) == 8.0).all()
    assert relief_curve(8.0, pd.Index([40])).to_dict() == {40: 8.0}
    assert (relief_curve(0.0, keys) == 0.0).all() and (relief_curve(0.5, keys) == 0.5).all()
    unsorted = relief_curve({41: 4.0, 1: 12.0}, keys)
    pd.testing.assert_series_equal(unsorted, relief_curve({1: 12.0, 41: 4.0}, keys))
    assert unsorted.name == "spring_relief_g" and unsorted.index.equals(keys)
    assert relief_curve({1: 12.0, 41: 4.0}, keys).loc[[1, 21, 88]].tolist() == [12.0, 8.0, 4.0]


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"wire_mm": 0.0}, r"^Wire \(mm\) is 0. Give a number above 0"),
        ({"coil_mm": 1.6}, "A coil of 1.6 mm cannot be wound from wire of 0.8 mm. Give the mean"),
        ({"coil_mm": float("nan")}, "A coil of nan mm"),
        ({"body_turns": 0.0}, "^Turns of the body is 0. Give a number above 0"),
        ({"turn_constant": 0.0}, "^Constant of the turn is 0. Give a number above 0"),
        ({"material": "string"},
         "'string' is not .* Choose one of music wire, stainless steel, phosphor bronze"),
        ({"leg_1_mm": -5.0}, r"^Leg \(mm\) is -5. Give a number 0 or more"),
        ({"leg_2_mm": -6.0}, r"^Leg \(mm\) is -6. Give a number 0 or more"),
    ],
)  # fmt: skip
def test_springs_that_cannot_be_are_refused(wrong, words):
    with pytest.raises(BalancekitError, match=words):
        TorsionSpring(**{"wire_mm": 0.8, "coil_mm": 6.0, "body_turns": 4.0, **wrong})


def test_small_springs_are_no_error():
    """Everything below 1, by the formula: d^4 E / (constant x D x turns)."""
    tiny = TorsionSpring(0.2, 0.5, 0.5, 0.1, 0.1, "phosphor bronze", 0.5)
    turns = 0.5 + 0.2 / (3 * np.pi * 0.5)
    assert tiny.rate_n_mm_turn == pytest.approx(0.2**4 * 103_000 / (0.5 * 0.5 * turns))
    assert tiny.yield_mpa == pytest.approx(610.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda keys: relief_curve({}, keys), "No level was given. Give the relief of at least"),
        (lambda keys: relief_curve(-1.0, keys),
         r"^Spring relief \(g\) is -1. Give a number 0 or more"),
        (lambda keys: relief_along_stroke(
            pd.Series(5.0, keys), LEVERS, rate_n_mm_rad=-1.0, key_dip_mm=DIP_MM),
         r"^Rate of the spring \(N mm\) is -1. Give a number 0 or more"),
        (lambda keys: relief_along_stroke(
            pd.Series(5.0, keys), LEVERS, rate_n_mm_rad=1.0, key_dip_mm=-1.0),
         r"^Key dip \(mm\) is -1. Give a number 0 or more"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(BalancekitError, match=words):
        call(pd.RangeIndex(1, 89))
