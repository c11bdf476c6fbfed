"""The folder of an instrument: round trip, versions, conflicts, disks that fail."""

import errno
from datetime import datetime
from typing import ClassVar

import pandas as pd
import pytest
from frictionless import Package

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument import store
from balancekit.instrument.demo import STUDIO_GRAND, demo_instruments
from balancekit.instrument.descriptor import DESCRIPTOR, from_files, to_files
from balancekit.instrument.in_hand import data_folder
from balancekit.instrument.model import Instrument, Section
from balancekit.instrument.store import (
    PENDING,
    VERSIONS,
    ChangedOnDisk,
    open_folder,
    save_folder,
    versions_of,
)


def some(note: str = "") -> Instrument:
    readings = pd.DataFrame(
        {"key": [1, 1, 88], "down_weight_g": [50.0, 51.5, 48.0], "note": [note, "=1+1", "'x"]}
    )
    instrument = Instrument(title="Practice room grand", sections=(Section("bass", 1),))
    return instrument.with_readings(readings).with_key_note(3, note or "clicks\nat let-off")


def same(one: Instrument, other: Instrument) -> bool:
    return to_files(one) == to_files(other)


@pytest.mark.parametrize("name", demo_instruments())
def test_the_data_folder_holds_what_the_generator_makes(name):
    made = demo_instruments()[name]
    held, _ = open_folder(data_folder() / name)
    assert same(made, held)


@pytest.mark.parametrize("name", demo_instruments())
def test_frictionless_validates_every_demo_folder_by_its_own_schema(name):
    """frictionless-py, an independent reader of Data Package and Table Schema."""
    package = Package(str(data_folder() / name / DESCRIPTOR))
    report = package.validate()
    assert report.valid, report.flatten(["rowNumber", "fieldName", "note"])


def test_what_is_saved_opens_as_the_same(tmp_path):
    instrument = some().with_choice("hammer_mass", {"bend": 0.1}).with_chapter_note("x", "*y*")
    stamp = save_folder(instrument, tmp_path / "one", None)
    held, again = open_folder(tmp_path / "one")
    assert same(instrument, held)
    assert stamp == again


def test_only_guided_readings_add_their_columns_and_the_schema_holds_them(tmp_path):
    """A file from before guided readings opens, and is written as it was; frictionless checks."""
    plain, guided = tmp_path / "plain", tmp_path / "guided"
    stamp = save_folder(some(), plain, None)
    assert "within" not in (plain / "readings.csv").read_text().splitlines()[0]
    held, _ = open_folder(plain)
    assert held.visits[0].readings["down_weight_within_g"].isna().all()
    assert save_folder(held, plain, stamp) == stamp
    readings = held.visits[0].readings
    readings.loc[0, "down_weight_within_g"] = 0.5
    save_folder(held.with_readings(readings), guided, None)
    assert (guided / "readings.csv").read_text().splitlines()[0].endswith(",down_weight_within_g")
    assert open_folder(guided)[0].visits[0].readings["down_weight_within_g"].tolist()[0] == 0.5
    for folder in (plain, guided):
        report = Package(str(folder / DESCRIPTOR)).validate()
        assert report.valid, report.flatten(["rowNumber", "fieldName", "note"])


def test_text_that_a_spreadsheet_would_run_is_escaped_on_disk_and_comes_back(tmp_path):
    save_folder(some(), tmp_path / "one", None)
    text = (tmp_path / "one" / "readings.csv").read_text()
    assert "'=1+1" in text and ",=1+1" not in text
    assert list(open_folder(tmp_path / "one")[0].visits[0].readings["note"]) == ["", "=1+1", "'x"]


def test_the_version_before_is_kept(tmp_path):
    folder = tmp_path / "one"
    first = some()
    stamp = save_folder(first, folder, None)
    save_folder(some("changed"), folder, stamp)
    (kept,) = versions_of(folder)
    assert same(first, open_folder(folder / "versions" / kept)[0])


def test_old_versions_are_thinned_but_the_newest_stay(tmp_path):
    folder = tmp_path / "one"
    stamp = save_folder(some("0"), folder, None)
    for number in range(1, 9):
        stamp = save_folder(some(str(number)), folder, stamp)
    kept = versions_of(folder)
    assert store.NEWEST_KEPT <= len(kept) <= store.NEWEST_KEPT + 1
    assert same(some("7"), open_folder(folder / "versions" / kept[0])[0])


