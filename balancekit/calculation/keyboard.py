"""Key numbers, note names, naturals and sharps, frequencies."""

from __future__ import annotations

import re

import pandas as pd

from balancekit.calculation.problems import refuse

MOST_KEYS = 97
# Common practice, no source: the largest concert grands in service have 97 keys.

A4_HZ = 440.0
# ISO 16:1975.

A4_NUMBER = 69
# MIDI 1.0 note number of A4, so that key 1 of 88 (A0) is number 21.

_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_NOTE = re.compile(r"^([A-G])(#|b)?(10|-?\d)$")


def note_number(note_name: str) -> int:
    """Return the MIDI note number of a note name such as ``A0``, ``C#4`` or ``Bb3``.

    >>> note_number("A0"), note_number("C4"), note_number("Bb3")
    (21, 60, 58)
    """
    match = _NOTE.match(note_name.strip().replace("♯", "#").replace("♭", "b"))
    if match is None:
        raise refuse(
            f"'{note_name}' is not a note name.",
            "Write a letter A to G, # or b if needed, and the octave, for example A0 or C#4.",
        )
    letter, accidental, octave = match.groups()
    shift = {"#": 1, "b": -1, None: 0}[accidental]
    return _NAMES.index(letter) + shift + 12 * (int(octave) + 1)


def keyboard(key_count: int = 88, first_note: str = "A0") -> pd.DataFrame:
    """List the keys of an instrument from left to right.

    Parameters
    ----------
    key_count : number of keys, 1 to 97.
    first_note : name of the note of key 1.

    Returns
    -------
    DataFrame indexed by ``key`` (1 to key_count) with ``note_name``, ``colour``
    ("natural" or "sharp") and ``frequency_hz`` [Hz], equal temperament.

    Raises
    ------
    BalancekitError : key_count or first_note is not possible.

    References
    ----------
    ISO 16:1975, A4 = 440 Hz.

    >>> keyboard().loc[[1, 2, 49], ["note_name", "colour"]].values.tolist()
    [['A0', 'natural'], ['A#0', 'sharp'], ['A4', 'natural']]
    """
    if isinstance(key_count, bool) or key_count != int(key_count):
        raise refuse(f"{key_count} is not a number of keys.", "Give a whole number, 1 to 97.")
    if not 1 <= key_count <= MOST_KEYS:
        raise refuse(
            f"{key_count} keys is outside what pianos have.",
            f"Give a whole number from 1 to {MOST_KEYS}.",
        )
    start = note_number(first_note)
    numbers = range(start, start + int(key_count))
    names = [f"{_NAMES[n % 12]}{n // 12 - 1}" for n in numbers]
    return pd.DataFrame(
        {
            "note_name": names,
            "colour": ["sharp" if "#" in name else "natural" for name in names],
            "frequency_hz": [A4_HZ * 2.0 ** ((n - A4_NUMBER) / 12) for n in numbers],
        },
        index=pd.RangeIndex(1, int(key_count) + 1, name="key"),
    )
