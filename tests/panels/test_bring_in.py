"""The panel that brings readings in: understood first, taken after a yes."""

import html
import time
from datetime import date

import pytest

from balancekit.instrument.bench import Bench, open_bench
from balancekit.instrument.bring_in.import_memory import remember_headings, remembered_headings
from balancekit.instrument.demo import one_key_model
from balancekit.instrument.descriptor import to_files
from balancekit.instrument.in_hand import home_folder
from balancekit.instrument.model import BenchSettings, Instrument
from balancekit.panels import pending_doubts
from balancekit.panels.bring_in import BringIn
from balancekit.panels.instruments import ChooseInstrument, instrument_panel
from balancekit.sharing.carry import to_zip
from tests.panels.shown import inside, text_of

TABLE = b"Key;Down weight [g];Up weight;mass of the day\r\n8;51,5;26;1\r\n9;52;25,5;2\r\n"


def beside(panel: BringIn, heading: str) -> str:
    """Return what stands beside the chooser of a heading."""
    (line,) = [
        each for each in panel.headings.children if panel.headings.boxes[heading] in each.children
    ]
    return str(line.children[0].value)


@pytest.fixture
def panel(bench) -> BringIn:
    return BringIn(bench)


def test_what_was_understood_is_shown_before_it_is_taken(bench, panel):
    before = bench.instrument
    panel.take_file("mine.csv", TABLE)
    for text in ("Down weight", "2 rows of readings"):
        assert text in panel.understood.value
    assert "<b>mass of the day</b>: 1, 2" in beside(panel, "mass of the day")
    assert bench.instrument is before
    panel.replace()
    assert bench.table.at[8, "down_weight_g"] == 51.5
    bench.undo()
    assert bench.instrument is before


def test_a_file_that_cannot_be_used_changes_nothing(bench, panel):
    before = bench.instrument
    panel.take_file("mine.csv", TABLE.replace(b"\r\n9;52;25,5;2", b"").replace(b"8;51", b"8.5;51"))
    assert "mine.csv line 2, key" in panel.understood.value
    panel.replace()
    assert bench.instrument is before and panel.taking.layout.display == "none"


def test_what_is_not_clear_is_asked(bench, panel):
    panel.take_file(
        "mine.csv", TABLE.replace(b"[g]", b"[oz]").replace(b"51,5", b"1,8").replace(b"52", b"1,9")
    )
    (label, box) = panel.asked.children
    assert "oz" in label.value and panel.taking.layout.display == "none"
    box.value = "convert"
    assert panel.taking.layout.display == "flex"
    panel.replace()
    assert bench.table.at[8, "down_weight_g"] == pytest.approx(1.8 * 28.349523125)


@pytest.mark.parametrize("path", ["~nobody-has-this-name/mine.csv", "mine\0.csv"])
def test_a_path_that_cannot_be_is_said(bench, panel, path):
    panel.path.value = path
    panel.read_path()
    assert "Write" in panel.understood.value
    choose = ChooseInstrument(bench)
    choose.folder.value = path
    choose.open_folder()
    assert "Write" in choose.said.value and bench.is_demo


def test_a_second_set_of_readings(bench, panel):
    count = len(bench.instrument.visits)
    panel.take_file("mine.csv", TABLE)
    panel.visit_title.value, panel.visit_date.value = "a year later", "2027-13-01"
    panel.add()
    assert "not a day" in panel.when.value and len(bench.instrument.visits) == count
    panel.visit_date.value = "2027-03-01"
    panel.add()
    assert bench.visit == count and bench.instrument.visits[count].title == "a year later"


@pytest.mark.parametrize("take", [BringIn.replace, BringIn.add], ids=["in place", "a new set"])
def test_readings_that_cannot_be_taken_say_so_and_can_still_be_taken(bench, panel, take):
    before = bench.instrument
    panel.take_file("mine.csv", TABLE)
    panel.visit_title.value = "x" * 201
    take(panel)
    assert "Write at most 200" in panel.when.value and bench.instrument is before
    assert panel.taking.layout.display == "flex"
    panel.visit_title.value = "spring"
    take(panel)
    assert bench.instrument.visits[bench.visit].title == "spring"


