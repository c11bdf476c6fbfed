"""pretty_midi (MIT licence): note names and frequencies of MIDI note numbers."""

import pretty_midi
import pytest

from balancekit.calculation.keyboard import keyboard, note_number

GUARDS = (
    "balancekit.calculation.keyboard.keyboard",
    "balancekit.calculation.keyboard.note_number",
)

LAYOUTS = [(88, "A0"), (97, "C0"), (85, "A0"), (1, "C4"), (61, "C2")]


@pytest.mark.parametrize(("key_count", "first_note"), LAYOUTS)
def test_keys(key_count: int, first_note: str) -> None:
    keys = keyboard(key_count, first_note)
    start = pretty_midi.note_name_to_number(first_note)
    numbers = range(start, start + key_count)
    assert keys.index.tolist() == list(range(1, key_count + 1))
    assert keys["note_name"].tolist() == [pretty_midi.note_number_to_name(n) for n in numbers]
    assert keys["frequency_hz"].tolist() == pytest.approx(
        [pretty_midi.note_number_to_hz(n) for n in numbers], rel=1e-12
    )


@pytest.mark.parametrize("number", range(12, 128))
def test_every_name_is_read_back(number: int) -> None:
    assert note_number(pretty_midi.note_number_to_name(number)) == number


@pytest.mark.parametrize("flat", ["Bb0", "Db1", "Eb4", "Gb7", "Ab3"])
def test_flats(flat: str) -> None:
    assert note_number(flat) == pretty_midi.note_name_to_number(flat.replace("b", "!").strip())


def test_ends_of_the_largest_keyboard() -> None:
    keys = keyboard(97, "C0")
    assert keys["note_name"].iloc[[0, -1]].tolist() == ["C0", pretty_midi.note_number_to_name(108)]
