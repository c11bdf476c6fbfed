"""What a chart over the keyboard has in view: the body of the readings, and slips at the edge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from bokeh.models import HoverTool

from balancekit.charts.hammer_mass import Hammers, hammers_chart, hammers_data, hammers_limits
from balancekit.charts.hammer_sets import sets_limits
from balancekit.charts.look import body_limits
from balancekit.charts.over_keys import Extra, over_keys_data, over_keys_limits
from balancekit.instrument.demo import studio_grand
from balancekit.instrument.filled_in import key_table

KEYS = pd.RangeIndex(1, 89, name="key")
COURSE = pd.Series(np.linspace(12.5, 5.5, 88), KEYS)
SCATTER = pd.Series(np.random.default_rng(7).normal(0, 0.15, 88), KEYS)
WEIGHTS = COURSE + SCATTER
NAME = "strike_weight_g"


def slipped(key: int, factor: float) -> pd.Series:
    """Return the weights with the decimal point of one moved."""
    return WEIGHTS.where(key != KEYS, WEIGHTS * factor)


def table_of(weights: pd.Series) -> pd.DataFrame:
    """Return what a chart needs of a table of keys."""
    colour = np.where(KEYS % 3 == 0, "sharp", "natural")
    return pd.DataFrame({NAME: weights, "colour": colour, "note_name": "C4"}, KEYS)


def hammers_of(weights: pd.Series) -> Hammers:
    """Return hammers that were all weighed."""
    table = table_of(weights)
    u = pd.Series(0.1, KEYS)
    return Hammers(table["colour"], table["note_name"], weights, u, weights)


@pytest.mark.parametrize("key", [1, 2, 44, 61, 88])
@pytest.mark.parametrize("factor", [0.1, 10.0])
def test_a_moved_decimal_point_does_not_change_what_is_in_view(key, factor):
    weights = slipped(key, factor)
    known = WEIGHTS.drop(key)
    assert body_limits(weights) == (known.min(), known.max())
    limits = over_keys_limits(table_of(weights), NAME)
    assert limits == pytest.approx(over_keys_limits(table_of(WEIGHTS), NAME), abs=0.6)
    assert hammers_limits(hammers_of(weights)) == (known.min() - 1.2, known.max() + 2.2)
    assert sets_limits({"a": weights, "b": WEIGHTS + 1.0})[1] < WEIGHTS.max() + 4.0


@pytest.mark.parametrize(("factor", "marker"), [(0.1, "inverted_triangle"), (10.0, "triangle")])
def test_what_lies_outside_is_an_arrow_at_the_edge_that_tells_its_value(factor, marker):
    weights = slipped(61, factor)
    read = f"{weights[61]:.1f} g"
    for data, limits in (
        (over_keys_data(table_of(weights), NAME), over_keys_limits(table_of(weights), NAME)),
        (hammers_data(hammers_of(weights)), hammers_limits(hammers_of(weights))),
    ):
        points = data["points"]
        assert points["marker"][60] == marker and points["marker"].count(marker) == 1
        assert limits[0] < points["y"][60] < limits[1]
        assert points["value"][60] == weights[61] and read in points["text"][60]
        for edge in ("lower", "upper"):
            assert limits[0] <= points[edge][60] <= limits[1]


def test_the_hover_of_the_hammers_shows_the_value_and_not_the_place():
    chart = hammers_chart(hammers_of(slipped(61, 0.1)), title="Hammers")
    (hover,) = chart.figure.select({"type": HoverTool})
    assert ("Strike weight", "@text") in hover.tooltips


def test_a_real_step_and_a_real_dip_stay_in_view():
    step = WEIGHTS.where(KEYS < 45, WEIGHTS + 3.0)
    dip = WEIGHTS - 2.5 * np.exp(-(((KEYS - 52) / 4.0) ** 2))
    tight = pd.Series(12.0 + np.random.default_rng(3).normal(0, 0.8, 88), KEYS)
    tight[34] = 17.0
    for values in (step, dip, tight):
        assert body_limits(values) == (values.min(), values.max())


@pytest.mark.parametrize(
    ("values", "expected"),
    [([], None), ([np.nan], None), ([3.0], (3, 3)), ([2.0, np.nan, 9.0], (2, 9)),
     ([5.0] * 20, (5, 5)), ([0.0] * 20, (0, 0)), ([12.0, 9.0, 6.0], (6, 12))],
)  # fmt: skip
def test_few_and_equal_values_are_all_in_view(values, expected):
    assert body_limits(pd.Series(values, dtype=float)) == expected


def test_the_wanted_curve_is_in_view_too():
    table, target = table_of(WEIGHTS), COURSE - 4.0
    low, high = over_keys_limits(table, NAME, target)
    assert low < target.min() and high > WEIGHTS.max()
    assert over_keys_data(table, NAME, Extra(target=target))["target"]["y"].min() > low


def test_hammers_that_nobody_weighed_keep_their_ceiling():
    nothing = pd.Series(np.nan, KEYS)
    hammers = replace(hammers_of(WEIGHTS), weighed_g=nothing, estimate_g=nothing,
                      ceiling_g=COURSE, ceiling_u_g=COURSE * 0 + 0.1)  # fmt: skip
    data = hammers_data(hammers)
    assert len(data["points"]["key"]) == 0 and len(data["ceiling"]["key"]) == 88


def test_the_slip_of_the_demo_squeezes_no_chart():
    table = key_table(studio_grand())
    assert table.at[61, NAME] == pytest.approx(0.89)
    low, _ = over_keys_limits(table, NAME)
    assert low > 4.0
