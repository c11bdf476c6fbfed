"""The drawing obeys the levers: what it shows moves as the relations of the trade say.

Lever relations: any textbook of mechanics (virtual work); by hand where a number stands.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.problems import BalancekitError
from balancekit.lesson.levers import lever_scene, levers_of
from balancekit.lesson.one_key import LessonKey, answer, move_seconds

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


@given(keys, st.floats(0, 1))
@settings(max_examples=60)
def test_hammer_travels_action_ratio_times_key_travel(key, part):
    levers = levers_of(key)
    travel_mm = part * levers.let_off_mm
    turn = levers.turn_for_one_mm
    assert turn["key"] * key.arm_mm * travel_mm == pytest.approx(travel_mm)
    hammer_mm = turn["shank"] * levers.geometry.hammer_arm_mm * travel_mm
    assert hammer_mm == pytest.approx(key.action_ratio * travel_mm)
    # Heights, drawn along arcs: level at half stroke, so within 1 % from end to end.
    ends = levers.points(0.0), levers.points(levers.let_off_mm)
    fall = ends[0]["measuring_point"][1] - ends[1]["measuring_point"][1]
    rise = ends[1]["strike_point"][1] - ends[0]["strike_point"][1]
    assert rise / fall == pytest.approx(key.action_ratio, rel=0.01)
    assert ends[1]["strike_point"][1] == levers.string_mm


@given(keys, st.floats(0, 1))
@settings(max_examples=60)
def test_parts_that_touch_are_drawn_touching(key, part):
    levers = levers_of(key)
    points = levers.points(part * levers.let_off_mm)
    assert points["capstan"][1] == pytest.approx(points["heel"][1], abs=0.5)
    assert points["knuckle"][1] == pytest.approx(points["jack_top"][1], abs=0.5)


@given(keys)
@settings(max_examples=60)
def test_geometry_has_the_ratios_of_the_key(key):
    it = levers_of(key).geometry
    assert it.capstan_arm_mm / it.arm_mm == pytest.approx(key.key_ratio)
    by_hand = (
        it.capstan_arm_mm / it.arm_mm * it.top_arm_mm / it.heel_arm_mm
        * it.hammer_arm_mm / it.knuckle_arm_mm
    )  # fmt: skip
    assert by_hand == pytest.approx(key.action_ratio)
    assert levers_of(key).let_off_mm == pytest.approx(46.0 / key.action_ratio)


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


def test_work_at_the_finger_is_the_work_at_the_hammer():
    """Virtual work: grams times travel are the same at both ends of a lever."""
    key, levers = LessonKey(), levers_of(LessonKey())
    hammer_mm = levers.turn_for_one_mm["shank"] * levers.geometry.hammer_arm_mm
    assert key.hammer_lifts_g * 1.0 == pytest.approx(key.strike_weight_g * hammer_mm)


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
    """Time of an even acceleration from rest: four times the force, half the time."""
    slow, fast = (move_seconds(grams, 400.0, 8.0) for grams in (1.0, 4.0))
    assert slow == pytest.approx(2 * fast)
    assert fast == pytest.approx((2 * 0.008 * 400 / (9.80665 * 4)) ** 0.5)
    assert move_seconds(0.0, 400.0, 8.0) == pytest.approx(2 * slow)


def test_a_travel_outside_the_stroke_is_refused():
    with pytest.raises(BalancekitError, match="outside the stroke"):
        levers_of(LessonKey()).points(9.0)


def test_impossible_parts_are_refused_together():
    with pytest.raises(BalancekitError) as refused:
        LessonKey(strike_weight_g=0.0, key_ratio=2.0, lead_g=-1.0)
    columns = [problem.column for problem in refused.value.problems]
    assert columns == ["strike_weight_g", "key_ratio", "lead_g"]


def test_a_capstan_that_misses_the_wippen_is_refused():
    with pytest.raises(BalancekitError, match="would not meet the wippen"):
        levers_of(LessonKey(key_ratio=0.75))


def test_the_scene_holds_what_the_drawing_turns_by():
    levers = levers_of(LessonKey())
    scene = lever_scene(levers)
    radians = {name: turn * 3.141592653589793 / 180 for name, turn in scene["turns"].items()}
    assert radians == pytest.approx(levers.turn_for_one_mm)
    assert scene["ratio"] == pytest.approx(5.5) and scene["capstan"] == pytest.approx(360.0)
