"""Readings that look like slips are flagged, and sound ones are not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.instrument.doubts import Doubt, find_doubts
from balancekit.instrument.tables import TABLES, typed

STATED = {name: float(QUANTITIES[name].reading_u or 0.0) for name in READING_COLUMNS}


def sound(seed: int = 1, key_count: int = 88) -> pd.DataFrame:
    """Readings of an even instrument, in steps of a scale, with the stated weighing error.

    The levels are the usual values that the register of quantities gives (from memory).
    """
    draw = np.random.default_rng(seed)
    place = np.linspace(0, 1, key_count)
    levels = {
        "down_weight_g": 52 - 5 * place,
        "up_weight_g": 24 + 2 * place,
        "front_weight_g": 30 - 32 * place,
        "strike_weight_g": 11.5 - 6 * place,
        "wippen_weight_g": 18 + 0 * place,
        "key_ratio": 0.5 + 0 * place,
    }
    table = {
        name: np.round(level + draw.normal(0, STATED[name], key_count), 3 if "ratio" in name else 1)
        for name, level in levels.items()
    }
    return typed(pd.DataFrame({"key": range(1, key_count + 1)} | table), TABLES["readings"])


def doubts_of(table: pd.DataFrame, key_count: int = 88) -> list[Doubt]:
    return list(find_doubts(table, STATED, key_count, "A0"))


def short(found: list[Doubt]) -> list[tuple[int | None, str, str]]:
    return [(doubt.key, doubt.quantity, doubt.kind) for doubt in found]


@pytest.mark.parametrize("seed", range(30))
def test_a_sound_instrument_raises_no_doubt(seed):
    table = sound(seed)
    repeated = sound(seed + 100)
    both = pd.concat([table, repeated[repeated["key"] % 11 == 0]])
    assert doubts_of(both) == []


def test_two_whole_columns_exchanged_are_one_doubt():
    table = sound()
    names = {"down_weight_g": "up_weight_g", "up_weight_g": "down_weight_g"}
    (doubt,) = doubts_of(table.rename(columns=names))
    assert (doubt.key, doubt.read) == (None, "up weight above down weight on 88 of 88 keys")


def test_small_and_negative_front_weights_are_no_slips():
    table = sound()
    table["front_weight_g"] = np.linspace(20, -6, 88).round(1)
    table.loc[60:70, "front_weight_g"] = 0.0
    assert doubts_of(table) == []


def test_a_value_next_to_nothing_is_no_moved_decimal_point():
    table = sound()
    table.loc[3, "up_weight_g"] = 5e-324
    assert doubts_of(table) == []


def test_repeats_that_disagree():
    table = sound()
    again = table.loc[[10]].assign(strike_weight_g=table.loc[10, "strike_weight_g"] + 1.0)
    found = doubts_of(pd.concat([table, again]))
    assert short(found) == [(11, "strike_weight_g", "repeats disagree")]
    low = table.loc[10, "strike_weight_g"]
    assert found[0].read == f"{low:g} g, {low + 1:g} g"
    # Four standard uncertainties of a difference of two readings: 4 x 0.1 g x sqrt(2) = 0.57 g.
    assert found[0].expected == "within 0.57 g of each other"


def test_one_wrong_repeat_among_many_is_found_and_the_order_does_not_matter():
    for values in ([50.0, 50.4, 49.7, 60.0], [60.0, 50.4, 50.0, 49.7]):
        table = pd.DataFrame({"key": [1] * 4, "down_weight_g": values})
        kinds = [doubt.kind for doubt in doubts_of(table, 1)]
        assert kinds.count("repeats disagree") == 1
    close = pd.DataFrame({"key": [1] * 4, "down_weight_g": [50.0, 50.4, 49.7, 51.0]})
    assert "repeats disagree" not in [doubt.kind for doubt in doubts_of(close, 1)]


def test_a_missing_reading_and_a_key_that_was_not_weighed():
    table = sound()
    table.loc[7, "front_weight_g"] = np.nan
    found = doubts_of(table.drop(index=[3]))
    assert found == [
        Doubt(4, "key", "missing reading", "no reading of key 4 (C1)", "a reading of each key",
              "Weigh the key, or go on without it."),
        Doubt(8, "front_weight_g", "missing reading", "no front weight of key 8 (E1)",
              "a front weight of each key", "Read the front weight, or go on without the result."),
    ]  # fmt: skip


def test_a_row_without_any_reading_is_a_missing_key():
    table = sound()
    table.loc[3, list(READING_COLUMNS)] = np.nan
    assert short(doubts_of(table)) == [(4, "key", "missing reading")]


def test_a_sampled_quantity_is_one_doubt():
    table = sound()
    table.loc[table["key"] % 8 != 1, "key_ratio"] = np.nan
    (doubt,) = doubts_of(table)
    assert (doubt.key, doubt.quantity, doubt.read) == (
        None,
        "key_ratio",
        "key ratio on 11 of 88 keys",
    )


def test_a_sampled_instrument_is_one_doubt():
    table = sound()
    found = doubts_of(table[table["key"] % 4 == 1])
    assert short(found) == [(None, "key", "missing reading")]


def test_spring_relief_is_missed_only_where_others_have_it():
    table = sound()
    assert doubts_of(table) == []
    table["spring_relief_g"] = 8.0
    table.loc[5, "spring_relief_g"] = np.nan
    assert short(doubts_of(table)) == [(6, "spring_relief_g", "missing reading")]


def test_no_readings_raise_no_doubt():
    assert doubts_of(TABLES["readings"].empty()) == []


def test_an_impossible_instrument_is_refused():
    with pytest.raises(BalancekitError):
        find_doubts(sound(), STATED, 88, "H9")


@given(
    st.lists(
        st.fixed_dictionaries(
            {"key": st.integers(1, 12)}
            | {
                name: st.just(np.nan)
                | st.floats(QUANTITIES[name].minimum, QUANTITIES[name].maximum)
                for name in READING_COLUMNS
            }
        ),
        max_size=14,
    )
)
@settings(max_examples=60, deadline=None)
def test_any_possible_readings_can_be_looked_at(rows):
    table = typed(pd.DataFrame(rows, columns=["key", *READING_COLUMNS]), TABLES["readings"])
    found = doubts_of(table, 12)
    if table["key"].is_unique:
        assert found == doubts_of(table.iloc[::-1], 12)
    assert all(doubt.read and doubt.expected and doubt.advice for doubt in found)
