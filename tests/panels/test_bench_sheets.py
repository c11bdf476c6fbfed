"""The sheets without a browser: what is decided is shown, written, and kept as the plan."""

import csv
import io
import re
import zipfile
from dataclasses import replace

import openpyxl
import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.charts.before_after import BeforeAfter, before_after_data
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices import hammer_choice, lead_choice
from balancekit.instrument.choices.hammer_choice import HammerChoice
from balancekit.instrument.choices.sheet_plan import (
    DECIDED as OWN,
)
from balancekit.instrument.choices.sheet_plan import (
    NOTHING,
    PROPOSED,
    WRITTEN,
    planned,
    with_sheets,
    written_sheets,
)
from balancekit.instrument.demo import (
    DECIDED,
    DECIDED_ON,
    LIGHT_KEYS,
    TIGHT_KEYS,
    one_key_model,
    sampled_grand,
    studio_grand,
)
from balancekit.instrument.model import BenchSettings, Instrument, Visit
from balancekit.instrument.outputs import NEW_FILE, REPLACED, SAME, put_file
from balancekit.panels.files import Files
from balancekit.panels.share import WriteSheets
from balancekit.panels.share_file import Share
from balancekit.panels.work.bench_sheets import BenchSheets
from balancekit.panels.work.visits import ChooseVisit
from balancekit.panels.work.work_desk import work_desk
from balancekit.panels.work.work_expected import Expected, ExpectedEvenness
from balancekit.panels.work.work_key import WorkOnKey
from balancekit.sharing.carry import open_anything
from tests.panels.shown import look_at, text_of, type_note

ALL = ("visit_panel", "bench_sheets_panel", "work_key_panel", "expected_panel",
       "expected_evenness_panel", "write_sheets_panel", "share_panel")  # fmt: skip


# Which plan it is


def test_looking_changes_nothing_and_shows_no_nan(looked_at):
    look_at(looked_at, ALL)
    assert looked_at.is_demo


def test_the_fresh_demo_shows_the_plan_of_its_own_sheets(looked_at):
    view = BenchSheets(work_desk(looked_at))
    assert "decided nothing anew" in view.told.value and DECIDED_ON in view.told.value
    assert view.keep.layout.display == "none"
    assert [value for _, value in view.which.options] == [
        "shopping", "friction", "hammers", "leads", "expected",
    ]  # fmt: skip


def test_the_first_sheet_is_open_and_another_is_one_press_away(looked_at):
    view = BenchSheets(work_desk(looked_at))
    assert "Preview: To have ready" in view.preview.value
    view.which.value = "friction"
    assert "Preview: Friction" in view.preview.value and "sandbox" in view.preview.value
    # The demo's truth names these keys.
    keys = {*TIGHT_KEYS, *LIGHT_KEYS}
    found = re.findall(r"Friction: (\d+) [A-G]", view.preview.value)
    assert {int(key) for key in found} == keys


def test_an_own_choice_takes_the_place_of_old_sheets():
    decided = replace(studio_grand(), choices={**studio_grand().choices, **DECIDED})
    assert planned(studio_grand(), 0).kind == WRITTEN
    assert planned(decided, 0).kind == OWN and planned(decided, 0).instrument is decided
    # What came out is still held against the sheets that it was done by.
    assert planned(decided, 0, 1).kind == WRITTEN and planned(decided, 0, 1).day == DECIDED_ON


def test_sheets_written_after_the_second_readings_are_not_their_plan():
    late = with_sheets(studio_grand(), 0, "2027-01-01")
    assert [sheets.day for sheets in written_sheets(late)] == [DECIDED_ON, "2027-01-01"]
    assert planned(late, 0, 1).day == DECIDED_ON and planned(late, 0).day == "2027-01-01"


def test_sheets_of_the_same_day_replace_each_other():
    twice = with_sheets(with_sheets(sampled_grand(), 0, "2026-05-01"), 0, "2026-05-01")
    assert len(written_sheets(twice)) == 1


