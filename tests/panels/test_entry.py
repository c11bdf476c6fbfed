"""Entry panels without a browser: cells in, the instrument changed, marks and states out."""

from dataclasses import replace

import pytest

from balancekit.calculation.problems import refuse
from balancekit.instrument.entry import entry_columns, entry_rows, set_cells
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.panels.entry import EntryDesk
from balancekit.panels.over_keys import OverKeys
from balancekit.panels.widgets import Grid, OneKey


@pytest.fixture
def desk(bench) -> EntryDesk:
    return EntryDesk(bench, Grid(columns=entry_columns()))


def say(desk, *entries, page="page", number=None):
    """Let the page send something, with the next number unless one is given."""
    said = number or 1 + desk.view._answers.get(page, {"number": 0})["number"]
    content = {"kind": "entries", "page": page, "number": said, "entries": list(entries)}
    desk.view._received(None, content, None)
    return desk.view._answers[page]


def typed(desk, row, column, value):
    return {"place": desk.place, "cells": [{"row": row, "column": column, "value": value}]}


def type_in(desk, row, column, value, **options):
    return say(desk, typed(desk, row, column, value), **options)


def test_a_typed_reading_is_on_the_bench_and_saved(desk, bench):
    type_in(desk, "2-0", "down_weight_g", 55)
    assert bench.table.at[2, "down_weight_g"] == 55
    assert bench.saved.startswith("Saved in")
    assert "Saved in" in desk.saved.value


def test_a_reading_that_the_neighbours_do_not_believe_is_marked_at_once(desk, bench):
    assert "2-0:down_weight_g" not in desk.view.marks
    type_in(desk, "2-0", "down_weight_g", 150)
    assert "expected" in desk.view.marks["2-0:down_weight_g"]
    type_in(desk, "2-0", "down_weight_g", 52)
    assert "2-0:down_weight_g" not in desk.view.marks


def test_a_marked_reading_can_be_kept(desk, bench):
    assert "61-0:strike_weight_g" in desk.view.marks
    say(desk, {"place": desk.place, "keep": {"key": 61, "column": "strike_weight_g"}})
    assert "61-0:strike_weight_g" not in desk.view.marks


def test_undo_from_the_grid(desk, bench):
    before = bench.table.at[2, "down_weight_g"]
    type_in(desk, "2-0", "down_weight_g", 55)
    say(desk, {"place": desk.place, "undo": True})
    assert bench.table.at[2, "down_weight_g"] == before
    say(desk, {"place": desk.place, "redo": True})
    assert bench.table.at[2, "down_weight_g"] == 55


def test_cells_are_taken_all_or_none(desk, bench):
    before = bench.instrument
    cells = [
        {"row": "2-0", "column": "down_weight_g", "value": 51},
        {"row": "3-0", "column": "down_weight_g", "value": -4},
    ]
    refused = desk.take([{"place": desk.place, "cells": cells}])
    assert bench.instrument is before
    assert "key 3, Down weight: -4 is not possible. Down weight is 0 to 300 g." in refused[0]


def test_a_refused_entry_does_not_stop_the_others(desk, bench):
    answer = say(desk, typed(desk, "2-0", "down_weight_g", 51),
                 typed(desk, "3-0", "down_weight_g", -4),
                 typed(desk, "4-0", "down_weight_g", 53))  # fmt: skip
    assert list(answer["refused"]) == ["1"]
    assert (bench.table.at[2, "down_weight_g"], bench.table.at[4, "down_weight_g"]) == (51, 53)


def test_a_late_message_is_dropped(desk, bench):
    type_in(desk, "2-0", "down_weight_g", 51, number=1)
    type_in(desk, "2-0", "down_weight_g", 52, number=2)
    type_in(desk, "2-0", "down_weight_g", 51, number=1)
    assert bench.table.at[2, "down_weight_g"] == 52
    type_in(desk, "2-0", "down_weight_g", 54, number=1, page="another page")
    assert bench.table.at[2, "down_weight_g"] == 54


def test_a_message_that_comes_twice_is_taken_once_and_answered_twice(desk, bench):
    answers = []
    desk.view.send = answers.append
    say(desk, {"place": desk.place, "undo": True}, number=1)
    type_in(desk, "2-0", "down_weight_g", 51, number=2)
    type_in(desk, "3-0", "down_weight_g", 51, number=3)
    for _ in range(2):
        say(desk, {"place": desk.place, "undo": True}, number=4)
    assert bench.table.at[2, "down_weight_g"] == 51
    assert [answer["number"] for answer in answers] == [1, 2, 3, 4, 4]


