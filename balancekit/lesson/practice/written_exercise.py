"""Exercises that a teacher writes in plain text: words, numbers with ranges, a formula, mistakes.

::

    kind: front weight of a plug
    text: A plug of {mass_g} g sits {distance_mm} mm in front of the pin, the arm is {arm_mm} mm.
      What does it add to the front weight?
    given: mass_g from 7 to 15 in steps of 0.1
    given: distance_mm from 60 to 170 in steps of 1
    given: arm_mm from 230 to 256 in steps of 1
    answer: mass_g * distance_mm / arm_mm
    unit: g
    digits: 1
    tolerance: 0.1
    mistake: the lever left out = mass_g | Multiply by its lever: distance over arm.

A line that begins with blanks goes on with the one above. Names are those of the register or the
teacher's own, and end with their unit. Formulas are read by a parser and never run as code.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.lesson.practice.exercise import UNITS, Exercise, Mistake
from balancekit.lesson.practice.formula import evaluate

SEEDS_TRIED = 50
MOST_EXERCISE_BYTES = 20_000
FIELDS = ("kind", "text", "given", "answer", "unit", "digits", "tolerance", "mistake", "solution")
"""What may stand before a colon."""

_GIVEN = re.compile(r"^([a-z][a-z0-9_]*) from ([-\d.,]+) to ([-\d.,]+)(?: in steps of ([\d.,]+))?$")
_SLOT = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True)
class Range:
    """A given number: its name, lowest and highest value, and step."""

    name: str
    low: float
    high: float
    step: float

    @property
    def digits(self) -> int:
        """Digits after the point that its step has."""
        return len(f"{self.step:g}".partition(".")[2])


@dataclass(frozen=True)
class Wrong:
    """A mistake as the teacher wrote it: its name, its formula, and the hint."""

    name: str
    formula: str
    hint: str


@dataclass(frozen=True)
class WrittenExercise:
    """What a teacher wrote; makes an exercise from each seed.

    Attributes
    ----------
    kind, text, answer, unit : see the module's example.
    given : the numbers, in the order of the file.
    digits, tolerance : how exact the answer is to be.
    mistakes : the likely ones.
    solution : further lines of the worked solution.
    """

    kind: str
    text: str
    given: tuple[Range, ...]
    answer: str
    unit: str
    digits: int
    tolerance: float
    mistakes: tuple[Wrong, ...]
    solution: tuple[str, ...] = ()

    def make(self, seed: int, number: int = 0) -> Exercise:
        """Make one exercise; the same seed and number always give the same one.

        Raises
        ------
        BalancekitError : a formula that cannot be worked out with these numbers.
        """
        draw = np.random.default_rng([seed, number, crc32(self.kind.encode())])
        values = {
            each.name: round(
                each.low
                + each.step * int(draw.integers(0, round((each.high - each.low) / each.step) + 1)),
                6,
            )
            for each in self.given
        }  # fmt: skip
        shown = {each.name: f"{values[each.name]:.{each.digits}f}" for each in self.given}
        filled = _SLOT.sub(lambda slot: shown[slot.group(1)], self.text)
        numbers = re.sub(
            r"[A-Za-z_]\w*", lambda name: shown.get(name.group(), name.group()), self.answer
        )
        answer = evaluate(self.answer, values)
        steps = (f"= {self.answer}", f"= {numbers}", f"= {answer:.{self.digits}f} {self.unit}")
        return Exercise(
            self.kind, filled, values, answer, self.unit, self.digits, self.tolerance,
            tuple(Mistake(m.name, evaluate(m.formula, values), m.hint) for m in self.mistakes),
            (*self.solution, *(step.strip() for step in steps)),
            formula=self.answer,
        )  # fmt: skip

    def as_text(self) -> str:
        """Return the file that this exercise is read from."""
        lines = [f"kind: {self.kind}", f"text: {self.text}"]
        lines += [
            f"given: {g.name} from {g.low:g} to {g.high:g} in steps of {g.step:g}"
            for g in self.given
        ]
        lines += [f"answer: {self.answer}", f"unit: {self.unit}", f"digits: {self.digits}"]
        lines += [f"tolerance: {self.tolerance:g}"]
        lines += [f"mistake: {m.name} = {m.formula} | {m.hint}" for m in self.mistakes]
        lines += [f"solution: {line}" for line in self.solution]
        return "\n".join(lines) + "\n"


def read_exercise(text: str) -> WrittenExercise:
    """Read an exercise from plain text, and try it on 50 seeds.

    Raises
    ------
    BalancekitError : every line that cannot be used, or what goes wrong on a seed: a division by
        0, two mistakes with the same result, a mistake that gives the answer.

    >>> plain = "kind: sum\\ntext: {a_g} g?\\ngiven: a_g from 10 to 20\\nanswer: a_g / 2\\nunit: g"
    >>> read_exercise(plain).make(1).unit
    'g'
    """
    if len(text.encode()) > MOST_EXERCISE_BYTES:
        raise BalancekitError(
            Problem("The text is too long.", f"Use at most {MOST_EXERCISE_BYTES // 1000} kB.")
        )
    lines, problems = _lines(text)
    one = {name: value for name, value, _ in lines}
    missing = [name for name in ("kind", "text", "given", "answer") if not one.get(name)]
    problems += [Problem(f"The line '{name}:' is missing.", "Add it.") for name in missing]
    ranges = [_range(value, row, problems) for name, value, row in lines if name == "given"]
    wrongs = [_wrong(value, row, problems) for name, value, row in lines if name == "mistake"]
    unit = one.get("unit", "").strip().removesuffix("none")
    if unit not in UNITS:
        problems.append(Problem(f"The unit '{unit}' is not known.", "Give g, mm or nothing."))
    digits = _number(one.get("digits", "1"), "digits", problems)
    tolerance = _number(one.get("tolerance", "0.1"), "tolerance", problems)
    if not 0 <= digits <= 4 or digits != int(digits):
        problems.append(Problem(f"digits is {digits:g}.", "Give 0, 1, 2, 3 or 4."))
    if not tolerance > 0:
        problems.append(Problem(f"tolerance is {tolerance:g}.", "Give a number above 0."))
    names = {each.name for each in ranges if each}
    problems += [
        Problem(f"{{{slot}}} stands in the text but is not given.", "Add a line 'given:' for it.")
        for slot in _SLOT.findall(one.get("text", "")) if slot not in names
    ]  # fmt: skip
    if problems:
        raise BalancekitError(problems)
    written = WrittenExercise(
        one["kind"], one["text"], tuple(each for each in ranges if each), one["answer"], unit,
        int(digits), tolerance, tuple(each for each in wrongs if each),
        tuple(value for name, value, _ in lines if name == "solution"),
    )  # fmt: skip
    try_on_seeds(written)
    return written


def try_on_seeds(written: WrittenExercise) -> None:
    """Make an exercise from each of 50 seeds.

    Raises
    ------
    BalancekitError : says the first seed on which each thing goes wrong.
    """
    found: dict[str, Problem] = {}
    for seed in range(SEEDS_TRIED):
        try:
            made = written.make(seed)
        except BalancekitError as error:
            first = error.problems[0]
            found.setdefault(first.message, Problem(f"Seed {seed}: {first.message}", first.advice))
            continue
        values = [("the answer", made.answer), *((m.name, m.value) for m in made.mistakes)]
        for place, (name, value) in enumerate(values):
            for other, same in values[:place]:
                if abs(value - same) <= 2 * made.tolerance:
                    found.setdefault(
                        f"{name}/{other}",
                        Problem(
                            f"Seed {seed}: '{name}' and '{other}' both give {made.show(value)}.",
                            "Narrow the ranges, or take this mistake out.",
                        ),
                    )
    if found:
        raise BalancekitError(list(found.values()))


def _lines(text: str) -> tuple[list[tuple[str, str, int]], list[Problem]]:
    """Split the text into fields; a line that begins with blanks goes on with the one above."""
    lines: list[tuple[str, str, int]] = []
    problems = []
    for row, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.startswith("#"):
            continue
        if line[0] in " \t" and lines:
            name, value, first = lines[-1]
            lines[-1] = (name, f"{value} {line.strip()}", first)
            continue
        name, colon, value = line.partition(":")
        if not colon or name.strip() not in FIELDS:
            advice = f"Begin a line with one of: {', '.join(FIELDS)}, and a colon."
            problems.append(Problem(f"Line {row}: '{line[:40]}' cannot be used.", advice))
            continue
        lines.append((name.strip(), value.strip(), row))
    return lines, problems


def _number(text: str, what: str, problems: list[Problem]) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        problems.append(Problem(f"{what}: '{text}' is not a number.", "Write one such as 0.1."))
        return 1.0


def _range(value: str, row: int, problems: list[Problem]) -> Range | None:
    match = _GIVEN.match(value)
    if match is None:
        problems.append(Problem(
            f"Line {row}: '{value}' is not a range.", "Write: mass_g from 7 to 15 in steps of 0.1"
        ))  # fmt: skip
        return None
    low, high, step = (_number(match.group(n) or "1", "given", problems) for n in (2, 3, 4))
    if not low < high or not 0 < step <= high - low:
        problems.append(Problem(
            f"Line {row}: from {low:g} to {high:g} in steps of {step:g} is no range.",
            "Give a lower, then a higher number, and a step that is not larger.",
        ))  # fmt: skip
        return None
    return Range(match.group(1), low, high, step)


def _wrong(value: str, row: int, problems: list[Problem]) -> Wrong | None:
    name, equals, rest = value.partition("=")
    formula, bar, hint = rest.partition("|")
    if not (equals and bar and name.strip() and hint.strip()):
        problems.append(Problem(
            f"Line {row}: '{value[:40]}' is not a mistake.",
            "Write: its name = its formula | a hint",
        ))  # fmt: skip
        return None
    return Wrong(name.strip(), formula.strip(), hint.strip())
