"""Support springs: statics by hand, the stroke, warnings, and what is refused."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancekit.calculation.balance import solve_for_balance_weight
from balancekit.calculation.leads.springs import (
    TorsionSpring,
    find_relief_g,
    relief_along_stroke,
    relief_curve,
    relief_from_torque_g,
    torque_for_relief_n_mm,
)
from balancekit.calculation.linkage.distances import fit_distances
from balancekit.calculation.linkage.loads import Loads, Spring, account
from balancekit.calculation.linkage.positions import Linkage
from balancekit.calculation.problems import BalancekitError

ARM = {"wippen_arm_mm": 95.0, "key_ratio": 0.52}


@given(st.floats(0, 60))
def test_torque_and_relief_are_inverses(relief):
    torque = torque_for_relief_n_mm(relief_g=relief, **ARM)
    assert relief_from_torque_g(torque_n_mm=torque, **ARM) == pytest.approx(relief, abs=1e-9)


def test_a_torque_measured_as_weight_on_the_wippen_gives_the_same_relief():
    """A spring that holds 20 g at the capstan lifts 20 g x key ratio at the measuring point."""
    torque = 20.0 / 1000 * 9.80665 * 95.0
    assert relief_from_torque_g(torque_n_mm=torque, **ARM) == pytest.approx(20.0 * 0.52)


def test_the_key_grows_heavier_by_what_the_spring_lets_go():
    """Energy: the mean of relief over the stroke times dip is what the spring gives off.

    Within 3 %, for arms that swing a little on the way.
    """
    rate, dip, start = 150.0, 10.0, 12.0
    row = relief_along_stroke(start, rate_n_mm_rad=rate, key_dip_mm=dip, **ARM).loc[0]
    turn = dip * ARM["key_ratio"] / ARM["wippen_arm_mm"]
    torque = torque_for_relief_n_mm(relief_g=start, **ARM)
    given_off_mj = torque * turn - rate * turn**2 / 2
    mean_g = (row["relief_at_rest_g"] + row["relief_end_g"]) / 2
    assert mean_g / 1000 * 9.80665 * dip == pytest.approx(given_off_mj, rel=0.03)
    assert row["relief_middle_g"] == pytest.approx(mean_g, rel=0.03)
    parts = dict(
        front_weight_g=20.0, wippen_weight_g=18.0, key_ratio=0.52, strike_weight_g=10.0,
        action_ratio=5.5,
    )  # fmt: skip
    rest = solve_for_balance_weight(spring_relief_g=row["relief_at_rest_g"], **parts)
    end = solve_for_balance_weight(spring_relief_g=row["relief_end_g"], **parts)
    assert end - rest == pytest.approx(row["change_g"])


def test_a_short_stiff_spring_goes_slack_and_is_named():
    reliefs = pd.Series([2.0, 30.0], index=[1, 2])
    table = relief_along_stroke(reliefs, rate_n_mm_rad=800.0, key_dip_mm=10.0, **ARM)
    assert table["goes_slack"].tolist() == [True, False]
    assert table.loc[1, "relief_end_g"] == 0.0
    assert table.index.tolist() == [1, 2]


def test_warning_near_and_above_yield():
    spring = TorsionSpring(0.8, 6.0, 4.0)
    limit = spring.greatest_torque_n_mm
    assert spring.stress_mpa(limit) == pytest.approx(spring.yield_mpa)
    assert spring.warning(0.5 * limit) == ""
    assert "may set" in spring.warning(0.9 * limit)
    assert "yields: 110%" in spring.warning(1.1 * limit)


def test_relief_as_weighed():
    relief, u = find_relief_g(without_g=50.0, with_g=38.5)
    assert relief == 11.5 and u == pytest.approx(0.5 * 2**0.5)


def test_relief_by_level_and_by_curve():
    keys = pd.RangeIndex(1, 89, name="key")
    assert (relief_curve(8.0, keys) == 8.0).all()
    assert relief_curve({1: 12.0, 41: 4.0}, keys).loc[[1, 21, 88]].tolist() == [12.0, 8.0, 4.0]


@pytest.mark.parametrize(
    "wrong",
    [
        {"wire_mm": 0.0},
        {"coil_mm": 1.0},
        {"body_turns": -1.0},
        {"material": "string"},
        {"leg_1_mm": -5.0},
    ],
)
def test_springs_that_cannot_be_are_refused(wrong):
    with pytest.raises(BalancekitError):
        TorsionSpring(**{"wire_mm": 0.8, "coil_mm": 6.0, "body_turns": 4.0, **wrong})


def test_levels_that_cannot_be_are_refused():
    keys = pd.RangeIndex(1, 89)
    with pytest.raises(BalancekitError, match="No level"):
        relief_curve({}, keys)
    with pytest.raises(BalancekitError):
        relief_curve(-1.0, keys)


def test_the_straight_rule_and_the_swinging_levers_differ_by_little():
    """Against the linkage of key, wippen and shank: 8 mm down, relief at half stroke alike.

    The rule takes the arms as unchanged. Where they swing, the relief falls by 3 % more.
    """
    linkage = Linkage(fit_distances(0.52, 5.5))
    it, travel = linkage.distances, float(linkage.stroke_mm)
    place = dict(wippen_arm_mm=it.heel_arm_mm, key_ratio=0.52)
    rest_mm_n = torque_for_relief_n_mm(relief_g=12.0, **place)
    carried = Loads(spring=Spring(rest_mm_n, 60.0))
    swinging = account(linkage, carried, linkage.along(3)).spring_relief_g
    row = relief_along_stroke(12.0, rate_n_mm_rad=60.0, key_dip_mm=travel, **place).loc[0]
    assert float(row["relief_middle_g"]) == pytest.approx(swinging[1], abs=0.01 * 12)
    assert float(row["relief_at_rest_g"]) == pytest.approx(swinging[0], abs=0.03 * 12)
    assert float(row["relief_end_g"]) == pytest.approx(swinging[2], abs=0.03 * 12)
