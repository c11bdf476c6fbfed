"""One instrument as a value: what was given, kept apart from what is computed.

Nothing here changes in place. A change makes a new instrument, so that undo
is a matter of keeping the old one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

import pandas as pd

from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.problems import refuse
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.instrument.notes import Note, in_order
from balancekit.instrument.photographs import joined
from balancekit.instrument.tables import TABLES, typed

ACTIONS = ("grand", "upright")


def _reading_uncertainties() -> dict[str, float]:
    return {name: float(QUANTITIES[name].reading_u or 0.0) for name in READING_COLUMNS}


@dataclass(frozen=True)
class BenchSettings:
    """What holds for the whole instrument and for how it is weighed.

    Attributes
    ----------
    key_count : number of keys, 1 to 97.
    first_note : name of the note of key 1.
    action : "grand" or "upright"; an upright has down weight, up weight, balance
        weight and friction only.
    natural_arm_mm, sharp_arm_mm : balance pin to measuring point [mm].
    front_edge_mm : measuring point to the front edge of a natural [mm].
    key_dip_mm, blow_distance_mm, aftertouch_mm : regulation [mm].
    reading_u : standard uncertainty of one reading, by reading column [unit of the column].
    """

    key_count: int = 88
    first_note: str = "A0"
    action: str = "grand"
    natural_arm_mm: float = 240.0
    sharp_arm_mm: float = 200.0
    front_edge_mm: float = 13.0
    key_dip_mm: float = 10.0
    blow_distance_mm: float = 46.0
    aftertouch_mm: float = 1.0
    reading_u: Mapping[str, float] = field(default_factory=_reading_uncertainties)

    def __post_init__(self) -> None:
        keyboard(self.key_count, self.first_note)
        if self.action not in ACTIONS:
            raise refuse(f"'{self.action}' is not a kind of action.", f"Choose one of {ACTIONS}.")
        for item in fields(self):
            value = getattr(self, item.name)
            limits = QUANTITIES.get(item.name.replace("natural_", "").replace("sharp_", ""))
            if limits is not None and not limits.minimum <= value <= limits.maximum:
                raise refuse(
                    f"{limits.label} is {value} {limits.unit}.",
                    f"Give {limits.minimum:g} to {limits.maximum:g} {limits.unit}.",
                )
        for name, value in self.reading_u.items():
            if name not in READING_COLUMNS or not 0 <= float(value) < float("inf"):
                raise refuse(
                    f"The uncertainty of '{name}' is {value}.",
                    f"Give 0 or more, for one of {', '.join(READING_COLUMNS)}.",
                )


@dataclass(frozen=True)
class Visit:
    """One set of readings, taken on one occasion.

    Attributes
    ----------
    title : in the user's words, for example "as found".
    date : ISO 8601 day, or "".
    readings : table of kind "readings", raw rows, repeats kept.
    confirmed : (key, quantity) pairs that looked doubtful and that the user keeps.
    """

    title: str = "as found"
    date: str = ""
    readings: pd.DataFrame = field(default_factory=TABLES["readings"].empty)
    confirmed: frozenset[tuple[int, str]] = frozenset()


@dataclass(frozen=True)
class Section:
    """A part of the keyboard, from its first key to the next section's first key."""

    name: str
    first_key: int

    @staticmethod
    def from_words(text: str, key_count: int) -> tuple[Section, ...]:
        """Return the sections that a line names, each as a name and its first key.

        >>> Section.from_words("bass 1, treble 57", 88)[1]
        Section(name='treble', first_key=57)
        """
        sections: list[Section] = []
        for part in filter(None, (piece.strip() for piece in text.split(","))):
            name, _, first = part.rpartition(" ")
            if not (name and first.isdecimal() and 1 <= int(first) <= key_count):
                raise refuse(
                    f"'{part}' is not a section.",
                    f"Write a name and its first key, 1 to {key_count}, for example: treble 57.",
                )
            sections.append(Section(name.strip(), int(first)))
        return tuple(sorted(sections, key=lambda section: section.first_key))


