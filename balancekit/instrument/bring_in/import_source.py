"""One column of a file, what was made of it, and the unit its numbers are in."""

from __future__ import annotations

from dataclasses import dataclass, field

from balancekit.calculation.problems import Problem
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.instrument.bring_in.import_headings import COLUMNS, FACTORS, label
from balancekit.instrument.bring_in.import_parts import (
    HEADING,
    LEAVE_OUT,
    Answers,
    Heading,
    Question,
)

EVERY = tuple((column, label(column)) for column in COLUMNS)
OR_LEFT_OUT = ((LEAVE_OUT, "leave the column out"),)
"""What any column can be."""


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
    how : how that was settled; see ``Heading``.
    question : what is asked about it, or "".
    again : whether it holds repeat readings of a column that another one fills.
    by_note : whether it says the key by note names.
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
    how: str = HEADING
    question: str = ""
    again: bool = False
    by_note: bool = False

    @property
    def meaning_id(self) -> str:
        """The id under which an answer says what the column is."""
        return f"meaning: {self.heading}"


@dataclass
class TableLayout:
    """Where the headings stand and what each column is.

    ``in_order`` says that the rows are keys 1, 2, 3 as they come; ``first_note_number`` is the
    number of the note of key 1.
    """

    position: int
    line: int
    width: int
    sources: list[Source]
    units_position: int | None = None
    problems: list[Problem] = field(default_factory=list)
    in_order: bool = False
    first_note_number: int = 0

    @property
    def taken(self) -> dict[str, Source]:
        """The sources that fill a column, by column."""
        return {s.column: s for s in self.sources if s.column and not s.again}

    @property
    def repeats(self) -> list[dict[str, Source]]:
        """The sources of a second reading of a key, of a third and so on, by column."""
        sets: list[dict[str, Source]] = []
        for source in (s for s in self.sources if s.column and s.again):
            free = next((each for each in sets if source.column not in each), None)
            if free is None:
                sets.append(free := {})
            free[source.column or ""] = source
        return sets

    @property
    def headings(self) -> tuple[Heading, ...]:
        """What the user is shown of the headings."""
        return tuple(
            Heading(source.heading, source.column, source.understood, source.meaning_id,
                    source.first_values, source.choices, source.how, source.question)
            for source in self.sources
        )  # fmt: skip


def take(source: Source, answer: str | None) -> None:
    """Fill a column with this one, as was answered."""
    source.column = None if answer in (None, LEAVE_OUT) else answer
    if answer is None:
        source.understood = "open: see the question"
    elif answer == LEAVE_OUT:
        source.understood = "left out, as you said"
    else:
        source.understood = label(answer)


def settle_unit(source: Source, answers: Answers) -> None:
    """Ask before a column in another unit is converted."""
    if source.column is None or source.column not in QUANTITIES:
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
        Question(f"unit: {source.heading}", f"{told}. How is it taken?", (*choices, *OR_LEFT_OUT))
    )
    if answer == "convert":
        source.factor = factor or 1.0
        source.understood += f", converted from {source.unit}"
    elif answer != "as it is":
        take(source, answer)


def impossible_id(source: Source) -> str:
    """Return the id of the question about a column with many impossible numbers."""
    return f"column: {source.heading}"


def settle_impossible(source: Source, answers: Answers) -> None:
    """Take the unit or meaning that was answered for a column whose numbers could not be."""
    answer = answers.given.get(impossible_id(source), "")
    if source.column is None:
        return
    factors = FACTORS.get(QUANTITIES[source.column].unit, {}) if source.column in QUANTITIES else {}
    if answer in factors:
        source.unit, source.factor = answer, factors[answer]
        source.understood += f", converted from {answer}"
    elif answer in READING_COLUMNS or answer == LEAVE_OUT:
        take(source, answer)