def test_a_folder_that_changed_on_disk_is_not_overwritten(tmp_path):
    folder = tmp_path / "one"
    known = save_folder(some("here"), folder, None)
    other = save_folder(some("elsewhere"), folder, known)
    with pytest.raises(ChangedOnDisk, match="changed on disk since it was opened"):
        save_folder(some("mine"), folder, known)
    assert open_folder(folder)[1] == other
    save_folder(some("mine"), folder, known, replace_changed=True)
    assert same(open_folder(folder)[0], some("mine"))
    assert same(open_folder(folder / "versions" / versions_of(folder)[0])[0], some("elsewhere"))


def test_a_new_instrument_does_not_take_the_folder_of_another(tmp_path):
    save_folder(some("here"), tmp_path / "one", None)
    with pytest.raises(ChangedOnDisk):
        save_folder(some("mine"), tmp_path / "one", None)


def test_files_that_are_not_ours_stay(tmp_path):
    folder = tmp_path / "one"
    stamp = save_folder(some(), folder, None)
    (folder / "photo.csv").write_text("not ours")
    stamp = save_folder(some("b"), folder, stamp)
    assert (folder / "photo.csv").read_text() == "not ours"


def test_a_table_that_is_gone_leaves_no_file(tmp_path):
    folder = tmp_path / "one"
    stamp = save_folder(some(), folder, None)
    assert (folder / "key_notes.csv").exists()
    save_folder(some().with_key_note(3, ""), folder, stamp)
    assert not (folder / "key_notes.csv").exists()


@pytest.mark.parametrize(
    ("number", "sentence"),
    [(errno.ENOSPC, "The disk is full"), (errno.EIO, "Saving failed")],
)
def test_a_disk_that_fails_gives_a_sentence_and_keeps_the_old(
    tmp_path, monkeypatch, number, sentence
):
    folder = tmp_path / "one"
    stamp = save_folder(some("old"), folder, None)

    def fail(_):
        raise OSError(number, "planted")

    monkeypatch.setattr(store.os, "fsync", fail)
    with pytest.raises(BalancekitError, match=sentence) as caught:
        save_folder(some("new"), folder, stamp)
    assert "What you entered is still here" in str(caught.value)
    monkeypatch.undo()
    assert same(open_folder(folder)[0], some("old"))


def test_an_interrupted_move_is_finished_by_the_next_opening(tmp_path):
    folder = tmp_path / "one"
    save_folder(some("old"), folder, None)
    files = to_files(some("new"))
    pending = folder / PENDING
    pending.mkdir()
    moved, *rest = [name for name in files if name != DESCRIPTOR]
    (folder / moved).write_bytes(files[moved])
    for name in [*rest, DESCRIPTOR]:
        (pending / name).write_bytes(files[name])
    assert same(open_folder(folder)[0], some("new"))
    assert not pending.exists()


class Clock(datetime):
    """A clock that goes back a year at each look, then stands still."""

    times: ClassVar[list[datetime]] = []

    @classmethod
    def now(cls):
        return cls.times.pop() if len(cls.times) > 1 else cls.times[0]


@pytest.mark.parametrize("years", [range(2020, 2030), [2020]], ids=["goes back", "stands still"])
def test_a_clock_that_is_set_back_loses_and_reorders_no_version(tmp_path, monkeypatch, years):
    folder = tmp_path / "one"
    monkeypatch.setattr(Clock, "times", [datetime(year, 3, 29, 2, 59, 59) for year in years])
    monkeypatch.setattr(store, "datetime", Clock)
    stamp = save_folder(some("0"), folder, None)
    for number in range(1, 9):
        stamp = save_folder(some(str(number)), folder, stamp)
    kept = versions_of(folder)[: store.NEWEST_KEPT]
    notes = [open_folder(folder / VERSIONS / name)[0].key_notes[3] for name in kept]
    assert notes == ["7", "6", "5", "4", "3"]


