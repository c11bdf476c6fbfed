"""Sums, fractions and formulas as people write them: read by a parser, never run as code."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite, sqrt

from balancekit.calculation.problems import refuse

MOST_TEXT = 300
"""Longest formula that is read."""

_TOKEN = re.compile(
    r"\s*(?:([0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)|([A-Za-z_][A-Za-z0-9_]*)|(\*\*|[-+*/^()−×·÷²:]))"
)
_SAME = {"−": "-", "×": "*", "·": "*", "÷": "/", ":": "/", "**": "^"}
_PARTS = {"½": " 1/2", "¼": " 1/4", "¾": " 3/4"}
_MIXED = re.compile(r"(?<![\d.,])(\d+) +(\d+) ?/ ?(\d+)(?![\d.,])")
"""A whole number and a fraction behind it, as a rule is read: 9 1/2."""


@dataclass
class _Reader:
    """Reads tokens from left to right; ``place`` is the next one.

    ``digits`` rounds every result on the way; ``results`` keeps them, exact and as kept.
    """

    tokens: list[str]
    values: Mapping[str, float]
    digits: int | None = None
    place: int = 0
    results: list[tuple[float, float]] = field(default_factory=list)

    def keep(self, value: float) -> float:
        kept = value if self.digits is None else round(value, self.digits)
        self.results.append((value, kept))
        return kept

    @property
    def next(self) -> str:
        return self.tokens[self.place] if self.place < len(self.tokens) else ""

    def take(self) -> str:
        token = self.next
        self.place += 1
        return token

    def sum(self) -> float:
        total = self.product()
        while self.next in ("+", "-"):
            sign = 1.0 if self.take() == "+" else -1.0
            total = self.keep(total + sign * self.product())
        return total

    def product(self) -> float:
        total = self.signed()
        while self.next in ("*", "/"):
            if self.take() == "*":
                total = self.keep(total * self.signed())
            else:
                under = self.signed()
                if under == 0:
                    raise refuse("This divides by 0.", "Check what stands under the line.")
                total = self.keep(total / under)
        return total

    def signed(self) -> float:
        if self.next == "-":
            self.take()
            return -self.signed()
        if self.next == "+":
            self.take()
            return self.signed()
        return self.power()

    def power(self) -> float:
        base = self.single()
        while self.next in ("²", "^"):
            exponent = 2.0 if self.take() == "²" else self.single()
            if abs(exponent) > 4 or (base == 0 and exponent < 0) or (base < 0 and exponent % 1):
                raise refuse(f"A power of {exponent:g} is not taken here.", "Give 2, or 0.5.")
            base = self.keep(base**exponent)
        return base

    def single(self) -> float:
        token = self.take()
        if token == "(":
            inside = self.sum()
            if self.take() != ")":
                raise refuse("A bracket is not closed.", "Write a ) for each (.")
            return inside
        if token == "sqrt" and self.next == "(":
            inside = self.single()
            if inside < 0:
                raise refuse("A root of a number below 0 is asked.", "Check the difference in it.")
            return self.keep(sqrt(inside))
        if token[:1].isdecimal() or token[:1] in (".", ","):
            return float(token.replace(",", "."))
        if token in self.values:
            return float(self.values[token])
        if token[:1].isalpha() or token[:1] == "_":
            known = ", ".join(self.values) or "none"
            raise refuse(f"'{token}' is not known here.", f"Known names: {known}.")
        raise refuse(
            f"A number is missing {'at the end' if not token else f'before {token}'}.",
            "Write a sum such as (49 + 25) / 2.",
        )


def evaluate(text: str, values: Mapping[str, float] | None = None) -> float:
    """Return what a formula gives; see ``work_out``.

    >>> evaluate("(49 + 25) / 2"), evaluate("13,6 × (120/240)²")
    (37.0, 3.4)
    >>> evaluate("front_weight_g * 2", {"front_weight_g": 3.5}), evaluate("9 1/2"), evaluate("9½")
    (7.0, 9.5, 9.5)
    """
    return work_out(text, values)[0]


def numbers_in(text: str) -> list[float]:
    """Return the numbers that are written in a formula.

    >>> numbers_in("13,6 × (120/240)²")
    [13.6, 120.0, 240.0]
    """
    return [
        float(token.replace(",", ".")) for token in _tokens(text) if token[:1] in "0123456789.,"
    ]


def work_out(
    text: str, values: Mapping[str, float] | None = None, *, digits: int | None = None
) -> tuple[float, list[tuple[float, float]]]:
    """Return what a formula gives, and every result on the way, exact and as it was kept.

    Numbers with point or comma, + - * / ^, brackets, sqrt(), and the names that are given.

    Parameters
    ----------
    digits : digits after the point that each result on the way is rounded to; all if left out.

    Raises
    ------
    BalancekitError : what cannot be read, an unknown name, a division by 0.

    >>> work_out("10 × (90 / 240)", digits=1)
    (4.0, [(0.375, 0.4), (4.0, 4.0)])
    """
    reader = _Reader(_tokens(text), values or {}, digits)
    try:
        found = reader.sum()
    except OverflowError as error:
        raise refuse("The result is too large.", "Check the numbers.") from error
    if reader.next:
        raise refuse(f"'{reader.next}' stands where a + - * / is expected.", "Check the brackets.")
    if not isfinite(found):
        raise refuse("The result is too large.", "Check the numbers.")
    return found, reader.results


def _tokens(text: str) -> list[str]:
    """Cut a formula into numbers, names and signs."""
    if len(text) > MOST_TEXT:
        raise refuse("This formula is too long.", f"Use at most {MOST_TEXT} signs.")
    tokens, place = [], 0
    for sign, part in _PARTS.items():
        text = text.replace(sign, part)
    text = _MIXED.sub(r"(\1 + \2 / \3)", text).rstrip()
    while place < len(text):
        match = _TOKEN.match(text, place)
        if match is None:
            raise refuse(
                f"'{text[place:].strip()[:20]}' cannot be read.", "Use numbers and + - * / ( )."
            )
        token = next(part for part in match.groups() if part)
        tokens.append(_SAME.get(token, token))
        place = match.end()
    if tokens.count("(") > 40:
        raise refuse("There are too many brackets.", "Write it in two steps.")
    return tokens
