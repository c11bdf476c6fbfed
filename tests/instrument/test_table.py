"""The table of keys: what is read, what is filled in between, and what an upright has."""

from itertools import pairwise

import numpy as np

from balancekit.calculation.generator import invent, weigh
from balancekit.instrument.believed import believe
from balancekit.instrument.demo import sampled_grand
from balancekit.instrument.filled_in import key_table
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.instrument.table import reading_table


def test_readings_on_a_few_keys_give_every_key_a_ratio_with_a_larger_uncertainty():
    instrument = sampled_grand()
    read, table = reading_table(instrument), key_table(instrument)
    direct = read["action_ratio"].notna()
    assert 0 < direct.sum() < 20
    assert table["action_ratio"].notna().all() and (table["missing"] == "").all()
    assert ((table["estimated"] == "") == direct).all()
    assert (table.loc[~direct, "estimated"] == "strike_weight_g, wippen_weight_g, key_ratio").all()
    # Beside a key that was read, one of its colour that was not is believed no better.
    told = believe(instrument).table
    for colour in ("natural", "sharp"):
        for pair in pairwise(told.index[told["colour"] == colour]):
            for own, beside in (pair, pair[::-1]):
                if direct[own] and not direct[beside]:
                    least = 0.99 * told["action_ratio_u"][own]
                    assert table["action_ratio_u"][beside] > least
    np.testing.assert_array_equal(table.loc[direct, "action_ratio"], read["action_ratio"][direct])


def test_a_reading_taken_nowhere_stays_missing():
    readings = weigh(invent(3).truth, 4).drop(columns="wippen_weight_g")
    table = key_table(Instrument().with_readings(readings))
    assert (table["missing"] == "wippen_weight_g").all()
    assert table["action_ratio"].isna().all()
    assert table["friction_g"].notna().all()


def test_an_upright_has_friction_and_balance_weight_only():
    readings = weigh(invent(3).truth, 4)
    settings = BenchSettings(action="upright")
    table = key_table(Instrument(settings=settings).with_readings(readings))
    assert table["friction_g"].notna().all() and table["balance_weight_g"].notna().all()
    assert table["action_ratio"].isna().all()
    assert (table["missing"] == "").all()


def test_one_key_and_ninety_seven():
    for count, note in ((1, "C4"), (97, "C0")):
        settings = BenchSettings(key_count=count, first_note=note)
        table = key_table(Instrument(settings=settings))
        assert len(table) == count
        assert table["missing"].str.contains("down_weight_g").all()
