"""Plugs are recorded in the drawn key; a key that nobody looked into is unknown, never empty."""

from __future__ import annotations

from html import escape

import numpy as np
import pandas as pd
import pytest

from balancekit import panels
from balancekit.calculation.leads.key_stick import front_end_mm
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.hammer_inputs import hammer_inputs
from balancekit.instrument.choices.lead_choice import PROPOSAL
from balancekit.instrument.choices.lead_inputs import lead_inputs
from balancekit.instrument.choices.lead_plan import LeadPlan
from balancekit.instrument.leads_record import LeadTotal, key_sticks, lead_total, recorded_keys
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.panels.hammers.hammer_inertia import hammer_inertia_panel
from balancekit.panels.leads.lead_desk import lead_desk
from balancekit.panels.leads.lead_layout import totals_in_words
from balancekit.panels.leads.lead_notes import NotedPlugs
from balancekit.panels.leads.lead_record import LeadRecord
from balancekit.sharing.report import build_report
from tests.panels.shown import look_at, text_of


@pytest.fixture
def unknown(bench) -> Bench:
    """The demo as somebody has it who did not look into any key."""
    for kind in ("leads", "leads_seen"):
        held = bench.instrument.table(kind)
        bench.change(bench.instrument.with_table(kind, held.iloc[:0]))
    return bench


@pytest.fixture
def record(unknown) -> LeadRecord:
    return LeadRecord(unknown)


def rows_of(bench, key) -> list[tuple[float, float]]:
    """Diameter, and distance from the front edge, of what is on record of a key."""
    leads = bench.instrument.table("leads")
    sticks = key_sticks(bench.instrument, bench.table["key_ratio"])
    front = float(front_end_mm(sticks)[key])
    return [
        (row["diameter_mm"], round(front - row["distance_mm"], 3))
        for row in leads[leads["key"] == key].to_dict("records")[::-1]
    ]


def test_a_click_puts_a_plug_on_record_and_a_click_on_it_takes_it_off(unknown, record):
    unknown.key = 40
    assert "unknown" in record.drawn.state
    record.press({"kind": "put", "place": 100.0})
    record.press({"kind": "put", "place": 131.5})
    assert rows_of(unknown, 40) == [(12.7, 100.0), (12.7, 131.5)]
    assert record.drawn.state.startswith("2 plugs: 12.7 mm at 100, 12.7 mm at 13")
    record.press({"kind": "take", "place": 100.0})
    record.press({"kind": "take", "place": 131.5})
    assert record.drawn.state == "no plug in it" and recorded_keys(unknown.instrument) == {40}
    record.forget([40])
    assert "unknown" in record.drawn.state and not recorded_keys(unknown.instrument)


def test_plugs_that_cannot_be_are_refused(unknown, record):
    unknown.key = 40
    record.press({"kind": "put", "place": 100.0})
    record.press({"kind": "put", "place": 108.0})
    assert "lie in one another" in record.drawn.said
    record.press({"kind": "put", "place": 3.0})
    assert "is not on this key" in record.drawn.said
    assert rows_of(unknown, 40) == [(12.7, 100.0)]


def test_a_digit_takes_so_many_places_and_goes_on(unknown, record):
    unknown.key = 1
    record.places.value = "90, 105, 120"
    for count in (3, 2, 0):
        record.press({"kind": "count", "count": count})
    assert unknown.key == 4
    assert [len(rows_of(unknown, key)) for key in (1, 2, 3)] == [3, 2, 0]
    assert recorded_keys(unknown.instrument) == {1, 2, 3}
    record.press({"kind": "count", "count": 4})
    assert "3 places for 4 plugs" in record.drawn.said and unknown.key == 4
    record.places.value = "90, about 100"
    record.press({"kind": "count", "count": 1})
    assert "'about 100' is not a place" in record.drawn.said


def test_a_key_is_copied_from_the_one_before_with_its_sizes(unknown, record):
    unknown.key = 40
    record.size.value = record.size.options[0][1]
    record.press({"kind": "put", "place": 95.0})
    record.step(1)
    record.press({"kind": "copy"})
    assert rows_of(unknown, 41) == [(9.5, 95.0)]
    unknown.key = 60
    record.press({"kind": "copy"})
    assert "Nothing is on record of a key 59" in record.drawn.said


def test_a_pattern_fills_a_range_of_naturals(unknown, record):
    record.first.value, record.last.value, record.which.value = 20, 30, "naturals"
    record.places.value = "100, 115"
    record.fill(record.range)
    colours = unknown.instrument.keys["colour"]
    naturals = {key for key in range(20, 31) if colours[key] == "natural"}
    assert recorded_keys(unknown.instrument) == naturals
    assert {len(rows_of(unknown, key)) for key in naturals} == {2}
    unknown.undo()
    assert not recorded_keys(unknown.instrument)


def test_nothing_is_laid_out_in_a_key_that_nobody_looked_into(unknown, record):
    record.first.value, record.last.value = 10, 30
    record.fill(record.range, 0)
    plan = LeadPlan(lead_inputs(unknown.instrument), PROPOSAL)
    assert set(plan.free.keys.index) == set(range(10, 31))
    assert len(plan.free.plan) and set(plan.free.plan["key"]) <= set(range(10, 31))
    words = totals_in_words(plan, plan.free)
    assert "21 of 88 keys on record" in words and "not looked into" in words


