"""The key without lead: by hand, and where the front weight puts its centre of mass.

Parallel axis theorem: Feynman, Leighton and Sands, The Feynman Lectures on Physics, volume I, 19-2.
"""

import pandas as pd
import pytest

from balancekit.calculation.inertia import stick_inertia_g_mm2, stick_mass_g
from balancekit.calculation.leads.bare_key import (
    KEY_PARTS,
    bare_front_weight_g,
    bare_inertia_g,
    bare_inertia_parts_g,
    bare_mass_g,
)
from balancekit.calculation.leads.key_stick import usual_sticks
from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.hammer_inputs import hammer_inputs
from balancekit.instrument.demo import studio_grand

STICKS = usual_sticks(pd.Series(["natural", "sharp"], [1, 2]))
PLAIN = STICKS.assign(covering_g=0.0, capstan_g=0.0, back_check_g=0.0)


def test_the_parts_of_a_natural_by_hand():
    """410 x 23 x 14 mm at 0.448 g/cm3 is 59.14 g, its middle 48 mm before the pin.

    The covering lies at 253 - 60 = 193 mm, the capstan at -120 mm, the back check at
    253 - 410 + 15 = -142 mm; each is a point, and the arm is 240 mm.
    """
    wood = 410 * 23 * 14 * 0.448e-3
    parts = bare_inertia_parts_g(STICKS).loc[1]
    assert parts["wood"] == pytest.approx(wood * ((410**2 + 23**2) / 12 + 48**2) / 240**2)
    assert parts["covering"] == pytest.approx(6 * (193 / 240) ** 2)
    assert parts["capstan"] == pytest.approx(6 * 0.5**2)
    assert parts["back_check"] == pytest.approx(6 * (142 / 240) ** 2)
    assert parts["centre"] == 0.0 and list(parts.index) == list(KEY_PARTS)
    pressed = (wood * 48 + 6 * 193 - 6 * 120 - 6 * 142) / 240
    assert bare_front_weight_g(STICKS)[1] == pytest.approx(pressed)
    assert bare_mass_g(STICKS)[1] == pytest.approx(wood + 18)


def test_a_key_whose_middle_lies_elsewhere_is_told_by_its_front_weight():
    """The same bar pushed 7 mm to the front: theorem and scale say the same inertia."""
    sizes = dict(length_mm=410.0, height_mm=23.0, width_mm=14.0, density_g_cm3=0.448)
    mass = stick_mass_g(**sizes)
    pushed = stick_inertia_g_mm2(**sizes, pin_to_front_mm=253.0 + 7.0) / 240**2
    read = pd.Series([mass * (48.0 + 7.0) / 240, float("nan")], [1, 2])
    assert bare_inertia_g(PLAIN, read)[1] == pytest.approx(pushed, rel=1e-12)
    assert bare_inertia_g(PLAIN, read)[2] == bare_inertia_g(PLAIN)[2]  # nothing read, nothing moved


def test_wood_that_is_not_even_is_told_better_with_the_front_weight_than_without():
    """A bar half of dense and half of light wood, each half a bar of its own."""
    half = dict(height_mm=23.0, width_mm=14.0, length_mm=205.0)
    for front, back in ((0.50, 0.396), (0.396, 0.50)):
        masses = [stick_mass_g(**half, density_g_cm3=d) for d in (front, back)]
        places = [253.0 - 102.5, 253.0 - 307.5]
        own = (205.0**2 + 23.0**2) / 12
        pairs = list(zip(masses, places, strict=True))
        true = sum(m * (own + x**2) for m, x in pairs) / 240**2
        read = pd.Series(sum(m * x for m, x in pairs) / 240, [1])
        one = PLAIN.loc[[1]]
        assert abs(bare_inertia_g(one, read)[1] - true) < 0.6 * abs(bare_inertia_g(one)[1] - true)


def test_what_the_user_weighed_is_counted_and_nothing_can_be_there():
    given = pd.DataFrame({"key": [1], "covering_g": [0.0], "back_check_g": [9.0]})
    own = usual_sticks(STICKS["colour"], given=given)
    assert bare_inertia_parts_g(own)["covering"][1] == 0.0
    more = bare_inertia_g(own)[1] - bare_inertia_g(STICKS)[1]
    assert more == pytest.approx(3 * (142 / 240) ** 2 - 6 * (193 / 240) ** 2)
    with pytest.raises(BalancekitError, match="covering_mm"):
        usual_sticks(STICKS["colour"], given=given.assign(covering_mm=0.0))


def test_the_account_of_an_instrument_holds_them_and_follows_its_own_table():
    grand = studio_grand()
    usual = hammer_inputs(grand).table["stick_inertia_g"]
    own = pd.DataFrame({"key": [1, 88], "capstan_g": [12.0, 12.0]})
    heavier = hammer_inputs(grand.with_table("key_sticks", own)).table["stick_inertia_g"]
    naturals = grand.keys["colour"] == "natural"
    # 6 g more at half of the arm are 1.5 g; less is left to the estimate of lead and centre.
    assert (heavier - usual)[naturals].mean() == pytest.approx(1.5, abs=1.2)
    assert Bench(grand.with_table("key_sticks", own)).instrument.table("key_sticks")[
        "capstan_g"
    ].tolist() == [12.0, 12.0]
