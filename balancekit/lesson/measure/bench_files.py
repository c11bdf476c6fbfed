"""What was done at the virtual bench, as a file: every step is done again when it is read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.lesson.measure.virtual_bench import ASKED, VirtualKey, assess

BENCH_KIND = "balancekit lesson virtual bench"
MOST_BYTES = 200_000
MOST_STEPS = 2_000


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
            "kind": BENCH_KIND,
            "version": 1,
            "seed": key.seed,
            "name": name,
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
    try:
        read = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _not_whole(f"It cannot be read as JSON: {error}.") from error
    if not isinstance(read, dict) or read.get("kind") != BENCH_KIND or read.get("version") != 1:
        raise _not_whole(f"Its kind is not '{BENCH_KIND}', version 1.")
    seed, steps, entered = read.get("seed"), read.get("steps"), read.get("entered")
    if not isinstance(seed, int) or isinstance(seed, bool) or seed < 0:
        raise _not_whole("The seed is missing.")
    if not isinstance(steps, list) or len(steps) > MOST_STEPS or not isinstance(entered, dict):
        raise _not_whole("The list of steps, or what was entered, is missing.")
    key = VirtualKey(seed)
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
            raise _not_whole(f"{step!r:.40} is no step.")


def _numbers(entered: dict[str, Any]) -> dict[str, float]:
    for name, value in entered.items():
        if name not in ASKED or isinstance(value, bool) or not isinstance(value, int | float):
            raise _not_whole(f"{name!r:.40} was not asked, or is no number.")
    return {name: float(value) for name, value in entered.items()}


def _not_whole(reason: str) -> BalancekitError:
    return BalancekitError(
        Problem(f"This is not a whole bench result. {reason}", "Save it from its panel anew.")
    )
