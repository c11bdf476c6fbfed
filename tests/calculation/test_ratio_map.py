"""The map of hammer mass and ratio."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from balancekit.calculation.hammers.ratio_map import (
    MapKey,
    front_weight_and_inertia,
    outline,
    point_correlation,
    ratio_map,
)
from balancekit.calculation.inertia import plug_inertia_g
from balancekit.calculation.linkage.distances import fit_distances
from balancekit.calculation.linkage.loads import Loads, account, lever_inertia_g_mm2
from balancekit.calculation.linkage.moves import lever_moves
from balancekit.calculation.linkage.positions import Linkage
from balancekit.calculation.problems import BalancekitError

KEY = MapKey(
    strike_weight_g=10.0, action_ratio=5.5, wippen_weight_g=18.0, key_ratio=0.5,
    balance_weight_g=37.0, bare_front_weight_g=3.0, stick_inertia_g=16.0,
    arm_mm=240.0, plug_distance_mm=150.0, strike_weight_u_g=0.1, action_ratio_u=0.08,
)  # fmt: skip


def test_the_point_of_common_practice():
    """10 g, 5.5, 18 g, 0.5 and 37 g need 27 g in front (balance equation, by hand)."""
    front_g, inertia_g = front_weight_and_inertia(KEY, 10.0, 5.5)
    assert front_g == pytest.approx(27.0)
    # The 24 g that the bare key lacks are 38.4 g of lead at 150 mm.
    lead_g = plug_inertia_g(mass_g=24.0 * 240 / 150, distance_mm=150.0, arm_mm=240.0)
    parts = (10.0 - 3.5 / 6) * 5.5**2 + 18.0 * 0.25 * 1.3 + 16.0 + lead_g
    assert inertia_g == pytest.approx(parts)


def test_grid_and_single_points_agree():
    found = ratio_map(KEY, steps=7)
    assert found.front_weight_g.shape == found.inertia_g.shape == (7, 7)
    front_g, inertia_g = front_weight_and_inertia(
        KEY, float(found.strike_weight_g[4]), float(found.action_ratio[2])
    )
    assert found.front_weight_g[2, 4] == pytest.approx(front_g)
    assert found.inertia_g[2, 4] == pytest.approx(inertia_g)


@pytest.mark.parametrize("lever", ["knuckle", "capstan"])
def test_front_weight_rises_across_and_up(lever):
    found = ratio_map(KEY, lever=lever, steps=9)
    assert (np.diff(found.front_weight_g, axis=0) > 0).all()
    assert (np.diff(found.front_weight_g, axis=1) > 0).all()


@settings(max_examples=30, deadline=None)
@given(part=st.floats(0.8, 1.2))
def test_the_capstan_takes_the_wippen_along(part):
    """Wippen grams at the finger: moment / heel x capstan / arm, in proportion to the ratio.

    A capstan moved from 125 to 125 + d meets the heel at 64 - d. The wippen's moment about its
    centre, its weight times the heel's distance, stays.
    """
    now = 125.0 / 64.0
    moved = (now * part * 64.0 - 125.0) / (1 + now * part)
    moment = 18.0 * 64.0
    wippen_g = moment / (64.0 - moved) * (125.0 + moved) / 250.0
    by_map = 18.0 * replace(KEY, key_ratio=0.5).key_ratio_at(5.5 * part, "capstan")
    assert by_map == pytest.approx(wippen_g)


def test_the_outline_holds_95_of_100_draws():
    """Draws of strike weight and pressed grams, the ratio solved from them as at the bench."""
    generator = np.random.default_rng(5)
    strike = generator.normal(10.0, 0.1, 200_000)
    pressed_u = 10.0 * np.sqrt(0.08**2 - (5.5 * 0.1 / 10.0) ** 2)
    ratio = generator.normal(55.0, pressed_u, 200_000) / strike
    lean = point_correlation(KEY)
    assert np.corrcoef(strike, ratio)[0, 1] == pytest.approx(lean, abs=0.01)
    x, y = (strike - 10.0) / 0.1, (ratio - 5.5) / 0.08
    inside = (x**2 - 2 * lean * x * y + y**2) / (1 - lean**2) <= 2.45**2
    assert inside.mean() == pytest.approx(0.95, abs=0.003)
    # 2.45: chi-square with two degrees of freedom.
    assert np.sqrt(stats.chi2.ppf(0.95, 2)) == pytest.approx(2.45, abs=0.005)
    across, up = outline(KEY)
    x, y = (across - 10.0) / 0.1, (up - 5.5) / 0.08
    assert (x**2 - 2 * lean * x * y + y**2) / (1 - lean**2) == pytest.approx(2.45**2)


def test_without_uncertainty_the_outline_is_the_point():
    across, up = outline(replace(KEY, strike_weight_u_g=0.0, action_ratio_u=0.0))
    assert set(across) == {10.0}
    assert set(up) == {5.5}


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: replace(KEY, strike_weight_g=-1.0), "Strike weight"),
        (lambda: replace(KEY, action_ratio=float("nan")), "not known"),
        (lambda: ratio_map(KEY, strike_weight_g=(9.0, 4.0)), "from 9 to 4"),
        (lambda: ratio_map(KEY, strike_weight_g=(-2.0, 4.0)), "Strike weight"),
        (lambda: front_weight_and_inertia(KEY, 10.0, 5.5, "heel"), "no lever"),
    ],
)
def test_bad_input_is_said(call, words):
    with pytest.raises(BalancekitError, match=words):
        call()


@pytest.mark.parametrize("heel_mm", [None, 55.0, 80.0])
@pytest.mark.parametrize(("lever", "part"), [("capstan", 0.95), ("capstan", 1.06),
                                             ("knuckle", 0.95), ("knuckle", 1.06)])  # fmt: skip
def test_the_map_is_the_linkage_with_a_moved_lever(lever, part, heel_mm):
    """Front weight and inertia from the moved levers themselves, the wippen's moment kept."""
    key = replace(KEY, arm_mm=240.0)
    before = fit_distances(key.key_ratio, key.action_ratio, heel_arm_mm=heel_mm)
    capstan, knuckle = lever_moves(before, action_ratio=1.0, wanted_ratio=part)
    after = (
        before.with_capstan(before.capstan_arm_mm + capstan.move_mm)
        if lever == "capstan"
        else before.with_knuckle(before.knuckle_arm_mm + knuckle.move_mm)
    )
    linkage = Linkage(after)
    loads = Loads(
        strike_weight_g=10.0,
        wippen_weight_g=key.wippen_weight_g * before.heel_arm_mm / after.heel_arm_mm,
        front_weight_g=0.0,
        key_inertia_g=0.0,
        shank_mass_g=key.shank_mass_g,
    )
    lifted = float(account(linkage, loads, linkage.weighing).balance_weight_g)
    front_g, inertia = front_weight_and_inertia(key, 10.0, key.action_ratio * part, lever)
    assert front_g == pytest.approx(lifted - key.balance_weight_g - key.spring_relief_g)
    lead_g = abs(front_g - key.bare_front_weight_g) * key.plug_distance_mm / key.arm_mm
    # The wippen's own moment of inertia stays, wherever the capstan meets it.
    own = lever_inertia_g_mm2(Linkage(before), replace(loads, wippen_weight_g=key.wippen_weight_g))
    level = linkage.weighing
    turned = own.wippen * level.wippen_for_key**2 + own.shank * level.shank_for_key**2
    moving = float(turned / level.travel_for_key**2)
    assert inertia == pytest.approx(moving + key.stick_inertia_g + lead_g)
