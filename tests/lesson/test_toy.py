"""The uneven piano: a toy on true levers."""

from __future__ import annotations

from math import log10, sqrt

import pytest

from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.toy.piano import (
    FULL_M_S,
    MENDS,
    WORKS_MJ,
    mend,
    play,
    uneven_keys,
    unevenness_db,
)
from balancekit.lesson.toy.piano_panel import UnevenPiano


@pytest.mark.parametrize("work_mj", [40.0, 140.0])
def test_the_hammer_by_hand(work_mj):
    """Energy by hand at half-stroke values: work - (balance + friction) g s = M v^2 / 2.

    The ratio swings by a few percent up to let-off, so within 4 %.
    """
    key = LessonKey()
    travel_m = float(key.linkage.stroke_mm) / 1000
    left_j = work_mj / 1000 - key.down_weight_g / 1000 * 9.80665 * travel_m
    speed = key.action_ratio * sqrt(2 * left_j / (key.inertia_g / 1000))
    note = play(40, key, work_mj)
    assert note.speed_m_s == pytest.approx(speed, rel=0.04)
    assert note.loudness_db == pytest.approx(20 * log10(note.speed_m_s / FULL_M_S))
    assert note.frequency_hz == pytest.approx(261.6255653)  # ISO 16, C4


def test_too_little_work_makes_no_sound_and_too_much_friction_no_return():
    assert play(40, LessonKey(), 1.0).speed_m_s == 0.0
    stuck = LessonKey(friction_g=25.0, lead_g=60.0, lead_mm=160.0)
    assert stuck.up_weight_g < 0 and play(40, stuck, 40.0).repeats_a_second == 0.0


def test_lead_evens_the_scale_and_only_hammers_even_the_sound():
    found = uneven_keys()
    spread = {}
    for how in MENDS:
        keys = mend(found, how)
        levels = [key.balance_weight_g for key in keys.values()]
        assert (max(levels) - min(levels) < 1e-6) == (how != "as found")
        for touch, work in WORKS_MJ.items():
            spread[how, touch] = unevenness_db([play(n, key, work) for n, key in keys.items()])
    # Loud notes: lead changes little. Like hammers: hardly anything is left.
    assert spread["lead set", "loud"] > 0.9 * spread["as found", "loud"] > 1.5
    assert spread["hammers made alike too", "loud"] < 0.1
    # Friction eased: no key is much slower than the others to come back.
    keys = mend(found, "friction eased too")
    assert max(key.friction_g for key in keys.values()) <= 12.0


def test_the_panel_says_what_is_heard_and_why():
    panel = UnevenPiano()
    before = panel.said.value
    panel.done.value = "hammers made alike too"
    assert panel.said.value != before and "37.0 g to 37.0 g" in panel.said.value
    panel.tones.played = {"key": 45, "gain": 0.4, "number": 1}
    assert panel.notes[45].name in panel.equation.value
    assert f"{panel.notes[45].speed_m_s:.2f} m/s" in panel.equation.value
    assert 'data-term="strike_weight_g"' in panel.equation.value
    panel.play_all()
    assert panel.tones.all == 1 and len(panel.tones.notes) == 13
