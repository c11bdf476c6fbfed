"""Import, grid, list, command and report say the same of a reading, and take what fits."""

from __future__ import annotations

import html
import io

import numpy as np
import pandas as pd
import pytest

from balancekit import cli
from balancekit.instrument.bench import Bench
from balancekit.instrument.bring_in.import_readings import understand
from balancekit.instrument.doubts import (
    COLUMNS_EXCHANGED,
    IMPOSSIBLE,
    MISSING_READING,
    REPEATS_DISAGREE,
    SLIP,
    Doubt,
)
from balancekit.instrument.findings import Findings, cell_doubts, find_all
from balancekit.instrument.mend import take_fitting
from balancekit.instrument.model import Instrument, Visit
from balancekit.instrument.table import reading_table
from balancekit.panels.bring_in import BringIn
from balancekit.panels.entry import EntryDesk, entry_columns
from balancekit.panels.flags import Flags
from balancekit.panels.widgets import Grid
from balancekit.sharing.report import build_report
from balancekit.sharing.tables import flags_table
from tests.instrument.test_doubts import sound


def found_in(readings: pd.DataFrame) -> tuple[Instrument, Findings]:
    held = Instrument().with_readings(readings)
    return held, find_all(held, 0, reading_table(held, 0))


def spoiled() -> pd.DataFrame:
    """A sound instrument with one slip of each kind that a list can put right."""
    table = sound(3)
    table.loc[22, ["down_weight_g", "up_weight_g"]] = [26.0, 50.5]
    table.loc[40, "strike_weight_g"] = 0.88
    table.loc[60, "front_weight_g"] = 0.8
    table.loc[70, "up_weight_g"] = np.nan
    table.loc[70, "doubted"] = "up_weight_g 260"
    again = table.loc[[10]].assign(wippen_weight_g=table.loc[10, "wippen_weight_g"] + 2.0)
    return pd.concat([table, again], ignore_index=True).fillna({"doubted": ""})


@pytest.fixture(scope="module")
def case() -> tuple[Instrument, Findings]:
    return found_in(spoiled())


def said(found: Findings) -> list[Doubt]:
    return [doubt for doubt in found.told if doubt.kind != MISSING_READING]


def test_each_slip_is_said_once(case):
    _, found = case
    places = [(doubt.key, doubt.quantities) for doubt in said(found)]
    assert places == [
        (11, ("wippen_weight_g",)),
        (23, ("down_weight_g", "up_weight_g")),
        (41, ("strike_weight_g",)),
        (61, ("front_weight_g",)),
        (71, ("up_weight_g",)),
    ]
    kinds = [doubt.kind for doubt in said(found)]
    assert kinds == [REPEATS_DISAGREE, SLIP, SLIP, SLIP, IMPOSSIBLE]
    takes = [doubt.take for doubt in said(found)]
    assert takes == ["", "take 50.5 g and 26 g", "take 8.8 g", "take 8 g", "take 26 g"]


def test_taking_what_fits_leaves_nothing_to_say(case):
    held, found = case
    for doubt in said(found):
        if doubt.fits:
            held = take_fitting(held, 0, doubt)
    left = find_all(held, 0, reading_table(held, 0))
    assert [doubt.kind for doubt in said(left)] == [REPEATS_DISAGREE]
    read = held.visits[0].readings.set_index("key")
    assert read.loc[23, ["down_weight_g", "up_weight_g"]].tolist() == [50.5, 26.0]
    assert (read.at[41, "strike_weight_g"], read.at[71, "up_weight_g"]) == (8.8, 26.0)


def test_of_repeat_readings_the_one_that_is_off_is_changed():
    table = sound(3)
    again = table.loc[[40]].assign(strike_weight_g=0.88)
    held = Instrument().with_readings(pd.concat([table, again]))
    doubt = Doubt(41, "strike_weight_g", SLIP, "", "", "", (("strike_weight_g", 8.8),))
    read = take_fitting(held, 0, doubt).visits[0].readings
    assert read.loc[read["key"] == 41, "strike_weight_g"].tolist() == [
        table.loc[40, "strike_weight_g"], 8.8,
    ]  # fmt: skip


def test_two_whole_columns_the_other_way_round_are_one_line_and_taken_at_once():
    names = {"down_weight_g": "up_weight_g", "up_weight_g": "down_weight_g"}
    held, found = found_in(sound(3).rename(columns=names))
    (doubt,) = said(found)
    assert (doubt.key, doubt.kind) == (None, COLUMNS_EXCHANGED)
    mended = take_fitting(held, 0, doubt).visits[0].readings
    assert mended["down_weight_g"].tolist() == sound(3)["down_weight_g"].tolist()


def test_a_moved_decimal_point_is_taken_back():
    table = sound(5)
    names = ("down_weight_g", "up_weight_g", "strike_weight_g", "wippen_weight_g")
    for row, name in zip((12, 30, 50, 70), names, strict=True):
        table.loc[row, name] = round(float(table.loc[row, name]) / 10, 3)
    _, found = found_in(table)
    fits = {doubt.key: doubt.fits for doubt in said(found) if doubt.kind == SLIP}
    for row, name in zip((12, 30, 50, 70), names, strict=True):
        assert fits[row + 1] == ((name, pytest.approx(float(sound(5).loc[row, name]))),)


