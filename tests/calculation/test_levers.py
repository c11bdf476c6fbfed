"""Dip, blow, and which lever moves by how much."""

from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.generator import InventedRun, Recipe, invent
from balancekit.calculation.levers import (
    Regulation,
    find_blow_distance_mm,
    find_dip_mm,
    regulation_after,
)
from balancekit.calculation.linkage.distances import ActionGeometry, fit_distances
from balancekit.calculation.linkage.moves import capstan_shifts, lever_moves
from balancekit.calculation.linkage.positions import Linkage
from balancekit.calculation.problems import BalancekitError

GEOMETRY = ActionGeometry()


def test_usual_regulation():
    """46 mm of blow at 5.2 with 1 mm aftertouch is within the usual 9.5 to 10.5 mm (memory)."""
    dip_mm = find_dip_mm(blow_distance_mm=46.0, action_ratio=5.2, aftertouch_mm=1.0)
    assert 9.5 <= dip_mm <= 10.5
    # Small lengths and ratios pass too: (1.5 - 1) x 0.5 and back.
    small = find_blow_distance_mm(key_dip_mm=1.5, action_ratio=0.5, aftertouch_mm=1.0)
    assert small == 0.25
    assert find_dip_mm(blow_distance_mm=small, action_ratio=0.5, aftertouch_mm=1.0) == 1.5


@settings(max_examples=40, deadline=None)
@given(blow=st.floats(30, 60), ratio=st.floats(4, 8), aftertouch=st.floats(0, 2))
def test_dip_and_blow_undo_each_other(blow, ratio, aftertouch):
    dip_mm = find_dip_mm(blow_distance_mm=blow, action_ratio=ratio, aftertouch_mm=aftertouch)
    back = find_blow_distance_mm(key_dip_mm=dip_mm, action_ratio=ratio, aftertouch_mm=aftertouch)
    assert back == pytest.approx(blow)


@pytest.mark.parametrize(
    ("found", "part", "after"),
    [
        ((10.0, 46.0), 1.0, (10.0, 46.0)),
        ((10.0, 46.0), 1.04, (9.65, 46.0)),  # 9 / 1.04 + 1; the blow stays
        ((10.0, 46.0), 1.1, (9.5, 47.79)),  # 9 / 1.1 + 1 is 9.18; 8.5 x 46 / 9 x 1.1
        ((10.0, 46.0), 0.92, (10.5, 44.67)),  # 9 / 0.92 + 1 is 10.78; 9.5 x 46 / 9 x 0.92
        ((10.0, 46.0), 0.9, None),  # 9.5 x 46 / 9 x 0.9 is 43.7
        ((10.0, 46.0), 1.15, None),  # 8.5 x 46 / 9 x 1.15 is 49.96
        ((10.5, 44.0), 1.0, (10.5, 44.0)),  # the ends of what is usual are usual
        ((9.5, 48.0), 1.0, (9.5, 48.0)),
        ((11.0, 43.0), 1.02, (10.8, 43.0)),  # beyond it as found: may stay, not go further
        ((11.0, 43.0), 0.98, None),
        ((9.0, 50.0), 0.95, (9.42, 50.0)),
        ((9.0, 50.0), 1.02, None),
    ],
)
def test_dip_and_blow_after_a_moved_lever_by_hand(found, part, after):
    """Usual limits from memory: dip 9.5 to 10.5 mm, blow 44 to 48 mm; aftertouch 1 mm."""
    dip_mm, blow_mm = found
    held = regulation_after(part, key_dip_mm=dip_mm, blow_distance_mm=blow_mm, aftertouch_mm=1.0)
    assert held == (after and Regulation(*after))


@settings(max_examples=40, deadline=None)
@given(part=st.floats(0.85, 1.15))
def test_a_moved_lever_reaches_the_wanted_ratio(part):
    """The moved distances, put back into the product of the three levers."""
    now = GEOMETRY.action_ratio
    capstan, knuckle = lever_moves(GEOMETRY, action_ratio=now, wanted_ratio=now * part)
    moved = replace(
        GEOMETRY,
        capstan_arm_mm=GEOMETRY.capstan_arm_mm + capstan.move_mm,
        heel_arm_mm=GEOMETRY.heel_arm_mm - capstan.move_mm,
    )
    assert moved.action_ratio == pytest.approx(now * part)
    moved = replace(GEOMETRY, knuckle_arm_mm=GEOMETRY.knuckle_arm_mm + knuckle.move_mm)
    assert moved.action_ratio == pytest.approx(now * part)


@pytest.mark.parametrize(("key_ratio", "heel_mm"), [(0.45, None), (0.5, None), (0.5, 60.0)])
def test_what_a_moved_capstan_shifts_is_what_the_linkage_gives(key_ratio, heel_mm):
    """Both ratios as the levers turn, the wippen's moment kept; a move of 0.01 mm."""
    before = fit_distances(key_ratio, 5.7, heel_arm_mm=heel_mm)
    after = before.with_capstan(before.capstan_arm_mm + 0.01)
    ratios = []
    for linkage in (Linkage(before), Linkage(after)):
        level = linkage.weighing
        ratios.append((float(linkage.key_ratio(level)), float(linkage.action_ratio(level))))
    (key, action), (key_after, action_after) = ratios
    heavier = 18.0 * before.heel_arm_mm / after.heel_arm_mm - 18.0
    shifts = capstan_shifts(
        key_ratio=key_ratio,
        action_ratio=5.7,
        wippen_weight_g=18.0,
        capstan_for_heel=heel_mm and before.capstan_arm_mm / heel_mm,
    )
    by = key_after - key
    assert shifts["action_ratio"] == pytest.approx((action_after - action) / by, rel=1e-3)
    assert shifts["wippen_weight_g"] == pytest.approx(heavier / by, rel=1e-3)


