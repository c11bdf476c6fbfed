"""The key stick: usual sizes, the user's own, and where holes fit."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.leads.key_stick import (
    Zone,
    blocked_stretches,
    from_front_edge_mm,
    hole_fits,
    usual_sticks,
    wood_front_weight_g,
    zones_from_table,
)
from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.tables import TABLES, typed

COLOURS = keyboard()["colour"]


def own(**columns):
    return typed(pd.DataFrame(columns), TABLES["key_sticks"])


def test_own_sizes_hold_in_straight_lines_by_colour():
    given_sizes = own(key=[1, 88], stick_length_mm=[460.0, 373.0], stick_width_mm=[15.0, np.nan])
    sticks = usual_sticks(COLOURS, given=given_sizes)
    naturals = sticks[sticks["colour"] == "natural"]
    expected = 460 - (naturals.index - 1)
    assert naturals["stick_length_mm"].to_numpy() == pytest.approx(expected.to_numpy(dtype=float))
    assert (naturals["stick_width_mm"] == 15.0).all()
    assert sticks.loc[2, "stick_length_mm"] == usual_sticks(COLOURS).loc[2, "stick_length_mm"]


def test_the_capstan_follows_from_the_key_ratio_unless_measured():
    ratio = pd.Series(0.45, COLOURS.index)
    assert usual_sticks(COLOURS, key_ratio=ratio).loc[1, "capstan_mm"] == pytest.approx(-108.0)
    measured = usual_sticks(COLOURS, given=own(key=[1, 2], capstan_mm=[-120.0, -99.0]))
    assert measured.loc[[88, 86], "capstan_mm"].tolist() == [-120.0, -99.0]


def test_measuring_one_colour_leaves_the_other_with_its_usual_capstan():
    sticks = usual_sticks(COLOURS, given=own(key=[1], capstan_mm=[-120.0]))
    assert sticks["capstan_mm"].notna().all()
    assert sticks.loc[2, "capstan_mm"] == pytest.approx(-100.0)


@given(st.floats(-300, 300))
def test_a_ruler_from_the_front_edge_reads_the_rest_of_the_way(distance):
    """Balance pin to front edge is arm + edge; the two distances add up to it."""
    ruler = from_front_edge_mm(distance, arm_mm=240.0, front_edge_mm=13.0)
    assert ruler + distance == pytest.approx(253.0)


def test_holes_stay_out_of_what_is_blocked():
    stick = usual_sticks(COLOURS).loc[1]
    zones = [Zone(50.0, 60.0, "natural"), Zone(80.0, 90.0, "sharp")]
    stretches = blocked_stretches(stick, zones)
    x = np.arange(-200, 260)
    fits = x[hole_fits(x, 10.0, stretches)]
    assert fits.max() == 240 + 13 - 48 - 5
    assert fits.min() == -120 + 8 + 5  # behind the capstan the back end is too near
    assert not set(fits) & set(range(-16, 17))
    assert not set(fits) & set(range(46, 65)) and 45 in fits and 65 in fits
    assert 85 in fits
    assert not set(fits) & set(range(-132, -107))


def test_zones_come_from_their_table():
    table = pd.DataFrame({"colour": ["", "sharp"], "from_mm": [1.0, 2.0], "to_mm": [5.0, 6.0]})
    zones = zones_from_table(typed(table, TABLES["hole_zones"]))
    assert zones == (Zone(1.0, 5.0), Zone(2.0, 6.0, "sharp"))


def test_front_weight_of_a_stick_by_hand():
    """410 x 23 x 14 mm at 0.448 g/cm3 is 59.1 g; its middle is 253 - 205 = 48 mm before the pin."""
    front = wood_front_weight_g(usual_sticks(COLOURS)).loc[1]
    assert front == pytest.approx(410 * 23 * 14 * 0.448e-3 * 48 / 240)


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"key": [1, 1]}, "twice"),
        ({"key": [99]}, "not on the keyboard"),
        ({"key": [1], "stick_width_mm": [0.0]}, "above 0"),
        ({"key": [1], "stick_length_mm": [200.0]}, "behind the back end"),
    ],
)
def test_sticks_that_cannot_be_are_refused(columns, words):
    with pytest.raises(BalancekitError, match=words):
        usual_sticks(COLOURS, given=own(**columns))


def test_zones_that_cannot_be_are_refused():
    with pytest.raises(BalancekitError, match="smaller distance first"):
        Zone(5.0, 5.0)
    with pytest.raises(BalancekitError, match="not a colour"):
        Zone(0.0, 5.0, "white")
