"""What the steps of an import hand to each other, and what the user is shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from balancekit.calculation.problems import BalancekitError, Problem

Cell: TypeAlias = Any
"""A cell as it was found: text, number, date, True or False, None, or NO_RESULT."""

HEADING = "heading"
GUESS, ASKED, UNCLEAR = "guess", "asked", "not known"
ANSWERED, REMEMBERED = "answer", "remembered"
"""How a heading was settled, or why it is not."""

LEAVE_OUT = "leave out"
"""The answer that leaves a column out; every question on a column offers it."""

MOST_FILE_ROWS = 20_000
"""More rows than readings of any piano. Our own choice: two hundred readings of each key."""

MOST_COLUMNS = 100
"""More columns than any table of readings. Our own choice."""


class NoResult:
    """A formula whose result the file does not hold."""

    def __str__(self) -> str:
        return "a formula"


NO_RESULT = NoResult()


@dataclass(frozen=True)
class Merge:
    """A block of merged cells, counted from 1, both ends included."""

    top: int
    left: int
    bottom: int
    right: int


@dataclass(frozen=True)
class RawTable:
    """The cells of one file or sheet, before anything is understood.

    Attributes
    ----------
    place : file name, and the sheet where there is one.
    kind : what kind of file it is, in words.
    rows : line as an editor counts it, and the cells; blank rows may be missing.
    problems : what is wrong with the file as such.
    merges : blocks of merged cells.
    sheet : name of the sheet, or None.
    delimiter : what stands between the columns of a text, or "".
    left_out : lines that are no part of the table, with the reason.
    """

    place: str
    kind: str
    rows: Sequence[tuple[int, Sequence[Cell]]]
    problems: tuple[Problem, ...] = ()
    merges: tuple[Merge, ...] = ()
    sheet: str | None = None
    delimiter: str = ""
    left_out: tuple[LeftOut, ...] = ()


@dataclass(frozen=True)
class Heading:
    """One heading of the file, and what was made of it.

    Attributes
    ----------
    written : the heading as the file has it.
    column : the column of the readings that it fills, or None if it is left out.
    understood : the same in words, with the reason if it is left out.
    answer_id : the id under which an answer assigns this heading to a column.
    first_values : what stands in the first cells below it.
    choices : what it can be, as the value to answer with and its label; empty if it is clear.
    how : how that was settled: "heading", "answer", "remembered", "guess" (waits for a yes),
        "asked" (waits for an answer) or "not known" (left out until it is said).
    question : what is asked about it, or "".
    """

    written: str
    column: str | None
    understood: str
    answer_id: str
    first_values: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()
    how: str = HEADING
    question: str = ""


@dataclass(frozen=True)
class LeftOut:
    """One line that was not taken, what stands in it, and why."""

    line: int
    text: str
    why: str


@dataclass(frozen=True)
class Question:
    """What only the user can say.

    Attributes
    ----------
    id : the name of the question in ``answers``.
    text : the question.
    choices : pairs of the value to answer with and its label.
    """

    id: str
    text: str
    choices: tuple[tuple[str, str], ...]


@dataclass
class Answers:
    """The answers given so far, and the questions that are still open."""

    given: Mapping[str, str] = field(default_factory=dict)
    open: list[Question] = field(default_factory=list)
    used: set[str] = field(default_factory=set)
    remembered: Mapping[str, str] = field(default_factory=dict)

    def ask(self, question: Question) -> str | None:
        """Return the answer; without one the question is kept as open and None returned.

        Raises
        ------
        BalancekitError : the answer is none of the choices.
        """
        self.used.add(question.id)
        answer = self.given.get(question.id)
        if answer is None:
            if question not in self.open:
                self.open.append(question)
            return None
        values = [value for value, _ in question.choices]
        if answer not in values:
            raise BalancekitError(
                Problem(
                    f"The answer '{quoted_cell(answer)}' to '{question.text}' is not one of the "
                    "choices.",
                    f"Answer with one of: {', '.join(values)}.",
                )
            )
        return answer

    def unused(self) -> list[str]:
        """Name the answers that no question asked for."""
        return [name for name in self.given if name not in self.used]


def blank(cell: Cell) -> bool:
    """Say whether a cell is empty or holds blanks only."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def quoted_cell(cell: Cell, most: int = 40) -> str:
    """Return a cell as a message quotes it: one line, not too long.

    >>> quoted_cell(-51.0), quoted_cell("a\\nb"), quoted_cell("x" * 50, most=4)
    ('-51', 'a b', 'xxx…')
    """
    if isinstance(cell, float):
        return f"{cell:.15g}"
    text = str(cell)[: 10 * most]
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return text if len(text) <= most else text[: most - 1] + "…"


def row_in_short(cells: Sequence[Cell]) -> str:
    """Return the cells of one row in short, for the list of what was left out."""
    return quoted_cell(
        ", ".join(quoted_cell(cell) for cell in cells[:MOST_COLUMNS] if not blank(cell)), 60
    )