def test_what_was_typed_at_once_is_taken_back_one_by_one(desk, bench):
    before = bench.instrument
    say(desk, *(typed(desk, f"{key}-0", "down_weight_g", 50 + key) for key in (2, 3, 4)))
    bench.undo()
    assert (bench.table.at[3, "down_weight_g"], bench.table.at[4, "down_weight_g"] == 54) == (
        53, False,
    )  # fmt: skip
    bench.undo()
    bench.undo()
    assert bench.instrument is before


def test_what_was_typed_for_another_instrument_is_refused_with_its_place(desk, bench):
    entry = typed(desk, "2-0", "down_weight_g", 51)
    before = bench.table.at[2, "down_weight_g"]
    bench.change(replace(bench.instrument, title="Another piano"))
    answer = say(desk, entry)
    assert "readings 1 of Another piano, 88 keys are on the bench now" in answer["refused"]["0"]
    assert bench.table.at[2, "down_weight_g"] == before


@pytest.mark.parametrize(
    "answer", [{"keep": {"key": 61, "column": "strike_weight_g"}}, {"take": "61-0:strike_weight_g"}]
)
def test_an_answer_to_a_mark_of_another_instrument_is_refused_and_what_follows_taken(
    desk, bench, answer
):
    late = {"place": desk.place, **answer}
    bench.start(Instrument("Model", BenchSettings(8)))
    told = say(desk, late, typed(desk, "2-0", "down_weight_g", 51))
    assert list(told["refused"]) == ["0"] and "1 of Model, 8 keys" in told["refused"]["0"]
    assert bench.table.at[2, "down_weight_g"] == 51


def test_a_reading_stays_marked_as_not_saved_until_the_disk_takes_it(desk, bench, monkeypatch):
    def full(*_, **__):
        raise refuse("The disk is full.", "Free some of it.")

    with monkeypatch.context() as patch:
        patch.setattr("balancekit.instrument.bench.save_folder", full)
        type_in(desk, "2-0", "down_weight_g", 51)
    assert desk.view.unsaved == ["2-0:down_weight_g"]
    bench.save()
    assert desk.view.unsaved == []


def test_a_step_of_the_page_is_told_back_with_its_number(desk, bench):
    desk.view._received(None, {"kind": "at", "number": 3, "key": 12, "column": 1}, None)
    assert bench.key == 12
    assert (desk.view.go["key"], desk.view.go["heard"]) == (12, 3)
    bench.key = 20
    assert (desk.view.go["key"], desk.view.go["heard"]) == (20, 3)


def test_an_empty_instrument_has_a_row_for_every_key():
    instrument = Instrument(settings=BenchSettings(key_count=97, first_note="C0"))
    rows = entry_rows(instrument, 0)
    assert [row["key"] for row in rows] == list(range(1, 98))
    changed = set_cells(instrument, 0, [{"row": "97-0", "column": "note", "value": " hm "}])
    assert changed.visits[0].readings[["key", "note"]].values.tolist() == [[97, "hm"]]


def test_repeats_keep_their_own_rows(bench):
    rows = [row for row in entry_rows(bench.instrument, 0) if row["key"] == 1]
    assert [row["id"] for row in rows] == ["1-0", "1-1", "1-2"]
    assert [row["heads"][0] for row in rows] == ["1", "1 again", "1 again"]


def test_the_one_key_view_says_what_the_neighbours_suggest(bench):
    view = OneKey(columns=entry_columns(["down_weight_g", "up_weight_g"]))
    desk = EntryDesk(bench, view)
    bench.key = 61
    view.column = 1
    desk.ask_next()
    assert (view.expected["key"], view.expected["name"]) == (61, "up_weight_g")
    assert view.expected["text"].endswith("g") and "±" in view.expected["text"]
    type_in(desk, "61-0", "up_weight_g", 250)
    assert "expected" in view.latest


def test_a_typed_slip_leaves_the_view_of_its_chart_as_it_was(desk, bench):
    charts = OverKeys(bench, ["strike_weight_g"])
    chart = charts.charts["strike_weight_g"]
    before = chart.figure.y_range.start, chart.figure.y_range.end
    type_in(desk, "30-0", "strike_weight_g", 1.03)
    points = chart.sources["points"].data
    assert (chart.figure.y_range.start, chart.figure.y_range.end) == pytest.approx(before, abs=0.3)
    assert points["value"][29] == 1.03 and points["marker"][29] == "inverted_triangle"
    assert before[0] < points["y"][29]
