"""Spoiled and hostile files of readings: how each ends, the longest time and the most memory.

python tests/benchmarks/spoiled_tables.py [COUNT] [SEED]
"""

from __future__ import annotations

import random
import resource
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from hostile_tables import HUGE, mutants

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bring_in.import_readings import understand

SPOILED = 8_000
MOST_SECONDS = 5.0
MOST_BYTES = 300_000_000


def bring_in(name: str, data: bytes, draw: random.Random) -> str:
    """Bring one file in, answering at random what it asks; say how it ended."""
    answers: dict[str, str] = {}
    try:
        for _ in range(12):
            found = understand(data, name, answers=answers)
            if not found.questions:
                return "taken"
            answers |= {q.id: draw.choice(q.choices)[0] for q in found.questions}
    except BalancekitError:
        return "refused"
    raise AssertionError("the questions do not end")


def try_spoiled(count: int = SPOILED, seed: int = 11) -> tuple[Counter[str], float]:
    """Bring spoiled files in; return how they ended and the longest processor time [s]."""
    draw, told, longest = random.Random(seed), Counter[str](), 0.0
    for name, data in mutants(seed, count):
        began = time.process_time()
        told[bring_in(name, data, draw)] += 1
        longest = max(longest, time.process_time() - began)
    assert longest < MOST_SECONDS, f"seed {seed}: {longest:.1f} s"
    return told, longest


def try_huge() -> dict[str, float]:
    """Bring the hostile files in; return the processor time of each [s]."""
    draw, took = random.Random(1), {}
    for name, (file_name, make) in HUGE.items():
        data = make()
        began = time.process_time()
        bring_in(file_name, data, draw)
        took[name] = time.process_time() - began
        assert took[name] < MOST_SECONDS, f"{name}: {took[name]:.1f} s"
    return took


def main() -> None:
    """Do both and print what was seen."""
    given = [int(word) for word in sys.argv[1:]]
    count, seed = (*given, *(SPOILED, 11)[len(given) :])
    told, longest = try_spoiled(count, seed)
    sys.stdout.write(f"seed {seed}: {told}, longest {longest:.2f} s\n")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    sys.stdout.write(f"memory of spoiled files at most {peak / 1e6:.0f} MB\n")
    assert peak < MOST_BYTES
    for name, seconds in sorted(try_huge().items(), key=lambda item: -item[1])[:5]:
        sys.stdout.write(f"{name}: {seconds:.2f} s\n")


if __name__ == "__main__":
    main()