@dataclass(frozen=True)
class Instrument:
    """Everything that the user gave about one instrument.

    Attributes
    ----------
    title : name of the instrument.
    settings : bench settings.
    visits : sets of readings, the oldest first; never empty.
    sections : parts of the keyboard, from the left; may be empty.
    tables : optional tables by kind, for example "leads"; see ``TABLES``.
    choices : what was decided, by chapter; plain JSON values.
    chapter_notes : Markdown by chapter.
    identity : a UUID (RFC 9562) that stays the same from the first day on, so that the
        instrument is known again under any name; "" before its first day.
    notes : what people wrote, each with author and day, in the order of time.
    left_out : identities of notes that somebody left out, so that they do not come back.
    photographs : JPEG bytes by name, as ``photographs.prepared`` leaves them.
    """

    title: str = "Untitled instrument"
    settings: BenchSettings = field(default_factory=BenchSettings)
    visits: tuple[Visit, ...] = (Visit(),)
    sections: tuple[Section, ...] = ()
    tables: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    choices: Mapping[str, Any] = field(default_factory=dict)
    chapter_notes: Mapping[str, str] = field(default_factory=dict)
    identity: str = ""
    notes: tuple[Note, ...] = ()
    left_out: frozenset[str] = frozenset()
    photographs: Mapping[str, bytes] = field(default_factory=dict)

    @property
    def keys(self) -> pd.DataFrame:
        """Note name, colour and frequency of each key; see ``keyboard``."""
        return keyboard(self.settings.key_count, self.settings.first_note)

    def table(self, kind: str) -> pd.DataFrame:
        """Return an optional table, empty if the instrument has none."""
        return self.tables[kind] if kind in self.tables else TABLES[kind].empty()

    def with_table(self, kind: str, table: pd.DataFrame) -> Instrument:
        """Return the instrument with one optional table put in or replaced."""
        return replace(self, tables={**self.tables, kind: typed(table, TABLES[kind])})

    def with_readings(self, readings: pd.DataFrame, visit: int = 0) -> Instrument:
        """Return the instrument with the readings of one visit replaced."""
        return self.with_visit(
            replace(self.visits[visit], readings=typed(readings, TABLES["readings"])), visit
        )

    def with_visit(self, changed: Visit, visit: int) -> Instrument:
        """Return the instrument with one visit replaced, or added at the end."""
        visits = list(self.visits)
        visits[visit : visit + 1] = [changed]
        return replace(self, visits=tuple(visits))

    def with_choice(self, chapter: str, choice: Any) -> Instrument:
        """Return the instrument with what was decided in one chapter; None forgets it."""
        choices = {name: value for name, value in self.choices.items() if name != chapter}
        return replace(self, choices=choices if choice is None else {**choices, chapter: choice})

    def with_chapter_note(self, chapter: str, note: str) -> Instrument:
        """Return the instrument with the note of one chapter; an empty note removes it."""
        notes = {**self.chapter_notes, chapter: note.strip()}
        return replace(self, chapter_notes={name: text for name, text in notes.items() if text})

    def with_notes(self, *notes: Note) -> Instrument:
        """Return the instrument with notes added; what was left out before stays out."""
        added = [note for note in notes if note.identity not in self.left_out]
        return replace(self, notes=in_order([*self.notes, *added]))

    def without_notes(self, *identities: str) -> Instrument:
        """Return the instrument with some notes left out, for good."""
        kept = tuple(note for note in self.notes if note.identity not in identities)
        shown = {name for note in kept for name in note.photographs}
        return replace(
            self,
            notes=kept,
            left_out=self.left_out | set(identities),
            photographs={
                name: self.photographs[name] for name in self.photographs if name in shown
            },
        )

    def with_photographs(self, added: Mapping[str, bytes]) -> Instrument:
        """Return the instrument with photographs added; ``joined`` refuses too many bytes."""
        return replace(self, photographs=joined(self.photographs, added)) if added else self

    @property
    def key_notes(self) -> dict[int, str]:
        """Notes on single keys, by key number."""
        table = self.table("key_notes")
        return dict(zip(table["key"].tolist(), table["note"].tolist(), strict=True))

    def with_key_note(self, key: int, note: str) -> Instrument:
        """Return the instrument with the note of one key; an empty note removes it."""
        notes = {**self.key_notes, key: note.strip()}
        kept = sorted((key, note) for key, note in notes.items() if note)
        return self.with_table("key_notes", pd.DataFrame(kept, columns=["key", "note"]))
