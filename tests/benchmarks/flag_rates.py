"""How often the flags are right on many invented instruments; ends with 1 if a promise fails.

    python tests/benchmarks/flag_rates.py [HOW_MANY]      200 unless told: about two minutes

The tests run twelve instruments. What so many can tell (binomial and Poisson, by ``power``) is
printed first: flags too many by half may pass twelve instruments, and do not pass two hundred.
"""

from __future__ import annotations

import sys
from pathlib import Path

import scipy.stats

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from balancekit.calculation.irregularities.flag_rates import READ, FlagRates, count_flags

KEYS = 88
WRONG_FLAGS = 0.001
FOUND, NAMED = 0.98, 0.95


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
