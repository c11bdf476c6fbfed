"""Files that are handed in, whatever is in them: read strictly, refused in the same words."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, NoReturn

from balancekit.calculation.problems import BalancekitError, Problem, refuse, shown
from balancekit.lesson.practice.exercises import MOST_SEED


@dataclass(frozen=True)
class HandedIn:
    """One kind of file.

    Attributes
    ----------
    kind : what the file calls itself.
    words : what people call it.
    advice : what to do where it is not whole.
    version : which one is read.
    """

    kind: str
    words: str
    advice: str
    version: int = 1

    def head(self, seed: int, name: str) -> dict[str, Any]:
        """Return what every such file begins with."""
        return {"kind": self.kind, "version": self.version, "name": name, "seed": seed}

    def refuse(self, reason: str) -> BalancekitError:
        """Make the error of a file that is not whole."""
        return BalancekitError(Problem(f"This is not a whole {self.words}. {reason}", self.advice))

    def read(self, text: str) -> dict[str, Any]:
        """Return what a text (JSON) of this kind holds.

        Raises
        ------
        BalancekitError : no JSON, another kind or version, a number that is none.

        >>> HandedIn("a row", "row", "Save it anew.").read("[]")
        Traceback (most recent call last):
        ...
        balancekit.calculation.problems.BalancekitError: This is not a whole row. Its kind is not \
'a row', version 1. Save it anew.
        """
        try:
            read = json.loads(text, parse_constant=_no_number)
        except (ValueError, RecursionError) as error:
            raise self.refuse(f"It cannot be read as JSON: {error}.") from error
        if not isinstance(read, dict) or read.get("kind") != self.kind:
            raise self.refuse(f"Its kind is not '{self.kind}', version {self.version}.")
        if read.get("version") != self.version:
            given = shown(str(read.get("version")))
            raise self.refuse(f"Its version is {given}; version {self.version} is read here.")
        return dict(read)

    def whole_number(self, read: dict[str, Any], name: str) -> int:
        """Return a whole number from 0 to ``MOST_SEED`` of what was read.

        Raises
        ------
        BalancekitError : it is not there, or no such number.
        """
        value = read.get(name)
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= MOST_SEED:
            raise self.refuse(f"'{name}' is not a whole number from 0 to {MOST_SEED}.")
        return value


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")


def text_of(data: bytes) -> str:
    """Return a file as text.

    Raises
    ------
    BalancekitError : it is not text.

    >>> text_of(b"a score")
    'a score'
    """
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        raise refuse("This is not text.", "Take the file that a panel of the lessons saved.") from (
            None
        )


def kind_named(data: bytes) -> str:
    """Return what a file calls itself, or "" where that cannot be read.

    >>> kind_named(b'{"kind": "a row"}'), kind_named(b"3")
    ('a row', '')
    """
    try:
        read = json.loads(text_of(data))
    except (ValueError, RecursionError):
        return ""
    return str(read.get("kind", "")) if isinstance(read, dict) else ""
