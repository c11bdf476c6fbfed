"""The next weight is asked until a reading is found; how near it lies is kept with it."""

import numpy as np
import pandas as pd
import pytest

from balancekit.instrument.believed import believe
from balancekit.instrument.bench import Bench
from balancekit.instrument.entry import read_again, set_cells
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.instrument.store import open_folder
from balancekit.panels.guided import Guided
from tests.panels.shown import text_of

KEYS = np.arange(1, 89)
UNEVEN = np.random.default_rng(4).normal(0, 1.5, len(KEYS))
ONE_EACH = pd.DataFrame(
    {"key": KEYS, "down_weight_g": 52 - KEYS / 30 + UNEVEN, "up_weight_g": 26 + KEYS / 60 + UNEVEN}
)
"""One reading a key, so that no repeat tells of the hand."""


@pytest.fixture
def guided(bench) -> Guided:
    bench.key = 12
    return Guided(bench)


def answer_all(guided: Guided, truth_g: float, most: int = 20) -> int:
    """Answer as a key does that sinks from, or does not lift, ``truth_g`` on."""
    key = guided.bench.key
    for count in range(1, most + 1):
        guided.answer(guided.search.next_g >= truth_g)
        if guided.bench.key != key:
            return count
    raise AssertionError("The reading was not found.")


def test_down_weight_is_the_middle_of_the_weights_that_it_lies_between(bench, guided):
    assert "Put " in guided.ask.value and guided.enough.description == "It sinks"
    before = bench.instrument
    placed = answer_all(guided, 53.4)
    row = bench.readings.set_index("key").loc[12]
    assert row["down_weight_g"] == 53.5 and row["down_weight_within_g"] == 0.5
    assert "between 53 and 54 g" in guided.told.value and bench.key == 13
    assert f"{placed} placements" in guided.told.value
    bench.undo()
    assert bench.instrument is before


def test_up_weight_is_found_in_the_same_way(bench, guided):
    guided.reading.value = "up_weight_g"
    answer_all(guided, 26.4)
    row = bench.readings.set_index("key").loc[12]
    assert row["up_weight_g"] == 26.5 and row["up_weight_within_g"] == 0.5
    assert np.isnan(row["down_weight_within_g"])


def test_a_coarse_step_widens_the_band_of_its_key_in_the_file_as_well(bench, guided):
    """Guided reading, file, opened again: the same two weights and the same uncertainty.

    A step of 2 g beside the stated 0.7 g, which holds one of 1 g (JCGM 100:2008, 4.3.7):
    0.49 + (4 - 1) / 12.
    """
    bench.change(bench.instrument.with_readings(ONE_EACH))
    u_before = bench.table["down_weight_u_g"]
    believed_before = believe(bench.instrument).table["balance_weight_u_g"]
    guided.step.value = 2.0
    answer_all(guided, 53.4)
    u = bench.table["down_weight_u_g"]
    assert u[12] == pytest.approx((0.49 + (4 - 1) / 12) ** 0.5)
    assert u.drop(12).equals(u_before.drop(12))
    believed = believe(bench.instrument).table["balance_weight_u_g"]
    assert believed[12] > believed_before[12] + 0.02
    again = Bench(open_folder(bench.folder)[0])
    assert again.table["down_weight_u_g"].equals(u)
    assert believe(again.instrument).table["balance_weight_u_g"].equals(believed)
    row = again.readings.set_index("key").loc[12]
    low = row["down_weight_g"] - row["down_weight_within_g"]
    assert (low, row["down_weight_g"] + row["down_weight_within_g"]) == (52, 54)


def test_a_fine_step_leaves_the_band_as_it_is(bench, guided):
    bench.change(bench.instrument.with_readings(ONE_EACH))
    before = bench.table["down_weight_u_g"]
    guided.step.value = 0.5
    answer_all(guided, 53.4)
    assert bench.table["down_weight_u_g"].equals(before)


def test_a_reading_typed_over_it_forgets_the_two_weights(bench, guided):
    answer_all(guided, 53.4)
    cells = [{"row": "12-0", "column": "down_weight_g", "value": 52}]
    bench.change(set_cells(bench.instrument, 0, cells))
    assert np.isnan(bench.readings.set_index("key").at[12, "down_weight_within_g"])
    bench.undo()
    assert bench.readings.set_index("key").at[12, "down_weight_within_g"] == 0.5


def test_a_row_that_was_opened_for_it_is_filled(bench, guided):
    bench.change(read_again(bench.instrument, 0, 12))
    before = bench.readings.query("key == 12")["down_weight_g"].dropna().tolist()
    answer_all(guided, 53.4)
    assert bench.readings.query("key == 12")["down_weight_g"].tolist() == [*before, 53.5]


def test_another_key_or_step_begins_anew(bench, guided):
    guided.answer(False)
    assert guided.search.placements == 1
    bench.key = 30
    assert guided.search.placements == 0 and "Key 30" in text_of(guided)
    guided.answer(True)
    guided.step.value = 0.5
    assert guided.search.placements == 0 and guided.search.step_g == 0.5


@pytest.mark.parametrize("name", ["down_weight_g", "up_weight_g"])
@pytest.mark.parametrize(("enough", "said"), [(True, "with no weight on it"), (False, "at most")])
def test_a_weight_that_is_never_or_always_enough_ends_the_search(bench, guided, name, enough, said):
    guided.reading.value = name
    before = bench.instrument
    answers = 0
    while said not in guided.told.value and answers < 40:
        guided.answer(enough)
        answers += 1
    assert answers < 40
    assert bench.instrument is before and bench.key == 12 and guided.search.placements == 0


def test_another_instrument_begins_the_reading_anew(bench, guided):
    guided.answer(True)
    bench.change(bench.instrument.with_key_note(3, "rubs"))
    assert guided.search.placements == 1
    bench.start(Instrument("Model", BenchSettings(20, "C2")))
    assert guided.search.placements == 0 and "Key 12, B2" in guided.ask.value
