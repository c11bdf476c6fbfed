"""Cells under a reading: numbers, words for not read, remarks, and what cannot be a reading."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field

from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.calculation.words import plural
from balancekit.instrument.bring_in.import_headings import FACTORS, label, unit_of
from balancekit.instrument.bring_in.import_numbers import (
    COMMA,
    POINT,
    DecimalSign,
    Fault,
    check_limits,
    read_number,
)
from balancekit.instrument.bring_in.import_parts import (
    LEAVE_OUT,
    Answers,
    Cell,
    Question,
    blank,
    quoted_cell,
)
from balancekit.instrument.bring_in.import_source import Source, impossible_id

_NOT_READ = ("nan", "n/a", "na", "n.a.", "none", "null", "-", "--", "–", "—", "?", "??", "x", "xx",
            "...", "…", "..", "/", "\\", "*", "n", "no", "nil")  # fmt: skip
"""Words and signs that often stand for a missing reading; the user says whether they do."""

DOUBTED = "question marks"
"""Id of the question whether numbers with a question mark are taken and marked."""

_MOST_WORDS = 20
_ASKED = re.compile(r"[?~(\s]*([+-]?[0-9]+(?:[.,][0-9]+)?)\s*[?)~]*")
_WITH_UNIT = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?)\s*([a-zA-Z.]+)")
_ONE_FIFTH = 0.2
_FEWEST_IMPOSSIBLE = 3
# Our own choices.


@dataclass
class Cells:
    """What the cells of readings gave besides numbers.

    Attributes
    ----------
    words : words that may stand for "not read": where each stands.
    question_marks : cells with a question mark behind the number.
    impossible : by column, the cells that cannot be.
    filled : by column, how many cells hold anything.
    remarks : what was done with single cells, one sentence each.
    """

    answers: Answers
    decimal: DecimalSign
    words: dict[str, list[str]] = field(default_factory=dict)
    question_marks: list[tuple[str, str]] = field(default_factory=list)
    impossible: dict[str, list[tuple[Source, Cell]]] = field(default_factory=dict)
    filled: dict[str, int] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)

    def read(
        self, cell: Cell, source: Source, place: str, note: Callable[[str], None],
        mark: Callable[[str], None],
    ) -> float:  # fmt: skip
        """Return the reading in one cell; NaN where there is none.

        Parameters
        ----------
        place : the cell's place in words.
        note : called with a remark that stands in place of the reading.
        mark : called with what was read if it cannot be, or is doubted.
        """
        nothing = float("nan")
        if blank(cell):
            return nothing
        name = source.column or ""
        self.filled[name] = self.filled.get(name, 0) + 1
        value = self._number(cell, source)
        text = cell.strip() if isinstance(cell, str) else ""
        if isinstance(value, Fault) and text:
            word = text.casefold()
            if word in _NOT_READ:
                self.words.setdefault(quoted_cell(word), []).append(place)
                self.filled[name] -= 1
                return nothing
            asked = _ASKED.fullmatch(text[:60]) if "?" in text or "(" in text else None
            if asked:
                return self._doubted(text, asked.group(1), source, place, mark)
            words = not any(sign.isdigit() for sign in text) and "infinite" not in value.message
            if words and text[0] not in "#=":
                self.filled[name] -= 1
                note(f"{label(name)}: {text}")
                return nothing
            if re.search(r"[^\W\d_]{3,}", text[:500]):
                note(f"{label(name)}: {text}")
        if isinstance(value, float):
            unit = "" if source.factor == 1.0 else f" {source.unit}"
            value = check_limits(value * source.factor, name, cell, unit) or value * source.factor
        if isinstance(value, Fault):
            self.impossible.setdefault(name, []).append((source, cell))
            mark(quoted_cell(cell))
            return nothing
        return value

    def _number(self, cell: Cell, source: Source) -> float | Fault:
        """Read a number; a comma or point the other way and the column's own unit are plain."""
        value = read_number(cell, self.decimal)
        if isinstance(value, float) or not isinstance(cell, str):
            return value
        text = cell.strip()
        own = _WITH_UNIT.fullmatch(text[:60])
        if own and source.column and unit_of(own.group(2)) == QUANTITIES[source.column].unit != "":
            text = own.group(1)
        clear = re.search(r"[.,]([0-9]*)$", text)
        if (POINT.fullmatch(text) or COMMA.fullmatch(text)) and (
            clear is None or len(clear.group(1)) != 3 or text[0] == "0"
        ):
            return float(text.replace(",", "."))
        return value

    def _doubted(
        self, text: str, number: str, source: Source, place: str, mark: Callable[[str], None]
    ) -> float:
        value = float(number.replace(",", ".")) * source.factor
        name = source.column or ""
        if check_limits(value, name, text) is not None:
            self.impossible.setdefault(name, []).append((source, text))
            mark(quoted_cell(text))
            return float("nan")
        self.question_marks.append((text, place))
        answer = self.answers.given.get(DOUBTED, "")
        if answer == "take":
            mark(f"{number}?")
            return value
        return float("nan")

    def ask(self) -> None:
        """Ask what only the user can say about the cells."""
        for word, places in [*self.words.items()][:_MOST_WORDS]:
            held = f"In {plural(len(places), 'cell')} stands '{word}', first in {places[0]}."
            self.answers.ask(
                Question(f"word: {word}", f"{held} Does it mean that nothing was read?",
                         (("not read", "yes, nothing was read"),))
            )  # fmt: skip
        if self.question_marks:
            text, place = self.question_marks[0]
            count = plural(len(self.question_marks), "number")
            self.answers.ask(
                Question(
                    DOUBTED,
                    f"{count} in doubt, as '{quoted_cell(text)}' in {place}. How are they taken?",
                    (("take", "take each number and mark it as doubtful"),
                     (LEAVE_OUT, "leave these readings out")),
                )
            )  # fmt: skip
        for name, cells in self.impossible.items():
            if len(cells) >= _FEWEST_IMPOSSIBLE and len(cells) > _ONE_FIFTH * self.filled[name]:
                self.answers.ask(_impossible(name, cells, self.filled[name], self.decimal))


def _impossible(
    name: str, cells: list[tuple[Source, Cell]], filled: int, decimal: DecimalSign
) -> Question:
    """Ask for the unit or the meaning of a column with many impossible numbers."""
    source = cells[0][0]
    read = [read_number(cell, decimal) for _, cell in cells]
    numbers = [value for value in read if isinstance(value, float)]

    def fits(column: str, factor: float) -> bool:
        return bool(numbers) and all(
            check_limits(value * factor, column, "") is None for value in numbers
        )

    units = FACTORS.get(QUANTITIES[name].unit, {})
    choices = [(unit, f"the numbers are in {unit}") for unit, factor in units.items()
               if factor != 1.0 and fits(name, factor)]  # fmt: skip
    choices += [(other, f"it is the {label(other)}") for other in READING_COLUMNS
                if other != name and fits(other, source.factor)]  # fmt: skip
    few = ", ".join(quoted_cell(cell, 12) for _, cell in cells[:4])
    return Question(
        impossible_id(source),
        f"{len(cells)} of {filled} cells in the column '{source.heading}' cannot be a "
        f"{label(name)}, as {few}. In which unit is it, or what is it?",
        (*choices, ("leave open", "it is right: leave the impossible ones open"),
         (LEAVE_OUT, "leave the column out")),
    )  # fmt: skip
