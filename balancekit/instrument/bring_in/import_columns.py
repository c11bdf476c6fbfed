"""Which column of a file fills which quantity, and what has to be asked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from balancekit.calculation.keyboard import note_number
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.instrument.bring_in.import_heading_row import Rows, header_cells
from balancekit.instrument.bring_in.import_headings import (
    COLUMNS,
    FACTORS,
    Meaning,
    guesses,
    label,
    read_heading,
    same,
    unit_of,
    written,
)
from balancekit.instrument.bring_in.import_numbers import Fault, looks_like_number, read_key
from balancekit.instrument.bring_in.import_parts import (
    LEAVE_OUT,
    Answers,
    Cell,
    Heading,
    Question,
    RawTable,
    blank,
    shown,
)
from balancekit.instrument.tables import TABLES

_LEFT = ((LEAVE_OUT, "leave the column out"),)


@dataclass
class Source:
    """One column of the file.

    Attributes
    ----------
    index : its place in a row, from 0.
    heading : its heading, or its place in words if it has none.
    column : the column of the readings that it fills, or None.
    understood : what was made of it, in words.
    unit : the unit that heading or units row name.
    factor : what turns its numbers into the column's unit.
    known : whether the heading means anything here, taken or not.
    first_values : what stands in the first cells below it.
    choices : what it can be; empty if it is clear.
    """

    index: int
    heading: str
    column: str | None = None
    understood: str = ""
    unit: str = ""
    factor: float = 1.0
    known: bool = True
    first_values: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()

    @property
    def meaning_id(self) -> str:
        """The id under which an answer says what the column is."""
        return f"meaning: {self.heading}"


@dataclass
class Layout:
    """Where the headings stand and what each column is."""

    position: int
    line: int
    width: int
    sources: list[Source]
    units_position: int | None = None
    problems: list[Problem] = field(default_factory=list)

    @property
    def taken(self) -> dict[str, Source]:
        """The sources that fill a column, by column."""
        return {source.column: source for source in self.sources if source.column}

    @property
    def headings(self) -> tuple[Heading, ...]:
        """What the user is shown of the headings."""
        return tuple(
            Heading(source.heading, source.column, source.understood, source.meaning_id,
                    source.first_values, source.choices)
            for source in self.sources
        )  # fmt: skip


def understand_columns(table: RawTable, position: int, answers: Answers, key_count: int) -> Layout:
    """Say what each column is, as far as headings and answers tell; ask where they do not.

    What cannot be is kept in ``problems`` of the result.
    """
    line = table.rows[position][0]
    cells = header_cells(table, position)
    body = table.rows[position + 1 :]
    width = len(cells) if table.sheet is None else max(len(cells), *(len(r) for _, r in body), 0)
    layout = Layout(position, line, width, list(_sources(cells, body, width)))
    layout.problems += _repeated(table, layout)
    if layout.problems:
        return layout
    units = _units_row(layout, body)
    for source in layout.sources:
        _understand(source, answers, body, _own_format(cells))
        source.unit = source.unit or units.get(source.index, "")
    _one_source_each(layout, answers)
    _need_key(table, layout, answers, body, key_count)
    for source in layout.sources:
        _settle_unit(source, answers)
        _settle_impossible(source, answers)
    _need_readings(table, layout, answers, body)
    return layout


def _sources(cells: Sequence[Cell], body: Rows, width: int) -> Iterator[Source]:
    """List the columns that have a heading or hold anything."""
    for index in range(width):
        heading = written(cells[index]) if index < len(cells) else ""
        if heading:
            yield Source(index, heading)
        elif any(index < len(row) and not blank(row[index]) for _, row in body):
            yield Source(index, f"column {index + 1}", known=False)


def _repeated(table: RawTable, layout: Layout) -> Iterator[Problem]:
    places: dict[str, list[Source]] = {}
    for source in layout.sources:
        places.setdefault(same(source.heading), []).append(source)
    for sources in places.values():
        if len(sources) > 1:
            numbers = [str(source.index + 1) for source in sources]
            yield Problem(
                f"The columns {', '.join(numbers[:-1])} and {numbers[-1]} have the same heading.",
                "Give each its own heading; repeat readings of a key go into rows of their own.",
                file=table.place,
                line=layout.line,
                column=sources[0].heading,
            )


def _units_row(layout: Layout, body: Rows) -> dict[int, str]:
    """Return the units that the row below the headings names, if it does nothing else."""
    if not body:
        return {}
    filled = {i: cell for i, cell in enumerate(body[0][1]) if not blank(cell)}
    units = {i: unit_of(cell) for i, cell in filled.items()}
    if not filled or not all(units.values()):
        return {}
    layout.units_position = layout.position + 1
    return units


def _own_format(cells: Sequence[Cell]) -> bool:
    return all(cell in TABLES["readings"].columns for cell in cells)


def _understand(source: Source, answers: Answers, body: Rows, own_format: bool) -> None:
    """Settle what one column is, by an answer, by its heading, or by asking."""
    meaning = read_heading(source.heading) if source.known else Meaning("unknown")
    source.unit = meaning.unit
    source.first_values = tuple(shown(cell, 12) for cell in _values(source, body)[:4])
    if meaning.kind != "column":
        source.choices = _EVERY + _LEFT
    if source.meaning_id in answers.given:
        _take(source, answers.ask(_what_is(source, _EVERY)))
        return
    earlier = answers.remembered.get(same(source.heading))
    if meaning.kind != "column" and earlier in (*COLUMNS, LEAVE_OUT):
        _take(source, earlier)
        source.understood += ", as for an earlier file"
        return
    guessed = guesses(source.heading) if meaning.kind == "unknown" and source.known else ()
    if guessed and _mostly_numbers(source, body):
        source.known = False
        _take(source, answers.ask(_guess(source, guessed)))
        return
    if meaning.kind == "several":
        choices = tuple((column, label(column)) for column in meaning.columns)
        _take(source, answers.ask(_what_is(source, choices)))
    elif meaning.kind == "not taken":
        source.understood = f"left out: {meaning.why}"
    elif meaning.kind == "unknown":
        source.known = False
        source.understood = "left out: not known here; say what it is, and it is taken"
    elif meaning.columns == ("note",) and not own_format and _note_names(source, body):
        names = (("note", "remarks in your own words"), (LEAVE_OUT, "note names: leave them out"))
        text = f"Are these note names or remarks, in the column '{source.heading}'?"
        _take(source, answers.ask(Question(source.meaning_id, text, names)))
    else:
        _take(source, meaning.columns[0])


_EVERY = tuple((column, label(column)) for column in COLUMNS)


def _guess(source: Source, guessed: Sequence[str]) -> Question:
    """Ask whether a shortened heading is what it seems to be."""
    first = tuple((column, f"yes, {label(column)}") for column in guessed)
    others = tuple((column, words) for column, words in _EVERY if column not in guessed)
    names = " or ".join(label(column) for column in guessed)
    values = ", ".join(source.first_values)
    text = f"Is the column '{source.heading}' ({values}) the {names}? This is a guess."
    return Question(source.meaning_id, text, (*first, *others, *_LEFT))


def _what_is(source: Source, choices: tuple[tuple[str, str], ...]) -> Question:
    return Question(
        source.meaning_id, f"What is in the column '{source.heading}'?", choices + _LEFT
    )


def _take(source: Source, answer: str | None) -> None:
    source.column = None if answer in (None, LEAVE_OUT) else answer
    if answer is None:
        source.understood = "open: see the question"
    elif answer == LEAVE_OUT:
        source.understood = "left out, as you said"
    else:
        source.understood = label(answer)


def _values(source: Source, body: Rows) -> list[Cell]:
    start = (row[source.index] for _, row in body[:200] if source.index < len(row))
    return [cell for cell in start if not blank(cell)]


def _note_names(source: Source, body: Rows) -> bool:
    """Say whether a column headed note holds note names in each row."""
    values = _values(source, body)
    if len(values) < max(2, len(body[:200])):
        return False
    try:
        for value in values:
            note_number(str(value))
    except BalancekitError:
        return False
    return True


def _one_source_each(layout: Layout, answers: Answers) -> None:
    """Ask which column is taken where two headings mean the same."""
    for column in COLUMNS:
        rivals = [source for source in layout.sources if source.column == column]
        if len(rivals) < 2 or column == "note":  # remarks are joined
            continue
        names = " and ".join(f"'{source.heading}'" for source in rivals)
        answer = answers.ask(
            Question(
                f"which: {column}",
                f"The columns {names} both read as {label(column)}. Which one is taken? "
                "Repeat readings of a key go into rows of their own.",
                tuple((source.heading, source.heading) for source in rivals),
            )
        )
        for source in rivals:
            if source.heading != answer:
                source.column = None
                source.understood = (
                    "open: see the question" if answer is None else "left out, as you said"
                )


def _need_key(
    table: RawTable, layout: Layout, answers: Answers, body: Rows, key_count: int
) -> None:
    """Ask for the key column where another can be it; else say that it is missing."""
    if "key" in layout.taken or any(q.id == "which: key" for q in answers.open):
        return
    fitting = [s for s in layout.sources if not s.known and _can_be_key(s, body, key_count)]
    if fitting:
        choices = tuple((source.heading, source.heading) for source in fitting)
        question = Question("which: key", "Which column holds the key number?", choices)
        answer = answers.ask(question)
        for source in fitting:
            if source.heading == answer:
                _take(source, "key")
        return
    layout.problems.append(
        Problem(
            "No column holds the key number.",
            f"Head one column 'key' and number the keys 1 to {key_count} from the left.",
            file=table.place,
            line=layout.line,
        )
    )


def _can_be_key(source: Source, body: Rows, key_count: int) -> bool:
    """Say whether all numbers of a column are key numbers, and most cells are numbers."""
    values = _values(source, body)
    numbers = [value for value in values if looks_like_number(value)]
    keys = (read_key(value, key_count) for value in numbers)
    return _mostly_numbers(source, body) and not any(isinstance(key, Fault) for key in keys)


def _mostly_numbers(source: Source, body: Rows) -> bool:
    values = _values(source, body)
    return 2 * sum(looks_like_number(value) for value in values) > len(values)


def _need_readings(table: RawTable, layout: Layout, answers: Answers, body: Rows) -> None:
    """Ask for the readings where no heading says them; else say that they are missing."""
    if any(question.id == "which: key" for question in answers.open):
        return  # what is left can be asked once the key column is known
    about_readings = ("meaning: ", "unit: ", *(f"which: {name}" for name in READING_COLUMNS))
    asked = any(question.id.startswith(about_readings) for question in answers.open)
    if asked or any(name in layout.taken for name in READING_COLUMNS):
        return
    choices = tuple((name, label(name)) for name in READING_COLUMNS)
    unknown = [
        source
        for source in layout.sources
        if not source.known
        and source.column is None
        and source.meaning_id not in answers.given
        and _mostly_numbers(source, body)
    ]
    for source in unknown:
        _take(source, answers.ask(_what_is(source, choices)))
    if not unknown:
        layout.problems.append(
            Problem(
                "No column of readings is understood.",
                f"Head the columns {', '.join(READING_COLUMNS)}, as far as they were read.",
                file=table.place,
                line=layout.line,
            )
        )


def _settle_unit(source: Source, answers: Answers) -> None:
    """Ask before a column in another unit is converted."""
    if source.column is None or source.column in ("key", "note"):
        return
    own = QUANTITIES[source.column].unit
    if source.unit in ("", own):
        return
    factor = FACTORS.get(own, {}).get(source.unit)
    choices: list[tuple[str, str]] = []
    told = f"The column '{source.heading}' is in {source.unit}"
    if factor is not None:
        unit = f" {own}" if own else ""
        told += f"; 1 {source.unit} is {factor!r}{unit}"
        choices.append(("convert", f"convert it: multiply by {factor!r}"))
    if factor is None or source.unit == "gr":
        choices.append(("as it is", f"the numbers are {f'in {own}' if own else 'a plain ratio'}"))
    answer = answers.ask(
        Question(f"unit: {source.heading}", f"{told}. How is it taken?", (*choices, *_LEFT))
    )
    if answer == "convert":
        source.factor = factor or 1.0
        source.understood += f", converted from {source.unit}"
    elif answer != "as it is":
        _take(source, answer)


def impossible_id(source: Source) -> str:
    """Return the id of the question about a column with many impossible numbers."""
    return f"column: {source.heading}"


def _settle_impossible(source: Source, answers: Answers) -> None:
    """Take the unit or meaning that was answered for a column whose numbers could not be."""
    answer = answers.given.get(impossible_id(source), "")
    if source.column is None:
        return
    factors = FACTORS.get(QUANTITIES[source.column].unit, {}) if source.column in QUANTITIES else {}
    if answer in factors:
        source.unit, source.factor = answer, factors[answer]
        source.understood += f", converted from {answer}"
    elif answer in READING_COLUMNS or answer == LEAVE_OUT:
        _take(source, answer)