def test_import_grid_list_command_and_report_say_the_same(home, tmp_path, capsys):
    table = spoiled().drop(columns=["note", "read_at", "doubted"])
    table.loc[70, "up_weight_g"] = 260.0
    file = tmp_path / "bench.csv"
    file.write_text(table.drop(columns=["spring_relief_g"]).to_csv(index=False))
    bench = Bench(Instrument(), home / "piano")
    bringing = BringIn(bench)
    bringing.take_file(file.name, file.read_bytes())
    told = [(line["words"], line["advice"], line["take"]) for line in bringing.doubted.list.lines]
    bringing.replace()
    flags, desk = Flags(bench), EntryDesk(bench, Grid(columns=entry_columns()))
    assert told == [(line["words"], line["advice"], line["take"]) for line in flags.list.lines]
    doubts = said(bench.findings)
    assert len(doubts) >= 4
    marks = set(desk.view.marks.values())
    assert marks == {f"{doubt.words}. {doubt.advice}" for doubt in doubts if doubt.key}
    cli.main(["check", str(file)])
    out = capsys.readouterr().out
    report, page = flags_table(bench.findings), html.unescape(build_report(bench.instrument))
    for doubt in doubts:
        assert f"{doubt.words}. {doubt.advice}" in out
        assert doubt.advice in report["advice"].tolist()
        assert f"{doubt.advice} {doubt.choices}" in page
    assert "Take 50.5 g and 26 g, or keep it." in {doubt.choices for doubt in doubts}


def test_what_is_taken_and_kept_in_the_import_comes_to_the_bench(home):
    table = spoiled().drop(columns=["note", "read_at", "doubted"])
    data = io.StringIO()
    table.to_csv(data, index=False)
    bench = Bench(Instrument(), home / "piano")
    bringing = BringIn(bench)
    bringing.take_file("bench.csv", data.getvalue().encode())
    lines = {line["key"]: line for line in bringing.doubted.list.lines}
    bringing.doubted.press("take", lines["Key 23"]["id"])
    bringing.doubted.press("keep", lines["Key 41"]["id"])
    keys = {line["key"] for line in bringing.doubted.list.lines}
    assert "Key 23" not in keys and "Key 41" not in keys
    bringing.replace()
    visit = bench.instrument.visits[0]
    assert visit.readings.set_index("key").at[23, "down_weight_g"] == 50.5
    assert visit.confirmed == {(41, "strike_weight_g")}


def test_show_this_key_puts_the_cursor_into_the_cell(home):
    bench = Bench(Instrument().with_readings(spoiled()), home / "piano")
    desk, flags = EntryDesk(bench, Grid(columns=entry_columns())), Flags(bench)
    line = next(line for line in flags.list.lines if line["key"] == "Key 41")
    flags.press("show", line["id"])
    names = [column["name"] for column in desk.view.columns]
    first = dict(desk.view.go)
    assert (first["key"], names[first["column"]]) == (41, "strike_weight_g") and first["show"]
    flags.press("show", line["id"])
    assert desk.view.go["show"] > first["show"], "asked for again, the page is told again"


def test_t_in_the_grid_takes_what_would_fit(home):
    bench = Bench(Instrument().with_readings(spoiled()), home / "piano")
    desk = EntryDesk(bench, Grid(columns=entry_columns()))
    assert desk.view.fits["41-0:strike_weight_g"] == "take 8.8 g"
    desk.take([{"place": desk.place, "take": "41-0:strike_weight_g"}])
    assert bench.table.at[41, "strike_weight_g"] == 8.8
    assert "41-0:strike_weight_g" not in desk.view.marks
    bench.undo()
    assert bench.table.at[41, "strike_weight_g"] == 0.88


def test_a_mark_names_every_cell_that_is_doubted(case):
    held, found = case
    doubts = cell_doubts(held, 0, found)
    assert {place for place in doubts if place.startswith("23-")} == {
        "23-0:down_weight_g", "23-0:up_weight_g",
    }  # fmt: skip


def test_understand_alone_says_what_needs_no_other_key():
    found = understand(b"key,down weight\n1,520\n2,51\n", "bench.csv", key_count=2)
    assert [doubt.kind for doubt in found.doubts if doubt.kind == IMPOSSIBLE] == [IMPOSSIBLE]


def test_columns_taken_the_other_way_round_keep_what_was_doubted_and_what_was_kept():
    rows = [[1, 25.0, np.nan, "up_weight_g 500", np.nan], [2, 26.0, 51.0, "", 0.5]]
    columns = ["key", "down_weight_g", "up_weight_g", "doubted", "down_weight_within_g"]
    readings = pd.DataFrame(rows, columns=columns)
    held = Visit(readings=readings, confirmed=frozenset({(2, "down_weight_g")}))
    exchanged = Doubt(None, "down_weight_g", COLUMNS_EXCHANGED, "", "", "")
    (after,) = take_fitting(Instrument(visits=(held,)), 0, exchanged).visits
    assert after.readings["up_weight_g"].tolist() == [25.0, 26.0]
    assert after.readings["doubted"].tolist() == ["down_weight_g 500", ""]
    assert after.readings["up_weight_within_g"].dropna().tolist() == [0.5]
    assert after.confirmed == {(2, "up_weight_g")}
