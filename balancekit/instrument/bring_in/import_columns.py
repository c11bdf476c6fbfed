"""Which column of a file fills which quantity, and what has to be asked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from balancekit.calculation.problems import Problem
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.instrument.bring_in.import_heading_row import Rows, header_cells
from balancekit.instrument.bring_in.import_headings import (
    COLUMNS,
    Meaning,
    guesses,
    label,
    plain_heading,
    read_heading,
    unit_of,
    written,
)
from balancekit.instrument.bring_in.import_keys import (
    WHICH_KEY,
    mostly_numbers,
    need_key,
    note_names,
    values_of,
)
from balancekit.instrument.bring_in.import_parts import (
    ANSWERED,
    ASKED,
    GUESS,
    LEAVE_OUT,
    REMEMBERED,
    UNCLEAR,
    Answers,
    Cell,
    Question,
    RawTable,
    blank,
    quoted_cell,
)
from balancekit.instrument.bring_in.import_source import (
    EVERY,
    OR_LEFT_OUT,
    Source,
    TableLayout,
    settle_impossible,
    settle_unit,
    take,
)
from balancekit.instrument.tables import TABLES

REPEATS = "repeats"
"""The answer that takes several columns of one quantity as repeat readings."""


def understand_columns(
    table: RawTable, position: int, answers: Answers, key_count: int, first_note_number: int
) -> TableLayout:
    """Say what each column is, as far as headings and answers tell; ask where they do not.

    What cannot be is kept in ``problems`` of the result.
    """
    line = table.rows[position][0]
    cells = header_cells(table, position)
    body = table.rows[position + 1 :]
    width = len(cells) if table.sheet is None else max(len(cells), *(len(r) for _, r in body), 0)
    layout = TableLayout(position, line, width, list(_sources(cells, body, width)))
    layout.first_note_number = first_note_number
    _tell_apart(layout)
    units = _units_row(layout, body)
    for source in layout.sources:
        _understand(source, answers, body, _own_format(cells))
        source.unit = source.unit or units.get(source.index, "")
    _one_source_each(layout, answers)
    need_key(table, layout, answers, body, key_count)
    for source in layout.sources:
        settle_unit(source, answers)
        settle_impossible(source, answers)
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


def _tell_apart(layout: TableLayout) -> None:
    """Name the columns of one heading by their places as well."""
    places: dict[str, list[Source]] = {}
    for source in layout.sources:
        places.setdefault(plain_heading(source.heading), []).append(source)
    for sources in places.values():
        if len(sources) > 1:
            for source in sources:
                source.heading = f"{source.heading} (column {source.index + 1})"


def _units_row(layout: TableLayout, body: Rows) -> dict[int, str]:
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
    source.first_values = tuple(quoted_cell(cell, 12) for cell in values_of(source, body)[:4])
    if meaning.kind != "column":
        source.choices = EVERY + OR_LEFT_OUT
    if source.meaning_id in answers.given:
        source.choices, source.how = EVERY + OR_LEFT_OUT, ANSWERED
        take(source, answers.ask(_what_is(source, EVERY)))
        return
    earlier = answers.remembered.get(plain_heading(source.heading))
    if meaning.kind != "column" and earlier in (*COLUMNS, LEAVE_OUT):
        take(source, earlier)
        source.how = REMEMBERED
        source.understood += ", as for an earlier file"
        return
    guessed = guesses(source.heading) if meaning.kind == "unknown" and source.known else ()
    if guessed and mostly_numbers(source, body):
        source.known = False
        _ask(source, answers, _guess(source, guessed), GUESS)
        return
    if meaning.kind == "several":
        choices = tuple((column, label(column)) for column in meaning.columns)
        _ask(source, answers, _what_is(source, choices), ASKED)
    elif meaning.kind == "not taken":
        source.understood = f"left out: {meaning.why}"
    elif meaning.kind == "unknown":
        source.known = False
        source.how = UNCLEAR
        source.understood = "left out: not known here; say what it is, and it is taken"
    elif meaning.columns == ("note",) and not own_format and note_names(source, body):
        names = (("note", "remarks in your own words"), (LEAVE_OUT, "note names: leave them out"))
        text = f"Are these note names or remarks, in the column '{source.heading}'?"
        _ask(source, answers, Question(source.meaning_id, text, names), ASKED)
    else:
        take(source, meaning.columns[0])


def _guess(source: Source, guessed: Sequence[str]) -> Question:
    """Ask whether a shortened heading is what it seems to be."""
    first = tuple((column, f"yes, {label(column)}") for column in guessed)
    others = tuple((column, words) for column, words in EVERY if column not in guessed)
    names = " or ".join(label(column) for column in guessed)
    values = ", ".join(source.first_values)
    text = f"Is the column '{source.heading}' ({values}) the {names}? This is a guess."
    return Question(source.meaning_id, text, (*first, *others, *OR_LEFT_OUT))


def _what_is(source: Source, choices: tuple[tuple[str, str], ...]) -> Question:
    return Question(
        source.meaning_id, f"What is in the column '{source.heading}'?", choices + OR_LEFT_OUT
    )


def _ask(source: Source, answers: Answers, question: Question, how: str) -> None:
    """Ask what one column is; until it is said, the question stands beside its heading."""
    others = tuple(choice for choice in EVERY if choice[0] not in dict(question.choices))
    source.choices, source.how = (*question.choices, *others), how
    source.question = question.text
    take(source, answers.ask(question))


def _one_source_each(layout: TableLayout, answers: Answers) -> None:
    """Ask which column is taken where two headings mean the same."""
    for column in COLUMNS:
        rivals = [source for source in layout.sources if source.column == column]
        if len(rivals) < 2 or column == "note":  # remarks are joined
            continue
        names = " and ".join(f"'{source.heading}'" for source in rivals)
        choices = tuple((source.heading, source.heading) for source in rivals)
        if column in QUANTITIES:
            choices = ((REPEATS, "all, as repeat readings of a key"), *choices)
        answer = answers.ask(
            Question(
                f"which: {column}",
                f"The columns {names} both read as {label(column)}. Which one is taken?",
                choices,
            )
        )
        for source in rivals:
            if answer == REPEATS:
                source.again = source is not rivals[0]
            elif source.heading != answer:
                source.column = None
                source.understood = (
                    "open: see the question" if answer is None else "left out, as you said"
                )


def _need_readings(table: RawTable, layout: TableLayout, answers: Answers, body: Rows) -> None:
    """Ask for the readings where no heading says them; else say that they are missing."""
    if any(question.id == WHICH_KEY for question in answers.open):
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
        and mostly_numbers(source, body)
    ]
    for source in unknown:
        _ask(source, answers, _what_is(source, choices), ASKED)
    if not unknown:
        layout.problems.append(
            Problem(
                "No column of readings is understood.",
                f"Head the columns {', '.join(READING_COLUMNS)}, as far as they were read.",
                file=table.place,
                line=layout.line,
            )
        )
