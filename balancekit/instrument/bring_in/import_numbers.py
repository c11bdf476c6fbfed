"""Numbers as people write them: decimal point or comma, and what is wrong with the rest."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, time, timedelta

from balancekit.calculation.quantities import QUANTITIES
from balancekit.instrument.bring_in.import_parts import (
    NO_RESULT,
    Answers,
    Cell,
    Question,
    quoted_cell,
)

POINT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
COMMA = re.compile(r"[+-]?(?:[0-9]+(?:,[0-9]*)?|,[0-9]+)(?:[eE][+-]?[0-9]+)?")
_GROUP = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_INFINITE = re.compile(r"[+-]?(?:inf|infinity|∞)", re.IGNORECASE)
_NO_NUMBER = ("nan", "n/a", "na", "none", "null", "-", "–", "—", "?", "x")
_SPREADSHEET_ERROR = re.compile(r"#(?:N/A|DIV/0!|REF!|VALUE!|NAME\?|NUM!|NULL!|SPILL!|CALC!)")
# ECMA-376, Part 1, 18.17.3, error values; the last two are newer.

DECIMAL_SIGN = "decimal sign"
"""Id of the question whether a comma parts decimals or thousands."""


@dataclass(frozen=True)
class Fault:
    """What is wrong with one cell, and what to do."""

    message: str
    advice: str


@dataclass(frozen=True)
class DecimalSign:
    """How the numbers of one file are written.

    Attributes
    ----------
    sign : "." or ",", or "" if no number has any.
    thousands : the sign that parts thousands, or "".
    count : how many numbers have the decimal sign.
    """

    sign: str = ""
    thousands: str = ""
    count: int = 0

    @property
    def words(self) -> str:
        """The same in words."""
        return {".": "decimal point", ",": "decimal comma", "": "whole numbers"}[self.sign]


def plain_number(cell: Cell) -> float:
    """Return the number of a cell that looks like one, whichever its decimal sign.

    >>> plain_number("\u221260,5"), plain_number(12)
    (-60.5, 12.0)
    """
    return float(_plain(str(cell)).replace(",", "."))


def looks_like_number(cell: Cell) -> bool:
    """Say whether a cell is a number, in one way of writing it or the other."""
    if isinstance(cell, str):
        text = _plain(cell)
        return bool(POINT.fullmatch(text) or COMMA.fullmatch(text))
    return isinstance(cell, int | float) and not isinstance(cell, bool)


def _plain(text: str) -> str:
    return text.strip().replace("\u2212", "-")  # U+2212 is the true minus sign


def find_decimal_sign(
    cells: Iterable[tuple[str, float, Cell]], answers: Answers, comma_means_decimal: bool
) -> DecimalSign:
    """Find the decimal sign of a file from its cells that hold numbers.

    A file in which each comma stands before exactly three digits, as in 1,234, can mean
    either: the user is asked. So is one in which each point does, if thousands are possible.

    Parameters
    ----------
    cells : column, factor to the column's unit, and the cell itself.
    answers : answers given, and where a question is kept.
    comma_means_decimal : whether the delimiter is one that goes with a decimal comma.
    """
    counts = {",": 0, ".": 0}
    sure = {",": False, ".": False}
    example = {",": "", ".": ""}
    for column, factor, cell in cells:
        if not isinstance(cell, str):
            continue
        text = _plain(cell)
        for sign, pattern in ((",", COMMA), (".", POINT)):
            if sign in text and pattern.fullmatch(text):
                counts[sign] += 1
                if _GROUP.fullmatch(text) and _thousands_possible(
                    sign, text, column, factor, comma_means_decimal
                ):
                    example[sign] = example[sign] or text
                else:
                    sure[sign] = True
    sign = "," if counts[","] > counts["."] else "." if counts["."] else ""
    if not sign or sure[sign] or counts["," if sign == "." else "."]:
        return DecimalSign(sign, "", counts[sign] if sign else 0)
    return _ask_sign(sign, example[sign], counts[sign], answers)


def _thousands_possible(
    sign: str, text: str, column: str, factor: float, comma_means_decimal: bool
) -> bool:
    """Say whether the sign can part thousands; a point can only where the value is possible."""
    if sign == ",":
        return True
    whole = float(text.replace(".", "")) * factor
    limits = QUANTITIES[column]
    return comma_means_decimal and limits.minimum <= whole <= limits.maximum


def _ask_sign(sign: str, example: str, count: int, answers: Answers) -> DecimalSign:
    name = "comma" if sign == "," else "point"
    as_decimal = example.replace(",", ".")
    as_thousand = example.replace(",", "").replace(".", "")
    answer = answers.ask(
        Question(
            DECIMAL_SIGN,
            f"Each {name} in the numbers stands before three digits, as in "
            f"'{quoted_cell(example)}'. What does the {name} part?",
            (
                ("decimals", f"decimals: {example} is {as_decimal}"),
                ("thousands", f"thousands: {example} is {as_thousand}"),
            ),
        )
    )
    if answer == "thousands":
        return DecimalSign("", sign, 0)
    return DecimalSign(sign, "", count)


def read_number(cell: Cell, decimal: DecimalSign) -> float | Fault:
    """Return a cell's number, or what is wrong with it; the cell is not blank.

    >>> read_number("51,5", DecimalSign(","))
    51.5
    >>> read_number("38?", DecimalSign(".")).message
    "'38?' has text in the number."
    """
    if isinstance(cell, str):
        text = _plain(cell)
        if decimal.thousands and _GROUP.fullmatch(text):
            text = text.replace(decimal.thousands, "")
        pattern = COMMA if decimal.sign == "," else POINT
        if not pattern.fullmatch(text):
            return _text_fault(text, decimal)
        value = float(text.replace(",", "."))
    elif isinstance(cell, int | float) and not isinstance(cell, bool):
        value = _as_float(cell)
    else:
        return _other_fault(cell)
    if math.isinf(value):
        return Fault(f"'{quoted_cell(cell)}' is infinite.", "Write the number that was read.")
    if math.isnan(value):
        return _not_a_number(cell)
    return value + 0.0  # -0 becomes 0


def _as_float(cell: int | float) -> float:
    try:
        return float(cell)
    except OverflowError:
        return math.inf


def _not_a_number(cell: Cell) -> Fault:
    return Fault(
        f"'{quoted_cell(cell)}' is not a number.",
        "Write the number that was read; leave the cell empty for a missing reading.",
    )


def _text_fault(text: str, decimal: DecimalSign) -> Fault:
    read = quoted_cell(text)
    if _INFINITE.fullmatch(text):
        return Fault(f"'{read}' is infinite.", "Write the number that was read.")
    if _SPREADSHEET_ERROR.fullmatch(text):
        return Fault(
            f"'{read}' is an error of the spreadsheet.",
            "Mend the formula, or write the number that was read.",
        )
    if text.startswith("="):
        return Fault(f"'{read}' is a formula.", "Write the number that was read.")
    other = "point" if decimal.sign == "," else "comma"
    if (POINT if decimal.sign == "," else COMMA).fullmatch(text):
        own = "comma" if decimal.sign == "," else "point"
        mended = text.replace(".", ",") if own == "comma" else text.replace(",", ".")
        return Fault(
            f"'{read}' has a decimal {other}; the other numbers have a decimal {own}.",
            f"Write {quoted_cell(mended)}, or make the whole file one way.",
        )
    if re.fullmatch(r"[+-]?[0-9.,'\u2019\u00a0\u202f ]+", text) and re.search("[0-9]", text):
        return Fault(
            f"'{read}' has more signs in it than one decimal sign.",
            "Write digits and one decimal sign, with nothing between the thousands.",
        )
    if text.casefold() in _NO_NUMBER or not re.search("[0-9]", text):
        return _not_a_number(text)
    return Fault(
        f"'{read}' has text in the number.",
        "Write the number alone; a remark goes into the column note, a unit into the heading.",
    )


def _other_fault(cell: Cell) -> Fault:
    if cell is NO_RESULT:
        return Fault(
            "The formula has no stored result.",
            "Open the workbook in the spreadsheet program, save it once, and bring it in again.",
        )
    if isinstance(cell, date | time | timedelta):
        return Fault(
            f"'{quoted_cell(cell)}' is a date or time.",
            "The spreadsheet program took the number for a date: format the cell as a number and "
            "write it again.",
        )
    return _not_a_number(cell)


def check_limits(value: float, column: str, cell: Cell, unit_read: str = "") -> Fault | None:
    """Return what is wrong with a value that no instrument has, or None.

    ``unit_read`` stands behind what was read, where it was converted.

    >>> fault = check_limits(-51.0, "down_weight_g", "-51")
    >>> print(fault.message, fault.advice)
    '-51' is negative. Down weight is 0 g or more; check the sign.
    """
    quantity = QUANTITIES[column]
    if quantity.minimum <= value <= quantity.maximum:
        return None
    unit = f" {quantity.unit}" if quantity.unit else ""
    read = quoted_cell(cell) + unit_read
    if value < 0 <= quantity.minimum:
        least = f"{quantity.minimum:g}{unit}"
        advice = f"{quantity.label} is {least} or more; check the sign."
        return Fault(f"'{read}' is negative.", advice)
    side = "above" if value > quantity.maximum else "below"
    return Fault(
        f"'{read}' is {side} what is possible.",
        f"{quantity.label} is {quantity.minimum:g} to {quantity.maximum:g}{unit}; check the "
        "figures, the decimal sign and the unit.",
    )


def read_key(cell: Cell, key_count: int) -> int | Fault:
    """Return a key number, or what is wrong with it.

    >>> read_key("8", 88), read_key("8.5", 88).message
    (8, "'8.5' is not a whole number.")
    """
    allowed = f"Keys are numbered 1 to {key_count} from the left"
    either = DecimalSign(",") if isinstance(cell, str) and "," in cell else DecimalSign(".")
    value = read_number(cell, either)
    if isinstance(value, Fault):
        if cell is NO_RESULT or "infinite" in value.message:
            return value
        return Fault(
            f"'{quoted_cell(cell)}' is not a key number.", f"{allowed}; write the number alone."
        )
    if value != int(value):
        return Fault(
            f"'{quoted_cell(cell)}' is not a whole number.", f"{allowed}; check the number."
        )
    if not 1 <= value <= key_count:
        return Fault(
            f"'{quoted_cell(cell)}' is no key of this instrument.",
            f"{allowed}; check the number, or the number of keys in the bench settings.",
        )
    return int(value)
