"""The panel that brings readings in: understood first, taken after a yes."""

import pytest

from balancekit.instrument.demo import one_key_model
from balancekit.instrument.descriptor import to_files
from balancekit.instrument.in_hand import home_folder
from balancekit.panels.instruments import BringIn, ChooseInstrument
from balancekit.sharing.carry import to_zip

TABLE = b"Key;Down weight [g];Up weight;mass of the day\r\n8;51,5;26;1\r\n9;52;25,5;2\r\n"


@pytest.fixture
def panel(bench) -> BringIn:
    return BringIn(bench)


def test_what_was_understood_is_shown_before_it_is_taken(bench, panel):
    before = bench.instrument
    panel.take_file("mine.csv", TABLE)
    for text in ("Down weight", "2 rows of readings", "mass of the day"):
        assert text in panel.understood.value
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


def test_a_second_set_of_readings(bench, panel):
    count = len(bench.instrument.visits)
    panel.take_file("mine.csv", TABLE)
    panel.visit_title.value, panel.visit_date.value = "a year later", "2027-13-01"
    panel.add()
    assert "not a day" in panel.understood.value and len(bench.instrument.visits) == count
    panel.visit_date.value = "2027-03-01"
    panel.add()
    assert bench.visit == count and bench.instrument.visits[count].title == "a year later"


def test_a_shared_instrument_gets_a_folder_of_its_own(bench, panel):
    panel.take_file("shared.zip", to_zip(one_key_model()))
    assert "One-key model" in panel.understood.value
    assert bench.instrument.title != "One-key model"
    panel.take_shared()
    assert to_files(bench.instrument) == to_files(one_key_model())
    assert bench.folder.parent == home_folder()


def test_markup_in_a_file_is_shown_as_text(panel):
    panel.take_file("<b>x.csv", TABLE.replace(b"mass of the day", b"<script>alert(1)</script>"))
    assert "<script>" not in panel.understood.value
    assert "&lt;script&gt;" in panel.understood.value


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
