"""The next weight is asked until a reading is found; both weights are kept with it."""

import pytest

from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.panels.guided import Guided
from tests.panels.shown import text_of


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


def test_down_weight_is_the_least_weight_that_sinks_the_key(bench, guided):
    assert "Put " in guided.ask.value and guided.enough.description == "It sinks"
    before = bench.instrument
    placed = answer_all(guided, 53.4)
    row = bench.readings.set_index("key").loc[12]
    assert row["down_weight_g"] == 54 and "down weight between 53 and 54 g" in row["note"]
    assert f"{placed} placements" in guided.told.value and bench.key == 13
    bench.undo()
    assert bench.instrument is before


def test_up_weight_is_the_most_that_the_key_lifts(bench, guided):
    guided.reading.value = "up_weight_g"
    answer_all(guided, 26.4)
    row = bench.readings.set_index("key").loc[12]
    assert row["up_weight_g"] == 26 and "up weight between 26 and 27 g" in row["note"]


def test_a_reading_taken_again_replaces_its_remark_and_keeps_the_others(bench, guided):
    for truth in (53.4, 51.2):
        bench.key = 12
        answer_all(guided, truth)
    bench.key = 12
    guided.reading.value = "up_weight_g"
    answer_all(guided, 26.4)
    note = bench.readings.set_index("key").at[12, "note"]
    assert note.count("down weight between") == 1 and "between 51 and 52" in note
    assert "up weight between 26 and 27" in note


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
