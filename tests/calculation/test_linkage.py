"""The linkage of key, wippen and shank: relations that hold whatever its distances are."""

from __future__ import annotations

from time import perf_counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from balancekit.calculation.balance import solve_for_balance_weight
from balancekit.calculation.inertia import GRAVITY_M_S2, hammer_inertia_g, wippen_inertia_g
from balancekit.calculation.linkage.distances import fit_distances
from balancekit.calculation.linkage.loads import (
    N_MM_IN_G_MM,
    Friction,
    Loads,
    Spring,
    account,
    gravity,
    held_g,
    inertia_g,
    potential_mj,
    spring_moment,
    with_friction,
)
from balancekit.calculation.linkage.motion import (
    LEAST_EXCESS_G,
    move_seconds,
    ratio_from_rise,
    rise_mm,
)
from balancekit.calculation.linkage.moves import lever_moves
from balancekit.calculation.linkage.positions import Linkage
from balancekit.calculation.problems import BalancekitError

key_ratios, action_ratios = st.floats(0.44, 0.56), st.floats(4.6, 6.6)
loads = st.builds(
    Loads,
    strike_weight_g=st.floats(4, 13),
    wippen_weight_g=st.floats(12, 24),
    front_weight_g=st.floats(-5, 45),
    key_inertia_g=st.floats(10, 80),
    spring=st.builds(Spring, st.floats(0, 20), st.floats(0, 30), st.floats(0.5, 2.0)),
)


@settings(max_examples=40, deadline=None)
@given(key_ratios, action_ratios, loads)
def test_the_balance_equation_is_the_value_at_half_stroke(key_ratio, action_ratio, carried):
    linkage = Linkage(fit_distances(key_ratio, action_ratio))
    level = account(linkage, carried, linkage.weighing)
    by_equation = solve_for_balance_weight(
        front_weight_g=carried.front_weight_g,
        wippen_weight_g=carried.wippen_weight_g,
        key_ratio=key_ratio,
        strike_weight_g=carried.strike_weight_g,
        action_ratio=action_ratio,
        spring_relief_g=float(level.spring_relief_g),
    )
    assert float(level.balance_weight_g) == pytest.approx(by_equation, abs=1e-9)
    assert float(linkage.action_ratio(linkage.weighing)) == pytest.approx(action_ratio)
    assert float(linkage.key_ratio(linkage.weighing)) == pytest.approx(key_ratio)


@settings(max_examples=30, deadline=None)
@given(key_ratios, action_ratios, loads)
def test_virtual_work_and_the_moments_of_each_lever_agree(key_ratio, action_ratio, carried):
    """Two ways to the same grams: all levers at once, or one after the other by the contacts."""
    linkage = Linkage(fit_distances(key_ratio, action_ratio))
    at = linkage.along(9)
    by_work = account(linkage, carried, at).balance_weight_g
    assert held_g(linkage, carried, at, 0) == pytest.approx(by_work, abs=1e-8)


@settings(max_examples=30, deadline=None)
@given(key_ratios, action_ratios, loads)
def test_energy_over_the_stroke(key_ratio, action_ratio, carried):
    """What the finger does along the stroke is what the parts gain in height, spring and all."""
    linkage = Linkage(fit_distances(key_ratio, action_ratio))
    at = linkage.along(801)
    grams = account(linkage, carried, at).balance_weight_g
    work_mj = np.trapezoid(grams, at.travel_mm) * GRAVITY_M_S2 / 1000
    height_mj = potential_mj(linkage, carried, at)
    assert work_mj == pytest.approx(height_mj[-1] - height_mj[0], abs=2e-4)


@settings(max_examples=20, deadline=None)
@given(key_ratios, action_ratios, loads)
def test_inertia_needs_no_more_than_the_ratios_at_every_position(key_ratio, action_ratio, carried):
    """Kinetic energy of the turning levers, against masses at the ratios of that position."""
    linkage = Linkage(fit_distances(key_ratio, action_ratio))
    for at in (linkage.along(9), linkage.weighing):
        by_ratios = (
            hammer_inertia_g(
                strike_weight_g=carried.strike_weight_g, action_ratio=linkage.action_ratio(at)
            )
            + wippen_inertia_g(
                wippen_weight_g=carried.wippen_weight_g, key_ratio=linkage.key_ratio(at)
            )
            + carried.key_inertia_g * (linkage.distances.arm_mm / at.travel_for_key) ** 2
        )
        assert inertia_g(linkage, carried, at) == pytest.approx(by_ratios, rel=1e-12)
    level = linkage.weighing
    assert float(linkage.action_ratio(level)) == pytest.approx(action_ratio)
    assert float(linkage.key_ratio(level)) == pytest.approx(key_ratio)


