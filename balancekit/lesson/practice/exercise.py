"""One exercise: its question, its answer, the likely mistakes, and what an entry is worth."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from balancekit.calculation.problems import BalancekitError
from balancekit.lesson.practice.chain import read_steps, wrong_step
from balancekit.lesson.practice.formula import evaluate, work_out

UNITS: Mapping[str, Mapping[str, float]] = {
    "g": {"g": 1.0, "gram": 1.0, "grams": 1.0, "kg": 1000.0, "mg": 0.001},
    "mm": {"mm": 1.0, "cm": 10.0, "m": 1000.0},
    "": {},
}
"""The units that an answer may be written in, and how much of the asked unit each is."""
# SI prefixes: BIPM, The International System of Units, 9th edition, table 7.

_ENTRY = re.compile(r"^\s*(=?\s*[-+−(]?.*?[\d)²½¼¾])\s*([A-Za-z%]*)\.?\s*$")


@dataclass(frozen=True)
class Mistake:
    """One likely mistake: its name, what it would give, and the hint."""

    name: str
    value: float
    hint: str


@dataclass(frozen=True)
class Exercise:
    """One exercise.

    Attributes
    ----------
    kind : which kind of question.
    text : the question, in plain words.
    given : the numbers in it, by name.
    answer : what is right.
    unit : unit of the answer; "" for a ratio.
    decimals : digits after the point that are asked for.
    tolerance : how far off an answer may be [unit].
    mistakes : the likely ones, told apart by what they give.
    solution : worked, line by line.
    formula : the answer from the given numbers by name, to find what was rounded; "" if unknown.
    """

    kind: str
    text: str
    given: Mapping[str, float]
    answer: float
    unit: str
    decimals: int
    tolerance: float
    mistakes: tuple[Mistake, ...]
    solution: tuple[str, ...]
    formula: str = field(default="", compare=False)

    @property
    def asked(self) -> str:
        """How exact the answer is to be, in words."""
        digit = f"{10.0**-self.decimals:g} {self.unit}".strip()
        return f"Give it to {digit}; within {self.tolerance:g} {self.unit}".strip() + " is right."

    def show(self, value: float) -> str:
        """Return a value as the answer to this exercise is written.

        >>> Exercise("", "", {}, 0, "g", 1, 0.1, (), ()).show(-2.04)
        '−2.0 g'
        """
        rounded = round(value, self.decimals) + 0.0
        return f"{rounded:.{self.decimals}f} {self.unit}".strip().replace("-", "−")

    @property
    def told_apart(self) -> bool:
        """Whether every mistake gives something else than the answer and the other mistakes."""
        values = [self.answer, *(mistake.value for mistake in self.mistakes)]
        gaps = (abs(a - b) for place, a in enumerate(values) for b in values[:place])
        return all(gap > 2.5 * self.tolerance for gap in gaps)


@dataclass(frozen=True)
class Verdict:
    """What an entry is worth.

    Attributes
    ----------
    kind : "right", "miss", or "unclear" where no number or no unit could be read.
    sentence : what to say.
    mistake : name of the mistake that gives this very value, or "".
    value : what was read, in the unit of the exercise.
    """

    kind: str
    sentence: str
    mistake: str = ""
    value: float = field(default=float("nan"))


def read_entry(entry: str, unit: str) -> tuple[float, str]:
    """Read a number with its unit; return it in the asked unit, and what hinders, or "".

    >>> read_entry("12,5 g", "g"), read_entry("1.2 cm", "mm")
    ((12.5, ''), (12.0, ''))
    >>> read_entry("12.5", "g")[1]
    'The number alone says too little: write the unit too, for example 12.5 g.'
    """
    match = _ENTRY.match(entry)
    number = float("nan")
    if match is not None:
        text = match.group(1).lstrip("= ")
        # Units may stand inside a sum too: (49 g + 25 g) / 2.
        if unit:
            text = re.sub(rf"(?<=[\d)½¼¾])\s*{unit}\b", "", text)
        try:
            number = evaluate(text)
        except BalancekitError as error:
            if re.search(r"[-+*/×÷^(]", text.strip()[1:]) and re.search(r"\d", text):
                return number, f"'{entry.strip()}': {error}"
            match = None
    if match is None:
        example = f"12.5 {unit}".strip()
        return float("nan"), f"'{entry.strip()}' is not a number. Write one such as {example}."
    written = match.group(2)
    if not unit:
        clear = "" if not written else "A ratio has no unit: write the number alone."
        return number, clear
    if not written:
        return number, (
            f"The number alone says too little: write the unit too, for example {text} {unit}."
        )
    known = UNITS[unit]
    if written.lower() not in known:
        return number, f"'{written}' is not what is asked. The answer is in {unit}."
    return number * known[written.lower()], ""


GRAM, RATIO = 0.1, 0.02
"""How far off an answer in grams, or an action ratio, may be."""
# Our own choice: one step of the last digit asked, two for a ratio of rounded numbers.

NEAR = 0.035
"""How far off, as a share, an answer may be that was only rounded on the way."""
# Our own choice: rounding one factor of two digits to one makes up to 5 %, mostly under 3.5 %.


def _rounded_on_the_way(exercise: Exercise, value: float) -> str:
    """Say which number was probably rounded, or nothing."""
    if not exercise.formula or abs(value - exercise.answer) > NEAR * abs(exercise.answer):
        return ""
    keep = "Keep all digits until the end, then round once."
    near = exercise.tolerance * 0.6
    for name, given in exercise.given.items():
        for digits in (1, 0):
            short = round(given, digits)
            if short == given:
                continue
            try:
                other = evaluate(exercise.formula, {**exercise.given, name: short})
            except BalancekitError:
                continue  # rounded like this it divides by 0: nobody came to the entry by it
            if abs(other - value) <= near:
                return f"Probably {given:g} was rounded to {short:g}. {keep}"
    for digits in (2, 1, 0):
        try:
            other, results = work_out(exercise.formula, exercise.given, digits=digits)
        except BalancekitError:
            continue
        if abs(other - value) <= near:
            exact, kept = next(pair for pair in results if pair[0] != pair[1])
            return f"Probably {exact:.4g} on the way was rounded to {kept:g}. {keep}"
    return keep


def check(exercise: Exercise, entry: str) -> Verdict:
    """Judge an entry.

    Parameters
    ----------
    exercise : what was asked.
    entry : what was typed: a number with its unit, a sum, or steps such as
        "37 + 27 = 64; 64 − 9 = 55; 55 / 10 = 5.5"; a comma is a point.

    Returns
    -------
    a verdict; a miss that is one of the likely mistakes names it and brings its hint.
    """
    steps = read_steps(entry)
    in_steps = any(step.sum for step in steps)
    if in_steps:
        try:
            wrong = wrong_step(steps, exercise.given.values())
        except BalancekitError as error:
            return Verdict("unclear", str(error))
        if wrong:
            return Verdict("miss", f"Not yet. {wrong}", "a step worked out wrongly")
    value, hindered = read_entry(steps[-1].says if in_steps else entry, exercise.unit)
    if hindered:
        return Verdict("unclear", hindered, value=value)
    # A hair more, for numbers that are not exact in binary.
    if abs(value - exercise.answer) <= exercise.tolerance * (1 + 1e-9):
        return Verdict("right", f"Right: {exercise.show(exercise.answer)}.", value=value)
    for mistake in exercise.mistakes:
        if abs(value - mistake.value) <= exercise.tolerance * (1 + 1e-9):
            sentence = f"Not yet. It looks like {mistake.name}. {mistake.hint}"
            return Verdict("miss", sentence, mistake.name, value)
    for factor, side in ((10.0, "left"), (0.1, "right")):
        if abs(value * factor - exercise.answer) <= exercise.tolerance * max(1.0, factor):
            sentence = f"Not yet. Look at the decimal point: it stands too far {side}."
            return Verdict("miss", sentence, "decimal point", value)
    if abs(value + exercise.answer) <= exercise.tolerance:
        return Verdict("miss", "Not yet. The size is right, the sign is not.", "sign", value)
    rounded = _rounded_on_the_way(exercise, value)
    if rounded:
        return Verdict("miss", f"Not yet, but near. {rounded}", "rounded too early", value)
    side = "too much" if value > exercise.answer else "too little"
    sentence = (
        f"Not yet: {exercise.show(value)} is {side}. Write the equation down in words first, then "
        "put the numbers in."
    )
    return Verdict("miss", sentence, "", value)
