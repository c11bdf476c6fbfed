"""Soft and loud: force and work of one blow."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from balancekit.calculation.hammers.blow import blow, blows
from balancekit.calculation.problems import BalancekitError

KEY = dict(
    balance_weight_g=38.0, friction_g=12.0, inertia_g=370.0, action_ratio=5.5,
    blow_distance_mm=46.0,
)  # fmt: skip


def test_a_loud_blow_by_hand():
    """50 g are 0.490 N; 370 g to 0.909 m/s are 152.9 mJ, over 8.364 mm 18.28 N (arithmetic)."""
    loud = blows(**KEY).loc["loud"]
    assert loud["static_n"] == pytest.approx(0.4903, abs=1e-4)
    assert loud["inertia_mj"] == pytest.approx(152.9, abs=0.05)
    assert loud["inertia_n"] == pytest.approx(18.28, abs=0.01)


def test_at_a_loud_note_inertia_is_tens_of_times_larger():
    """Common practice, no source: soft notes are statics, loud ones inertia."""
    found = blows(**KEY)
    ratio = found["inertia_mj"] / found["static_mj"]
    assert ratio["soft"] < 2
    assert ratio["loud"] > 30
    assert found["inertia_share"].is_monotonic_increasing


@pytest.mark.parametrize("velocity", [1.0, 2.5, 5.0])
def test_against_the_equation_of_motion(velocity):
    """scipy integrates force - weight = mass x acceleration from rest; end speed and time agree."""
    one = blow(**KEY, hammer_velocity_m_s=velocity).iloc[0]

    def motion(_, state):
        return [state[1], (one["force_n"] - one["static_n"]) / 0.370]

    def arrives(_, state):
        return state[0] - one["travel_mm"] / 1000

    arrives.terminal = True
    done = solve_ivp(motion, (0, 1), [0.0, 0.0], events=arrives, rtol=1e-9, atol=1e-12)
    assert done.y[1, -1] * KEY["action_ratio"] == pytest.approx(velocity, rel=1e-6)
    assert done.t[-1] * 1000 == pytest.approx(one["press_time_ms"], rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.3, 6.0), st.floats(1.0, 2.0))
def test_twice_as_fast_costs_four_times_the_inertia_work(velocity, times):
    slow = blow(**KEY, hammer_velocity_m_s=velocity).iloc[0]
    fast = blow(**KEY, hammer_velocity_m_s=velocity * times).iloc[0]
    assert fast["inertia_mj"] == pytest.approx(slow["inertia_mj"] * times**2)
    assert fast["static_mj"] == slow["static_mj"]


def test_the_keyboard_at_once():
    inertia_g = pd.Series([370.0, 300.0], index=pd.Index([1, 88], name="key"))
    found = blow(**{**KEY, "inertia_g": inertia_g}, hammer_velocity_m_s=5.0)
    assert found.index.tolist() == [1, 88]
    assert found.at[1, "inertia_n"] / found.at[88, "inertia_n"] == pytest.approx(370 / 300)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (dict(friction_g=-1.0), "Friction"),
        (dict(inertia_g=0.0), "Inertia"),
        (dict(action_ratio=-5.0), "Action ratio"),
        (dict(blow_distance_mm=0.0), "Blow distance"),
        (dict(hammer_velocities_m_s={"soft": 0.0}), "Hammer velocity"),
    ],
)
def test_bad_input_is_said(change, words):
    with pytest.raises(BalancekitError, match=words):
        blows(**{**KEY, **change})
