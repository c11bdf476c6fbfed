"""What work costs: minutes at the bench and money for parts, and what cannot be undone.

The minutes are usual ones (common practice, no source) to begin with. Time your own work on ten
keys and put your own numbers in: the plan is as good as they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from balancekit.calculation.problems import BalancekitError, Problem


@dataclass(frozen=True)
class Operation:
    """One thing that is done at the bench.

    Attributes
    ----------
    label : full words.
    minutes : usual bench time, each time it is done [min].
    money : usual price of its parts, in your own currency.
    undone : whether it can be undone.
    """

    label: str
    minutes: float
    money: float
    undone: bool


# Common practice, no source: every number here.
USUAL: Mapping[str, Operation] = {
    "hour of work": Operation("One hour of your work", 0, 0, True),
    "draw out": Operation("Draw the action out, put it back, regulate (once)", 60, 0, True),
    "set up hammers": Operation("Set up for hammers (once)", 15, 0, True),
    "set up lead": Operation("Set up for boring and lead (once)", 20, 0, True),
    "ease friction": Operation("Ease or tighten one key", 8, 0, True),
    "set spring": Operation("Set one support spring", 2, 0, True),
    "fit spring": Operation("Fit one new support spring", 20, 4, False),
    "move capstan": Operation("Move one capstan", 8, 0, False),
    "move knuckle": Operation("Move one knuckle", 20, 1, False),
    "add to hammer": Operation("Add mass to one hammer", 5, 0.5, True),
    "trim hammer": Operation("Trim one hammer", 6, 0, False),
    "take plug out": Operation("Take one plug out", 5, 0, True),
    "put plug in": Operation("Put one plug in", 7, 1, True),
    "new hole": Operation("Bore one new hole", 3, 0, False),
}
"""Every operation that a plan may ask for, by name."""

MOST_MINUTES = 600.0
MOST_MONEY = 10_000.0


@dataclass(frozen=True)
class WorkCosts:
    """Minutes and money of each operation.

    Attributes
    ----------
    minutes, money : by name of the operation, see ``USUAL``.

    Raises
    ------
    BalancekitError : every operation that is not known, and every number that cannot be.

    >>> WorkCosts().minutes["trim hammer"]
    6.0
    """

    minutes: Mapping[str, float] | None = None
    money: Mapping[str, float] | None = None

    def __post_init__(self) -> None:
        problems = []
        for name, most in (("minutes", MOST_MINUTES), ("money", MOST_MONEY)):
            given = getattr(self, name) or {}
            usual = {each: float(getattr(USUAL[each], name)) for each in USUAL}
            for operation, value in given.items():
                if operation not in USUAL:
                    known = ", ".join(USUAL)
                    problems.append(Problem(f"'{operation}' is no operation.", f"Use {known}."))
                elif not 0 <= float(value) <= most:
                    label = USUAL[operation].label
                    message = f"{label}: {value} {name} cannot be."
                    problems.append(Problem(message, f"Give 0 to {most:g}."))
            object.__setattr__(self, name, {**usual, **given})
        if problems:
            raise BalancekitError(problems)

    @classmethod
    def from_table(cls, table: pd.DataFrame) -> WorkCosts:
        """Read the table of kind ``work_minutes``; what it leaves out is usual.

        Raises
        ------
        BalancekitError : as for the class.

        >>> WorkCosts.from_table(pd.DataFrame({"operation": ["trim hammer"],
        ...     "bench_time_min": [4.0], "parts_money": [None]})).minutes["trim hammer"]
        4.0
        """
        found: dict[str, dict[str, float]] = {"minutes": {}, "money": {}}
        for name, column in (("minutes", "bench_time_min"), ("money", "parts_money")):
            for operation, value in zip(table["operation"], table[column], strict=True):
                if value is not None and value == value:
                    found[name][operation] = float(value)
        return cls(**found)

    def of(self, counts: Mapping[str, float]) -> tuple[float, float]:
        """Return minutes and money of some operations, each so many times.

        >>> WorkCosts().of({"put plug in": 2, "new hole": 2})
        (20.0, 2.0)
        """
        assert self.minutes is not None and self.money is not None
        return (
            sum(self.minutes[name] * count for name, count in counts.items()),
            sum(self.money[name] * count for name, count in counts.items()),
        )

    def each(self, operation: str) -> float:
        """Return the minutes of one operation [min]."""
        assert self.minutes is not None
        return self.minutes[operation]

    def price(self, operation: str) -> float:
        """Return the money for the parts of one operation."""
        assert self.money is not None
        return self.money[operation]

    @property
    def table(self) -> pd.DataFrame:
        """The costs as a table of kind ``work_minutes``."""
        assert self.minutes is not None and self.money is not None
        return pd.DataFrame(
            {
                "operation": list(USUAL),
                "bench_time_min": [self.minutes[name] for name in USUAL],
                "parts_money": [self.money[name] for name in USUAL],
            }
        )
