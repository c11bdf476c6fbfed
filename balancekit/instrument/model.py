"""One instrument as a value: what was given, kept apart from what is computed.

Nothing here changes in place. A change makes a new instrument, so that undo
is a matter of keeping the old one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, overload

import pandas as pd

from balancekit.calculation.by_value import ByValue
from balancekit.calculation.keyboard import MOST_KEYS, keyboard
from balancekit.calculation.problems import BalancekitError, Problem, refuse, shown
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.calculation.words import nearest, plural
from balancekit.instrument.accepted import (
    LONGEST_TITLE,
    Choices,
    Held,
    Tables,
    accepted_day,
    accepted_table,
    accepted_words,
    beyond,
    section_problems,
)
from balancekit.instrument.in_cells import card
from balancekit.instrument.notes import Note, in_order
from balancekit.instrument.photographs import joined
from balancekit.instrument.tables import TABLES, no_such_kind

ACTIONS = ("grand", "upright")
MOST_VISITS = 200
MOST_CONFIRMED = 10_000
LARGEST_READING_U = 100.0
"""What one instrument may hold; far more than any needs."""


LONGEST_SIGNATURE = 250
"""Letters of a name and a day."""


def chapter_place(chapter: str) -> str:
    """Return the place under which the note of a chapter is signed."""
    return f"chapter {chapter}"


def key_place(key: int) -> str:
    """Return the place under which the note of a key is signed."""
    return f"key {key}"


def _reading_uncertainties() -> dict[str, float]:
    return {name: float(QUANTITIES[name].reading_u or 0.0) for name in READING_COLUMNS}


@dataclass(frozen=True, eq=False)
class BenchSettings(ByValue):
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
    drift_taken_off : whether the drift that reference keys tell of is taken off the readings.
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
    drift_taken_off: bool = True

    def __post_init__(self) -> None:
        accepted_words(self.first_note, "The first note", LONGEST_TITLE)
        if not isinstance(self.key_count, int | float):
            raise refuse(f"{shown(repr(self.key_count))} keys is no number.", "Give 1 to 97.")
        keyboard(self.key_count, self.first_note)
        _put(self, "key_count", int(self.key_count))
        if self.action not in ACTIONS:
            raise refuse(f"'{self.action}' is not a kind of action.", f"Choose one of {ACTIONS}.")
        for item in fields(self):
            limits = QUANTITIES.get(item.name.replace("natural_", "").replace("sharp_", ""))
            if limits is None:
                continue
            value = _number(getattr(self, item.name))
            if not limits.minimum <= value <= limits.maximum:
                raise refuse(
                    f"{limits.label} is {shown(str(getattr(self, item.name)))} {limits.unit}.",
                    f"Give {limits.minimum:g} to {limits.maximum:g} {limits.unit}.",
                )
            _put(self, item.name, value)
        for name, spread in self.reading_u.items():
            if name not in READING_COLUMNS or not 0 <= _number(spread) <= LARGEST_READING_U:
                meant = "" if name in READING_COLUMNS else f"{nearest(name, READING_COLUMNS)} "
                raise refuse(
                    f"The uncertainty of '{shown(str(name))}' is {shown(str(spread))}.",
                    f"{meant}Give 0 to {LARGEST_READING_U:g}, for one of "
                    f"{', '.join(READING_COLUMNS)}.",
                )
        stated = {name: _number(spread) for name, spread in self.reading_u.items()}
        if not isinstance(self.drift_taken_off, bool):
            raise refuse("The drift is neither taken off nor left in.", "Give true or false.")
        _put(self, "reading_u", Held({**_reading_uncertainties(), **stated}))


def _number(value: object) -> float:
    """Return a number as float; NaN, which no limits hold, for anything else."""
    try:
        return float(value) if not isinstance(value, str) else float("nan")  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return float("nan")


def _put(held: object, name: str, value: object) -> None:
    """Put a checked value into a frozen one while it is being made."""
    object.__setattr__(held, name, value)


class _Readings:
    """The readings of a visit: checked when they come in, handed out as copies."""

    @overload
    def __get__(self, held: None, owner: type) -> None: ...

    @overload
    def __get__(self, held: object, owner: type) -> pd.DataFrame: ...

    def __get__(self, held: object | None, owner: type) -> pd.DataFrame | None:
        return None if held is None else vars(held)["readings"].copy(deep=False)

    def __set__(self, held: object, table: pd.DataFrame | None) -> None:
        kind = TABLES["readings"]
        vars(held)["readings"] = kind.empty() if table is None else accepted_table(table, kind)


@dataclass(frozen=True, eq=False, repr=False)
class Visit(ByValue):
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
    readings: _Readings = _Readings()
    confirmed: frozenset[tuple[int, str]] = frozenset()

    def __post_init__(self) -> None:
        accepted_words(self.title, "The title of the readings", LONGEST_TITLE)
        accepted_day(self.date)
        for key, quantity in self.confirmed:
            if quantity not in READING_COLUMNS or not 1 <= _number(key) <= MOST_KEYS:
                told = shown(f"key {key}, {quantity}")
                raise refuse(f"There is no reading {told} to keep.", "Name a key and a reading.")
        kept = frozenset((int(key), quantity) for key, quantity in self.confirmed)
        _put(self, "confirmed", kept)
        if len(kept) > MOST_CONFIRMED:
            raise refuse(f"{len(kept)} readings are kept.", f"Keep at most {MOST_CONFIRMED}.")

    def __repr__(self) -> str:
        day = f" {self.date}" if self.date else ""
        return f"<Visit {self.title!r}{day}: {plural(len(vars(self)['readings']), 'row')}>"


@dataclass(frozen=True)
class Section:
    """A part of the keyboard, from its first key to the next section's first key."""

    name: str
    first_key: int

    def __post_init__(self) -> None:
        accepted_words(self.name, "The name of a section", LONGEST_TITLE)
        first = _number(self.first_key)
        if not (1 <= first <= MOST_KEYS and first == int(first)):
            told = shown(str(self.first_key))
            raise refuse(f"'{told}' is not the first key of a section.", "Give a key number.")
        _put(self, "first_key", int(first))

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
        return tuple(sections)