@pytest.mark.parametrize(
    "kept",
    ["sheets", [3], [{"day": "soon", "visit": 0, "choices": {}}],
     [{"day": "2026-05-01", "visit": -1, "choices": {}}],
     [{"day": "2026-05-01", "visit": 0, "choices": {"other": {}}}]],
)  # fmt: skip
def test_kept_sheets_that_cannot_be_are_refused_in_words(kept):
    broken = sampled_grand().with_choice("bench_sheets", kept)
    with pytest.raises(BalancekitError, match="cannot be"):
        written_sheets(broken)


def test_where_nobody_decided_a_proposal_is_shown_and_can_be_kept(home):
    bench = Bench(sampled_grand())
    view = BenchSheets(work_desk(bench))
    assert planned(bench.instrument, 0).kind == NOTHING
    assert "Nothing is decided yet" in view.told.value and view.keep.layout.display == ""
    view.keep.children[0].click()
    assert set(bench.instrument.choices) == {hammer_choice.CHAPTER, lead_choice.CHAPTER}
    assert "what you decided" in view.told.value and view.keep.layout.display == "none"
    bench.undo()
    assert bench.instrument.choices == {}


def test_a_half_decided_instrument_says_where_the_rest_is_decided(home):
    bench = Bench(hammer_choice.with_choice(sampled_grand(), HammerChoice()))
    view = BenchSheets(work_desk(bench))
    assert "nothing was decided" in view.told.value and "6 · Lead and spring" in view.told.value


@pytest.mark.parametrize("make", [one_key_model, Instrument])
def test_every_panel_stands_on_a_small_and_on_an_empty_instrument(home, make):
    bench = Bench(make())
    assert planned(bench.instrument, 0, propose=True).kind == PROPOSED
    look_at(bench, ALL)
    bench.key = 1


def test_an_upright_has_work_on_friction_only(home):
    read = sampled_grand().visits[0].readings[["key", "down_weight_g", "up_weight_g"]]
    upright = Instrument(settings=BenchSettings(action="upright")).with_readings(read)
    bench = Bench(upright)
    view = BenchSheets(work_desk(bench))
    assert planned(upright, 0, propose=True).kind == NOTHING
    assert "hammers" not in dict(view.which.options).values()
    look_at(bench, ALL)


# One key, before and after


def test_one_key_tells_all_its_work_and_takes_a_note(bench):
    view = WorkOnKey(work_desk(bench))
    bench.key = 12  # tight, its hammer trimmed and its leads changed; see the demo's recipe
    text = text_of(view)
    for word in ("Friction", "ease", "Hammer", "trim", "Lead", "At the scale"):
        assert word in text
    type_note(view.hand.note, "12", "back rail felt worn")
    assert bench.instrument.key_notes[12] == "back rail felt worn"
    work = work_desk(bench).work
    bench.undo()
    assert work_desk(bench).work.expected is work.expected  # a note works nothing out anew


def test_another_quantity_is_drawn_with_its_axis(looked_at):
    view = Expected(work_desk(looked_at))
    chart = view.chart.chart
    first = list(chart.sources["points"].data["y"])
    view.chart.quantity.value = "inertia_g"
    assert list(chart.sources["points"].data["y"]) != first
    assert "(g)" in chart.figure.yaxis.axis_label and "finger" in chart.figure.title.text
    assert len(chart.sources["before"].data["y"]) == 88


def test_what_is_expected_is_sought_once_while_nothing_changes(home):
    bench = Bench(one_key_model())
    desk = work_desk(bench)
    work = desk.work
    sought = work.expected_plateaus
    bench.change(bench.instrument.with_chapter_note("5", "A note."))
    assert desk.work is work and desk.work.expected_plateaus is sought
    bench.change(replace(bench.instrument, title="Another name"))
    assert desk.work.title == "Another name" and desk.work is desk.work