def test_energy_in_motion():
    """A key that falls under 70 g: kinetic energy is work less height, at every moment."""
    linkage, carried = Linkage(fit_distances(0.5, 5.5)), Loads()
    end = float(linkage.stroke_mm)

    def state(travel):
        at = linkage.at(min(max(travel, 0.0), end))
        mass = float(inertia_g(linkage, carried, at))
        return at, mass, float(account(linkage, carried, at).balance_weight_g)

    def move(_, now):
        travel, speed = now
        _, mass, held = state(travel)
        rise = (state(travel + 1e-4)[1] - state(travel - 1e-4)[1]) / 2e-4
        force = (70.0 - held) * GRAVITY_M_S2 * 1000
        return [speed, (force - rise * speed**2 / 2) / mass]

    found = solve_ivp(move, (0, 0.12), [1e-3, 0.0], rtol=1e-9, atol=1e-9, max_step=2e-3)
    start = potential_mj(linkage, carried, linkage.at(1e-3))
    inside = found.y[0] < end - 0.01
    assert found.y[0][inside].max() > 0.6 * end
    for travel, speed in found.y.T[inside.nonzero()[0]]:
        at, mass, _ = state(travel)
        kinetic_mj = mass * speed**2 / 2e6
        work_mj = 70.0 * GRAVITY_M_S2 / 1000 * (travel - 1e-3)
        gained = float(potential_mj(linkage, carried, at) - start)
        assert kinetic_mj + gained == pytest.approx(work_mj, abs=2e-5)


