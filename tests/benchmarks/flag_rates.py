"""How often the flags are right on many invented instruments; ends with 1 if a promise fails.

    python tests/benchmarks/flag_rates.py [HOW_MANY]      200 unless told: about two minutes

The tests run twelve instruments. What so many can tell (binomial and Poisson, by ``power``) is
printed first: flags too many by half may pass twelve instruments, and do not pass two hundred.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import scipy.stats

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from balancekit.calculation import balance
from balancekit.calculation.generator import invent, weigh
from balancekit.calculation.irregularities.judge_table import judge_table
from balancekit.calculation.irregularities.trend import Trend
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.quantities import NEEDED_COLUMNS, QUANTITIES, uncertainty_name

READ = NEEDED_COLUMNS
FAULT = 6.0
"""Size of a planted fault, in standard deviations of a reading about what is expected."""
KEYS = 88
WRONG_FLAGS = 0.001
FOUND, NAMED = 0.98, 0.95


@dataclass(frozen=True)
class FlagRates:
    """What was read, what was planted, and what of it was found.

    Attributes
    ----------
    clean, flagged : readings without a fault, and how many flags they raised.
    planted, found, named : faults of six standard deviations, how many of them had their key
        flagged, and how many had the very reading named.
    exchanged, exchanged_found : pairs of columns exchanged on a key, and found.
    moved, moved_found : decimal points moved, and found.
    """

    clean: int
    flagged: int
    planted: int
    found: int
    named: int
    exchanged: int
    exchanged_found: int
    moved: int
    moved_found: int


def invented_table(seed: int) -> pd.DataFrame:
    """Return the table of keys of a quiet invented grand, read once on every key."""
    readings = weigh(invent(seed).truth, seed + 100_000).set_index("key")
    return with_results(readings)


def with_results(readings: pd.DataFrame) -> pd.DataFrame:
    """Put colour, uncertainties and results beside readings that are indexed by key.

    Parameters
    ----------
    readings : the six readings of a grand without springs, one row a key.
    """
    table = readings[list(READ)].assign(colour=keyboard(len(readings))["colour"])
    table["spring_relief_g"] = table["spring_relief_u_g"] = 0.0
    for name in READ:
        table[uncertainty_name(name)] = QUANTITIES[name].reading_u
    weights = {name: table[name] for name in ("down_weight_g", "up_weight_g")}
    table["friction_g"] = balance.find_friction(**weights)
    table["balance_weight_g"] = balance.find_balance_weight(**weights)
    table["friction_u_g"] = table["balance_weight_u_g"] = balance.find_half_sum_uncertainty(
        down_weight_u_g=table["down_weight_u_g"], up_weight_u_g=table["up_weight_u_g"]
    )
    terms = [name for name in balance.TERMS if name != "action_ratio"]
    table["action_ratio"] = balance.solve_for_action_ratio(**{name: table[name] for name in terms})
    table["action_ratio_u"] = balance.uncertainty_of(
        "action_ratio",
        {name: table[name] for name in balance.TERMS},
        {name: table[uncertainty_name(name)] for name in terms},
    )
    return table


def count_flags(seeds: Iterable[int]) -> FlagRates:
    """Count flags on clean invented instruments, and again with faults planted in them.

    On each instrument one fault of six standard deviations goes into each of the six
    columns, one pair of columns is exchanged for each two that stand side by side, and
    one decimal point is moved in each column, all on different keys. Two values that lie
    closer together than such a fault are not exchanged, nor a point moved in a value so small
    that it would matter less: nobody could tell, and nothing would come of it.

    Parameters
    ----------
    seeds : one instrument for each.
    """
    counts = np.zeros(9, dtype=int)
    for seed in seeds:
        counts += _one_instrument(seed)
    return FlagRates(*(int(count) for count in counts))


def _one_instrument(seed: int) -> tuple[int, ...]:
    table = invented_table(seed)
    judged = judge_table(table)
    clean, trends = judged.flags, judged.trends
    readings = table[list(READ)].copy()
    planted, exchanged, moved = _plant(readings, trends, np.random.default_rng(seed))
    flags = judge_table(with_results(readings)).flags
    keys, named = {flag.key for flag in flags}, {(flag.key, flag.quantity) for flag in flags}
    return (
        readings.size, len(clean),
        len(planted), sum(key in keys for key, _ in planted), len(named.intersection(planted)),
        len(exchanged), len(keys.intersection(exchanged)),
        len(moved), len(keys.intersection(moved)),
    )  # fmt: skip


def _plant(
    readings: pd.DataFrame, trends: Mapping[str, Trend], draw: np.random.Generator
) -> tuple[list[tuple[int, str]], list[int], list[int]]:
    """Plant faults in readings; return where each kind went."""
    keys = [int(key) for key in draw.permutation(readings.index.to_numpy())]
    planted, exchanged, moved = [], [], []

    def least(name: str, key: int) -> float:
        return FAULT * float(trends[name].expected_u[key])

    for name in READ:
        key = keys.pop()
        readings.loc[key, name] += least(name, key) * draw.choice([-1, 1])
        planted.append((key, name))
    for one, other in pairwise(READ):
        key = keys.pop()
        first, second = float(readings[one][key]), float(readings[other][key])
        if abs(first - second) > min(least(one, key), least(other, key)):
            readings.loc[key, one], readings.loc[key, other] = second, first
            exchanged.append(key)
    for name in READ:
        key, factor = keys.pop(), float(draw.choice([0.1, 10.0]))
        value = float(readings[name][key])
        if abs(value * factor - value) > least(name, key):
            readings.loc[key, name] = round(value * factor, 6)
            moved.append(key)
    return planted, exchanged, moved


def broken_promises(rates: FlagRates) -> list[str]:
    """Return each promise of the notebooks that the counts break.

    >>> broken_promises(FlagRates(1000, 1, 100, 98, 95, 5, 5, 6, 6))
    []
    >>> broken_promises(FlagRates(1000, 2, 100, 97, 95, 5, 4, 6, 6))
    ['2 of 1000 clean readings flagged', '97 of 100 faults found', '4 of 5 exchanges found']
    """
    kept = {
        f"{rates.flagged} of {rates.clean} clean readings flagged":
            rates.flagged <= WRONG_FLAGS * rates.clean,
        f"{rates.found} of {rates.planted} faults found": rates.found >= FOUND * rates.planted,
        f"{rates.named} of {rates.planted} faults named": rates.named >= NAMED * rates.planted,
        f"{rates.exchanged_found} of {rates.exchanged} exchanges found":
            rates.exchanged_found == rates.exchanged > 0,
        f"{rates.moved_found} of {rates.moved} moved points found":
            rates.moved_found == rates.moved > 0,
    }  # fmt: skip
    return [said for said, held in kept.items() if not held]


def power(instruments: int) -> tuple[float, float]:
    """Return the chance that twice the wrong flags, and faults found at 0.9, break their promise.

    >>> [round(float(chance), 2) for chance in power(12)]
    [0.97, 1.0]
    """
    clean, planted = instruments * KEYS * len(READ), instruments * len(READ)
    flags = scipy.stats.poisson.sf(WRONG_FLAGS * clean, 2 * WRONG_FLAGS * clean)
    found = scipy.stats.binom.cdf(-(-FOUND * planted // 1) - 1, planted, 0.9)
    return float(flags), float(found)


def main(instruments: int) -> int:
    """Count, and say what was counted and which promise is broken."""
    twice, missed = power(instruments)
    print(f"Chance to see twice the wrong flags: {twice:.3f}; faults found at 0.9: {missed:.3f}.")
    rates = count_flags(range(1000, 1000 + instruments))
    print(rates)
    broken = broken_promises(rates)
    print("\n".join(broken) or "All promises are kept.")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
