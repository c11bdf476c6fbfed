"""ISO 16:1975: A4 is 440 Hz. Equal temperament gives the other notes (recomputed)."""

import pytest

from balancekit.calculation.keyboard import keyboard

GUARDS = ("balancekit.calculation.keyboard.keyboard",)


@pytest.mark.parametrize(
    ("key", "note_name", "frequency_hz"),
    [
        (1, "A0", 27.5),
        (40, "C4", 261.6255653),
        (49, "A4", 440.0),
        (88, "C8", 4186.0090448),
    ],
)
def test_frequency(key: int, note_name: str, frequency_hz: float) -> None:
    row = keyboard().loc[key]
    assert row["note_name"] == note_name
    assert row["frequency_hz"] == pytest.approx(frequency_hz, abs=5e-8)


def test_octaves_double() -> None:
    frequency = keyboard(97, "C0")["frequency_hz"].to_numpy()
    assert frequency[12:] / frequency[:-12] == pytest.approx(2.0, rel=1e-13)


def test_naturals_and_sharps() -> None:
    """Common practice: 52 naturals and 36 sharps."""
    counts = keyboard()["colour"].value_counts()
    assert (counts["natural"], counts["sharp"]) == (52, 36)