@settings(max_examples=30, deadline=None)
@given(key_ratios, action_ratios, st.floats(0.0, 1.0))
def test_speeds_are_differences_of_positions(key_ratio, action_ratio, part):
    linkage, small = Linkage(fit_distances(key_ratio, action_ratio)), 1e-6
    key = (2 * part - 1) * float(linkage.half_turn)
    here, before, after = (linkage.put(key + by) for by in (0.0, -small, small))
    for name, speed in (("wippen", "wippen_for_key"), ("shank", "shank_for_key"),
                        ("travel_mm", "travel_for_key")):  # fmt: skip
        slope = (getattr(after, name) - getattr(before, name)) / (2 * small)
        assert slope == pytest.approx(getattr(here, speed), rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(key_ratios, action_ratios, st.floats(0.0, 1.0))
def test_surfaces_touch_and_do_not_cut(key_ratio, action_ratio, part):
    linkage = Linkage(fit_distances(key_ratio, action_ratio))
    at, h = linkage.at(part * float(linkage.stroke_mm)), linkage.heights
    ends = {
        name: linkage.centres[lever] + arm * np.exp(1j * getattr(at, lever))
        for name, (lever, arm) in linkage.parts.items()
    }
    assert abs(at.heel.point - ends["capstan"]) == pytest.approx(h.capstan_radius)
    assert abs(at.heel.point - ends["heel"]) == pytest.approx(h.heel_radius)
    assert abs(at.knuckle.point - ends["jack"]) == pytest.approx(h.jack_radius)
    assert abs(at.knuckle.point - ends["knuckle"]) == pytest.approx(h.knuckle_radius)
    assert float(at.travel_mm) == pytest.approx(part * float(linkage.stroke_mm), abs=1e-9)


def test_the_hammer_comes_to_let_off():
    linkage = Linkage()
    rise = linkage.hammer_rise_mm(linkage.along(3))
    assert rise[0] == pytest.approx(0.0, abs=1e-9)
    assert rise[-1] == pytest.approx(46.0 - 1.5)


@settings(max_examples=20, deadline=None)
@given(key_ratios, action_ratios, st.floats(0.9, 1.1))
def test_a_moved_capstan_gives_the_ratio_it_was_moved_for(key_ratio, action_ratio, part):
    """The closed answer, put back into the linkage."""
    distances = fit_distances(key_ratio, action_ratio)
    capstan, knuckle = lever_moves(
        distances, action_ratio=action_ratio, wanted_ratio=action_ratio * part
    )
    for moved in (
        distances.with_capstan(distances.capstan_arm_mm + capstan.move_mm),
        distances.with_knuckle(distances.knuckle_arm_mm + knuckle.move_mm),
    ):
        linkage = Linkage(moved)
        ratio = float(linkage.action_ratio(linkage.weighing))
        assert ratio == pytest.approx(action_ratio * part)


@settings(max_examples=20, deadline=None)
@given(loads, st.floats(0, 20))
def test_friction_widens_the_gap_and_is_what_was_asked_for(carried, friction_g):
    linkage = Linkage(fit_distances(0.5, 5.5))
    rubbing = with_friction(linkage, carried, friction_g)
    at = linkage.along(9)
    down, free, up = (held_g(linkage, rubbing, at, way) for way in (1, 0, -1))
    assert np.all(down - free >= -1e-9) and np.all(free - up >= -1e-9)
    level = [float(held_g(linkage, rubbing, linkage.weighing, way)) for way in (1, -1)]
    assert (level[0] - level[1]) / 2 == pytest.approx(friction_g, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(key_ratios, action_ratios, loads, st.floats(0.05, 0.95), st.sampled_from([1, -1]))
def test_friction_at_pins_and_contacts_by_free_bodies(key_ratio, action_ratio, carried, part, way):
    """Three free bodies, nine equations at once, and dry friction by any textbook of statics.

    Unknown: the forces of the three pins, the pressure of the two contacts, the finger's weight.
    Which way the surfaces slide is seen from the turns of the levers before and after.
    """
    linkage, rub = Linkage(fit_distances(key_ratio, action_ratio)), carried.friction
    at = linkage.at(part * float(linkage.stroke_mm))
    near = [linkage.put(float(at.key) + by) for by in (-1e-5 * way, 1e-5 * way)]
    turns = {
        n: float(getattr(near[1], n) - getattr(near[0], n)) for n in ("key", "wippen", "shank")
    }
    own = gravity(linkage, carried, at)
    torque = N_MM_IN_G_MM * np.array([rub.key_n_mm, rub.wippen_n_mm, rub.shank_n_mm])
    moments = np.array([own.key, own.wippen, own.shank]) - torque * np.sign(list(turns.values()))
    moments[1] += spring_moment(linkage, carried, at)
    matrix, names = np.zeros((9, 9)), list(turns)
    for body in range(3):
        matrix[3 * body, 2 * body] = matrix[3 * body + 1, 2 * body + 1] = 1.0
    for column, driver, driven, touch, mu in (
        (6, "key", "wippen", at.heel, rub.heel),
        (7, "wippen", "shank", at.knuckle, rub.knuckle),
    ):
        ways = [1j * (touch.point - linkage.centres[n]) * turns[n] for n in (driver, driven)]
        slides = ways[1] - ways[0]
        # The pressure has no way of its own: the surfaces only slide along each other.
        assert abs((slides * np.conj(touch.normal)).real) < 1e-3 * abs(ways[1]) + 1e-12
        force = complex(touch.normal - mu * slides / abs(slides))
        for name, sign in ((driven, 1), (driver, -1)):
            body, arm = names.index(name), touch.point - linkage.centres[name]
            matrix[3 * body : 3 * body + 3, column] += sign * np.array(
                [force.real, force.imag, (np.conj(arm) * force).imag]
            )
    front = linkage.parts["measuring_point"][1] * np.exp(1j * float(at.key))
    matrix[1, 8], matrix[2, 8] = -1.0, -front.real
    right = np.zeros(9)
    right[2::3] = -moments
    finger_g = np.linalg.solve(matrix, right)[8]
    assert float(held_g(linkage, carried, at, way)) == pytest.approx(finger_g, rel=1e-5, abs=1e-4)


@settings(max_examples=20, deadline=None)
@given(key_ratios, action_ratios, st.floats(2.0, 8.0))
def test_a_rise_read_with_a_rule_gives_the_ratio_back(key_ratio, action_ratio, travel_mm):
    rise = rise_mm(Linkage(fit_distances(key_ratio, action_ratio)), travel_mm)
    found = ratio_from_rise(rise / travel_mm, travel_mm=travel_mm, key_ratio=key_ratio)
    assert float(found) == pytest.approx(action_ratio, abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(loads, st.floats(0, 15), st.floats(1.0, 30.0), st.sampled_from([1, -1]))
def test_time_of_a_move_by_an_integrator(carried, friction_g, more_g, way):
    """The equation of motion, integrated by scipy, against the sum over places."""
    linkage = Linkage(fit_distances(0.5, 5.5))
    rubbing, end = with_friction(linkage, carried, friction_g), float(linkage.stroke_mm)
    held = held_g(linkage, rubbing, linkage.along(41), way)
    weight = max(float(held.max()) + more_g, 0.0) if way > 0 else float(held.min()) - more_g
    if weight < 0:
        return
    goes = (0.0, end) if way > 0 else (end, 0.0)

    def move(_, now):
        travel = min(max(now[0], 0.0), end)
        at = linkage.at(travel)
        near = [linkage.at(min(max(travel + by, 0.0), end)) for by in (-1e-3, 1e-3)]
        masses = [float(inertia_g(linkage, rubbing, each)) for each in near]
        slope = (masses[1] - masses[0]) / float(near[1].travel_mm - near[0].travel_mm)
        force = weight - float(held_g(linkage, rubbing, at, way))
        mass = float(inertia_g(linkage, rubbing, at)) + weight
        return [now[1], (force * GRAVITY_M_S2 * 1000 - slope * now[1] ** 2 / 2) / mass]

    def there(_, now):
        return now[0] - goes[1] + way * 1e-9

    there.terminal = True
    found = solve_ivp(move, (0, 5), [goes[0], 0.0], events=there, rtol=1e-7, atol=1e-9)
    assert move_seconds(linkage, rubbing, weight, *goes) == pytest.approx(found.t[-1], rel=0.01)


def test_a_key_that_barely_moves_takes_as_long_as_a_small_excess_does():
    linkage, carried = Linkage(), Loads()
    end = float(linkage.stroke_mm)
    slowest = move_seconds(linkage, carried, 0.0, 0.0, end)
    moved = inertia_g(linkage, carried, linkage.along(9))
    # Evenly accelerated: s = a t^2 / 2, between the lightest and the heaviest place.
    times = [
        (2 * end / 1000 * m / (GRAVITY_M_S2 * LEAST_EXCESS_G)) ** 0.5
        for m in (min(moved), max(moved))
    ]
    assert times[0] <= slowest <= times[1]
    assert move_seconds(linkage, carried, 50.0, 3.0, 3.0) == 0.0


def test_no_friction_no_gap():
    linkage = Linkage()
    smooth = Loads(friction=Friction(0.0, 0.0, 0.0, 0.0, 0.0))
    at = linkage.along(5)
    assert held_g(linkage, smooth, at, 1) == pytest.approx(held_g(linkage, smooth, at, -1))


def test_more_than_a_thousand_full_states_a_second():
    """A full state: positions, terms, both thresholds, inertia; as a slider asks for, 41 a move."""
    carried, moves, start = Loads(), 50, perf_counter()
    for move in range(moves):
        linkage = Linkage(fit_distances(0.5, 5.0 + 0.02 * move))
        at = linkage.along(41)
        account(linkage, carried, at)
        for way in (1, -1):
            held_g(linkage, carried, at, way)
        inertia_g(linkage, carried, at)
    assert 41 * moves / (perf_counter() - start) > 1000


def test_many_keys_at_once_are_as_one_after_the_other():
    ratios = np.array([0.48, 0.5, 0.52])[:, None]
    many = Linkage(fit_distances(ratios, np.array([5.2, 5.5, 5.8])[:, None]))
    table = many.action_ratio(many.along(5))
    for row, (key_ratio, action_ratio) in enumerate(((0.48, 5.2), (0.5, 5.5), (0.52, 5.8))):
        one = Linkage(fit_distances(key_ratio, action_ratio))
        assert table[row] == pytest.approx(one.action_ratio(one.along(5)))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: fit_distances(0.75, 5.5), "would not meet the wippen"),
        (lambda: Linkage(blow_distance_mm=1.0), "Blow distance"),
        (lambda: Linkage().at(20.0), "outside the stroke"),
        (lambda: Linkage(blow_distance_mm=400.0).stroke_mm, "do not reach|No stroke"),
        (lambda: fit_distances(-0.5, 5.5), "Key ratio"),
    ],
)
def test_bad_input_is_said(call, words):
    with pytest.raises(BalancekitError, match=words):
        call()
