"""What a returned file holds that is new here, and how it is taken.

Notes are records: they are joined, and what was left out stays out. Everything else stands at a
place (a setting, a choice, the readings of one key) and has one value. Where both sides have
another value both are shown; if the other's is taken, the one from here is kept as a note.
So whatever was written can still be read, whoever answers first.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from typing import Any

import pandas as pd

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.words import plural
from balancekit.instrument.merge_words import note_words, place_words, value_words
from balancekit.instrument.model import Instrument, Section, Visit, chapter_place, key_place
from balancekit.instrument.notes import Note
from balancekit.instrument.tables import TABLES, as_written
from balancekit.instrument.write_table import to_bytes

NAMELESS = "An instrument"
"""Title of an instrument that was shared without its name; it is never taken back."""

Change = Callable[[Instrument], Instrument]


@dataclass(frozen=True)
class Place:
    """One value of an instrument, and how it is put into another.

    Attributes
    ----------
    value : as plain JSON.
    put : puts it into an instrument.
    chapter, key : where a note about it belongs; 0 for no key.
    """

    value: Any
    put: Change = field(repr=False, compare=False)
    chapter: str = "job"
    key: int = 0


@dataclass(frozen=True)
class News:
    """One thing that a returned file holds and that is not here.

    Attributes
    ----------
    name : of the place or the note; names what is taken.
    title : what it is, in words.
    there, here : what stands in the file and what stands here, in words; ``here`` is "" where
        nothing does.
    both : whether both sides have a value, so that taking it puts another in its place.
    """

    name: str
    title: str
    there: str
    here: str = ""
    both: bool = False
    _take: Change = field(default=lambda held: held, repr=False, compare=False)


def news(here: Instrument, there: Instrument, *, sure: bool = False) -> tuple[News, ...]:
    """Return what a returned file holds that is new here.

    Parameters
    ----------
    here : the instrument in the folder.
    there : the instrument in the file.
    sure : it is the same instrument, although its identity says otherwise.

    Raises
    ------
    BalancekitError : it is another instrument, or its keyboard is another.
    """
    _check_same(here, there, sure)
    return (*_new_notes(here, there), *_left_out_there(here, there), *_new_values(here, there))


def merge(
    here: Instrument,
    there: Instrument,
    taken: Collection[str] | None = None,
    *,
    sure: bool = False,
) -> Instrument:
    """Return the instrument with what is taken from a returned file.

    Parameters
    ----------
    here, there, sure : see ``news``.
    taken : names of the news to take; None for all.

    Raises
    ------
    BalancekitError : it is another instrument, or its keyboard is another.
    """
    merged = here
    for each in news(here, there, sure=sure):
        if taken is None or each.name in taken:
            merged = each._take(merged)
    gone = there.left_out - {note.identity for note in merged.notes}
    return replace(merged, left_out=merged.left_out | gone)


def everything(instrument: Instrument) -> frozenset[str]:
    """Return all that an instrument says: its values, its notes, and what stood there before."""
    said = {_said(name, place.value) for name, place in _places(instrument).items()}
    said |= {note.earlier for note in instrument.notes if note.earlier}
    said |= {_said("note", note.identity) for note in instrument.notes if not note.earlier}
    said |= {
        _said(f"readings {name} key {key}", rows)
        for name, visit in _named_visits(instrument)
        for key, rows in _rows_by_key(visit.readings).items()
    }
    return frozenset(said)


def _check_same(here: Instrument, there: Instrument, sure: bool) -> None:
    if here.identity != there.identity and not sure:
        raise BalancekitError(
            Problem(
                f"The file holds another instrument, '{there.title}'; here is '{here.title}'.",
                "Open it in a folder of its own. If it is the same instrument after all, say so.",
            )
        )
    names = ("key_count", "first_note", "action")
    if any(getattr(here.settings, n) != getattr(there.settings, n) for n in names):
        raise BalancekitError(
            Problem(
                f"The file has {plural(there.settings.key_count, 'key')} from "
                f"{there.settings.first_note}, {there.settings.action}; here there are "
                f"{plural(here.settings.key_count, 'key')} from {here.settings.first_note}, "
                f"{here.settings.action}.",
                "Open it in a folder of its own.",
            )
        )


def _said(place: str, value: Any) -> str:
    return json.dumps([place, value], sort_keys=True, ensure_ascii=False)


# Notes


def _new_notes(here: Instrument, there: Instrument) -> Iterator[News]:
    own, known = {note.identity for note in here.notes} | here.left_out, everything(here)
    own |= {note.without_name.identity for note in here.notes}  # shared without names
    for note in there.notes:
        if note.identity in own or note.earlier in known:
            continue
        signed = note.signature or "somebody"
        about = f", {note.about}" if note.about else ""
        title = f"Note by {signed} on {note.chapter.replace('_', ' ')}{about}"
        text = note_words(note)
        pictures = {n: there.photographs[n] for n in note.photographs if n in there.photographs}

        def take(held: Instrument, note: Note = note, pictures: Any = pictures) -> Instrument:
            return held.with_photographs(pictures).with_notes(note)

        yield News(f"note {note.identity}", title, text, _take=take)


def _left_out_there(here: Instrument, there: Instrument) -> Iterator[News]:
    for note in here.notes:
        if note.identity in there.left_out:
            yield News(
                f"leave out {note.identity}",
                f"Left out: the note by {note.signature or 'somebody'} on "
                f"{note.chapter.replace('_', ' ')}",
                "left out",
                note.text,
                _take=lambda held, name=note.identity: held.without_notes(name),  # type: ignore[misc]
            )


# Values


def _new_values(here: Instrument, there: Instrument) -> Iterator[News]:
    known = everything(here)
    own, theirs = _places(here), _places(there)
    visits = dict(_named_visits(here))
    for name, visit in _named_visits(there):
        if name not in visits:
            there_said = f"{plural(visit.readings['key'].nunique(), 'key')} read"
            yield News(f"visit {name}", f"Readings “{name}”", there_said,
                       _take=lambda held, visit=visit: _with_new_visit(held, visit))  # type: ignore[misc]  # fmt: skip
            continue
        mine = _rows_by_key(visits[name].readings)
        bare = _rows_by_key(visits[name].readings.assign(note=""))  # shared without remarks
        for key, rows in _rows_by_key(visit.readings).items():
            if rows == bare.get(key):
                continue
            theirs[f"readings {name} key {key}"] = _readings_place(name, key, rows, visit)
            if key in mine:
                own[f"readings {name} key {key}"] = _readings_place(
                    name, key, mine[key], visits[name]
                )
    for name, place in theirs.items():
        if _said(name, place.value) in known or place.value in ("", [], {}, None):
            continue
        before = own.get(name)
        if (name == "title" and place.value == NAMELESS) or (
            before and _shared_without_name(place, before)
        ):
            continue
        both = before is not None and before.value not in ("", [], {}, None)
        yield News(
            name,
            place_words(name),
            value_words(place.value, before.value if both and before else None),
            value_words(before.value, place.value) if both and before else "",
            both,
            _take=_taking(name, place, before if both else None),
        )


def _taking(name: str, place: Place, before: Place | None) -> Change:
    """Put a value in its place, and keep as a note what stood there."""

    def take(held: Instrument) -> Instrument:
        taken = place.put(held)
        if before is None:
            return taken
        stood = value_words(before.value, None)
        text = f"Before another's was taken over: {place_words(name)}: {stood}"
        kept = Note(
            place.chapter, text[:2000], first_key=place.key, last_key=place.key,
            earlier=_said(name, before.value),
        )  # fmt: skip
        return taken.with_notes(kept)

    return take


def _places(instrument: Instrument) -> dict[str, Place]:
    """Return every value of an instrument but its readings, by the name of its place."""
    found = {"title": Place(instrument.title, lambda held: replace(held, title=instrument.title))}
    for item in fields(instrument.settings):
        value = getattr(instrument.settings, item.name)
        plain = dict(value) if isinstance(value, Mapping) else value
        found[f"setting {item.name}"] = Place(
            plain,
            lambda held, name=item.name, value=value: replace(  # type: ignore[misc]
                held, settings=replace(held.settings, **{name: value})
            ),
        )
    found["sections"] = Place(
        [asdict(section) for section in instrument.sections],
        lambda held: replace(held, sections=tuple(map(_section, instrument.sections))),
    )
    for chapter, choice in instrument.choices.items():
        found[f"choice {chapter}"] = Place(
            choice,
            lambda held, c=chapter, v=choice: held.with_choice(c, v),  # type: ignore[misc]
            chapter,
        )
    for chapter, note in instrument.chapter_notes.items():
        signed = instrument.signatures.get(chapter_place(chapter), "")
        found[f"chapter note {chapter}"] = Place(
            _signed_value(note, signed),
            lambda held, c=chapter, v=note, s=signed: held.with_chapter_note(c, v, s),  # type: ignore[misc]
            chapter,
        )
    for key, note in instrument.key_notes.items():
        signed = instrument.signatures.get(key_place(key), "")
        found[f"key note {key}"] = Place(
            _signed_value(note, signed),
            lambda held, k=key, v=note, s=signed: held.with_key_note(k, v, s),  # type: ignore[misc]
            "readings",
            key,
        )
    for kind, table in instrument.tables.items():
        if kind != "key_notes" and len(table):
            found[f"table {kind}"] = Place(
                to_bytes(table).decode(),
                lambda held, k=kind, t=table: held.with_table(k, t),  # type: ignore[misc]
                "lead_and_spring",
            )
    for name, visit in _named_visits(instrument):
        for key, quantity in visit.confirmed:
            found[f"confirmed {name} key {key} {quantity}"] = Place(
                True,
                lambda held, n=name, pair=(key, quantity): _with_confirmed(held, n, pair),  # type: ignore[misc]
                "readings",
                key,
            )
    return found


def _signed_value(note: str, signature: str) -> str | dict[str, str]:
    """A note as plain JSON; one without a signature is only its words."""
    return {"note": note, "written by": signature} if signature else note


def _shared_without_name(place: Place, before: Place) -> bool:
    """Whether a signed note differs only in that the name was left out when it was shared."""
    there, here = place.value, before.value
    if not isinstance(here, Mapping) or "written by" not in here:
        return False
    words, day = (there, "") if isinstance(there, str) else (there["note"], there["written by"])
    return bool(words == here["note"] and here["written by"].endswith(day))


def _section(given: Section) -> Section:
    return Section(given.name, given.first_key)


# Visits and readings


def _named_visits(instrument: Instrument) -> list[tuple[str, Visit]]:
    """Name each visit by its title and day; the second of the same name says so."""
    named: dict[str, Visit] = {}
    for visit in instrument.visits:
        name = f"{visit.title} {visit.date}".strip()
        number, whole = 1, name
        while whole in named:
            number += 1
            whole = f"{name} ({number})"
        named[whole] = visit
    return list(named.items())


def _place_of(instrument: Instrument, name: str) -> int | None:
    names = [each for each, _ in _named_visits(instrument)]
    return names.index(name) if name in names else None


def _with_new_visit(held: Instrument, visit: Visit) -> Instrument:
    """Put a visit where its day belongs; the order of those that are here stays."""

    def order(each: Visit) -> tuple[str, str]:
        return each.date or "9999", each.title

    later = [n for n, each in enumerate(held.visits) if order(each) > order(visit)]
    at = later[0] if later else len(held.visits)
    return replace(held, visits=(*held.visits[:at], visit, *held.visits[at:]))


def _rows_by_key(readings: pd.DataFrame) -> dict[int, str]:
    """Return the rows of each key as CSV; the same rows give the same text."""
    parts = {}
    for key, rows in readings.groupby("key", sort=True):
        written, _ = as_written(rows.reset_index(drop=True), TABLES["readings"])
        parts[int(str(key))] = to_bytes(written).decode()
    return parts


def _readings_place(name: str, key: int, rows: str, visit: Visit) -> Place:
    def put(held: Instrument) -> Instrument:
        number = _place_of(held, name)
        if number is None:
            return held
        here = held.visits[number].readings
        others, added = here[here["key"] != key], visit.readings[visit.readings["key"] == key]
        joined = pd.concat([others, added], ignore_index=True)
        return held.with_readings(joined.sort_values("key", kind="stable"), number)

    return Place(rows, put, "readings", key)


def _with_confirmed(held: Instrument, name: str, pair: tuple[int, str]) -> Instrument:
    number = _place_of(held, name)
    if number is None:
        return held
    visit = held.visits[number]
    return held.with_visit(replace(visit, confirmed=visit.confirmed | {pair}), number)
