"""What was done at the virtual bench, as a file: every step is done again when it is read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from balancekit.lesson.measure.virtual_bench import ENTERED, MAY_BE_BELOW_0, VirtualKey, assess
from balancekit.lesson.practice.handed_in import HandedIn

BENCH_FILE = HandedIn(
    "balancekit lesson virtual bench", "bench result", "Save it from its panel anew."
)
MOST_TRIAL_BYTES = 200_000
MOST_STEPS = 2_000
MOST_ENTERED = 1e6
# Our own choice: far more than any weight or length of a key, also with the point forgotten.


@dataclass(frozen=True)
class WorkedBench:
    """A key as someone measured it, what was entered, and by whom."""

    key: VirtualKey
    entered: Mapping[str, float]
    name: str

    @property
    def table(self) -> pd.DataFrame:
        """The entries beside the truth, judged anew; see ``assess``."""
        return assess(self.key, self.entered)


def bench_text(key: VirtualKey, entered: Mapping[str, float], name: str = "") -> str:
    """Return what was done at a key as a text (JSON), step by step.

    The same steps in the same order meet the same noise, so readings cannot be typed in.

    >>> key = VirtualKey(7)
    >>> read_it = key.read("strike_weight_g")
    >>> again = read_bench(bench_text(key, {"strike_weight_g": read_it}, "A. Prentice"))
    >>> again.key.readings["strike_weight_g"] == [read_it], again.name
    (True, 'A. Prentice')
    """
    return json.dumps(
        {
            **BENCH_FILE.head(key.seed, name),
            "steps": [list(step) for step in key.steps],
            "entered": dict(entered),
        },
        indent=1, ensure_ascii=False,
    )  # fmt: skip


def read_bench(text: str) -> WorkedBench:
    """Read what was done at a virtual bench, and do every step again.

    Raises
    ------
    BalancekitError : the text is none of it, or not whole, or holds a step that cannot be.
    """
    read = BENCH_FILE.read(text)
    steps, entered = read.get("steps"), read.get("entered")
    if not isinstance(steps, list) or len(steps) > MOST_STEPS or not isinstance(entered, dict):
        raise BENCH_FILE.refuse("The list of steps, or what was entered, is missing.")
    key = VirtualKey(BENCH_FILE.whole_number(read, "seed"))
    for step in steps:
        _do(key, step)
    return WorkedBench(key, _numbers(entered), str(read.get("name", "")))


def _do(key: VirtualKey, step: Any) -> None:
    match step:
        case [str(name)]:
            key.read(name)
        case [int(weight), bool(pressed)]:
            key.set_weight(weight, pressed=pressed)
        case _:
            raise BENCH_FILE.refuse(f"{step!r:.40} is no step.")


def _numbers(entered: dict[str, Any]) -> dict[str, float]:
    for name, value in entered.items():
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if name not in ENTERED or not number or not abs(value) <= MOST_ENTERED:
            raise BENCH_FILE.refuse(f"{name!r:.40} was not asked, or is no number that can be.")
        if value <= 0 and name not in MAY_BE_BELOW_0:
            raise BENCH_FILE.refuse(f"{name!r:.40} is not above 0.")
    return {name: float(value) for name, value in entered.items()}
