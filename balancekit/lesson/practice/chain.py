"""Steps of a calculation as people write them, and the first that is wrong.

"37 + 27 = 64; 64 − 9 = 53; 53 / 10 = 5.3" goes wrong at the second.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.lesson.practice.formula import evaluate, numbers_in

_UNIT = re.compile(r"(?<=[\d)²½¼¾])\s*(?:mm|cm|kg|mg|grams?|g)\b")
_PLAIN = {1.0, 2.0, 100.0}
"""Numbers that a step may have from nowhere: a half, a square, percent."""


@dataclass(frozen=True)
class Step:
    """One step: what was to be worked out, and what it is said to be, with its unit."""

    sum: str
    says: str


def read_steps(entry: str) -> list[Step]:
    """Return the steps of an entry; one step without a sum for a number alone.

    >>> [step.says for step in read_steps("37 + 27 = 64; 64 − 9 = 55 g")]
    ['64', '55 g']
    """
    steps = []
    for part in re.split(r"[;\n]", entry.strip().lstrip("=").strip()):
        sides = [side.strip() for side in part.split("=") if side.strip()]
        if len(sides) == 1:
            steps.append(Step("", sides[0]))
        steps += [Step(*pair) for pair in pairwise(sides)]
    # A number alone behind the last step repeats it.
    return steps or [Step("", entry)]


def _bare(text: str) -> str:
    return _UNIT.sub("", text).strip()


def wrong_step(steps: list[Step], given: Iterable[float]) -> str:
    """Say which step is the first that is wrong, or "" where every one holds.

    Parameters
    ----------
    steps : as they were written.
    given : the numbers of the question.

    Raises
    ------
    BalancekitError : a step that cannot be read, before one that is wrong.

    >>> wrong_step(read_steps("37 + 27 = 64; 64 - 9 = 53"), [37, 27, 9])
    'Step 2: 64 - 9 gives 55, not 53.'
    >>> wrong_step(read_steps("37 + 28 = 65; 65 / 10 = 6.5"), [37, 27, 10])
    'Step 1: where does 28 come from? It is neither given nor a result above.'
    """
    known = {round(float(value), 6) for value in given} | _PLAIN
    for number, step in enumerate(steps, start=1):
        if not step.sum:
            continue
        try:
            found, says = evaluate(_bare(step.sum)), evaluate(_bare(step.says))
            used, after = numbers_in(_bare(step.sum)), numbers_in(_bare(step.says))
        except BalancekitError as error:
            first = error.problems[0]
            message = f"Step {number} cannot be read: {first.message}"
            raise BalancekitError(Problem(message, first.advice)) from error
        strange = next((x for x in used if all(abs(x - k) > 0.006 * abs(k) for k in known)), None)
        if strange is not None:
            return (
                f"Step {number}: where does {strange:g} come from? It is neither given nor a "
                "result above."
            )
        digits = len(_bare(step.says).replace(",", ".").partition(".")[2])
        if len(after) == 1 and abs(found - says) > 0.51 * 10.0**-digits:
            return f"Step {number}: {_bare(step.sum)} gives {found:.4g}, not {says:g}."
        known |= {round(says, 6), round(found, 6), *after}
    return ""
