"""What is wrong with an input, said so that it can be mended.

A problem says where it is, what was read, what is allowed and what to do.
All problems of one input are gathered and raised once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

LONGEST_SHOWN = 80
"""Characters of what was read that a message repeats."""

MOST_LISTED = 50
"""Problems that one refusal lists; of the rest it gives the number."""


def shown(text: str) -> str:
    """Return what was read as a message repeats it: short, and fit for any screen.

    >>> shown("51.5"), len(shown("9" * 1000)), shown("a" + chr(0xD800))
    ('51.5', 80, 'a?')
    """
    short = text if len(text) <= LONGEST_SHOWN else f"{text[: LONGEST_SHOWN - 1]}…"
    return short.encode("utf-8", "replace").decode()


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
    """The one error that leaves the package for bad input; carries the problems found."""

    def __init__(self, problems: Problem | Sequence[Problem]) -> None:
        found = (problems,) if isinstance(problems, Problem) else tuple(problems)
        rest = len(found) - MOST_LISTED
        if rest > 0:
            problem = "problem" if rest == 1 else "problems"
            more = Problem(
                f"There are {rest} further {problem}.", "Mend those above, then try again.",
                file=found[0].file,
            )  # fmt: skip
            found = (*found[:MOST_LISTED], more)
        self.problems: tuple[Problem, ...] = found
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[Any, ...]:
        return _made_again, (type(self), self.args), vars(self)


def _made_again(kind: type[BalancekitError], args: tuple[Any, ...]) -> BalancekitError:
    """Make a copy of an error without its own making; what it holds is put back after."""
    return kind.__new__(kind, *args)


def refuse(message: str, advice: str) -> BalancekitError:
    """Make an error of one problem that has no place in a file."""
    return BalancekitError(Problem(message, advice))
