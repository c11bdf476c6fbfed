"""How large a shift must be to be found: ``python tests/benchmarks/group_limit.py [n] [seed]``.

In n quiet pianos (60) of ``invented_pianos`` the action ratio or the friction of 8 to 30 keys next
to each other, anywhere, is shifted by so many standard errors. The standard error is that of least
squares where the keys are told and the course is a line with a step from naturals to sharps.
Printed: of 100 pianos, how many name a group there, and how many its ends within two keys.

Beside it stands the limit. Of all tests with 5 false alarms in 100 pianos, of which six quantities
are searched, none finds more than the likelihood ratio averaged over the places (Neyman and
Pearson, Philosophical Transactions of the Royal Society A 231 (1933) 289), and none names both ends
more often than the most likely place does. Both are worked out for 88 keys whose course is level
and whose scatter is known, which is more than anyone knows of a piano; and for courses that run as
those of these pianos do, of which the line is open and the waves are known but for size, place and
length. There the test by their covariance is taken for the best: no wave is normal, so that a
better one is possible in principle.

Seed 1, 60 pianos:

standard errors                        3     4     5     6     8    10
the best possible, level, found       37    69    92    99   100   100
   with its ends                      26    43    59    70    86    94
best possible, action_ratio, found    17    33    63    84    99   100
   with its ends                      23    41    59    73    91    98
best possible, friction_g, found      11    23    44    73    94   100
   with its ends                      19    34    52    68    89    97
action_ratio, found                    2     5    20    37    77    93
   with its ends                       0     3    13    30    67    88
friction_g, found                      0     5    12    23    63    90
   with its ends                       0     2     8    20    58    83

Groups are shown by 41 of 1,200 pianos of six shapes without one, and by 4 of 200 quiet ones.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the package has it; before numpy

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from balancekit.calculation.believed.find import GROUPED
from balancekit.calculation.quantities import uncertainty_name
from balancekit.instrument.believed import believe
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import reading_table
from tests.benchmarks.invented_pianos import (
    KEYS,
    SCATTER,
    SHARP,
    WAVES,
    Piano,
    balance,
    invent,
    wave,
    weigh,
)

SHORTEST, LONGEST = 8, 30
SIZES = (3, 4, 5, 6, 8, 10)
NAMES = ("action_ratio", "friction_g")
FALSE, WITHIN = 0.05 / len(GROUPED), 2
DRAWS = 4000

ENDS = np.array(
    [(first, first + long - 1) for long in range(SHORTEST, LONGEST + 1)
     for first in range(KEYS - long + 1)]
)  # fmt: skip
FIRST, LAST = ENDS.T


INSIDE = 1.0 * ((np.arange(KEYS) >= FIRST[:, None]) & (np.arange(KEYS) <= LAST[:, None]))
"""1 for each key of each place, (places, K)."""


def beside_line(inside: np.ndarray) -> np.ndarray:
    """Return what a line with a step from naturals to sharps leaves of some keys, (..., K)."""
    line = np.column_stack([np.ones(KEYS), np.arange(KEYS), SHARP])
    result: np.ndarray = inside - inside @ line @ np.linalg.pinv(line)
    return result


def waves(draw: np.random.Generator, part: float, count: int) -> np.ndarray:
    """Return courses as the pianos have them, in parts of the error, (count, K)."""
    x = np.linspace(-0.5, 0.5, KEYS)
    return np.array([beside_line(wave(draw, x, part)) for _ in range(count)])


class Limit:
    """The best test for one kind of course; all in parts of the error of one key.

    Parameters
    ----------
    size : how large the shift is, in standard errors.
    courses : courses as they may be beside their line, (courses, K); none if all are level.
    """

    def __init__(self, size: float, courses: np.ndarray | None) -> None:
        self.courses = courses
        shape = INSIDE if courses is None else beside_line(INSIDE)
        self.shift = size / np.linalg.norm(shape, axis=1)
        cover = np.eye(KEYS)
        if courses is not None:
            line = 1e3 * np.column_stack([np.ones(KEYS), np.arange(KEYS) / KEYS, SHARP])
            cover = cover + line @ line.T + courses.T @ courses / len(courses)
        self.lean = INSIDE @ np.linalg.inv(cover) * self.shift[:, None]
        self.held = np.sum(self.lean * INSIDE, axis=1) * self.shift

    def values(self, draw: np.random.Generator) -> np.ndarray:
        """Return readings without a shift, (K,)."""
        values: np.ndarray = draw.normal(size=KEYS)
        return values if self.courses is None else values + draw.choice(self.courses)

    def log_ratios(self, values: np.ndarray) -> np.ndarray:
        """Return the log likelihood ratio of every place, shifted up or down, (places,)."""
        pull = self.lean @ values
        result: np.ndarray = np.logaddexp(pull, -pull) - self.held / 2 - np.log(2)
        return result

    def averaged(self, values: np.ndarray) -> float:
        """Return the log likelihood ratio averaged over the places."""
        logs = self.log_ratios(values)
        return float(logs.max() + np.log(np.exp(logs - logs.max()).mean()))

    def found(self, draw: np.random.Generator) -> tuple[float, float]:
        """Return how often the best test finds a shift, and how often its ends."""
        nothing = [self.averaged(self.values(draw)) for _ in range(DRAWS)]
        beyond = np.quantile(nothing, 1 - FALSE)
        found = ends = 0
        for place in draw.integers(len(ENDS), size=DRAWS):
            values = self.values(draw) + self.shift[place] * INSIDE[place]
            found += self.averaged(values) > beyond
            likely = ENDS[np.argmax(self.log_ratios(values))]
            ends += bool((np.abs(likely - ENDS[place]) <= WITHIN).all())
        return found / DRAWS, ends / DRAWS


def error_of(name: str, piano: Piano) -> float:
    """Return scatter and weighing error of one key together, in the unit of the quantity."""
    table = reading_table(Instrument().with_readings(piano.readings))
    return float(np.hypot(SCATTER[name], np.sqrt((table[uncertainty_name(name)] ** 2).mean())))


def with_shift(piano: Piano, name: str, place: np.ndarray, size: float) -> dict[str, np.ndarray]:
    """Return the true values with one quantity of some keys shifted by so many standard errors."""
    error = error_of(name, piano)
    inside = INSIDE[(place == ENDS).all(axis=1)][0]
    beside = beside_line(inside)
    true = dict(piano.truth)
    true[name] = true[name] + size * error / np.linalg.norm(beside) * inside
    true["balance_weight_g"] = balance(true)
    return true


def ours(name: str, size: float, count: int, seed: int) -> tuple[float, float]:
    """Return how often a shift is named, and how often with its ends within two keys."""
    found = ends = 0
    for number in range(count):
        draw = np.random.default_rng([seed, number])
        place = ENDS[draw.integers(len(ENDS))]
        true = with_shift(invent("quiet", seed + number), name, place, size)
        told = believe(Instrument().with_readings(weigh(true, draw, "quiet")))
        groups = [(g.first_key - 1, g.last_key - 1) for g in told.groups if g.quantity == name]
        found += any(low <= place[1] and high >= place[0] for low, high in groups)
        ends += any((np.abs(place - pair) <= WITHIN).all() for pair in groups)
    return found / count, ends / count


def main() -> None:
    """Print the table."""
    count, seed = (int(word) for word in (*sys.argv[1:], *("60", "1")[len(sys.argv) - 1 :]))
    print(f"{'standard errors':<34}" + "".join(f"{size:6g}" for size in SIZES))
    draw = np.random.default_rng(seed)
    rows = [("the best possible, level", [Limit(size, None).found(draw) for size in SIZES])]
    for name in NAMES:
        error = np.mean([error_of(name, invent("quiet", seed + each)) for each in range(20)])
        courses = waves(draw, WAVES[name] / error, 2000)
        best = [Limit(size, courses).found(draw) for size in SIZES]
        rows.append((f"best possible, {name}", best))
    rows += [(name, [ours(name, size, count, seed) for size in SIZES]) for name in NAMES]
    for words, pairs in rows:
        for number, what in enumerate(("found", "with its ends")):
            line = f"{words}, {what}" if not number else f"   {what}"
            print(f"{line:<34}" + "".join(f"{100 * pair[number]:6.0f}" for pair in pairs))


if __name__ == "__main__":
    main()
