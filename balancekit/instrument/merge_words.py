"""Words for what a returned file holds: the name of a place, and the value that stands there."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

import pandas as pd

from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import plural
from balancekit.instrument.notes import Note
from balancekit.instrument.tables import TABLES

_TITLES = {
    "title": "Name of the instrument",
    "sections": "Sections",
}


def place_words(name: str) -> str:
    """Return the name of a place in words.

    >>> place_words("choice hammer_mass")
    'Choice in hammer mass'
    """
    kind, _, rest = name.partition(" ")
    if name in _TITLES:
        return _TITLES[name]
    if kind == "setting":
        return f"Setting: {rest.replace('_', ' ')}"
    if kind == "choice":
        return f"Choice in {rest.replace('_', ' ')}"
    if kind == "table":
        known = TABLES.get(rest)
        return f"Table: {known.meaning if known else rest.replace('_', ' ')}"
    return name[:1].upper() + name[1:].replace("_", " ")


def note_words(note: Note) -> str:
    """Say a note with what it proposes and how many photographs it has.

    >>> note_words(Note("friction", "tight", photographs=("photograph_1.jpg",)))
    'tight; with 1 photograph'
    """
    parts = [note.text] if note.text else []
    for each in note.proposals:
        why = f", because: {each.reason}" if each.reason else ""
        parts.append(f"proposes {each.slider.replace('_', ' ')} {each.value:g}{why}")
    if note.photographs:
        parts.append(f"with {plural(len(note.photographs), 'photograph')}")
    return "; ".join(parts)


def value_words(value: Any, other: Any) -> str:
    """Say a value; of many values only those that differ from the other side's."""
    if isinstance(value, Mapping):
        own = {
            str(name): each for name, each in value.items()
            if not isinstance(other, Mapping) or other.get(name) != each
        }  # fmt: skip
        return ", ".join(f"{n.replace('_', ' ')} {value_words(v, None)}" for n, v in own.items())
    if isinstance(value, list):
        return ", ".join(value_words(each, None) for each in value) or "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float | int):
        return f"{value:g}"
    if isinstance(value, str) and value.startswith("key,"):
        return _readings_words(value)
    return str(value)


def _readings_words(rows: str) -> str:
    """Say the readings of a key as a person would."""
    parts = []
    for line in pd.read_csv(io.StringIO(rows), dtype=str).fillna("").to_dict("records"):
        for name, text in line.items():
            if name != "key" and text:
                known = QUANTITIES.get(str(name))
                label = known.label if known else str(name).replace("_", " ")
                parts.append(f"{label} {text}{f' {known.unit}' if known else ''}".strip())
    return ", ".join(parts)
