"""What is wrong with an input, said so that it can be mended.

A problem says where it is, what was read, what is allowed and what to do.
All problems of one input are gathered and raised once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, and its remedy.

    Attributes
    ----------
    message : what was read and why it cannot be, in one sentence.
    advice : what is allowed and what to do, in one or two sentences.
    file : name of the file or folder, without a path above the user's own; "" for none.
    line : line as an editor counts it, from 1; None where there is none.
    key : key number, or None.
    column : column name or heading, or None.
    """

    message: str
    advice: str
    file: str = ""
    line: int | None = None
    key: int | None = None
    column: str | None = None

    @property
    def place(self) -> str:
        """File, line, key and column, as far as they are known.

        >>> Problem("", "", file="readings.csv", line=9, key=8, column="down_weight_g").place
        'readings.csv line 9, key 8, down_weight_g'
        """
        where = self.file
        if self.line is not None:
            where = f"{where} line {self.line}".strip()
        parts = [where, "" if self.key is None else f"key {self.key}", self.column or ""]
        return ", ".join(part for part in parts if part)

    def __str__(self) -> str:
        text = f"{self.message} {self.advice}".strip()
        return f"{self.place}: {text}" if self.place else text


class BalancekitError(ValueError):
    """The one error that leaves the package for bad input; carries every problem found."""

    def __init__(self, problems: Problem | Sequence[Problem]) -> None:
        self.problems: tuple[Problem, ...] = (
            (problems,) if isinstance(problems, Problem) else tuple(problems)
        )
        super().__init__("\n".join(str(problem) for problem in self.problems))


def refuse(message: str, advice: str) -> BalancekitError:
    """Make an error of one problem that has no place in a file."""
    return BalancekitError(Problem(message, advice))
