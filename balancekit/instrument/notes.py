"""Notes as records: where they stand, who wrote them and when, and what they propose.

A note is never changed. Who mends one leaves the old out and adds the new, so that two people
can write at the same time and nothing is lost when their files meet.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from balancekit.calculation.keyboard import MOST_KEYS
from balancekit.calculation.quantities import QUANTITIES

LONGEST_NOTE = 20_000
MOST_NOTES = 5_000
_LONGEST_EARLIER = 2_000_000
_NAME = {"type": "string", "maxLength": 200}
_PLACE = {"type": "integer", "minimum": 0, "maximum": MOST_KEYS}

NOTE_SCHEMA: dict[str, Any] = {
    "type": "object",
    "additionalProperties": False,
    "required": ["chapter"],
    "properties": {
        "chapter": {"type": "string", "pattern": "^[a-z][a-z0-9_]{0,60}$"},
        "text": {"type": "string", "maxLength": LONGEST_NOTE},
        "author": _NAME,
        "written_at": {
            "type": "string",
            "pattern": "^([0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9]{2}:[0-9]{2}(:[0-9]{2})?)?)?$",
        },
        "first_key": _PLACE,
        "last_key": _PLACE,
        "chart": {"type": "string", "pattern": "^[a-z0-9_]{0,60}$"},
        "proposals": {
            "type": "array",
            "maxItems": 20,
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["slider", "value"],
                "properties": {
                    "slider": {"type": "string", "pattern": "^[a-z][a-z0-9_]{0,60}$"},
                    "value": {"type": "number", "minimum": -1e6, "maximum": 1e6},
                    "reason": {"type": "string", "maxLength": 2_000},
                },
            },
        },
        "photographs": {
            "type": "array",
            "maxItems": 50,
            "items": {"type": "string", "pattern": "^photograph_[0-9a-f]{16}[.]jpg$"},
        },
        "earlier": {"type": "string", "maxLength": _LONGEST_EARLIER},
    },
}
"""What a note is in a file; JSON Schema, draft 2020-12."""


@dataclass(frozen=True)
class Proposal:
    """A value that somebody proposes for a slider, and why.

    Attributes
    ----------
    slider : its name, for example "balance".
    value : in the unit of the slider.
    reason : in words; may be empty.
    """

    slider: str
    value: float
    reason: str = ""


@dataclass(frozen=True)
class Note:
    """What somebody wrote about a chapter, a key, or a range of keys on a chart.

    Attributes
    ----------
    chapter : name of the chapter.
    text : simple Markdown.
    author : who wrote it; may be empty.
    written_at : ISO 8601 day, or day and time; "" if not known.
    first_key, last_key : the keys it is about; 0 for the chapter as a whole.
    chart : the quantity of the chart on which the keys were marked; "" for none.
    proposals : values proposed for sliders.
    photographs : names of the photographs that belong to it.
    earlier : what stood at a place before another's value was taken over, as JSON of the place
        and the value; "" for a note that a person wrote.
    """

    chapter: str
    text: str = ""
    author: str = ""
    written_at: str = ""
    first_key: int = 0
    last_key: int = 0
    chart: str = ""
    proposals: tuple[Proposal, ...] = ()
    photographs: tuple[str, ...] = ()
    earlier: str = ""

    @property
    def identity(self) -> str:
        """A name made from all that it says: the same note has the same everywhere.

        >>> Note("friction", "tight").identity == Note("friction", "tight").identity
        True
        """
        text = json.dumps(asdict(self), sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()[:32]

    @property
    def without_name(self) -> Note:
        """The same note as it is shared without names."""
        return replace(self, author="")

    @property
    def day(self) -> str:
        """The day on which it was written."""
        return self.written_at[:10]

    @property
    def signature(self) -> str:
        """Who wrote it and when, as far as known.

        >>> Note("friction", author="Ada", written_at="2026-03-01T10:30").signature
        'Ada, 2026-03-01'
        """
        return ", ".join(part for part in (self.author.strip(), self.day) if part)

    @property
    def about(self) -> str:
        """What it is about, beside its chapter; "" for the chapter as a whole.

        >>> Note("friction", first_key=40, last_key=45, chart="friction_g").about
        'Friction, keys 40 to 45'
        """
        chart = QUANTITIES[self.chart].label if self.chart in QUANTITIES else ""
        keys = ""
        if self.first_key:
            last = max(self.first_key, self.last_key)
            keys = f"key {self.first_key}"
            keys = keys if last == self.first_key else f"keys {self.first_key} to {last}"
        said = ", ".join(part for part in (chart, keys) if part)
        return said[:1].upper() + said[1:]


def note_from(given: Mapping[str, Any]) -> Note:
    """Return a note from its plain values, which fit ``NOTE_SCHEMA``."""
    proposals = tuple(
        Proposal(each["slider"], float(each["value"]), each.get("reason", ""))
        for each in given.get("proposals", ())
    )
    plain = {**given, "proposals": proposals, "photographs": tuple(given.get("photographs", ()))}
    return Note(**plain)


def note_values(note: Note) -> dict[str, Any]:
    """Return a note as plain values; what is empty is left out."""
    return {name: value for name, value in asdict(note).items() if value not in ("", 0, ())}


def in_order(notes: Iterable[Note]) -> tuple[Note, ...]:
    """Return notes by the time they were written; none twice, signed and without its name."""
    own = {note.identity: note for note in notes}
    for note in list(own.values()):
        if note.author:
            own.pop(note.without_name.identity, None)
    return tuple(sorted(own.values(), key=lambda n: (n.written_at, n.author, n.identity)))