def test_what_was_set_aside_is_kept_whatever_is_saved_afterwards(tmp_path):
    folder = tmp_path / "one"
    known = save_folder(some("begun"), folder, None)
    save_folder(some("elsewhere"), folder, known)
    aside = store.keep_aside(some("never saved"), folder)
    stamp = save_folder(some("mine"), folder, known, replace_changed=True)
    for number in range(12):
        stamp = save_folder(some(str(number)), folder, stamp)
    notes = {name: open_folder(folder / VERSIONS / name)[0].key_notes[3]
             for name in versions_of(folder) if name.endswith(store.SET_ASIDE)}  # fmt: skip
    assert set(notes.values()) == {"never saved", "elsewhere"} and notes[aside] == "never saved"


DAMAGED = {
    "empty": b"",
    "not JSON": b"{",
    "a list": b"[]",
    "deep": b"[" * 100_000,
    "not a number": b'{"title": NaN}',
    "no parts": b'{"title": "x"}',
    "binary": bytes(range(256)),
}


@pytest.mark.parametrize("name", DAMAGED)
def test_a_damaged_descriptor_is_a_sentence(name):
    with pytest.raises(BalancekitError, match=r"datapackage\.json"):
        from_files({DESCRIPTOR: DAMAGED[name]})


def test_a_path_that_leads_out_of_the_folder_is_refused():
    files = to_files(some())
    files[DESCRIPTOR] = files[DESCRIPTOR].replace(b"readings.csv", b"../../etc/passwd")
    with pytest.raises(BalancekitError, match="resources"):
        from_files(files)


def test_every_problem_of_every_table_is_listed():
    files = to_files(some())
    files["readings.csv"] = files["readings.csv"].replace(b"50,", b"heavy,").replace(b"88,", b"89,")
    with pytest.raises(BalancekitError) as caught:
        from_files(files)
    text = str(caught.value)
    assert "readings.csv line 2, down_weight_g: 'heavy' is not a number." in text
    assert "readings.csv line 4, key: '89' is not a key. Give a whole number, 1 to 88." in text


def test_a_folder_that_is_no_instrument(tmp_path):
    with pytest.raises(BalancekitError, match="There is no datapackage"):
        open_folder(tmp_path)
    with pytest.raises(BalancekitError, match="The folder is not there"):
        open_folder(tmp_path / "nowhere")


def test_the_demo_name_is_that_of_its_folder():
    assert (data_folder() / STUDIO_GRAND / DESCRIPTOR).is_file()


@pytest.mark.parametrize("name", [".pending", "versions", "readings.csv", ".unfinished"])
def test_a_link_that_leads_out_of_the_folder_is_refused_and_nothing_moves(tmp_path, name):
    folder, outside = tmp_path / "piano", tmp_path / "outside"
    save_folder(some(), folder, None)
    outside.mkdir()
    (outside / "readings.csv").write_bytes((folder / "readings.csv").read_bytes())
    (outside / "2020-01-01T00-00-00-000000").mkdir()
    (folder / name).unlink(missing_ok=True)
    (folder / name).symlink_to(outside / name if name.endswith("csv") else outside)
    before = sorted(path.name for path in outside.rglob("*"))
    for attempt in (
        lambda: open_folder(folder),
        lambda: open_folder(folder, only_look=True),
        lambda: save_folder(some("x"), folder, None, replace_changed=True),
        lambda: store.keep_aside(some("x"), folder),
    ):
        with pytest.raises(BalancekitError, match="link that leads out of the folder"):
            attempt()
    assert sorted(path.name for path in outside.rglob("*")) == before


def test_a_link_to_the_folder_itself_is_followed(tmp_path):
    stamp = save_folder(some(), tmp_path / "piano", None)
    (tmp_path / "link").symlink_to(tmp_path / "piano")
    assert same(open_folder(tmp_path / "link")[0], some())
    save_folder(some("x"), tmp_path / "link", stamp)


def test_half_a_character_in_the_descriptor_is_a_sentence(tmp_path):
    save_folder(some(), tmp_path / "piano", None)
    path = tmp_path / "piano" / DESCRIPTOR
    path.write_bytes(path.read_bytes().replace(b"Practice room", b"Practice \\ud800"))
    with pytest.raises(BalancekitError, match="half a character"):
        open_folder(tmp_path / "piano")