def test_with_no_key_on_record_every_panel_says_so_and_none_shows_a_gap(unknown):
    look_at(unknown, ["lead_record_panel", "lead_target_panel", "lead_sticks_panel",
                      "lead_layout_panel", "lead_lines_panel", "spring_relief_panel",
                      "spring_trade_off_panel", "lead_sheet_panel"])  # fmt: skip
    plan = LeadPlan(lead_inputs(unknown.instrument), PROPOSAL)
    assert "no key's plugs are on record" in totals_in_words(plan, plan.free)


def test_every_notebook_gives_one_figure_for_lead(unknown, record):
    record.first.value, record.last.value = 1, 44
    record.fill(record.range, 2)
    total = lead_total(hammer_inputs(unknown.instrument).table)
    assert (total.recorded, total.estimated) == (44, 44)
    mass = unknown.instrument.table("leads")["mass_g"].sum()
    assert total.recorded_g == pytest.approx(mass)
    assert total.sentence in text_of(record)
    assert total.sentence in text_of(hammer_inertia_panel(unknown))
    plan = LeadPlan(lead_inputs(unknown.instrument), PROPOSAL)
    assert total.sentence in totals_in_words(plan, plan.free)
    for name in ("lead_lines", "spring_relief", "spring_design", "spring_trade_off"):
        assert total.sentence in text_of(getattr(panels, f"{name}_panel")(unknown)), name
    assert escape(total.sentence) in build_report(unknown.instrument)


def test_the_uncertainty_of_a_total_adds_what_keys_share_and_squares_the_rest():
    lead = pd.DataFrame(
        {
            "lead_g": [10.0, 30.0, 40.0, np.nan],
            "lead_u_g": [0.0, 5.0, 5.0, np.nan],
            "lead_shared_u_g": [0.0, 3.0, 3.0, np.nan],
            "lead_estimated": [False, True, True, True],
        }
    )
    # By hand: shared 3 + 3 = 6; own sqrt(5^2 - 3^2) = 4 each, 4 sqrt(2); together sqrt(36 + 32).
    assert lead_total(lead) == LeadTotal(10.0, 1, 70.0, pytest.approx(68**0.5), 2, 1)


def test_noted_plugs_are_asked_drawn_and_put_on_record(unknown):
    noted = NotedPlugs(unknown)
    text = "key;leads\n40;2 x 1/2 at 100/115\n41;1 x 9.5 at 98\n42;3\n43;none\n"
    noted.take_file("leads.csv", text.encode())
    assert set(noted.boxes) == {"measured from", "counted"}
    noted.boxes["measured from"].value = "front edge"
    noted.boxes["counted"].value = "unknown"
    unknown.key = 40
    assert [plug["place"] for plug in noted.drawn.plugs] == [100.0, 115.0]
    assert "not on record yet" in noted.drawn.state and not recorded_keys(unknown.instrument)
    noted.take()
    assert recorded_keys(unknown.instrument) == {40, 41, 43}
    assert rows_of(unknown, 41) == [(9.5, 98.0)]
    assert unknown.instrument.key_notes[42] == "3 plugs counted, places not noted"


def test_noted_plugs_that_cannot_be_change_nothing(unknown):
    noted = NotedPlugs(unknown)
    noted.take_file("leads.csv", b"key;leads from front\n40;2 x 12.7 at 100/105\n")
    before = unknown.instrument
    noted.take()
    assert "lie in one another" in noted.said.value and unknown.instrument is before
    noted.take_file("leads.csv", b"leads\n3\n")
    assert "No column holds the key number" in noted.said.value


def test_the_range_follows_the_keyboard_of_another_instrument(unknown, record):
    assert record.range == list(range(1, 89))
    for count in (1, 97):
        unknown.start(Instrument("Another", BenchSettings(count, "C0")))
        assert record.range == list(range(1, count + 1))


def test_lines_of_keys_that_nobody_looked_into_are_refused_in_words(unknown):
    desk = lead_desk(unknown)
    desk.lay_lines()
    assert "Of no key is it known which plugs are in it" in desk.said and not desk.laying


def test_counts_taken_twice_are_noted_once(unknown):
    notes = NotedPlugs(unknown)
    for _ in range(2):
        notes.take_file("leads.csv", b"key;leads\n8;4\n")
        notes.boxes["counted"].value = "unknown"
        notes.take()
    assert unknown.instrument.key_notes[8] == "4 plugs counted, places not noted"


def test_another_count_is_noted_beside_one_that_ends_as_it(unknown):
    notes = NotedPlugs(unknown)
    for count in (12, 2):
        notes.take_file("leads.csv", f"key;leads\n8;{count}\n".encode())
        notes.boxes["counted"].value = "unknown"
        notes.take()
    said = unknown.instrument.key_notes[8]
    assert said == "12 plugs counted, places not noted; 2 plugs counted, places not noted"


def test_plugs_of_a_key_that_another_instrument_lacks_are_refused(unknown):
    notes = NotedPlugs(unknown)
    notes.take_file("leads.csv", b"key;leads from pin\n80;1 x 12.7 at 100\n")
    unknown.start(Instrument("Model", BenchSettings(8)))
    notes.take()
    assert "1 to 8" in notes.said.value and not recorded_keys(unknown.instrument)
