"""Inertia at the finger: relations that hold for every key."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation import inertia
from balancekit.calculation.problems import BalancekitError

masses = st.floats(2.0, 20.0)
ratios = st.floats(3.0, 8.0)


def test_hammer_of_a_rod_and_a_point():
    """A point of 8 g on a rod of 3 g: the scale reads 9.5 g, swung it counts 9 g (textbook)."""
    found = inertia.hammer_inertia_g(strike_weight_g=9.5, action_ratio=5.0, shank_mass_g=3.0)
    assert found == pytest.approx((8.0 + 3.0 / 3) * 25.0)


def test_a_bare_shank_has_two_thirds_of_its_strike_weight():
    """A rod: m/2 on the scale, m/3 when swung (textbook); the usual shank is heavier than this."""
    found = inertia.hammer_inertia_g(strike_weight_g=1.5, action_ratio=1.0)
    assert found == pytest.approx(1.0)


def test_usual_action_of_common_practice():
    """10 g at 5.5: the hammer is about 300 g (common practice, no source)."""
    assert inertia.hammer_inertia_g(strike_weight_g=10.0, action_ratio=5.5) == pytest.approx(
        300.0, rel=0.06
    )


@settings(max_examples=40, deadline=None)
@given(mass=masses, ratio=ratios, times=st.floats(1.0, 1.5))
def test_hammer_inertia_grows_with_the_square_of_the_ratio(mass, ratio, times):
    def at(r):
        return inertia.hammer_inertia_g(strike_weight_g=mass, action_ratio=r)

    assert at(ratio * times) == pytest.approx(at(ratio) * times**2)


@settings(max_examples=40, deadline=None)
@given(mass=masses, distance=st.floats(5.0, 300.0), arm=st.floats(150.0, 300.0))
def test_a_plug_counts_alike_on_both_sides_of_the_pin(mass, distance, arm):
    front = inertia.plug_inertia_g(mass_g=mass, distance_mm=distance, radius_mm=6.0, arm_mm=arm)
    back = inertia.plug_inertia_g(mass_g=mass, distance_mm=-distance, radius_mm=6.0, arm_mm=arm)
    assert front == back > 0


def test_the_same_kind_comes_back():
    weights = pd.Series([10.0, np.nan], index=[3, 4])
    found = inertia.hammer_inertia_g(strike_weight_g=weights, action_ratio=5.5)
    assert found.index.tolist() == [3, 4]
    assert np.isnan(found[4])
    assert isinstance(inertia.at_measuring_point_g(np.ones(3), arm_mm=200.0), np.ndarray)


STICK = dict(length_mm=400.0, height_mm=23.0, width_mm=13.0, density_g_cm3=0.45)


def test_small_values_by_hand():
    """Below 1 nothing is refused; a plug without a radius is a point (textbook)."""
    assert inertia.hammer_inertia_g(strike_weight_g=0.0, action_ratio=0.5, shank_mass_g=0.0) == 0
    half = inertia.hammer_inertia_g(strike_weight_g=0.6, action_ratio=0.5, shank_mass_g=0.6)
    assert half == pytest.approx((0.6 - 0.1) / 4)
    # 0.5 x 0.5^2 x 0.5
    assert inertia.wippen_inertia_g(wippen_weight_g=0.5, key_ratio=0.5, shape=0.5) == 0.0625
    assert inertia.wippen_inertia_g(wippen_weight_g=0.0, key_ratio=0.5) == 0
    assert inertia.at_measuring_point_g(2.0, arm_mm=0.5) == 8.0
    assert inertia.plug_inertia_g_mm2(mass_g=10.0, distance_mm=100.0) == 100_000.0
    assert inertia.plug_inertia_g(mass_g=10.0, distance_mm=100.0, arm_mm=200.0) == 2.5
    # A cube of 0.5 mm and 8 g/cm3 weighs 1 mg; pivot at its middle: m (a^2 + a^2) / 12.
    cube = dict(length_mm=0.5, height_mm=0.5, width_mm=0.5, density_g_cm3=8.0)
    assert inertia.stick_mass_g(**cube) == pytest.approx(0.001)
    turned = inertia.stick_inertia_g_mm2(**cube, pin_to_front_mm=0.25)
    assert turned == pytest.approx(0.001 * 0.5 / 12)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: inertia.hammer_inertia_g(strike_weight_g=-1.0, action_ratio=5.0),
         r"Strike weight \(g\) is -1. Give a number 0 or more."),
        (lambda: inertia.hammer_inertia_g(strike_weight_g=np.array([2.0, -3.0]), action_ratio=5.0),
         "is -3"),
        (lambda: inertia.hammer_inertia_g(strike_weight_g=1.0, action_ratio=0.0),
         "Action ratio is 0. Give a number above 0."),
        (lambda: inertia.hammer_inertia_g(strike_weight_g=np.inf, action_ratio=5.0), "is inf"),
        (lambda: inertia.hammer_inertia_g(strike_weight_g=1.0, action_ratio=5.0, shank_mass_g=-1.0),
         r"Shank mass \(g\) is -1. Give a number 0 or more."),
        (lambda: inertia.wippen_inertia_g(wippen_weight_g=-1.0, key_ratio=0.5),
         r"Wippen weight \(g\) is -1. Give a number 0 or more."),
        (lambda: inertia.wippen_inertia_g(wippen_weight_g=1.0, key_ratio=0.0),
         "Key ratio is 0. Give a number above 0."),
        (lambda: inertia.wippen_inertia_g(wippen_weight_g=1.0, key_ratio=0.5, shape=0.0),
         "Shape of the wippen is 0. Give a number above 0."),
        (lambda: inertia.at_measuring_point_g(1.0, arm_mm=0.0),
         r"Arm \(mm\) is 0. Give a number above 0."),
        *((lambda name=name: inertia.stick_mass_g(**{**STICK, f"{name}_mm": 0.0}),
           rf"^{name.capitalize()} of the key stick \(mm\) is 0. Give a number above 0.")
          for name in ("length", "height", "width")),
        (lambda: inertia.stick_mass_g(**{**STICK, "density_g_cm3": 0.0}),
         r"Density of the wood \(g/cm3\) is 0. Give a number above 0."),
        (lambda: inertia.stick_inertia_g_mm2(**STICK, pin_to_front_mm=0.0),
         r"Balance pin to front end \(mm\) is 0. Give a number above 0."),
        (lambda: inertia.stick_inertia_g_mm2(**STICK, pin_to_front_mm=400.0),
         "lies behind the end of the key stick. Give a distance .* less than the length"),
    ],
)  # fmt: skip
def test_bad_input_is_said(call, words):
    with pytest.raises(BalancekitError, match=words):
        call()
