"""Bring in a table of plugs as somebody noted them: understood and asked first, taken after."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from balancekit.calculation.leads.plugs import USUAL_DIAMETERS_MM
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.words import plural
from balancekit.instrument.bring_in.import_heading_row import heading_score
from balancekit.instrument.bring_in.import_headings import (
    guesses,
    plain_heading,
    read_heading,
    written,
)
from balancekit.instrument.bring_in.import_kind import kind_of
from balancekit.instrument.bring_in.import_numbers import (
    Fault,
    looks_like_number,
    plain_number,
    read_key,
)
from balancekit.instrument.bring_in.import_parts import (
    LEAVE_OUT,
    Answers,
    Cell,
    LeftOut,
    Question,
    RawTable,
    blank,
    quoted_cell,
    row_in_short,
)
from balancekit.instrument.bring_in.import_plugs import Noted, read_places, read_plugs, read_size
from balancekit.instrument.bring_in.import_text import read_text
from balancekit.instrument.bring_in.import_workbook import read_workbook

_COUNT, _SIZE, _PLACE, _NOTED = "count", "size", "place", "noted"
_ROLES = (
    (_PLACE, "a distance of a plug"),
    (_SIZE, "the size of the plugs"),
    (_COUNT, "how many plugs"),
    (_NOTED, "the plugs in words, as 3 x 12.7 at 100/115/131"),
    (LEAVE_OUT, "leave the column out"),
)
_FRONT, PIN = "front edge", "balance pin"
UNKNOWN, EMPTY = "unknown", "no plug"

_PLUG_WORDS = r"plugs?|leads?|weights? in"
_WORDS = (
    (_SIZE, r"size|diam|ø|wide|width"),
    (_PLACE, r"place|dist|from|where|posit|mm from|hole"),
    (_COUNT, r"count|how many|number of|no\.? of|quantity"),
    (_NOTED, _PLUG_WORDS),
)
_NEAREST_PLACE_MM = 20.0
# Our own choice: no plug sits nearer to the front edge, and no key has so many plugs.


@dataclass(frozen=True)
class LeadNotes:
    """What was made of a table of plugs; nothing is taken yet.

    Attributes
    ----------
    file : its name.
    measured_from : "front edge" or "balance pin".
    plugs : by key, ``(diameter, distance)`` of each plug [mm]; none for a key without a plug.
    counted : by key, how many plugs were counted whose places nobody noted: they stay unknown.
    left_out : rows that are not understood, with the reason.
    questions : what only the user can say.
    """

    file: str
    measured_from: str = _FRONT
    plugs: Mapping[int, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    counted: Mapping[int, int] = field(default_factory=dict)
    left_out: tuple[LeftOut, ...] = ()
    questions: tuple[Question, ...] = ()


def understand_leads(
    data: bytes, file_name: str, *, key_count: int = 88, answers: Mapping[str, str] | None = None
) -> LeadNotes:
    """Understand a table of plugs.

    Parameters
    ----------
    data, file_name : the bytes of the file, CSV or .xlsx, and its name.
    key_count : number of keys of the instrument.
    answers : answers to questions of an earlier call, by question id.

    Raises
    ------
    BalancekitError : the file cannot be read, or no column holds the key number.

    >>> found = understand_leads(b"key;plugs;from pin\\n8;1;95\\n", "leads.csv",
    ...                          answers={"size": "12.7"})
    >>> found.measured_from, dict(found.plugs)
    ('balance pin', {8: ((12.7, 95.0),)})
    """
    given = Answers(dict(answers or {}))
    if kind_of(data, file_name) == "text":
        table = read_text(data, file_name, lambda rows: heading_score(rows, given.given))
    else:
        table = _sheet_with_keys(read_workbook(data, file_name))
    position, key = _key_column(table)
    headings = [written(cell) for cell in table.rows[position][1]]
    body = [row for row in table.rows[position + 1 :] if not all(blank(cell) for cell in row[1])]
    roles = {
        at: _role(heading, [_at(row, at) for _, row in body], given)
        for at, heading in enumerate(headings)
        if heading and at != key and _about_plugs(heading)
    }
    measured = _measured_from(headings, roles, given)
    read: dict[int, tuple[Noted, ...]] = {}
    out: list[LeftOut] = []
    silent: list[int] = []
    for line, row in body:
        number = read_key(_at(row, key), key_count)
        noted = _row(row, roles) if isinstance(number, int) else number
        if isinstance(noted, Fault) or not isinstance(number, int):
            told = noted.message if isinstance(noted, Fault) else "no key"
            out.append(LeftOut(line, row_in_short(row), told))
        elif not noted:
            silent.append(number)
        else:
            read[number] = (*read.get(number, ()), *noted)
    _ask_rows(out, given)
    silent = [number for number in silent if number not in read]
    if silent and given.ask(_silent(silent)) == EMPTY:
        read |= {number: (Noted(0),) for number in silent}
    return _settled(file_name, measured, read, out, given)


def _settled(
    file_name: str, measured: str, read: Mapping[int, tuple[Noted, ...]], out: Sequence[LeftOut],
    given: Answers,
) -> LeadNotes:  # fmt: skip
    """Give each plug its size, and keep a count without places apart."""
    whole = {
        key: each for key, each in read.items() if all(n.places_mm or not n.count for n in each)
    }
    counted = {key: sum(n.count or 0 for n in each) for key, each in read.items()
               if key not in whole}  # fmt: skip
    size = 0.0
    if any(n.count and n.diameter_mm is None for each in whole.values() for n in each):
        sizes = tuple((f"{wide:g}", f"{wide:g} mm") for wide in USUAL_DIAMETERS_MM)
        answer = given.ask(Question("size", "Which size are plugs without one?", sizes))
        size = float(answer or 0.0)
    if counted:
        few = ", ".join(f"key {key}: {count}" for key, count in [*counted.items()][:4])
        text = (
            f"{plural(len(counted), 'key')} with a count and no places ({few}). How are they taken?"
        )
        ways = ((UNKNOWN, "as unknown, with the count as the key's note"),)
        given.ask(Question("counted", text, ways))
    plugs = {
        key: tuple((n.diameter_mm or size, place) for n in each for place in n.places_mm)
        for key, each in whole.items()
    }
    if given.open:
        return LeadNotes(file_name, measured, left_out=tuple(out), questions=tuple(given.open))
    return LeadNotes(file_name, measured, plugs, counted, tuple(out))


def _sheet_with_keys(tables: Sequence[RawTable]) -> RawTable:
    """Return the first sheet that has a key column; the first of all if none has."""
    for table in tables:
        try:
            _key_column(table)
        except BalancekitError:
            continue
        return table
    return tables[0]


def _key_column(table: RawTable) -> tuple[int, int]:
    for position, (_, row) in enumerate(table.rows[:80]):
        for at, cell in enumerate(row):
            if isinstance(cell, str) and read_heading(written(cell)).columns == ("key",):
                return position, at
    raise BalancekitError(
        table.problems
        or Problem("No column holds the key number.", "Head one column 'key'.", file=table.place)
    )


def _at(row: Sequence[Cell], at: int) -> Cell:
    return row[at] if at < len(row) else None


def _about_plugs(heading: str) -> bool:
    """Say whether a heading may be of plugs; what is of readings, in full or short, is not."""
    strange = read_heading(heading).kind == "unknown" and not guesses(heading)
    return strange or re.search(_PLUG_WORDS, plain_heading(heading)) is not None


def _role(heading: str, cells: Sequence[Cell], given: Answers) -> str | None:
    """Say what a column holds, by an answer, its heading and its cells, or by asking."""
    values = [cell for cell in cells if not blank(cell)]
    name = f"meaning: {heading}"
    if name not in given.given and values:
        meant = next(
            (role for role, words in _WORDS if re.search(words, plain_heading(heading))), None
        )
        numbers = [plain_number(v) for v in values if looks_like_number(v)]
        plain = len(numbers) == len(values)
        if meant == _PLACE and not plain and re.search(_PLUG_WORDS, plain_heading(heading)):
            meant = _NOTED
        if meant == _NOTED and plain:
            meant = _PLACE if min(numbers) >= _NEAREST_PLACE_MM else _COUNT
        if meant is not None:
            return meant
    first = ", ".join(quoted_cell(cell, 12) for cell in values[:4])
    return given.ask(Question(name, f"What is in the column '{heading}' ({first})?", _ROLES))


def _measured_from(headings: Sequence[str], roles: Mapping[int, str | None], given: Answers) -> str:
    told = " ".join(
        plain_heading(headings[at]) for at, role in roles.items() if role in (_PLACE, _NOTED)
    )
    pin, front = "pin" in told, "front" in told or "edge" in told
    if pin != front and "measured from" not in given.given:
        return PIN if pin else _FRONT
    if not any(role in (_PLACE, _NOTED) for role in roles.values()):
        return _FRONT
    choices = ((_FRONT, "the front edge of the key"), (PIN, "the balance pin, behind it negative"))
    question = Question("measured from", "From where were the distances measured?", choices)
    return given.ask(question) or _FRONT


def _row(row: Sequence[Cell], roles: Mapping[int, str | None]) -> tuple[Noted, ...] | Fault:
    """Read the plugs of one row from all its columns."""
    count: int | None = None
    size: float | None = None
    places: list[float] = []
    noted: tuple[Noted, ...] = ()
    for at, role in roles.items():
        cell = _at(row, at)
        if blank(cell) or role in (None, LEAVE_OUT):
            continue
        if role == _SIZE:
            wide = read_size(cell)
            if isinstance(wide, Fault):
                return wide
            size = wide
        elif role == _PLACE:
            try:
                places += read_places(quoted_cell(cell, 200))
            except ValueError:
                return Fault(
                    f"'{quoted_cell(cell)}' is no distance.", "Write it as 100 or 100/115."
                )
        else:
            found = read_plugs(cell)
            if isinstance(found, Fault):
                return found
            if role == _COUNT:
                count = found[0].count
            else:
                noted += found
    return _together(count, size, tuple(places), noted)


def _together(
    count: int | None, size: float | None, places: tuple[float, ...], noted: tuple[Noted, ...]
) -> tuple[Noted, ...] | Fault:
    plugs = tuple(Noted(n.count, n.diameter_mm or size, n.places_mm) for n in noted)
    if places and plugs:
        alone = len(plugs) == 1 and not plugs[0].places_mm
        if not alone or plugs[0].count != len(places):
            return Fault("Its columns do not say the same.", "Look into the key again.")
        return (Noted(len(places), plugs[0].diameter_mm, places),)
    if places:
        if count is not None and count != len(places):
            return Fault(f"{plural(count, 'plug')} and {plural(len(places), 'place')}.",
                         "Look into the key again.")  # fmt: skip
        return (Noted(len(places), size, places),)
    return plugs or (() if count is None else (Noted(count, size),))


def _ask_rows(out: Sequence[LeftOut], given: Answers) -> None:
    if out:
        few = "; ".join(f"line {each.line}: {each.text} ({each.why})" for each in out[:5])
        text = f"{plural(len(out), 'row')} cannot be read as plugs of a key ({few}). Left out?"
        given.ask(Question("rows", text, ((LEAVE_OUT, "yes: these keys stay unknown"),)))


def _silent(keys: Sequence[int]) -> Question:
    text = f"{plural(len(keys), 'key')} with nothing noted, first key {keys[0]}. What does it mean?"
    choices = ((EMPTY, "no plug was found there"), (UNKNOWN, "nobody looked into them"))
    return Question("nothing noted", text, choices)
