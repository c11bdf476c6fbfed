"""Entry panels without a browser: cells in, the instrument changed, marks and states out."""

import pytest

from balancekit.instrument.entry import entry_columns, entry_rows, set_cells
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.panels.entry import EntryDesk
from balancekit.panels.over_keys import OverKeys
from balancekit.panels.widgets import Grid, OneKey


@pytest.fixture
def desk(bench) -> EntryDesk:
    return EntryDesk(bench, Grid(columns=entry_columns()))


def type_in(desk, row, column, value):
    desk._received(
        None, {"kind": "cells", "cells": [{"row": row, "column": column, "value": value}]}, None
    )


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
    desk._received(None, {"kind": "keep", "key": 61, "column": "strike_weight_g"}, None)
    assert "61-0:strike_weight_g" not in desk.view.marks


def test_undo_from_the_grid(desk, bench):
    before = bench.table.at[2, "down_weight_g"]
    type_in(desk, "2-0", "down_weight_g", 55)
    desk._received(None, {"kind": "undo"}, None)
    assert bench.table.at[2, "down_weight_g"] == before
    desk._received(None, {"kind": "redo"}, None)
    assert bench.table.at[2, "down_weight_g"] == 55


def test_cells_are_taken_all_or_none(desk, bench):
    before = bench.instrument
    cells = [
        {"row": "2-0", "column": "down_weight_g", "value": 51},
        {"row": "3-0", "column": "down_weight_g", "value": -4},
    ]
    desk.take(cells)
    assert bench.instrument is before
    assert "key 3, Down weight: -4 is not possible. Down weight is 0 to 300 g." in desk.saved.value


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
    assert view.expected.endswith("g") and "±" in view.expected
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