@dataclass(frozen=True, eq=False, repr=False)
class Instrument(ByValue):
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
    signatures : who wrote the note of a chapter or a key, and when, by ``chapter_place`` or
        ``key_place``; a note from before notes were signed has none.
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
    signatures: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        accepted_words(self.title, "The title", LONGEST_TITLE)
        _put(self, "visits", tuple(self.visits))
        # A tuple that is in order stays the same one: by that it is known that nothing changed.
        held, ordered = tuple(self.sections), sorted(self.sections, key=lambda one: one.first_key)
        _put(self, "sections", held if list(held) == ordered else tuple(ordered))
        _put(self, "tables", Tables.of(self.tables))
        _put(self, "choices", Choices.of(self.choices))
        for chapter, note in self.chapter_notes.items():
            accepted_words(chapter, "The name of a chapter", LONGEST_TITLE)
            accepted_words(note, f"The note of '{shown(chapter)}'")
        _put(self, "chapter_notes", Held(self.chapter_notes))
        _put(self, "photographs", Held(self.photographs))
        for place, signed in self.signatures.items():
            accepted_words(place, "The place of a signature", LONGEST_TITLE)
            accepted_words(signed, "A signature", LONGEST_SIGNATURE)
        _put(self, "signatures", Held(self.signatures))
        if not 1 <= len(self.visits) <= MOST_VISITS:
            message = f"There are {len(self.visits)} sets of readings."
            raise refuse(message, f"Give 1 to {MOST_VISITS}.")
        problems = list(self._beyond_the_keys())
        if problems:
            raise BalancekitError(problems)

    def __repr__(self) -> str:
        settings = self.settings
        visits = ", ".join(f"{visit!r}" for visit in self.visits)
        return (
            f"<Instrument {self.title!r}: {settings.action}, {plural(settings.key_count, 'key')} "
            f"from {settings.first_note}; {visits}>"
        )

    def _repr_html_(self) -> str:
        rows = [(visit.title, visit.date, len(visit.readings)) for visit in self.visits]
        facts = {
            "Keys": f"{self.settings.key_count} from {self.settings.first_note}",
            "Action": self.settings.action,
            "Tables": ", ".join(self.tables),
            "Decided": ", ".join(name.replace("_", " ") for name in self.choices),
        }
        return card(self.title, facts, pd.DataFrame(rows, columns=["visit", "date", "rows"]))

    def _beyond_the_keys(self) -> Iterator[Problem]:
        """Find what stands at keys that the instrument does not have."""
        count = self.settings.key_count
        advice = f"Give a whole number, 1 to {count}."
        for number, visit in enumerate(self.visits, start=1):
            name = "readings" if number == 1 else f"readings_{number}"
            yield from beyond(vars(visit)["readings"], count, name)
            for key, quantity in sorted(visit.confirmed):
                if key > count:
                    yield Problem(f"'{key}' is not a key.", advice, visit.title, column=quantity)
        firsts = [(section.first_key, section.name) for section in self.sections]
        yield from section_problems(firsts, count)
        for kind in self.tables:
            yield from beyond(self.tables[kind], count, kind)

    @property
    def keys(self) -> pd.DataFrame:
        """Note name, colour and frequency of each key; see ``keyboard``."""
        return keyboard(self.settings.key_count, self.settings.first_note)

    def table(self, kind: str) -> pd.DataFrame:
        """Return an optional table, empty if the instrument has none.

        Raises
        ------
        BalancekitError : a kind of table that is not known.
        """
        if kind not in TABLES:
            raise no_such_kind(kind, TABLES)
        return self.tables[kind] if kind in self.tables else TABLES[kind].empty()

    def with_table(self, kind: str, table: pd.DataFrame) -> Instrument:
        """Return the instrument with one optional table put in or replaced."""
        return replace(self, tables=Tables.of(self.tables).put({kind: table}))

    def with_readings(self, readings: pd.DataFrame, visit: int = 0) -> Instrument:
        """Return the instrument with the readings of one visit replaced."""
        return self.with_visit(replace(self.visits[visit], readings=readings), visit)

    def with_visit(self, changed: Visit, visit: int) -> Instrument:
        """Return the instrument with one visit replaced, or added at the end."""
        visits = list(self.visits)
        visits[visit : visit + 1] = [changed]
        return replace(self, visits=tuple(visits))

    def with_choice(self, chapter: str, choice: Any) -> Instrument:
        """Return the instrument with what was decided in one chapter; None forgets it."""
        return replace(self, choices=Choices.of(self.choices).put({chapter: choice}))

    def marks(self, *names: str) -> tuple[object, ...]:
        """Return an object for each table or choice, the same one as long as that is the same."""
        tables, choices = Tables.of(self.tables), Choices.of(self.choices)
        return tuple(tables.mark(name) if name in TABLES else choices.mark(name) for name in names)

    def with_chapter_note(self, chapter: str, note: str, signature: str = "") -> Instrument:
        """Return the instrument with the note of one chapter; an empty note removes it."""
        notes = {**self.chapter_notes, chapter: note.strip()}
        return replace(
            self,
            chapter_notes={name: text for name, text in notes.items() if text},
            signatures=self._signed(chapter_place(chapter), signature if note.strip() else ""),
        )

    def _signed(self, place: str, signature: str) -> dict[str, str]:
        signed = {**self.signatures, place: signature.strip()}
        return {name: text for name, text in signed.items() if text}

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

    def with_key_note(self, key: int, note: str, signature: str = "") -> Instrument:
        """Return the instrument with the note of one key; an empty note removes it."""
        notes = {**self.key_notes, key: note.strip()}
        kept = sorted((key, note) for key, note in notes.items() if note)
        changed = self.with_table("key_notes", pd.DataFrame(kept, columns=["key", "note"]))
        signed = self._signed(key_place(key), signature if note.strip() else "")
        return replace(changed, signatures=signed)
