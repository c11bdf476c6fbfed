"""Headings as people write them, and what each can mean."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Literal

from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS, WITHIN_COLUMNS
from balancekit.instrument.bring_in.import_parts import Cell, quoted_cell

COLUMNS = ("key", *READING_COLUMNS, "note", "read_at", *WITHIN_COLUMNS.values())
"""What a heading can be assigned to."""

Kind = Literal["column", "several", "not taken", "unknown"]

_KEY = ("key", "keys", "key number", "key no", "key nr", "number", "no", "nr")
_NOTE = ("note", "notes", "remark", "remarks", "comment", "comments")
_READ_AT = ("read at", "time of reading", "date and time", "day and time")

_SPELLINGS = {
    "down_weight_g": ("down weights",),
    "up_weight_g": ("up weights",),
    "front_weight_g": ("front weights", "key front weight"),
    "strike_weight_g": ("strike weights", "hammer strike weight"),
    "wippen_weight_g": ("wippen weights", "whippen weight", "whippen weights"),
    "key_ratio": ("key ratios",),
    "spring_relief_g": ("support spring relief",),
}
"""Spellings of a reading beside its label in the register."""

_WEIGHTS = tuple(name for name in READING_COLUMNS if name.endswith("_g"))

_SEVERAL = {
    "weight": _WEIGHTS,
    "weights": _WEIGHTS,
    "mass": _WEIGHTS,
    "reading": _WEIGHTS,
    "readings": _WEIGHTS,
    "touch weight": ("down_weight_g", "up_weight_g"),
    "down": ("down_weight_g",),
    "up": ("up_weight_g",),
    "front": ("front_weight_g",),
    "strike": ("strike_weight_g",),
    "hammer": ("strike_weight_g",),
    "hammer weight": ("strike_weight_g",),
    "hammer mass": ("strike_weight_g",),
    "wippen": ("wippen_weight_g",),
    "whippen": ("wippen_weight_g",),
    "ratio": ("key_ratio",),
    "spring": ("spring_relief_g",),
}
"""Headings that say too little, with what they can mean."""

_FROM_THE_KEY = "made from the key number and the first note"
_COMPUTED = "computed here from the readings"
_PLUGS = "plugs; drop this file on “What is in the keys now?” as well"
_NOT_TAKEN = {
    "note name": _FROM_THE_KEY,
    "note names": _FROM_THE_KEY,
    "name of note": _FROM_THE_KEY,
    "pitch": _FROM_THE_KEY,
    "colour": _FROM_THE_KEY,
    "color": _FROM_THE_KEY,
    "frequency": _FROM_THE_KEY,
    "balance weight": _COMPUTED,
    "friction": _COMPUTED,
    "friction weight": _COMPUTED,
    "action ratio": _COMPUTED,
    "missing": _COMPUTED,
    **dict.fromkeys(("lead", "leads", "plug", "plugs", "lead plugs"), _PLUGS),
}

GRAMS_IN = {
    "g": 1.0,
    "kg": 1000.0,
    "mg": 0.001,
    "oz": 28.349523125,
    "lb": 453.59237,
    "gr": 0.06479891,
}
# Pound 0.45359237 kg, ounce a sixteenth, grain a seven-thousandth of it, exact: international
# yard and pound agreement of 1959; NIST Special Publication 811 (2008), appendix B.8.

FACTORS: dict[str, dict[str, float]] = {
    "g": GRAMS_IN,
    # Inch 25.4 mm, exact: the same agreement, the same appendix.
    "mm": {"mm": 1.0, "cm": 10.0, "in": 25.4},
    "": {"%": 0.01},
}
"""What turns numbers in another unit into a reading's own unit, by that unit; "" for a ratio."""

_UNIT_WORDS = {
    "g": "g", "gram": "g", "grams": "g", "gramme": "g", "grammes": "g", "gm": "g", "gms": "g",
    "kg": "kg", "kilogram": "kg", "kilograms": "kg",
    "mg": "mg", "milligram": "mg", "milligrams": "mg",
    "oz": "oz", "ounce": "oz", "ounces": "oz",
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb",
    "gr": "gr", "grain": "gr", "grains": "gr",
    "n": "N", "mn": "mN", "cn": "cN", "newton": "N", "newtons": "N",
    "mm": "mm", "cm": "cm", "in": "in", "inch": "in", "inches": "in",
    "%": "%", "percent": "%",
}  # fmt: skip

_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_APART = re.compile(r"[\s_\-–—/.,:;]+")


@dataclass(frozen=True)
class Meaning:
    """What one heading can mean.

    Attributes
    ----------
    kind : "column" for one meaning, "several" for a question, "not taken", or "unknown".
    columns : the columns it can fill.
    unit : the unit that it names, or "".
    why : why it is not taken.
    """

    kind: Kind
    columns: tuple[str, ...] = ()
    unit: str = ""
    why: str = ""


def _joined(words: str) -> str:
    return words.replace(" ", "")


