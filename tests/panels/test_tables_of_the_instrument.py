"""Panels that stand on the optional tables: checks of ratios, scale, friction of parts, plan."""

import asyncio
import re

import pytest

from balancekit.calculation.weighing.scale import SCALE_CORRECTED
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.instrument.ratio_checks import compare_action_ratio, compare_key_ratio
from balancekit.instrument.table import averages
from balancekit.panels import weigh_next
from balancekit.panels.friction_account import FrictionAccount
from balancekit.panels.ratio_checks import ratio_checks_panel
from balancekit.panels.scale import Hand, Scale
from balancekit.panels.table_entry import TableEntry
from balancekit.panels.weigh_next import WeighNext


def cells(row, **values):
    return [{"row": row, "column": name, "value": value} for name, value in values.items()]


def test_a_row_is_kept_once_it_is_whole(bench):
    entry = TableEntry(bench, "friction_parts")
    before = len(entry.table)
    row = entry.grid.rows[before]["id"]
    entry.take_cells(cells(row, key=7))
    assert len(entry.table) == before
    assert "Still needed: key, part, friction" in entry.said.value
    entry.take_cells(cells(row, part="shank centre", friction_g=1.0))
    assert len(entry.table) == before + 1 and entry.said.value == ""
    bench.undo()
    assert len(entry.table) == before


def test_what_is_typed_lands_in_its_row_though_a_row_before_it_is_filled_meanwhile(bench):
    """The page names the rows it knew when the first character was typed."""
    entry = TableEntry(bench, "friction_parts")
    before = len(entry.table)
    first, second = (row["id"] for row in entry.grid.rows[before : before + 2])
    entry.take_cells(cells(second, key=9))
    entry.take_cells(cells(first, key=7, part="shank centre", friction_g=1.0))
    entry.take_cells(cells(second, part="wippen centre", friction_g=2.0))
    added = entry.table.iloc[before:]
    assert set(zip(added["key"], added["friction_g"], strict=True)) == {(7, 1.0), (9, 2.0)}


def test_a_key_beyond_the_keyboard_is_refused_and_nothing_is_lost(bench):
    entry = TableEntry(bench, "friction_parts")
    before, row = entry.table, entry.grid.rows[-1]["id"]
    entries = [{"place": entry.place, "cells": cells(row, key=97)},
               {"place": "leads of another piano", "cells": cells(row, key=7)}]  # fmt: skip
    refused = entry.take(entries)
    assert "Key 97 is beyond the keyboard. This instrument has keys 1 to 88." in refused[0]
    assert "This was typed for leads of another piano" in refused[1]
    assert entry.table.equals(before)


def test_a_table_from_the_users_own_file(bench):
    entry = TableEntry(bench, "check_weights")
    entry.take_file("mine.csv", b"nominal_g,weight_class,reading_g\r\n5,M1,5.01\r\n")
    assert entry.table["reading_g"].tolist() == [5.01]
    entry.take_file("mine.csv", b"nominal_g,weight_class,reading_g\r\n5,M1,heavy\r\n")
    assert "mine.csv line 2, reading_g: " in entry.said.value
    assert entry.table["reading_g"].tolist() == [5.01]


def test_the_wrong_travel_that_was_planted_is_shown(bench):
    compared = compare_action_ratio(bench.instrument, bench.table)
    assert compared["verdict"].to_dict()[64] == "disagree"
    assert compared.loc[64, "lower"] == "travel"
    assert "lost motion" in compared.loc[64, "reason"]
    assert (compare_key_ratio(bench.instrument, bench.table)["verdict"] == "agree").all()
    assert "disagree" in ratio_checks_panel(bench).children[-1].value


def test_readings_are_corrected_only_when_asked_and_only_once(bench):
    panel = Scale(bench)
    assert "Fit for the work" in panel.verdict.value
    before = bench.table.at[2, "front_weight_g"]
    assert not bench.readings["note"].str.contains(SCALE_CORRECTED).any()
    panel.correct()
    after = bench.table.at[2, "front_weight_g"]
    assert after == pytest.approx(before - 0.01 - 0.0006 * before, abs=0.02)
    assert bench.readings["note"].str.contains(SCALE_CORRECTED).all()
    panel.correct()
    assert bench.table.at[2, "front_weight_g"] == after
    assert "already" in panel.said.value
    bench.undo()
    assert bench.table.at[2, "front_weight_g"] == before