@pytest.mark.parametrize("take", [BringIn.replace, BringIn.add], ids=["in place", "a new set"])
def test_readings_of_more_keys_than_another_instrument_has_are_refused(bench, panel, take):
    panel.take_file("mine.csv", TABLE)
    bench.start(Instrument("Model", BenchSettings(8)))
    take(panel)
    assert "'9' is not a key" in html.unescape(panel.when.value)
    assert bench.readings.empty and len(bench.instrument.visits) == 1


def test_a_second_set_has_its_own_name_and_day(bench, panel):
    count = len(bench.instrument.visits)
    for title in ("", "as found", ""):
        panel.take_file("mine.csv", TABLE)
        panel.visit_title.value, panel.visit_date.value = title, ""
        panel.add()
    added = bench.instrument.visits[count:]
    assert [visit.date for visit in added] == [date.today().isoformat()] * 3
    titles = [visit.title for visit in bench.instrument.visits]
    assert len({title.casefold() for title in titles}) == len(titles)
    assert titles.count("as found") == 1 and "as found (2)" in titles


def test_readings_put_in_place_keep_name_and_day_unless_new_ones_are_given(bench, panel):
    held = bench.instrument.visits[0]
    assert held.date
    panel.take_file("mine.csv", TABLE)
    assert held.date in panel.when.value
    panel.replace()
    assert (bench.instrument.visits[0].title, bench.instrument.visits[0].date) == (
        held.title, held.date,
    )  # fmt: skip
    panel.take_file("mine.csv", TABLE)
    panel.visit_title.value, panel.visit_date.value = "after the move", "2026-11-03"
    panel.replace()
    assert bench.instrument.visits[0].title == "after the move"
    assert bench.instrument.visits[0].date == "2026-11-03"


def test_a_kept_doubt_stays_kept_only_where_the_reading_is_the_same(bench, panel):
    panel.take_file("mine.csv", TABLE)
    panel.replace()
    bench.confirm(8, "down_weight_g")
    bench.confirm(9, "up_weight_g")
    panel.take_file("mine.csv", TABLE.replace(b"25,5", b"95"))
    panel.replace()
    assert bench.instrument.visits[0].confirmed == {(8, "down_weight_g")}


SHORT = b"Taste;Dn. wt.;Up wt.;Str wt;h\r\n8;51,5;26;9,1;4\r\n9;52;25,5;9,0;4\r\n"


def test_each_heading_that_was_not_understood_has_a_chooser(bench, panel):
    panel.take_file("short.csv", SHORT)
    assert list(panel.headings.boxes) == ["Taste", "Dn. wt.", "Up wt.", "Str wt", "h"]
    assert "51.5" in beside(panel, "Dn. wt.").replace(",", ".")
    assert "a guess" in beside(panel, "Dn. wt.")
    assert panel.headings.boxes["Dn. wt."].value == "" and panel.taking.layout.display == "none"
    box = panel.headings.boxes["h"]
    assert box.value == "leave out" and "not known here" in beside(panel, "h")
    panel.headings.boxes["Taste"].value = "key"
    panel.headings.all_guesses.click()
    assert panel.headings.boxes["Dn. wt."].value == "down_weight_g"
    assert "down weight (g)" in beside(panel, "Dn. wt.") and "guess" not in beside(panel, "Dn. wt.")
    box.value = "note"
    assert panel.headings.boxes["h"] is box
    assert panel.taking.layout.display == "flex"
    panel.replace()
    assert bench.table.at[8, "down_weight_g"] == 51.5
    assert bench.readings["note"].tolist() == ["4", "4"]


def test_a_guess_can_be_wrong(bench, panel):
    panel.take_file("short.csv", SHORT)
    panel.headings.boxes["Taste"].value = "key"
    panel.headings.boxes["Str wt"].value = "front_weight_g"
    panel.headings.all_guesses.click()
    panel.replace()
    assert bench.table.at[8, "front_weight_g"] == 9.1


def test_the_instrument_of_a_share_that_came_back_is_one_press_away(tmp_path):
    Bench(Instrument()).start(Instrument(title="Parlour grand"))
    share = home_folder() / "parlour_grand"
    share.rename(tmp_path / "away")
    bench = open_bench()
    panel = instrument_panel(bench)
    (look,) = [each for each in inside(panel)
               if getattr(each, "description", "").startswith("Look again")]  # fmt: skip
    assert look.layout.display == "" and "parlour_grand, is not where it was" in text_of(panel)
    (tmp_path / "away").rename(share)
    look.click()
    assert bench.folder == share and look.layout.display == "none"


