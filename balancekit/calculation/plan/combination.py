"""One decision for the whole keyboard, and the best treatments for every price of a minute."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from balancekit.calculation.plan.piano import Floats, Piano
from balancekit.calculation.plan.treatments import HAMMERS, LEADS, Ints, Treatments
from balancekit.calculation.plan.work_costs import WorkCosts

PRICES = np.concatenate([np.geomspace(20.0, 1e-4, 140), [0.0]])
"""Prices of one minute that are tried, in grams squared."""
# Our own choice: at 20 nothing is worth a minute, at 0 everything that helps at all is done.

FEW_PRICES = PRICES[::10]
"""Some of them, to tell that a combination cannot be on the front; the last is 0."""


@dataclass(frozen=True)
class Decision:
    """What holds for the whole keyboard.

    Attributes
    ----------
    shifts : groups that are put right, by number in ``Piano.shifts``.
    kinds : kinds of work that are used, see ``KINDS``.
    first_g, last_g : wanted balance weight of the first and the last key [g].
    middle_off_g : how far the middle of the keyboard lies above the straight line [g].
    """

    shifts: tuple[int, ...]
    kinds: tuple[str, ...]
    first_g: float
    last_g: float
    middle_off_g: float = 0.0

    def line(self, places: Floats) -> Floats:
        """Return the wanted balance weight at places from -1/2 to 1/2 [g]."""
        straight = self.first_g + (self.last_g - self.first_g) * (places + 0.5)
        return np.asarray(straight + self.middle_off_g * (1 - 2 * np.abs(places)))


def fixed_costs(piano: Piano, costs: WorkCosts, decision: Decision) -> tuple[float, float]:
    """Return minutes and money that a decision costs whatever is done on single keys."""
    counts: dict[str, float] = {}
    for number in decision.shifts:
        shift = piano.shifts[number]
        name = f"move {shift.lever}"
        counts[name] = counts.get(name, 0) + len(shift.rows)
    if HAMMERS in decision.kinds:
        counts["set up hammers"] = 1
    if LEADS in decision.kinds:
        counts["set up lead"] = 1
    if decision.kinds or decision.shifts:
        counts["draw out"] = 1
    return costs.of(counts)


class Ground:
    """What each treatment leaves uneven, once levers and course of the balance weight are set.

    Parameters
    ----------
    treatments : what can be done on each key.
    decision : its kinds of work do not matter.
    """

    def __init__(self, treatments: Treatments, decision: Decision) -> None:
        piano = treatments.piano
        ratio, balance, inertia = piano.moved(decision.shifts)
        heavy = inertia - piano.inertia_course(decision.shifts)
        self.treatments = treatments
        self.uneven = treatments.uneven(ratio, balance - decision.line(piano.places), heavy)
        self.runs = np.minimum.reduceat(self.uneven, treatments.starts)

    def cells(self, kinds: Collection[str], prices: Floats) -> tuple[Floats, Floats]:
        """Return the least of each cell at each price, uneven + price x minutes, and each run's."""
        t = self.treatments
        runs = np.where(t.of_kinds(kinds), self.runs, np.inf)
        total = runs[:, None] + t.run_minutes[:, None] * prices
        return np.minimum.reduceat(total, t.cell_starts, axis=0), total

    def relaxed(self, kinds: Collection[str], prices: Floats) -> Floats:
        """Return a bound of the least at each price: the course of the hammers left aside."""
        cells, _ = self.cells(kinds, prices)
        return np.asarray(np.minimum.reduceat(cells, self.treatments.row_cells, axis=0).sum(axis=0))


@dataclass(frozen=True, eq=False)
class Floor:
    """What no way can be below: minutes before any key is touched, and the least at each price."""

    fixed_minutes: float
    least: Floats
    prices: Floats

    def and_at(self, other: Floor) -> Floor:
        """Return the same bound with more prices."""
        least = np.append(self.least, other.least)
        return Floor(self.fixed_minutes, least, np.append(self.prices, other.prices))

    def at(self, minutes: Floats) -> Floats:
        """Return the bound for some numbers of minutes."""
        left = np.asarray(minutes, dtype=float)[:, None] - self.fixed_minutes
        bound = (self.least - self.prices * left).max(axis=1)
        return np.asarray(np.where(left[:, 0] < -1e-9, np.inf, bound))


