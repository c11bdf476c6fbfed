"""The drawing obeys the levers: what it shows moves as the relations of the trade say.

Lever relations: any textbook of mechanics (virtual work); by hand where a number stands.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.linkage.loads import account
from balancekit.calculation.problems import BalancekitError
from balancekit.lesson.lever_chain.levers import lever_scene
from balancekit.lesson.lever_chain.one_key import LONGEST_S, LessonKey, answer

keys = st.builds(
    LessonKey,
    key_ratio=st.floats(0.42, 0.58),
    action_ratio=st.floats(4.5, 6.8),
    strike_weight_g=st.floats(4, 14),
    wippen_weight_g=st.floats(10, 26),
    lead_g=st.floats(0, 60),
    lead_mm=st.floats(-100, 190),
    spring_relief_g=st.floats(0, 20),
    friction_g=st.floats(0, 25),
)


@given(keys)
@settings(max_examples=60)
def test_what_lifts_equals_what_presses(key):
    lifts = key.wippen_weight_g * key.key_ratio + key.strike_weight_g * key.action_ratio
    presses = key.balance_weight_g + key.front_weight_g + key.spring_relief_g
    assert presses == pytest.approx(lifts)
    assert (key.down_weight_g + key.up_weight_g) / 2 == pytest.approx(key.balance_weight_g)
    assert (key.down_weight_g - key.up_weight_g) / 2 == pytest.approx(key.friction_g)
    assert sum(mass for mass, _ in key.plugs) == pytest.approx(key.lead_g)
    moment = sum(mass * place for mass, place in key.plugs)
    assert moment / key.arm_mm == pytest.approx(key.lead_front_weight_g, abs=1e-9)


def test_inertia_by_hand():
    """10 g at 5.5, with a shank of 3.5 g spread along its length (m/3 for m/2 on the scale)."""
    parts = LessonKey().inertia_parts_g
    assert parts["hammer"] == pytest.approx((10 - 3.5 / 6) * 5.5**2)
    assert parts["wippen"] == pytest.approx(18 * 0.25 * 1.3)
    # Three plugs of 13 g at 129, 144 and 159 mm of 240, radius 6.35 mm.
    plugs = sum(13 * (x**2 + 6.35**2 / 2) / 240**2 for x in (129, 144, 159))
    assert parts["lead"] == pytest.approx(plugs)
    assert parts["hammer"] > 0.85 * LessonKey().inertia_g


@pytest.mark.parametrize(
    ("weight_g", "does"), [(24, "lifts"), (25, "lifts"), (26, "sticks"), (48, "sticks"),
                           (49, "sinks"), (60, "sinks")],
)  # fmt: skip
def test_a_key_sticks_between_up_weight_and_down_weight(weight_g, does):
    assert answer(weight_g, 49.0, 25.0) == does


def test_more_weight_left_over_moves_the_key_faster():
    key, end = LessonKey(), float(LessonKey().linkage.stroke_mm)
    assert key.seconds(70.0, 0.0, end) < key.seconds(60.0, 0.0, end) < LONGEST_S


@given(keys)
@settings(max_examples=20, deadline=None)
def test_the_inertia_of_the_levers_is_the_sum_of_the_parts(key):
    """Kinetic energy of the linkage at half stroke against the formula of each part."""
    assert key.inertia_g == pytest.approx(sum(key.inertia_parts_g.values()), rel=1e-9)


def test_impossible_parts_are_refused_together():
    with pytest.raises(BalancekitError) as refused:
        LessonKey(strike_weight_g=0.0, key_ratio=2.0, lead_g=-1.0)
    columns = [problem.column for problem in refused.value.problems]
    assert columns == ["strike_weight_g", "key_ratio", "lead_g"]


def test_a_capstan_that_misses_the_wippen_is_refused():
    with pytest.raises(BalancekitError, match="would not meet the wippen"):
        LessonKey(key_ratio=0.75).linkage.stroke_mm  # noqa: B018


@given(keys)
@settings(max_examples=20, deadline=None)
def test_the_drawing_turns_as_the_linkage(key):
    """Between the samples of the drawing too, where it goes straight from one to the next."""
    linkage = key.linkage
    scene = lever_scene(linkage)
    travel = np.linspace(0.0, scene["let_off"], 97)
    at = linkage.at(travel)
    for name in ("key", "wippen", "shank"):
        drawn = np.interp(travel, scene["travel"], scene["turns"][name])
        assert drawn == pytest.approx(np.degrees(getattr(at, name)), abs=0.01)
    assert np.interp(travel, scene["travel"], scene["way"]) == pytest.approx(
        linkage.hammer_rise_mm(at), abs=0.02
    )


@given(keys)
@settings(max_examples=20, deadline=None)
def test_the_spring_of_a_key_gives_its_relief_at_half_stroke(key):
    linkage = key.linkage
    level = account(linkage, key.loads, linkage.weighing)
    assert float(level.spring_relief_g) == pytest.approx(key.spring_relief_g, abs=1e-9)
    assert float(level.balance_weight_g) == pytest.approx(key.balance_weight_g, abs=1e-9)