def test_an_invented_grand_s_displaced_capstans_change_what_the_levers_say():
    """By hand: 3 mm longer at the key, 3 mm shorter at the heel; 189 mm from pin to wippen centre.

    The wippen's moment about its centre stays, and nothing else does.
    """
    plain, moved = (
        invent(3, Recipe(runs=runs)).truth for runs in ((), (InventedRun(27, 43, capstan_mm=3.0),))
    )
    parts = ["key_ratio", "action_ratio", "wippen_weight_g"]
    for key in (27, 32, 43):  # B, E and D#: two naturals and a sharp
        arm = 240.0 if key < 43 else 200.0
        capstan = plain["key_ratio"][key] * arm
        heel = 64 + 125 * arm / 240 - capstan
        shorter, longer = heel / (heel - 3), (capstan + 3) / capstan
        by_hand = plain.loc[key, parts] * [longer, longer * shorter, shorter]
        assert moved.loc[key, parts].tolist() == pytest.approx(by_hand.tolist())
    outside = ~plain.index.isin(range(27, 44))
    pd.testing.assert_frame_equal(moved[outside], plain[outside])
    same = ["front_weight_g", "strike_weight_g", "friction_g"]
    pd.testing.assert_frame_equal(moved[same], plain[same])


def test_the_change_for_one_mm():
    """Against a small move of 0.001 mm (difference quotient)."""
    now, small = GEOMETRY.action_ratio, 0.001
    capstan, knuckle = lever_moves(GEOMETRY, action_ratio=now, wanted_ratio=5.0)
    moved = replace(
        GEOMETRY,
        capstan_arm_mm=GEOMETRY.capstan_arm_mm + small,
        heel_arm_mm=GEOMETRY.heel_arm_mm - small,
    )
    assert capstan.ratio_for_one_mm == pytest.approx((moved.action_ratio - now) / small, rel=1e-3)
    moved = replace(GEOMETRY, knuckle_arm_mm=GEOMETRY.knuckle_arm_mm + small)
    assert knuckle.ratio_for_one_mm == pytest.approx((moved.action_ratio - now) / small, rel=1e-3)


def test_sentences():
    capstan, knuckle = lever_moves(GEOMETRY, action_ratio=5.8, wanted_ratio=5.5)
    assert knuckle.sentence.startswith("Move the knuckle 0.9 mm away from the shank centre; 1 mm")
    assert "towards the balance pin" in capstan.sentence
    same, _ = lever_moves(GEOMETRY, action_ratio=5.8, wanted_ratio=5.8)
    assert same.sentence.startswith("Leave the capstan where it is")


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: ActionGeometry(knuckle_arm_mm=0.0), "Shank centre to knuckle"),
        (lambda: lever_moves(GEOMETRY, action_ratio=5.0, wanted_ratio=-1.0), "Wanted action ratio"),
        (lambda: find_dip_mm(blow_distance_mm=-46.0, action_ratio=5.0, aftertouch_mm=1.0), "Blow"),
        (lambda: find_blow_distance_mm(key_dip_mm=1.0, action_ratio=5.0, aftertouch_mm=1.0),
         "as large as the key dip.*about 1 mm is usual"),
        (lambda: find_blow_distance_mm(key_dip_mm=0.0, action_ratio=5.0, aftertouch_mm=1.0),
         r"Key dip \(mm\) is 0. Give a number above 0"),
        (lambda: find_dip_mm(blow_distance_mm=0.0, action_ratio=5.0, aftertouch_mm=1.0),
         r"Blow distance \(mm\) is 0. Give a number above 0"),
        (lambda: find_dip_mm(blow_distance_mm=46.0, action_ratio=0.0, aftertouch_mm=1.0),
         "Action ratio is 0. Give a number above 0"),
        (lambda: find_dip_mm(blow_distance_mm=46.0, action_ratio=5.0, aftertouch_mm=-0.5),
         r"Aftertouch \(mm\) is -0.5. Give a number 0 or more"),
        (lambda: find_blow_distance_mm(key_dip_mm=10.0, action_ratio=5.0, aftertouch_mm=-0.5),
         r"Aftertouch \(mm\) is -0.5"),
        (lambda: regulation_after(0.0, key_dip_mm=10.0, blow_distance_mm=46.0, aftertouch_mm=1.0),
         "Action ratio is 0"),
        (lambda: regulation_after(1.0, key_dip_mm=1.0, blow_distance_mm=46.0, aftertouch_mm=1.0),
         "as large as the key dip"),
    ],
)  # fmt: skip
def test_bad_input_is_said(call, words):
    with pytest.raises(BalancekitError, match=words):
        call()