class Combination:
    """One decision and the best treatments for every price of a minute.

    Parameters
    ----------
    ground, costs, decision : what is decided, on what.
    prices : that are tried.
    """

    def __init__(
        self, ground: Ground, costs: WorkCosts, decision: Decision, prices: Floats = PRICES
    ) -> None:
        t = ground.treatments
        self.ground, self.decision, self.prices = ground, decision, prices
        self.fixed = fixed_costs(t.piano, costs, decision)
        self._cells, self._total = ground.cells(decision.kinds, prices)
        self._left = self._cells[t.row_cells]
        self._in_course = HAMMERS in decision.kinds

    @cached_property
    def floor(self) -> Floor:
        """What no way with this decision can be below."""
        t = self.ground.treatments
        if self._in_course:
            keys = self._forward[0][-1].min(axis=0)
        else:
            keys = self._left[: t.piano.count].sum(axis=0)
        least = keys + self._left[t.piano.count :].sum(axis=0)
        return Floor(self.fixed[0], least, self.prices)

    @cached_property
    def _forward(self) -> tuple[list[Floats], Ints]:
        """The walk along the hammers, frictions left out."""
        t = self.ground.treatments
        return t.course.forward(self._cells[: len(self._cells) - len(t.friction_keys)])

    @cached_property
    def _taken(self) -> Ints:
        """The cell of each row that is taken at each price, shape (rows, prices)."""
        t = self.ground.treatments
        taken = np.repeat(t.row_cells[:, None], len(self.prices), axis=1)
        if self._in_course:
            taken[: t.piano.count] = t.course.path(*self._forward)
        return taken

    def points(self) -> tuple[Floats, Floats]:
        """Return minutes and what stays uneven of the best way at each price."""
        t = self.ground.treatments
        sizes = np.diff(np.append(t.cell_starts, len(t.run_minutes)))
        equal = self._total <= np.repeat(self._cells, sizes, axis=0) + 1e-12
        minutes = np.where(equal, t.run_minutes[:, None], np.inf)
        spent = np.minimum.reduceat(minutes, t.cell_starts, axis=0)
        worked = np.take_along_axis(spent, self._taken, axis=0).sum(axis=0)
        return self.fixed[0] + worked, self.floor.least - self.prices * worked

    def chosen(self, number: int) -> Ints:
        """Return the treatment of each row at a price: of equals the shorter, then the first."""
        t = self.ground.treatments
        at = self._taken[:, number]
        ends = np.append(t.cell_starts[1:], len(t.starts))[at]
        runs = np.concatenate(
            [np.arange(*each) for each in zip(t.cell_starts[at], ends, strict=True)]
        )
        total = self._total[runs, number]
        row = t.row[t.starts[runs]]
        least = np.minimum.reduceat(total, np.searchsorted(row, np.arange(t.rows)))
        equal = np.flatnonzero(total <= least[row] + 1e-12)
        order = equal[np.lexsort((t.run_minutes[runs[equal]], row[equal]))]
        run = runs[order[np.searchsorted(row[order], np.arange(t.rows))]]
        begin, end = t.starts[run], np.append(t.starts[1:], len(t.row))[run]
        within = [int(self.ground.uneven[b:e].argmin()) for b, e in zip(begin, end, strict=True)]
        return np.asarray(begin + np.array(within))

    def way(self, number: int) -> tuple[Ints, float, float, float]:
        """Return treatments, minutes, money and what stays uneven at one of the prices."""
        t, chosen = self.ground.treatments, self.chosen(number)
        return (
            chosen,
            self.fixed[0] + float(t.minutes[chosen].sum()),
            self.fixed[1] + float(t.money[chosen].sum()),
            float(self.ground.uneven[chosen].sum()),
        )
