"""Keyboards: layout, other spellings, and what is refused."""

from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from balancekit.calculation.keyboard import MOST_KEYS, keyboard, note_number
from balancekit.calculation.problems import BalancekitError


@given(key_count=st.integers(1, MOST_KEYS), start=st.integers(12, 40))
@example(key_count=93, start=40)
@settings(max_examples=40, deadline=None)
def test_any_keyboard(key_count: int, start: int) -> None:
    first_note = keyboard(97, "C0")["note_name"].iloc[start - 12]
    keys = keyboard(key_count, first_note)
    assert keys.index.tolist() == list(range(1, key_count + 1))
    assert [note_number(name) for name in keys["note_name"]] == list(
        range(start, start + key_count)
    )
    assert keys["frequency_hz"].is_monotonic_increasing
    sharp = keys["colour"] == "sharp"
    assert (sharp == keys["note_name"].str.contains("#")).all()
    assert not (sharp & sharp.shift(-1, fill_value=False)).any(), "two sharps never touch"


@pytest.mark.parametrize(
    ("spelling", "same"), [("Bb3", "A#3"), ("D♭4", "C♯4"), (" A0 ", "A0"), ("Cb4", "B3")]
)
def test_spellings(spelling: str, same: str) -> None:
    assert note_number(spelling) == note_number(same)


@pytest.mark.parametrize("key_count", [0, -1, 98, 88.5, True])
def test_impossible_counts(key_count: Any) -> None:
    with pytest.raises(BalancekitError, match=r"Give a whole number.*97"):
        keyboard(key_count)


@pytest.mark.parametrize("first_note", ["", "H0", "a0", "A", "A#b0", "21", "A0 B0"])
def test_impossible_notes(first_note: str) -> None:
    with pytest.raises(BalancekitError, match="is not a note name"):
        keyboard(88, first_note)
