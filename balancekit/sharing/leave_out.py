"""What goes along when an instrument is shared, and what stays at home."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from balancekit.calculation.problems import refuse
from balancekit.calculation.words import plural
from balancekit.instrument.choices.sheet_plan import CHAPTER, written_sheets
from balancekit.instrument.merge import NAMELESS
from balancekit.instrument.model import Instrument, Visit
from balancekit.instrument.occasion import Occasion, last_occasion
from balancekit.instrument.tables import TABLES

PARTS = {
    "notes": "Notes, on chapters, keys and readings",
    "names": "Title, and the names of who wrote the notes",
    "photographs": "Photographs",
    "plans": "Plans: what was decided in each chapter",
}
"""What can be left out as a whole, and what it is in words; sets of readings beside them."""


@dataclass(frozen=True)
class LeaveOut:
    """What is left out.

    Attributes
    ----------
    parts : names of ``PARTS``.
    visits : sets of readings, 0 for the first.
    """

    parts: frozenset[str] = frozenset()
    visits: frozenset[int] = frozenset()

    @staticmethod
    def from_words(text: str) -> LeaveOut:
        """Return what a list in words leaves out.

        Raises
        ------
        BalancekitError : a word that names nothing that can be left out.

        >>> LeaveOut.from_words("notes, set 2").visits
        frozenset({1})
        """
        words = [" ".join(part.split()) for part in text.split(",") if part.strip()]
        parts = {word for word in words if word in PARTS}
        visits = set()
        for word in words:
            number = word.removeprefix("set ")
            if word.startswith("set ") and number.isdecimal() and int(number) >= 1:
                visits.add(int(number) - 1)
            elif word not in PARTS:
                raise refuse(
                    f"'{word[:60]}' is nothing that can be left out.",
                    f"Give words of {', '.join(PARTS)}, or a set of readings as 'set 2'.",
                )
        return LeaveOut(frozenset(parts), frozenset(visits))


def without(instrument: Instrument, left: LeaveOut) -> Instrument:
    """Return the instrument without what is left out; its identity stays, so answers find back.

    Parameters
    ----------
    instrument : as it is here.
    left : what is left out.

    Raises
    ------
    BalancekitError : a set of readings that is not there, or all of them.
    """
    held = _without_visits(instrument, left.visits) if left.visits else instrument
    if "plans" in left.parts:
        held = replace(held, choices={})
    if "photographs" in left.parts:
        held = replace(held, photographs={})
    if "notes" in left.parts:
        held = _without_notes(held)
    if "names" in left.parts:
        nameless = [note.without_name for note in held.notes]
        signed = {place: text.rpartition(", ")[2] for place, text in held.signatures.items()}
        held = replace(held, title=NAMELESS, notes=(), signatures=_days(signed))
        held = held.with_notes(*nameless)
    return held


def set_beside(others: Iterable[Instrument], left: LeaveOut) -> list[Occasion]:
    """Return the last readings of other instruments, the same parts left out of them."""
    parts = LeaveOut(left.parts)
    return [last_occasion(without(other, parts)) for other in others]


def _days(signed: dict[str, str]) -> dict[str, str]:
    """Keep the days of signatures; one that is only a name has none."""
    return {place: text for place, text in signed.items() if text[:4].isdecimal()}


def _without_visits(instrument: Instrument, gone: Collection[int]) -> Instrument:
    count = len(instrument.visits)
    wrong = [number for number in gone if not 0 <= number < count]
    if wrong:
        message = f"There is no set {wrong[0] + 1} of readings."
        raise refuse(message, f"There {'is' if count == 1 else 'are'} {plural(count, 'set')}.")
    kept = [number for number in range(count) if number not in gone]
    if not kept:
        raise refuse("No set of readings would be left.", "Leave at least one in.")
    sheets = [
        {"day": each.day, "visit": kept.index(each.visit), "choices": dict(each.choices)}
        for each in written_sheets(instrument)
        if each.visit in kept
    ]
    held = instrument.with_choice(CHAPTER, sheets or None)
    return replace(held, visits=tuple(held.visits[number] for number in kept))


def _without_notes(instrument: Instrument) -> Instrument:
    tables = {kind: instrument.tables[kind] for kind in instrument.tables if kind != "key_notes"}
    visits = tuple(
        replace(visit, readings=visit.readings.assign(note="")) for visit in instrument.visits
    )
    shown = {name for note in instrument.notes for name in note.photographs}
    others = {
        name: instrument.photographs[name] for name in instrument.photographs if name not in shown
    }
    return replace(
        instrument, tables=tables, visits=visits, notes=(), left_out=frozenset(),
        chapter_notes={}, signatures={}, photographs=others,
    )  # fmt: skip


def contents(instrument: Instrument) -> tuple[str, ...]:
    """Return what an instrument holds, one sentence for each kind of thing."""
    said = [f"Title: {instrument.title}."]
    said += [_visit_words(number, visit) for number, visit in enumerate(instrument.visits, 1)]
    notes = [note for note in instrument.notes]
    written = len(notes) + len(instrument.chapter_notes) + len(instrument.key_notes)
    rows = sum(int((visit.readings["note"] != "").sum()) for visit in instrument.visits)
    said.append(f"{plural(written, 'note')}, and {plural(rows, 'remark')} beside readings.")
    names = sorted(
        {note.author.strip() for note in notes} | set(map(_name, instrument.signatures.values()))
    )
    named = ", ".join(filter(None, names))
    said.append(f"Names of who wrote: {named}." if named else "No names of who wrote.")
    size = sum(map(len, instrument.photographs.values()))
    pictures = plural(len(instrument.photographs), "photograph")
    said.append(f"{pictures}, {size / 1e6:.1f} MB." if size else "No photographs.")
    plans = sorted(name.replace("_", " ") for name in instrument.choices)
    said.append(f"Plans: {', '.join(plans)}." if plans else "No plans.")
    tables = [TABLES[kind].meaning for kind in instrument.tables if kind != "key_notes"]
    return (*said, *(f"Table: {meaning}" for meaning in tables))


def _name(signature: str) -> str:
    """Return the name in a signature, which may be only a day."""
    name, _, day = signature.rpartition(", ")
    return name.strip() if day[:4].isdecimal() else signature.strip()


def _visit_words(number: int, visit: Visit) -> str:
    when = f", {visit.date}" if visit.date else ""
    return f"Set {number} of readings: {visit.title}{when}, {plural(len(visit.readings), 'row')}."
