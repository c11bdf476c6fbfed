"""A returned file on the readings panel: what is new is shown, and each is taken or left."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hostile_files import telephone_picture as picture

from balancekit.instrument.descriptor import identified
from balancekit.instrument.notes import Note, Proposal
from balancekit.instrument.photographs import prepared
from balancekit.panels.bring_in import BringIn
from balancekit.sharing.carry import to_html_payload, to_zip
from tests.panels.shown import text_of

FIRST = Note("friction", "tight <b>centre</b>", "Ben", "2026-06-01", 12, 12)
SECOND = Note(
    "lead_and_spring", "", "Ben", "2026-06-02", proposals=(Proposal("balance", 36.0, "small"),)
)


@pytest.fixture
def answered(bench):
    """The demo as a colleague sends it back: two notes, another reading, another choice."""
    bench.change(bench.instrument.with_choice("hammer_mass", {"bend_g": 0.5}))
    held = identified(bench.instrument)
    readings = held.visits[0].readings.copy()
    readings.loc[readings["key"] == 5, "down_weight_g"] = 61.0
    changed = held.with_readings(readings).with_notes(FIRST, SECOND)
    return changed.with_choice("hammer_mass", {"bend_g": 0.9})


@pytest.fixture
def panel(bench, answered) -> BringIn:
    panel = BringIn(bench)
    panel.take_file("back.html", f"<html>{to_html_payload(answered)}</html>".encode())
    return panel


def test_what_is_new_is_shown_beside_what_is_here_and_nothing_is_taken(bench, panel):
    said = " ".join(text_of(panel.returned).split())
    assert "4 things in the file are new" in said
    titles = [tick.description for tick in panel.returned.ticks.values()]
    assert "Note by Ben, 2026-06-01 on friction, Key 12" in titles
    assert "proposes balance 36, because: small" in said
    assert "in the file: Down weight 61" in said and "here: Down weight 5" in said
    assert "in the file: bend g 0.9" in said
    assert "<b>centre" not in panel.returned.listed.children[1].value
    assert "here: bend g 0.5" in said and bench.instrument.notes == ()


def test_what_is_ticked_is_taken_and_the_rest_is_left(bench, panel, answered):
    name = next(name for name in panel.returned.ticks if FIRST.identity in name)
    panel.returned.take_ticked()
    assert "Nothing is ticked" in panel.returned.said.value and bench.instrument.notes == ()
    panel.returned.ticks[name].value = True
    panel.returned.take_ticked()
    assert bench.instrument.notes == (FIRST,)
    first = bench.instrument.visits[0].readings
    assert 61.0 not in first.loc[first["key"] == 5, "down_weight_g"].tolist()
    assert bench.instrument.choices["hammer_mass"] != answered.choices["hammer_mass"]
    panel.take_file("back.zip", to_zip(answered))
    assert len(panel.returned.ticks) == 3
    bench.undo()
    assert bench.instrument.notes == ()


def test_all_at_once_keeps_what_stood_here_as_a_note(bench, panel, answered):
    panel.returned.take_all()
    held = bench.instrument
    assert held.choices["hammer_mass"] == answered.choices["hammer_mass"]
    assert {FIRST, SECOND} <= set(held.notes)
    earlier = [note for note in held.notes if note.earlier]
    assert {note.chapter for note in earlier} == {"hammer_mass", "readings"}
    assert any("bend g 0.5" in note.text for note in earlier)
    assert "All that was new was taken" in panel.understood.value
    panel.take_file("back.zip", to_zip(answered))
    assert "Nothing is new" in panel.returned.said.value


def test_leaving_it_all_changes_nothing(bench, panel):
    before = bench.instrument
    panel.returned.leave()
    assert bench.instrument is before and panel.returned.ticks == {}
    assert "Nothing was taken" in panel.understood.value


def test_another_instrument_is_asked_about_first(bench, panel, answered):
    other = replace(answered, identity="00000000-0000-5000-8000-000000000000")
    panel.take_file("back.zip", to_zip(other))
    assert panel.returned.ticks == {} and panel.returned.asking.layout.display == "flex"
    panel.returned.show_although_another()
    assert len(panel.returned.ticks) == 4
    panel.returned.take_all()
    assert {FIRST, SECOND} <= set(bench.instrument.notes)


def test_photographs_come_with_their_note(bench, panel, answered):
    kept, clean = prepared(picture(), "a.jpg")
    note = Note("readings", "cracked", "Ben", "2026-06-03", 3, 3, photographs=(kept,))
    shown = answered.with_photographs({kept: clean}).with_notes(note)
    panel.take_file("back.zip", to_zip(shown))
    assert "cracked; with 1 photograph" in text_of(panel.returned)
    panel.returned.ticks[f"note {note.identity}"].value = True
    panel.returned.take_ticked()
    assert bench.instrument.photographs == {kept: clean}


def test_a_large_file_arrives_in_pieces(bench, answered):
    panel, data = BringIn(bench), to_zip(answered)
    pieces = [data[at : at + 1500] for at in range(0, len(data), 1500)]
    for number, piece in enumerate(pieces):
        said = {"kind": "file", "name": "back.zip", "part": number, "parts": len(pieces)}
        panel.drop._received(None, said, [memoryview(piece)])
    assert len(pieces) > 3 and len(panel.returned.ticks) == 4
