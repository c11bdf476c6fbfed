"""Each entry knows its time; keys that are read again tell what drifts."""

import re
from datetime import datetime

import numpy as np
import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.charts.as_table import chart_numbers
from balancekit.instrument.bench import Bench
from balancekit.instrument.entry import read_again, set_cells
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.instrument.store import open_folder
from balancekit.panels.entry import EntryDesk, entry_columns
from balancekit.panels.reference_keys import ReferenceKeys
from balancekit.panels.widgets import Grid


def test_a_row_keeps_the_time_of_its_first_reading(home):
    bench = Bench(Instrument(), home / "piano")
    desk = EntryDesk(bench, Grid(columns=entry_columns()))
    for value in (51, 52):
        cells = [{"row": "8-0", "column": "down_weight_g", "value": value}]
        desk.take([{"place": desk.place, "cells": cells}])
        if value == 51:
            first = bench.readings.at[0, "read_at"]
    assert datetime.fromisoformat(first).tzinfo is not None
    assert bench.readings.at[0, "read_at"] == first and bench.readings.at[0, "down_weight_g"] == 52
    desk.take([{"place": desk.place, "cells": [{"row": "9-0", "column": "note", "value": "rubs"}]}])
    assert bench.readings["read_at"].tolist() == [first, ""], "a remark is no reading"


@pytest.fixture
def session(home) -> Bench:
    """Three keys read at 9, 11 and 13 o'clock, the down weight 1.5 g higher each time."""
    held = Instrument(settings=BenchSettings(12))
    for hour, more in ((9, 0.0), (11, 1.5), (13, 3.0)):
        for key, number in ((3, 0), (7, 0), (11, 0)):
            held = read_again(held, 0, key) if hour > 9 else held
            row = f"{key}-{(hour - 9) // 2 + number}"
            cells = [{"row": row, "column": "down_weight_g", "value": 50.0 + key / 10 + more},
                     {"row": row, "column": "up_weight_g", "value": 25.0}]  # fmt: skip
            held = set_cells(held, 0, cells, f"2026-05-04T{hour:02}:0{number}:00")
    return Bench(held, home / "piano")


def test_drift_is_shown_over_time_with_its_uncertainty_and_taken_off(session):
    panel = ReferenceKeys(session)
    for box, key in zip(panel.boxes, (3, 7, 11), strict=True):
        box.value = key
    assert "2026-05-04 13:00" in panel.told.value and "(+3.0)" in panel.told.value
    assert re.search(r"Down weight: over the session it drifts by \+[23]", panel.drift.value)
    assert " ± " in panel.drift.value and "9 readings of 3 keys" in panel.drift.value
    assert abs(session.table.at[7, "down_weight_g"] - 50.7) < 0.6, "not 52.2, the mean of all"


def test_reading_them_again_opens_a_row_for_each(session):
    panel = ReferenceKeys(session)
    for box, key in zip(panel.boxes, (3, 7, 12), strict=True):
        box.value = key
    before = len(session.readings)
    panel.read()
    desk = EntryDesk(session, Grid(columns=entry_columns()))
    ids = [each["id"] for each in desk.view.rows]
    assert {"3-3", "7-3"} <= set(ids) and "12-1" not in ids
    assert session.key == 3 and len(session.readings) >= before


def test_drift_is_drawn_over_time_with_its_band(session):
    panel = ReferenceKeys(session)
    assert panel.reading.value == "down_weight_g"
    line, again = (panel.chart.sources[name].data for name in ("line", "again"))
    assert line["x"][0] == 0 and abs(line["x"][-1] - 4) < 0.01
    read = slice(1, -1)  # at both ends the band closes
    truth = [0.75 * hours for hours in line["x"][read]]
    assert all(low <= y <= high for low, y, high in
               zip(line["lower"][read], truth, line["upper"][read], strict=True))  # fmt: skip
    assert len(again["x"]) == 9 and again["y"][-1] - again["y"][0] == pytest.approx(3.0, abs=0.01)
    panel.reading.value = "up_weight_g"
    assert abs(panel.chart.sources["line"].data["y"][read][-1]) < 1


def test_nothing_is_drawn_across_a_pause(session):
    """The next day the scale is set to zero anew: the line ends, and a pause of 20 h is told."""
    held = session.instrument
    for number, key in enumerate((3, 7, 11)):
        held = read_again(held, 0, key)
        cells = [{"row": f"{key}-3", "column": "down_weight_g", "value": 50.0 + key / 10}]
        held = set_cells(held, 0, cells, f"2026-05-05T09:0{number}:00")
    session.change(held)
    chart = ReferenceKeys(session).chart
    line, pauses = chart.sources["line"].data, chart.sources["pauses"].data
    assert pauses["text"] == ["20 h later"] and 4 < pauses["x"][0] < line["x"][-1] < 5
    ends = np.flatnonzero(np.isnan(line["y"]))
    assert len(ends) == 4, "each session has two ends"
    assert not np.any([line["lower"][ends], line["upper"][ends]]), "its band closes there"
    rows = chart_numbers(chart.figure)[0].rows
    assert len(rows) == 12 and ("3", "2026-05-05 09:00") in {tuple(line[:2]) for line in rows}


def test_drift_can_be_left_in_and_widens_the_bands(session, home):
    panel = ReferenceKeys(session)
    off = session.table.at[7, "down_weight_g"]
    shared = session.findings.known.shared["down_weight_g"]
    drawn = panel.chart.sources["line"].data["y"][1:-1].tolist()
    panel.off.value = False
    left = session.table.at[7, "down_weight_g"]
    assert left == pytest.approx(52.2), "the mean of 50.7, 52.2 and 53.7 as they were read"
    assert off < 51.5 and "left in, and bands are wider" in panel.drift.value
    assert panel.chart.sources["line"].data["y"][1:-1].tolist() == drawn
    wider = session.findings.known.shared["down_weight_g"]
    assert (wider**2).sum() > (shared**2).sum() + 1
    again = Bench(open_folder(session.folder)[0])
    assert again.instrument.settings.drift_taken_off is False
    session.undo()
    assert panel.off.value is True and session.table.at[7, "down_weight_g"] == off


def test_drift_is_neither_yes_nor_no():
    with pytest.raises(BalancekitError, match="neither taken off nor left in"):
        BenchSettings(drift_taken_off="maybe")


def test_another_instrument_proposes_keys_of_its_own(session):
    panel = ReferenceKeys(session)
    assert panel.chosen == [3, 7, 11]
    session.start(Instrument("Grand", BenchSettings(88)))
    assert panel.chosen == [15, 45, 74]
    session.start(Instrument("Model", BenchSettings(1)))
    assert panel.chosen == [1]
