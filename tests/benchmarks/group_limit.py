"""How large a shift must be to be found: ``python tests/benchmarks/group_limit.py [n] [seed]``.

In n quiet pianos (60) of ``invented_pianos`` the action ratio or the friction of 8 to 30 keys next
to each other, anywhere, is shifted by so many standard errors. The standard error is that of least
squares where the keys are told and the course is a line with a step from naturals to sharps.
Printed: of 100 pianos, how many name a group there, and how many its ends within two keys.

Beside it stands the limit. Of all tests with 5 false alarms in 100 none finds more than the
likelihood ratio averaged over the places (Neyman and Pearson, Philosophical Transactions of the
Royal Society A 231 (1933) 289), and none names both ends more often than the most likely place
does. Both are worked out for 88 keys whose course is level and whose scatter is known, which is
more than anyone knows of a piano.

Seed 1, 60 pianos:

standard errors                        3     4     5     6     8    10
the best possible, found              59    86    98   100   100   100
   with its ends                      26    42    57    69    86    94
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

from balancekit.calculation.quantities import uncertainty_name
from balancekit.instrument.believed import believe
from balancekit.instrument.model import Instrument
from balancekit.instrument.table import reading_table
from tests.benchmarks.invented_pianos import (
    KEYS,
    SCATTER,
    SHARP,
    Piano,
    balance,
    invent,
    weigh,
)

SHORTEST, LONGEST = 8, 30
SIZES = (3, 4, 5, 6, 8, 10)
NAMES = ("action_ratio", "friction_g")
FALSE, WITHIN = 0.05, 2
DRAWS = 4000

ENDS = np.array(
    [(first, first + long - 1) for long in range(SHORTEST, LONGEST + 1)
     for first in range(KEYS - long + 1)]
)  # fmt: skip
FIRST, LAST = ENDS.T


def log_ratios(values: np.ndarray, size: float) -> np.ndarray:
    """Return the log likelihood ratio of every place, shifted up or down, (places,)."""
    sums = np.concatenate([[0.0], np.cumsum(values)])
    off = (sums[LAST + 1] - sums[FIRST]) / np.sqrt(LAST - FIRST + 1)
    result: np.ndarray = np.logaddexp(size * off, -size * off) - size**2 / 2 - np.log(2)
    return result


def best_possible(size: float, draw: np.random.Generator) -> tuple[float, float]:
    """Return how often the best test finds a shift of so many standard errors, and its ends."""

    def averaged(values: np.ndarray) -> float:
        logs = log_ratios(values, size)
        return float(logs.max() + np.log(np.exp(logs - logs.max()).mean()))

    nothing = [averaged(draw.normal(size=KEYS)) for _ in range(DRAWS)]
    beyond = np.quantile(nothing, 1 - FALSE)
    found = ends = 0
    for place in draw.integers(len(ENDS), size=DRAWS):
        values = draw.normal(size=KEYS)
        values[FIRST[place] : LAST[place] + 1] += size / np.sqrt(LAST[place] - FIRST[place] + 1)
        found += averaged(values) > beyond
        likely = ENDS[np.argmax(log_ratios(values, size))]
        ends += bool((np.abs(likely - ENDS[place]) <= WITHIN).all())
    return found / DRAWS, ends / DRAWS


def with_shift(piano: Piano, name: str, place: np.ndarray, size: float) -> dict[str, np.ndarray]:
    """Return the true values with one quantity of some keys shifted by so many standard errors."""
    table = reading_table(Instrument().with_readings(piano.readings))
    error = np.hypot(SCATTER[name], np.sqrt((table[uncertainty_name(name)] ** 2).mean()))
    keys = np.arange(KEYS)
    inside = 1.0 * ((keys >= place[0]) & (keys <= place[1]))
    line = np.column_stack([np.ones(KEYS), keys, SHARP])
    beside = inside - line @ np.linalg.lstsq(line, inside)[0]
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
    best = [best_possible(size, np.random.default_rng(seed)) for size in SIZES]
    rows = [("the best possible", best)]
    rows += [(name, [ours(name, size, count, seed) for size in SIZES]) for name in NAMES]
    for words, pairs in rows:
        for number, what in enumerate(("found", "with its ends")):
            line = f"{words}, {what}" if not number else f"   {what}"
            print(f"{line:<34}" + "".join(f"{100 * pair[number]:6.0f}" for pair in pairs))


if __name__ == "__main__":
    main()
