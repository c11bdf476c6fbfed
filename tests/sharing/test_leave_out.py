"""What stays at home stays at home, in every file; what is inside is listed; answers find back."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hostile_files import telephone_picture

from balancekit.calculation.problems import BalancekitError
from balancekit.cli import main
from balancekit.instrument.demo import one_key_model, studio_grand
from balancekit.instrument.descriptor import identified, to_files
from balancekit.instrument.merge import merge, news
from balancekit.instrument.model import Instrument, Visit
from balancekit.instrument.notes import Note
from balancekit.instrument.photographs import prepared
from balancekit.instrument.store import save_folder
from balancekit.sharing.carry import from_report
from balancekit.sharing.leave_out import PARTS, LeaveOut, contents, without
from balancekit.sharing.report import build_report

KEPT, CLEAN = prepared(telephone_picture(), "a.jpg")
WORDS = {
    "notes": ("Secretnote", "Secretkey", "Secretchapter", "Secretremark"),
    "names": ("Secrettitle", "Secretauthor", "Secretsigner"),
    "photographs": (KEPT,),
    "plans": ("chosenplan",),
}
"""Words of the instrument below that must not be found where their part is left out."""


def with_secrets(instrument: Instrument, key: int) -> Instrument:
    """Return an instrument with words in all that can be left out."""
    named = replace(instrument, title="Secrettitle", choices={"hammer_mass": {"x": "chosenplan"}})
    readings = named.visits[0].readings
    readings.loc[0, "note"] = "Secretremark"
    return identified(
        named.with_readings(readings)
        .with_chapter_note("friction", "Secretchapter", "Secretsigner, 2026-01-01")
        .with_key_note(key, "Secretkey", "Secretsigner, 2026-01-01")
        .with_photographs({KEPT: CLEAN})
        .with_notes(Note("job", "Secretnote", "Secretauthor", "2026-01-02", photographs=(KEPT,)))
    )


@pytest.fixture(scope="module")
def held() -> Instrument:
    return with_secrets(studio_grand(), 5)


@pytest.fixture(scope="module")
def one_key() -> Instrument:
    """One key, read twice: its report is made in a third of the time."""
    model = one_key_model()
    twice = model.with_visit(Visit("again", "2026-06-01"), 1)
    return with_secrets(twice.with_readings(model.visits[0].readings, 1), 1)


def all_text(instrument: Instrument) -> str:
    return "".join(data.decode("latin-1") for data in to_files(instrument).values())


@pytest.mark.parametrize("part", PARTS)
def test_a_part_that_is_left_out_is_in_no_file(held, part):
    whole, shared = all_text(held), without(held, LeaveOut(frozenset({part})))
    text = all_text(shared)
    for name, words in WORDS.items():
        for word in words:
            assert word in whole
            kept = name != part
            if part == "notes" and word == KEPT:
                kept = False  # its note was all that it belonged to
            if part == "photographs" and word == KEPT:
                assert KEPT not in shared.photographs
            elif name != "names" or part != "notes" or word == "Secrettitle":
                assert (word in text) == kept, (part, word)
    assert shared.identity == held.identity


def test_all_parts_together_leave_only_readings_and_settings(held):
    shared = without(held, LeaveOut(frozenset(PARTS), frozenset({1})))
    text = all_text(shared)
    assert not any(word in text for words in WORDS.values() for word in words)
    assert len(shared.visits) == 1 and len(shared.visits[0].readings) == 104
    assert contents(shared) == (
        "Title: An instrument.",
        "Set 1 of readings: as found, 2026-03-09, 104 rows.",
        "0 notes, and 0 remarks beside readings.",
        "No names of who wrote.",
        "No photographs.",
        "No plans.",
        *(line for line in contents(held) if line.startswith("Table:")),
    )


def test_what_is_inside_is_listed(held):
    said = contents(held)
    assert "Title: Secrettitle." in said and "Plans: hammer mass." in said
    assert "Names of who wrote: Secretauthor, Secretsigner." in said
    assert any(line.startswith("1 photograph, ") for line in said)
    page = build_report(held)
    assert all(f"<li>{line}</li>" in page for line in said)


@pytest.mark.parametrize("part", [*PARTS, "set 2", ",".join(PARTS)])
def test_an_answer_to_a_file_without_them_brings_only_the_answer(one_key, part):
    shared = without(one_key, LeaveOut.from_words(part))
    back = from_report(build_report(shared).encode()).with_notes(Note("friction", "Yes.", "Ben"))
    (found,) = news(one_key, back)
    assert found.there == "Yes."
    merged = merge(one_key, back)
    assert len(merged.notes) == 2 and merged.title == "Secrettitle"
    assert to_files(merged).keys() >= to_files(one_key).keys()


def test_sheets_keep_their_readings_when_an_earlier_set_is_left_out():
    grand = studio_grand()
    grand = grand.with_visit(Visit("before all", "2026-01-01"), 2)
    shared = without(grand, LeaveOut(visits=frozenset({2})))
    assert shared.choices["bench_sheets"] == grand.choices["bench_sheets"]
    later = without(grand, LeaveOut(visits=frozenset({0})))
    assert "bench_sheets" not in later.choices


@pytest.mark.parametrize("words", ["everything", "set 0", "set x", "set -1"])
def test_what_cannot_be_left_out_is_said(words):
    with pytest.raises(BalancekitError, match="nothing that can be left out"):
        LeaveOut.from_words(words)


def test_a_set_that_is_not_there_or_all_of_them_is_refused(held):
    with pytest.raises(BalancekitError, match="no set 9"):
        without(held, LeaveOut.from_words("set 9"))
    with pytest.raises(BalancekitError, match="No set of readings"):
        without(held, LeaveOut.from_words("set 1, set 2"))


def test_the_command_lists_before_it_writes_and_leaves_out(held, tmp_path, capsys):
    save_folder(held, tmp_path / "hall", None)
    given = ["report", str(tmp_path / "hall"), "--to", str(tmp_path / "out"),
             "--leave-out", "names, notes,photographs, plans"]  # fmt: skip
    assert main([*given, "--only-list"]) == 0
    said = capsys.readouterr().out
    assert "Title: An instrument." in said and "Nothing was written." in said
    assert not (tmp_path / "out").exists()
    assert main(given) == 0
    assert "Title: An instrument." in capsys.readouterr().out
    secrets = [word for words in WORDS.values() for word in words]
    for path in (tmp_path / "out").iterdir():
        data = path.read_bytes()
        assert not any(word.encode() in data for word in secrets), path.name
    inside = from_report((tmp_path / "out" / "report.html").read_bytes())
    assert inside.title == "An instrument" and inside.identity == held.identity