def test_evenness_shows_both_figures(looked_at):
    view = ExpectedEvenness(work_desk(looked_at))
    bars = view.bars.sources["bars"].data
    assert len(bars["label"]) == 5 and all(
        a >= b for a, b in zip(bars["then"], bars["now"], strict=True)
    )
    assert "√(step² − weighing²)" in text_of(view)


def test_a_band_is_drawn_two_standard_uncertainties_to_each_side():
    keys = studio_grand().keys[["note_name", "colour"]].loc[40:42]
    flat = keys["colour"].map(lambda _: 50.0)
    drawn = BeforeAfter("down_weight_g", keys, flat, flat, flat * 0 + 1.5)
    band = before_after_data(drawn)["band"]
    assert list(band["bottom"]) == [47.0] * 3 and list(band["top"]) == [53.0] * 3


# Writing


def test_sheets_are_written_beside_the_instrument_and_the_plan_is_kept(home):
    bench = Bench(replace(studio_grand(), choices=DECIDED))
    view = WriteSheets(work_desk(bench))
    view.write("page", "pdf", "csv", "xlsx")
    folder = bench.folder / "sheets"
    assert str(folder) in view.said.value and str(home) in view.said.value
    names = {path.name.partition("_2")[0]: path for path in folder.iterdir()}
    wanted = {"friction", "hammers", "planned_leads", "shopping_list", "expected", "tables"}
    assert wanted < set(names)
    assert len(written_sheets(bench.instrument)) == 1
    assert planned(bench.instrument, 0, 1).kind == OWN  # written after the second readings
    page = next(folder.glob("*_A4.html")).read_text(encoding="utf-8")
    assert "size: 210mm 297mm" in page  # ISO 216
    assert next(folder.glob("*_A4.pdf")).read_bytes().startswith(b"%PDF-")  # ISO 32000-1, 7.5.2
    lines = list(csv.reader(io.StringIO(names["expected"].read_text(encoding="utf-8"))))
    assert len(lines) == 89
    book = openpyxl.load_workbook(names["tables"])
    assert "hammers" in book.sheetnames


def test_nothing_is_overwritten(home):
    bench = Bench(replace(studio_grand(), choices=DECIDED))
    view = WriteSheets(work_desk(bench))
    view.write("page")
    view.write("page")
    assert view.listed.files[0]["state"] == SAME
    bench.change(replace(bench.instrument, title="Another name"))
    view.write("page")
    assert view.listed.files[0]["state"] == NEW_FILE and view.listed.files[0]["name"].endswith(
        "_2.html"
    )
    view.paper.value = "Letter"
    view.write("page")
    assert view.listed.files[0]["name"].endswith("_Letter.html")


def test_sheets_of_a_proposal_say_so_and_are_not_kept_as_the_plan(home):
    bench = Bench(sampled_grand())
    view = WriteSheets(work_desk(bench))
    assert "only a proposal" in view.where.value
    view.write("page")
    page = next((bench.folder / "sheets").glob("*.html")).read_text(encoding="utf-8")
    assert "a proposal, not decided" in page
    assert written_sheets(bench.instrument) == ()


def test_writing_from_the_demo_makes_an_own_copy(bench):
    view = WriteSheets(work_desk(bench))
    demo = bench.folder
    view.write("page")
    assert bench.folder != demo and not (demo / "sheets").exists()
    assert str(bench.folder / "sheets") in view.where.value


def test_the_shared_file_carries_the_whole_instrument(bench):
    view = Share(work_desk(bench))
    view.write()
    report, packed = view.listed.paths
    assert report.name == "report.html" and report.parent == bench.folder
    for path in (report, packed):
        shared = open_anything(path.read_bytes(), path.name)
        assert shared is not None and shared.title == bench.instrument.title
        assert len(shared.visits) == 2 and shared.choices == bench.instrument.choices
    assert zipfile.ZipFile(packed).testzip() is None
    bench.change(bench.instrument.with_key_note(5, "one more"))
    view.write()
    assert view.listed.files[0]["state"] == REPLACED


