"""Whether bands hold and groups are found: ``python tests/benchmarks/believed.py [n] [seed]``.

Invented pianos of ``invented_pianos``, written apart from the model, n of each shape (100). Printed
for each shape: how many of 100 true values lie in their 95 % band, by quantity, and how many pianos
of 100 show the shifted group, or any group where none was planted.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from balancekit.calculation.quantities import uncertainty_name
from balancekit.instrument.believed import Believed, believe
from balancekit.instrument.model import Instrument
from tests.benchmarks.invented_pianos import GROUP, KEYS, PARTS, SHAPES, invent

QUANTITIES_HELD = (*PARTS, "balance_weight_g")
BAND = 1.96
# 95 % of a normal distribution (standard table).
WITHIN_KEYS = 2
PLANTED = ("shifted group", "steps between sections", "a section off", "saw-tooth")
"""Shapes in which some group is really there, so that one is no false call."""


def finds_the_group(believed: Believed) -> bool:
    """Whether the planted group is named, its ends within two keys."""
    return any(
        group.quantity in ("key_ratio", "action_ratio")
        and abs(group.first_key - GROUP[0] - 1) <= WITHIN_KEYS
        and abs(group.last_key - GROUP[1] - 1) <= WITHIN_KEYS
        for group in believed.groups
    )


def main() -> int:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    start = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    shapes = sys.argv[3].split(",") if len(sys.argv) > 3 else list(SHAPES)
    print(f"{count} pianos a shape, seeds from {start}. Of 100 true values in their 95 % band:")
    print(f"{'shape':28}" + "".join(f"{name[:12]:>14}" for name in QUANTITIES_HELD) + "  groups")
    begin = time.process_time()
    for shape in shapes:
        inside, named = dict.fromkeys(QUANTITIES_HELD, 0), 0
        for seed in range(start, start + count):
            piano = invent(shape, seed)
            believed = believe(Instrument().with_readings(piano.readings.assign(note="")))
            for name in QUANTITIES_HELD:
                off = np.abs(believed.table[name] - piano.truth[name])
                inside[name] += int((off <= BAND * believed.table[uncertainty_name(name)]).sum())
            found = finds_the_group(believed) if shape == "shifted group" else believed.groups
            named += bool(found)
        shares = "".join(f"{100 * inside[n] / (count * KEYS):14.1f}" for n in QUANTITIES_HELD)
        said = "found" if shape == "shifted group" else "real" if shape in PLANTED else "false"
        print(f"{shape:28}{shares}  {100 * named / count:.0f} {said}", flush=True)
    each = (time.process_time() - begin) / (count * len(shapes))
    print(f"{each:.2f} s of processor time for each piano.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
