"""Two sides of one instrument meet: nothing is lost, nothing comes twice, no order matters.

The laws are those of a join of sets (idempotent, commutative), as state-based replicated data
types ask for them: Shapiro, Preguiça, Baquero, Zawirski, Conflict-free Replicated Data Types,
2011 (from memory).
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.generator import Recipe, invent, weigh
from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bench import Bench
from balancekit.instrument.demo import studio_grand
from balancekit.instrument.descriptor import from_files, identified, to_files
from balancekit.instrument.merge import everything, merge, news
from balancekit.instrument.model import BenchSettings, Instrument, Visit
from balancekit.instrument.notes import Note, Proposal
from balancekit.instrument.store import open_folder, save_folder

EXAMPLES = 12
"""Of each law: a fault that one pair of sides in four shows is found in 97 of 100 runs."""

KEYS = 4
READINGS = weigh(invent(7, Recipe(key_count=KEYS)).truth, 8)
BASE = identified(
    Instrument("Hall", BenchSettings(KEYS), (Visit("as found", "2026-01-01"),))
    .with_readings(READINGS)
    .with_notes(Note("readings", "from the first day", "Ada", "2026-01-01"))
    .with_choice("hammer_mass", {"balance_weight_g": 38.0})
)

WORDS = st.sampled_from(["tight", "slow", "=1+1", "<b>x</b>", "Grüße"])
PEOPLE = st.sampled_from(["", "Ada", "Ben"])
DAYS = st.sampled_from(["", "2026-02-01", "2026-02-02T10:30"])


def _read_anew(held: Instrument, key: int, value: float, within: float) -> Instrument:
    readings = held.visits[0].readings.copy()
    readings.loc[readings["key"] == key, ["down_weight_g", "down_weight_within_g"]] = value, within
    return held.with_readings(readings)


EDITS = st.one_of(
    st.builds(
        lambda *words: lambda held: held.with_notes(Note("friction", *words, first_key=2)),
        WORDS, PEOPLE, DAYS,
    ),
    st.builds(lambda text: lambda held: held.with_chapter_note("balance", text), WORDS),
    st.builds(lambda key, text: lambda held: held.with_key_note(key, text),
              st.integers(1, KEYS), WORDS),
    st.builds(lambda g: lambda held: held.with_choice("hammer_mass", {"balance_weight_g": g}),
              st.sampled_from([36.0, 37.0, 38.0])),
    st.builds(lambda key, g, within: lambda held: _read_anew(held, key, g, within),
              st.integers(1, KEYS), st.sampled_from([50.0, 60.0]),
              st.sampled_from([float("nan"), 1.0])),
    st.builds(
        lambda day: lambda held: held.with_visit(
            Visit("after", day, BASE.visits[0].readings.head(2)), len(held.visits)
        ) if day not in {v.date for v in held.visits} else held,
        st.sampled_from(["2026-03-01", "2026-03-02"]),
    ),
    st.just(lambda held: held.without_notes(BASE.notes[0].identity)),
    st.builds(lambda title: lambda held: replace(held, title=title), WORDS),
)  # fmt: skip


@st.composite
def sides(draw) -> Instrument:
    held = BASE
    for edit in draw(st.lists(EDITS, max_size=5)):
        held = edit(held)
    return held


def written(instrument: Instrument) -> set[str]:
    return {note.identity for note in instrument.notes if not note.earlier}


@pytest.mark.slow
@given(sides())
@settings(max_examples=EXAMPLES, deadline=None)
def test_what_is_here_already_changes_nothing(one):
    assert news(one, one) == ()
    assert to_files(merge(one, one)) == to_files(one)


@pytest.mark.slow
@given(sides(), sides())
@settings(max_examples=EXAMPLES, deadline=None)
def test_a_second_time_brings_nothing(one, other):
    once = merge(one, other)
    assert news(once, other) == ()
    assert to_files(merge(once, other)) == to_files(once)
    assert to_files(from_files(to_files(once))) == to_files(once)


@pytest.mark.slow
@given(sides(), sides())
@settings(max_examples=EXAMPLES, deadline=None)
def test_it_does_not_matter_who_takes_over(one, other):
    there, back = merge(one, other), merge(other, one)
    assert everything(there) == everything(back)
    assert (there.left_out, written(there)) == (back.left_out, written(back))


@pytest.mark.slow
@given(sides(), sides(), sides())
@settings(max_examples=EXAMPLES, deadline=None)
def test_the_order_of_answers_does_not_matter(one, second, third):
    forth = merge(merge(one, second), third)
    back = merge(merge(one, third), second)
    assert everything(forth) == everything(back)
    assert forth.left_out == back.left_out


@pytest.mark.slow
@given(sides(), sides())
@settings(max_examples=EXAMPLES, deadline=None)
def test_nothing_disappears_unless_somebody_left_it_out(one, other):
    both = merge(one, other)
    gone = (everything(one) | everything(other)) - everything(both)
    now_signed = {note.without_name.identity for note in both.notes}
    allowed = {f'["note", "{name}"]' for name in both.left_out | now_signed}
    assert gone <= allowed


def test_a_note_that_went_without_its_name_gets_it_back():
    signed = BASE.with_notes(Note("friction", "tight", "Ben", "2026-02-01", first_key=2))
    bare = replace(signed, notes=tuple(note.without_name for note in signed.notes))
    assert news(signed, bare) == ()
    for both in (merge(signed, bare), merge(bare, signed)):
        assert [note.author for note in both.notes] == ["Ada", "Ben"]


def test_both_sides_changed_the_same_and_both_are_shown():
    one = BASE.with_choice("hammer_mass", {"balance_weight_g": 36.0})
    other = BASE.with_choice("hammer_mass", {"balance_weight_g": 40.0})
    (found,) = news(one, other)
    assert found.both and "36" in found.here and "40" in found.there
    taken = merge(one, other)
    assert taken.choices["hammer_mass"] == {"balance_weight_g": 40.0}
    (kept,) = [note for note in taken.notes if note.earlier]
    assert "36" in kept.text and kept.chapter == "hammer_mass"


def test_each_is_taken_or_left():
    other = BASE.with_notes(Note("friction", "a"), Note("friction", "b"))
    first, second = news(BASE, other)
    assert merge(BASE, other, []) == BASE
    taken = merge(BASE, other, [first.name])
    assert len(taken.notes) == 2 and news(taken, other) == (second,)


def test_a_note_of_an_answer_knows_author_day_and_what_it_proposes():
    note = Note(
        "lead_and_spring", "Lighter.", "Ben", "2026-02-03T09:15", 40, 45, "front_weight_g",
        (Proposal("balance", 36.0, "the hall is small"),),
    )  # fmt: skip
    back = from_files(to_files(BASE.with_notes(note))).notes[-1]
    assert back == note and back.identity == note.identity
    assert back.signature == "Ben, 2026-02-03" and back.about == "Front weight, keys 40 to 45"


def test_another_instrument_is_refused_unless_somebody_is_sure():
    other = replace(BASE, identity="00000000-0000-5000-8000-000000000000").with_notes(Note("job"))
    with pytest.raises(BalancekitError, match="another instrument"):
        news(BASE, other)
    assert len(news(BASE, other, sure=True)) == 1
    upright = replace(other, settings=BenchSettings(KEYS + 1))
    with pytest.raises(BalancekitError, match="5 keys"):
        merge(BASE, upright, sure=True)


def test_an_identity_lasts_from_the_first_day(tmp_path, monkeypatch):
    monkeypatch.setenv("BALANCEKIT_HOME", str(tmp_path))
    bench = Bench(Instrument())
    bench.start(Instrument("Hall"))
    first = bench.instrument.identity
    assert first and open_folder(bench.folder)[0].identity == first
    bench.change(replace(bench.instrument, title="Another name"))
    assert open_folder(bench.folder)[0].identity == first
    second = Bench(Instrument())
    second.start(Instrument("Hall"))
    assert second.instrument.identity not in ("", first)


def test_an_older_folder_gets_one_on_its_next_save(tmp_path):
    old = replace(studio_grand(), identity="")
    save_folder(old, tmp_path / "old", None)
    bench = Bench(Instrument())
    bench.open(tmp_path / "old")
    assert bench.instrument.identity == identified(old).identity != ""
    bench.change(bench.instrument.with_chapter_note("job", "x"))
    assert open_folder(tmp_path / "old")[0].identity == identified(old).identity