def test_what_was_said_once_is_remembered_and_can_be_forgotten(bench, panel):
    panel.take_file("short.csv", SHORT)
    panel.headings.boxes["Taste"].value = "key"
    panel.headings.boxes["h"].value = "wippen_weight_g"
    panel.headings.boxes["h"].value = "leave out"
    panel.headings.all_guesses.click()
    assert not (home_folder() / "headings.json").exists(), "nothing is kept before it is taken"
    panel.replace()
    again = BringIn(bench)
    again.take_file("next.csv", SHORT.replace(b"Dn. wt.", b"DN. WT."))
    assert again.taking.layout.display == "flex"
    assert "for an earlier file" in beside(again, "DN. WT.")
    assert again.headings.boxes["DN. WT."].value == "down_weight_g"
    forget = next(
        c for c in again.headings.children if again.headings.boxes["DN. WT."] in c.children
    )
    forget.children[2].click()
    assert again.headings.boxes["DN. WT."].value == "" and "guess" in beside(again, "DN. WT.")
    assert again.headings.boxes["Taste"].value == "key"
    again.headings.forget_all.click()
    assert again.headings.boxes["Taste"].value != "key"
    assert again.taking.layout.display == "none"


def test_a_folder_that_cannot_be_written_stops_nobody(bench, panel, monkeypatch, tmp_path):
    blocked = tmp_path / "a file"
    blocked.write_text("in the way")
    monkeypatch.setenv("BALANCEKIT_HOME", str(blocked))
    assert remember_headings({"h": "note"}) is False and remembered_headings() == {}


def test_two_columns_of_one_quantity_are_repeat_readings_after_a_yes(bench, panel):
    panel.take_file("twice.csv", b"key,Down weight,Down weight,up weight\n1,50,51,25\n2,49,,24\n")
    (_, box) = panel.asked.children
    box.value = "repeats"
    panel.replace()
    assert bench.readings[["key", "down_weight_g"]].values.tolist() == [[1, 50], [1, 51], [2, 49]]
    assert bench.readings["up_weight_g"].isna().tolist() == [False, True, False]


def test_a_shared_instrument_gets_a_folder_of_its_own(bench, panel):
    panel.take_file("shared.zip", to_zip(one_key_model()))
    assert "One-key model" in panel.understood.value
    assert bench.instrument.title != "One-key model"
    panel.take_shared()
    assert to_files(bench.instrument) == to_files(one_key_model())
    assert bench.folder.parent == home_folder()


def test_markup_in_a_file_is_shown_as_text(panel):
    panel.take_file("<b>x.csv", TABLE.replace(b"mass of the day", b"<script>alert(1)</script>"))
    assert "<b>x.csv" not in panel.understood.value
    text = beside(panel, "<script>alert(1)</script>")
    assert "<script>" not in text and "&lt;script&gt;" in text


def test_instruments_are_started_listed_and_opened(bench):
    choose = ChooseInstrument(bench)
    choose.title.value, choose.count.value, choose.first.value = "Parlour grand", 85, "A0"
    choose.start()
    assert bench.instrument.title == "Parlour grand" and len(bench.table) == 85
    assert choose.listed.options[0][0] == "parlour_grand"
    choose.listed.value = choose.listed.options[-1][1]
    choose.open_listed()
    assert bench.is_demo
    choose.folder.value = "/nowhere at all"
    choose.open_folder()
    assert "The folder is not there" in choose.said.value
    choose.first.value = "H2"
    choose.start()
    assert "not a note name" in choose.said.value
    choose.first.value, choose.title.value = "A0", "x" * 201
    choose.start()
    assert "Write at most 200" in choose.said.value and bench.is_demo


def test_what_was_understood_of_200_rows_is_on_the_screen_at_once(panel, monkeypatch):
    """In half a second of processor time; what the other keys say follows beside the kernel."""
    monkeypatch.setattr(pending_doubts, "beside", lambda work, done, _: None)
    head = "key,Dn. wt.,up weight,front weight,strike weight,wippen weight,key ratio,h"
    rows = [f"{key % 88 + 1},{50 + key % 5},{24 + key % 3},21.5,9.{key % 9},18,0.5,4"
            for key in range(200)]  # fmt: skip
    began = time.process_time()
    panel.take_file("bench.csv", "\n".join([head, *rows]).encode())
    assert time.process_time() - began < 0.5
    assert "front weight (g)" in panel.understood.value and "a guess" in beside(panel, "Dn. wt.")