def test_the_hand_is_told_from_the_repeats(bench):
    shown = re.sub(r"<[^>]+>", "|", Hand(bench).text.value)
    down = averages(bench.instrument)["down_weight_g"]
    assert down.freedom == 16  # the demo's eight keys that were read three times
    row = ["Down weight", "16", f"{down.hand:.2f} g", "0.70 g", f"{down.single_u:.2f} g"]
    assert "||".join(row) in shown
    assert "counts as much as 3 repeats" in shown


def test_the_tight_shank_that_was_planted_comes_first(bench):
    panel = FrictionAccount(bench)
    assert "Look at shank centre first" in panel.text.value
    assert len(panel.picture.children) == 1


def test_a_plan_is_marked_and_listed(bench):
    panel = WeighNext(bench)
    assert "Nothing more is needed" in panel.text.value
    panel.fresh.value = True
    assert 5 < len(panel.keyboard.marks) < 60
    fewer = len(panel.keyboard.marks)
    panel.goal.value = 0.2
    assert len(panel.keyboard.marks) < fewer


def test_a_plan_that_fails_by_a_flaw_is_said_in_place_of_working(bench, monkeypatch):
    def flawed(*_):
        raise ZeroDivisionError("spoiled")

    monkeypatch.setattr(weigh_next, "weigh_next", flawed)
    logged = []

    async def look():
        asyncio.get_running_loop().set_exception_handler(lambda _, told: logged.append(told))
        view = WeighNext(bench)
        for _ in range(100):
            await asyncio.sleep(0.02)
            if logged:
                return view.text.value
        return view.text.value

    said = asyncio.run(look())
    assert "Working" not in said and "ZeroDivisionError: spoiled" in said
    assert "What you entered is kept" in said
    assert isinstance(logged[0]["exception"], ZeroDivisionError)


def test_a_goal_set_while_a_plan_is_looked_for_is_planned_next(bench, monkeypatch):
    """No plan for a goal of before is shown, and plans are looked for one at a time."""
    begun = []
    monkeypatch.setattr(weigh_next, "beside", lambda work, done, _: begun.append((work, done)))
    view = WeighNext(bench)
    assert "± 0.10" in view.text.value and len(begun) == 1
    view.goal.value = 0.2
    assert "± 0.20" in view.text.value and len(begun) == 1
    work, done = begun[0]
    done(work())
    assert "± 0.20" in view.text.value and len(begun) == 2
    work, done = begun[1]
    done(work())
    assert "Nothing more is needed" in view.text.value


@pytest.fixture
def marked(bench):
    view = WeighNext(bench)
    view.fresh.value = True
    assert view.keyboard.marks and len(view.keyboard.sticks) == 88
    return view


@pytest.mark.parametrize("looking", [False, True], ids=["at rest", "while a plan is looked for"])
def test_marks_of_the_grand_go_where_an_upright_comes(bench, marked, monkeypatch, looking):
    begun = []
    monkeypatch.setattr(weigh_next, "beside", lambda work, done, _: begun.append((work, done)))
    if looking:
        marked.goal.value = 0.2
    bench.start(Instrument("Upright", BenchSettings(85, action="upright")))
    for work, done in begun:
        done(work())
    assert marked.keyboard.marks == {} and len(marked.keyboard.sticks) == 85
    assert "no action ratio" in marked.text.value and len(begun) == looking


def test_marks_of_a_longer_keyboard_go_at_once(bench, marked, monkeypatch):
    monkeypatch.setattr(weigh_next, "beside", lambda work, done, _: None)
    bench.start(Instrument("Model", BenchSettings(12)))
    assert marked.keyboard.marks == {} and len(marked.keyboard.sticks) == 12
