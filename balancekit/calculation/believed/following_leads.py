"""Whether the leads follow the rest of the action: what the readings themselves tell of it.

``joint`` takes front weight, strike weight, wippen weight and the two ratios to vary each on its
own. So it is where leads lie by a pattern, or where the hammers were changed since. Where every
key was weighed off by its leads, it is the balance weight that varies on its own, and the front
weight follows::

    front weight = wippen weight x key ratio + strike weight x action ratio
                   - spring relief - balance weight

The balance weights then scatter less than the scatter of all parts together would have it, and
what stands off at a key is sooner weighing. But no lead followed a part that is odd: what is odd in
a part is taken to be as odd in the balance weight. Of the two the one is believed that gives the
readings the greater density, beside what is off; see ``causes.find_causes``.

References
----------
MacKay, Information Theory, Inference, and Learning Algorithms (2003), 28.1: two models and their
evidence; from memory.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from balancekit.calculation.balance import solve_for_front_weight
from balancekit.calculation.believed.joint import (
    Joint,
    Known,
    Rows,
    System,
    balance_slopes,
    prior_of,
)
from balancekit.calculation.course import Floats

FRONT, BALANCE = "front_weight_g", "balance_weight_g"


def learn(table: pd.DataFrame, known: Known) -> Joint:
    """Work out what the readings of an instrument say; see the module.

    Parameters
    ----------
    table, known : as for ``joint.System``.
    """
    system = System(table, known)
    return FollowingLeads(system).solve() if known.leads_follow else system.solve()


def ways(system: System) -> tuple[System, ...]:
    """Return the system as it is and, where the levers are known, with leads that follow."""
    return (system, FollowingLeads(system)) if system.lever else (system,)


class FollowingLeads(System):
    """The readings as rows of a system in which the balance weight takes the front weight's place.

    Parameters
    ----------
    plain : the same readings with every quantity on its own, a balance weight among them.
    """

    def __init__(self, plain: System) -> None:
        vars(self).update(vars(plain))
        vars(self).pop("at_first", None)
        balance, at = prior_of(BALANCE, self.table, self.known), np.arange(self.count)
        for name, slope in balance_slopes(self.parts(self.begin())).items():
            if name in self.blocks:
                balance.cover[at, at] += slope**2 * self.blocks[name].odd
        self.take_blocks(
            {BALANCE if n == FRONT else n: balance if n == FRONT else block
             for n, block in self.blocks.items()}
        )  # fmt: skip

    def slopes(self, rows: Rows, parts: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return how some readings move with each quantity of their key."""
        one = np.ones(self.count)
        if rows.sign:
            return {BALANCE: one[rows.at], "friction_g": rows.sign * one[rows.at]}
        if rows.name != FRONT:
            return super().slopes(rows, parts)
        return {name: slope[rows.at] for name, slope in self._front_slopes(parts).items()}

    def told(self, rows: Rows, parts: Mapping[str, Floats]) -> Floats:
        """Return what some readings would be for given true values."""
        if rows.sign:
            return np.asarray((parts[BALANCE] + rows.sign * parts["friction_g"])[rows.at])
        return self._front(parts)[rows.at] if rows.name == FRONT else super().told(rows, parts)

    def solve(self) -> Joint:
        """Learn from all readings at once; the front weight is worked out from the others."""
        found = super().solve()
        count, names = self.count, found.names
        mean, cover = found.mean.copy(), found.cover.copy()
        parts = dict(zip(names, mean.reshape(len(names), count), strict=True))
        at = {name: slice(place * count, (place + 1) * count) for place, name in enumerate(names)}
        mean[at[BALANCE]] = self._front(parts)
        slopes = self._front_slopes(parts)
        cover[at[BALANCE]] = sum(slope[:, None] * cover[at[n]] for n, slope in slopes.items())
        cover[:, at[BALANCE]] = sum(cover[:, at[n]] * slope for n, slope in slopes.items())
        shifts = dict(found.shifts) | {FRONT: self._front_shifts(found, parts)}
        return Joint(
            tuple(FRONT if n == BALANCE else n for n in names), mean, cover,
            {n: shift for n, shift in shifts.items() if n != BALANCE},
        )  # fmt: skip

    def _front(self, parts: Mapping[str, Floats]) -> Floats:
        return np.asarray(solve_for_front_weight(balance_weight_g=parts[BALANCE],
                                                 **self.hung(parts)))  # fmt: skip

    def _front_slopes(self, parts: Mapping[str, Floats]) -> dict[str, Floats]:
        by = {**balance_slopes(parts), BALANCE: -np.ones(self.count)}
        return {name: slope for name, slope in by.items() if name in self.start}

    def _front_shifts(
        self, found: Joint, parts: Mapping[str, Floats]
    ) -> tuple[tuple[float, float], ...]:
        """Return the shift of each group of the front weight, over its keys on average.

        The parts of which it is the sum are taken to be independent.
        """
        slopes, shifts = self._front_slopes(parts), []
        for run in self.known.runs.get(FRONT, ()):
            shift, square = 0.0, 0.0
            for name, slope in slopes.items():
                for own, (by, by_u) in zip(
                    self.known.runs.get(name, ()), found.shifts[name], strict=True
                ):
                    if own.place == run.place:
                        middle = float(slope[run.first : run.last + 1].mean())
                        shift, square = shift + middle * by, square + (middle * by_u) ** 2
            shifts.append((shift, square**0.5))
        return tuple(shifts)
