"""A save that fails is said in the panel where something was entered, with the ways on."""

from __future__ import annotations

import errno

import ipywidgets as widgets
import pytest

from balancekit import panels
from balancekit.instrument import store
from balancekit.instrument.bench import Bench, open_bench
from balancekit.instrument.store import open_folder
from balancekit.panels.saving import Saving
from balancekit.panels.widgets import NoteField
from tests.panels.shown import inside, text_of, type_note

WHERE_SOMETHING_IS_ENTERED = (
    "bench_sheets_panel", "bring_in_panel", "flags_panel", "friction_account_panel",
    "friction_panel", "balance_panel", "grid_panel", "hammer_ceiling_panel",
    "hammer_decided_panel", "hammer_sets_panel", "hammer_target_panel", "instrument_panel",
    "lead_layout_panel", "lead_lines_panel", "lead_sticks_panel", "lead_target_panel",
    "note_panel", "one_key_panel", "ratio_checks_panel", "ratio_map_panel", "scale_panel",
    "settings_panel", "spring_check_panel", "spring_relief_panel", "work_key_panel",
)  # fmt: skip


@pytest.fixture
def full_disk(monkeypatch):
    def fail(_: int) -> None:
        raise OSError(errno.ENOSPC, "planted")

    with monkeypatch.context() as patch:
        patch.setattr(store.os, "fsync", fail)
        yield patch


def shown(panel: widgets.Widget) -> list[Saving]:
    found = [part for part in inside(panel) if isinstance(part, Saving)]
    return [part for part in found if part.layout.display != "none"]


def press(panel: widgets.Widget, text: str) -> None:
    (found,) = {each for part in shown(panel) for each in inside(part)
                if getattr(each, "description", "") == text}  # fmt: skip
    found.click()


@pytest.mark.parametrize("name", WHERE_SOMETHING_IS_ENTERED)
def test_a_full_disk_is_said_where_something_is_entered(bench: Bench, full_disk, name):
    more = ("readings",) if name == "note_panel" else ()
    panel = getattr(panels, name)(bench, *more)
    assert shown(panel) == []
    bench.change(bench.instrument.with_key_note(5, "only here"))
    assert shown(panel) and "The disk is full" in text_of(panel)
    assert text_of(panel).count("The disk is full") == len(shown(panel))


def test_what_was_entered_is_shown_and_saved_once_the_disk_is_back(bench: Bench, full_disk):
    panel = panels.note_panel(bench, "readings")
    (box,) = [each for each in inside(panel) if isinstance(each, NoteField)]
    type_note(box, "readings", "the bass was weighed twice")
    assert bench.instrument.chapter_notes["readings"] == box.text == "the bass was weighed twice"
    assert "What you entered is still here" in text_of(panel)
    full_disk.undo()
    press(panel, "Save again")
    assert shown(panel) == [] and not bench.not_saved
    assert open_folder(bench.folder)[0].chapter_notes == {"readings": box.text}


def test_a_change_in_another_window_offers_both_ways(bench: Bench):
    bench.change(bench.instrument.with_key_note(5, "begun"))
    other, panel = open_bench(), panels.grid_panel(bench)
    other.change(other.instrument.with_key_note(6, "other window"))
    bench.change(bench.instrument.with_key_note(7, "this window"))
    assert "changed on disk" in text_of(panel)
    press(panel, "Keep the one here")
    assert shown(panel) == []
    other.change(other.instrument.with_key_note(8, "again"))
    there = panels.grid_panel(other)
    press(there, "Take the one on disk")
    assert shown(there) == []
    assert other.instrument.key_notes == {5: "begun", 7: "this window"}


def test_a_folder_that_is_gone_is_said(bench: Bench):
    bench.change(bench.instrument.with_key_note(5, "begun"))
    other, panel = open_bench(), panels.grid_panel(bench)
    other.change(other.instrument.with_key_note(6, "other window"))
    bench.change(bench.instrument.with_key_note(7, "this window"))
    bench.folder.rename(bench.folder.with_name("moved"))
    press(panel, "Take the one on disk")
    assert "Not taken." in text_of(panel)
    press(panel, "Keep the one here")
    assert "not there any more" in text_of(panel) and "new folder" in text_of(panel)
    assert not bench.folder.exists()
    press(panel, "Save in a new folder")
    assert shown(panel) == []
    assert open_folder(bench.folder)[0].key_notes == {5: "begun", 7: "this window"}


def test_a_folder_that_comes_back_is_saved_in_again(bench: Bench):
    bench.change(bench.instrument.with_key_note(5, "begun"))
    panel, away = panels.grid_panel(bench), bench.folder.with_name("away")
    bench.folder.rename(away)
    bench.change(bench.instrument.with_key_note(7, "while it was away"))
    assert "not there any more" in text_of(panel) and not bench.folder.exists()
    away.rename(bench.folder)
    press(panel, "Save again")
    assert shown(panel) == []
    assert open_folder(bench.folder)[0].key_notes == {5: "begun", 7: "while it was away"}