def test_what_is_not_ticked_stays_at_home(bench):
    bench.change(bench.instrument.with_key_note(5, "for me alone"))
    view = Share(work_desk(bench))
    assert "for me alone" in shared_as_text(view)
    view.along["notes"].value = False
    assert "for me alone" not in shared_as_text(view)


def test_a_set_of_readings_that_is_not_ticked_stays_at_home(bench):
    view = Share(work_desk(bench))
    first, second = view.sets
    assert first.disabled and first.value, "the set that the report starts from always goes along"
    second.value = False
    assert f"{second.description.removeprefix('Readings: ')}" not in view.inside.value
    view.write()
    for path in view.listed.paths:
        held = open_anything(path.read_bytes(), path.name)
        assert [visit.title for visit in held.visits] == [bench.instrument.visits[0].title]


def test_what_stands_beside_stays_chosen_while_the_list_changes(bench, home):
    view = Share(work_desk(bench))
    offered = dict(view.beside.options)
    assert set(offered) == {"one_key_model", "sampled_grand"}
    view.beside.value = [offered["one_key_model"]]
    Bench(Instrument()).start(Instrument("Another"))
    bench.change(bench.instrument.with_key_note(5, "rubs"))
    # The demo itself stands beside what is now a copy of one's own.
    assert set(dict(view.beside.options)) == {*offered, "another", "studio_grand"}
    assert view.beside.value == (offered["one_key_model"],)


def shared_as_text(view: Share) -> str:
    """Write the report, and return what another would find in it."""
    view.write()
    path = view.listed.paths[0]
    held = open_anything(path.read_bytes(), path.name)
    return path.read_text(encoding="utf-8") + " ".join(note.text for note in held.notes)


def test_a_folder_that_cannot_be_written_is_said(home, tmp_path):
    bench = Bench(sampled_grand())
    view = WriteSheets(work_desk(bench))
    home.write_text("a file where the folder should be")
    view.write("page")
    assert "Not written" in view.said.value


def test_a_file_is_put_whole(tmp_path):
    first = put_file(tmp_path / "new", "a.csv", b"1")
    assert (first.state, first.path.read_bytes()) == (NEW_FILE, b"1")
    assert put_file(tmp_path / "new", "a.csv", b"1").state == SAME
    assert put_file(tmp_path / "new", "a.csv", b"2").path.name == "a_2.csv"
    assert put_file(tmp_path / "new", "a.csv", b"3", replace=True).state == REPLACED
    assert sorted(path.name for path in (tmp_path / "new").iterdir()) == ["a.csv", "a_2.csv"]


def test_a_file_that_is_gone_is_said_when_it_is_asked_for(tmp_path):
    files, sent = Files(), []
    files.send = lambda content, buffers=None: sent.append((content, buffers))
    files.show([put_file(tmp_path, "a.csv", b"12")])
    files._received(None, {"kind": "read", "number": 0}, [])
    assert sent == [({"kind": "file", "number": 0, "name": "a.csv"}, [b"12"])]
    files._received(None, {"kind": "read", "number": 7}, [])
    files._received(None, {"kind": "read", "number": "0"}, [])
    assert len(sent) == 1
    (tmp_path / "a.csv").unlink()
    files._received(None, {"kind": "read", "number": 0}, [])
    assert len(sent) == 1 and "cannot be read" in files.problem


# The readings in hand


def test_the_visit_in_hand_is_chosen_and_followed(bench):
    view = ChooseVisit(bench)
    assert [number for _, number in view.listed.options] == [0, 1]
    view.listed.value = 1
    assert bench.visit == 1
    bench.visit = 0
    assert view.listed.value == 0
    third = bench.instrument.with_visit(Visit("a year later", "2027-05-20"), 2)
    bench.change(third)
    assert len(view.listed.options) == 3 and view.listed.value == 0
    bench.undo()
    assert len(view.listed.options) == 2