def _letters(label: str) -> str:
    """Return the words of a label without spaces and hyphens, as headings are compared."""
    return "".join(_APART.split(label.lower()))


_KNOWN: dict[str, str] = {
    **{_letters(QUANTITIES[name].label): name
       for name in (*READING_COLUMNS, *WITHIN_COLUMNS.values())},
    **{_joined(words): "key" for words in _KEY},
    **{_joined(words): "note" for words in _NOTE},
    **{_joined(words): "read_at" for words in _READ_AT},
    **{_joined(words): name for name, all_words in _SPELLINGS.items() for words in all_words},
}  # fmt: skip
_UNCLEAR = {_joined(words): columns for words, columns in _SEVERAL.items()}
_LEFT = {_joined(words): why for words, why in _NOT_TAKEN.items()}


def written(cell: Cell) -> str:
    """Return a heading on one line, as it is shown and as an answer names it."""
    return "" if cell is None else quoted_cell(cell, 80)


def plain_heading(heading: str) -> str:
    """Return a heading so that two of the same wording compare equal."""
    return unicodedata.normalize("NFKC", heading).casefold()


def unit_of(cell: Cell) -> str:
    """Return the unit that a cell is, and nothing else; "" if it is none.

    >>> unit_of("[g]"), unit_of("(oz.)"), unit_of("51")
    ('g', 'oz', '')
    """
    text = plain_heading(written(cell)).strip("()[]{} .")
    return _UNIT_WORDS.get(text, "")


def read_heading(heading: str) -> Meaning:
    """Find what a heading can mean, whatever its case, spaces, hyphens and brackets.

    >>> read_heading("Down weight [g]").columns, read_heading("down-weight, oz").unit
    (('down_weight_g',), 'oz')
    >>> read_heading("Weight (g)").kind, read_heading("Friction").why
    ('several', 'computed here from the readings')
    """
    text, unit = _split_unit(plain_heading(heading))
    meaning = _look_up(text)
    numbered = re.fullmatch(r"(.*[a-z])[0-9]+", text)
    if meaning.kind == "unknown" and numbered:  # "down weight 2": a repeat in a column of its own
        meaning = _look_up(numbered.group(1))
    return Meaning(meaning.kind, meaning.columns, unit, meaning.why)


def _look_up(text: str) -> Meaning:
    if text in _KNOWN:
        return Meaning("column", (_KNOWN[text],))
    if text in _UNCLEAR:
        return Meaning("several", _UNCLEAR[text])
    if text in _LEFT:
        return Meaning("not taken", why=_LEFT[text])
    if text.endswith("uncertainty") or (text[:-1] in _KNOWN | _LEFT and text.endswith("u")):
        return Meaning("not taken", why="an uncertainty; it belongs to the bench settings")
    return Meaning("unknown")


def _split_unit(text: str) -> tuple[str, str]:
    """Take brackets and the unit off a heading and join what is left."""
    unit = ""
    for inside in _BRACKETS.findall(text):
        unit = unit or unit_of(inside)
    words = [word for word in _APART.split(_BRACKETS.sub(" ", text)) if word]
    if words == ["#"]:
        return "no", ""
    words = [word.replace("#", "no") for word in words]
    if len(words) > 1 and words[-1] in _UNIT_WORDS and not unit:
        unit = _UNIT_WORDS[words.pop()]
        if len(words) > 1 and words[-1] == "in":
            words.pop()
    return "".join(words), unit


def label(column: str) -> str:
    """Return what a column holds, in words.

    >>> label("key"), label("down_weight_g")
    ('key number', 'down weight (g)')
    """
    if column == "key":
        return "key number"
    if column == "note":
        return "note in your own words"
    if column == "read_at":
        return "day and time of the reading"
    quantity = QUANTITIES[column]
    unit = f" ({quantity.unit})" if quantity.unit else ""
    return quantity.label.lower() + unit


def guesses(heading: str) -> tuple[str, ...]:
    """Guess from a shortened heading what it can stand for; a guess waits for a yes.

    Each word of it must shorten the words of a label in their order, or all letters be their
    first letters.

    >>> guesses("Str. wt."), guesses("client")
    (('strike_weight_g',), ())
    """
    text = plain_heading(_BRACKETS.sub(" ", heading))
    words = [word for word in _APART.split(text) if word and word not in _UNIT_WORDS]
    words = [word.rstrip("0123456789") or word for word in words]
    if not words or not all(word.isalpha() for word in words):
        return ()
    return tuple(
        name for name in READING_COLUMNS if _shortens(words, QUANTITIES[name].label.lower().split())
    )


def _shortens(words: list[str], full: list[str]) -> bool:
    initials = "".join(word[0] for word in full)
    if len(full) > 1 and "".join(words) == initials:
        return True
    if len(words) > len(full):
        return False
    pairs = zip(words, full, strict=False)
    return all(_shortened(word, whole) for word, whole in pairs) and len("".join(words)) > 2


def _shortened(word: str, whole: str) -> bool:
    letters = iter(whole)
    return word[0] == whole[0] and all(letter in letters for letter in word)
