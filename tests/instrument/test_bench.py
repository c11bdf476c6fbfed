"""The bench: undo, saving, the demo's own copy, conflicts, and what is remembered."""

import pytest

import balancekit
from balancekit.instrument.bench import Bench, open_bench
from balancekit.instrument.demo import ONE_KEY
from balancekit.instrument.in_hand import data_folder, home_folder, recall
from balancekit.instrument.model import Instrument
from balancekit.instrument.store import open_folder


@pytest.fixture
def bench(tmp_path, monkeypatch) -> Bench:
    monkeypatch.setenv("BALANCEKIT_HOME", str(tmp_path / "home"))
    return balancekit.open_bench()


def test_with_nothing_in_hand_the_demo_is_on_the_bench(bench):
    assert bench.is_demo
    assert bench.instrument.title == "Dance school studio grand"
    assert list(home_folder().glob("*/")) == []


def test_a_change_of_the_demo_makes_a_copy_and_leaves_the_demo_alone(bench):
    before = (data_folder() / "studio_grand" / "datapackage.json").read_bytes()
    bench.change(bench.instrument.with_key_note(5, "mine"))
    assert bench.folder.parent == home_folder()
    assert open_folder(bench.folder)[0].key_notes == {5: "mine"}
    assert (data_folder() / "studio_grand" / "datapackage.json").read_bytes() == before


def test_the_next_notebook_opens_the_same_instrument_and_key(bench):
    bench.change(bench.instrument.with_key_note(5, "mine"))
    bench.key = 61
    other = open_bench()
    assert other.folder == bench.folder
    assert other.key == 61
    assert other.instrument.key_notes == {5: "mine"}


def test_undo_and_redo(bench):
    found = bench.instrument
    bench.change(found.with_key_note(5, "one"))
    bench.change(bench.instrument.with_key_note(5, "two"))
    bench.undo()
    assert bench.instrument.key_notes == {5: "one"}
    bench.undo()
    assert bench.instrument is found
    bench.undo()
    bench.redo()
    assert open_folder(bench.folder)[0].key_notes == {5: "one"}
    assert bench.can_redo


def test_two_windows_on_one_instrument_never_overwrite_each_other_in_silence(bench):
    bench.change(bench.instrument.with_key_note(5, "first"))
    other = open_bench()
    other.change(other.instrument.with_key_note(6, "second window"))
    bench.change(bench.instrument.with_key_note(7, "first window"))
    assert bench.conflict and bench.saved.startswith("Not saved.")
    assert 7 not in open_folder(bench.folder)[0].key_notes
    bench.save(replace_changed=True)
    assert not bench.conflict
    assert open_folder(bench.folder)[0].key_notes == {5: "first", 7: "first window"}
    other.change(other.instrument.with_key_note(8, "again"))
    assert other.conflict
    other.take_from_disk()
    assert other.instrument.key_notes == {5: "first", 7: "first window"}


def test_undo_and_redo_never_cross_what_came_from_disk(bench):
    bench.change(bench.instrument.with_key_note(5, "first"))
    other = open_bench()
    other.change(other.instrument.with_key_note(6, "here"))
    other.undo()
    assert other.can_redo
    bench.take_from_disk()
    bench.change(bench.instrument.with_key_note(7, "elsewhere"))
    other.change(other.instrument.with_key_note(8, "dropped"))
    assert other.conflict
    other.take_from_disk()
    kept = other.folder / "versions" / other.saved.rpartition("versions/")[2].rstrip(".")
    assert open_folder(kept)[0].key_notes[8] == "dropped"
    for step, word in ((other.undo, "take back"), (other.redo, "do again")):
        step()
        assert word in other.saved and "taken from disk" in other.saved
        assert open_folder(other.folder)[0].key_notes == {5: "first", 7: "elsewhere"}
    other.change(other.instrument.with_key_note(9, "after"))
    other.undo()
    other.undo()
    assert open_folder(other.folder)[0].key_notes == {5: "first", 7: "elsewhere"}


def test_the_key_in_hand_stays_on_the_keyboard(bench):
    bench.key = 500
    assert bench.key == 88
    bench.open(data_folder() / ONE_KEY)
    assert bench.key == 1
    bench.key = 0
    assert bench.key == 1


def test_a_memory_that_cannot_be_read_gives_the_demo():
    home_folder().mkdir(parents=True, exist_ok=True)
    (home_folder() / "in_hand.json").write_text("broken")
    assert recall().path == data_folder() / "studio_grand"


def test_an_instrument_on_a_share_that_is_away_stays_in_mind(bench, tmp_path, capsys):
    bench.start(Instrument(title="Parlour grand"))
    bench.key = 12
    share, away = bench.folder, tmp_path / "away"
    share.rename(away)
    stands_in = open_bench()
    assert "parlour_grand, is not where it was" in capsys.readouterr().out
    assert stands_in.is_demo and "parlour_grand" in stands_in.saved
    stands_in.key = 50
    stands_in.look_again()
    assert stands_in.is_demo and recall().path == share
    away.rename(share)
    stands_in.look_again()
    assert (stands_in.folder, stands_in.key, stands_in.away) == (share, 12, None)
    assert open_bench().folder == share and capsys.readouterr().out == ""


def test_what_stands_in_for_it_is_taken_in_hand_once_it_is_changed(bench, tmp_path):
    bench.start(Instrument(title="Parlour grand"))
    bench.folder.rename(tmp_path / "away")
    stands_in = open_bench()
    stands_in.change(stands_in.instrument.with_key_note(5, "mine"))
    assert recall().path == stands_in.folder and not stands_in.is_demo


def test_a_new_instrument_gets_a_folder_of_its_own(bench):
    bench.start(Instrument(title="Parlour grand"))
    first = bench.folder
    bench.start(Instrument(title="Parlour grand"))
    assert first.name == "parlour_grand" and bench.folder.name == "parlour_grand_2"


def test_a_confirmed_reading_is_asked_no_more(bench):
    asked = {(flag.key, flag.quantity) for flag in bench.findings.flags}
    assert (61, "strike_weight_g") in asked
    bench.confirm(61, "strike_weight_g")
    asked = {(flag.key, flag.quantity) for flag in bench.findings.flags}
    assert (61, "strike_weight_g") not in asked


def test_the_suite_finds_what_was_planted_in_the_demo(bench):
    from balancekit.instrument.demo import (
        EXCHANGED_KEY,
        LIGHT_KEYS,
        MOVED_POINT_KEY,
        TIGHT_KEYS,
    )

    found = {flag.key: flag.kind for flag in bench.findings.flags}
    slips = {EXCHANGED_KEY: "slip", MOVED_POINT_KEY: "slip"}
    real = dict.fromkeys([*TIGHT_KEYS, *LIGHT_KEYS], "stands-out")
    assert found == slips | real
