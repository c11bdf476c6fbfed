"""All ways that no other beats, from doing nothing to doing everything.

What holds for the whole keyboard is tried in every combination: which groups are put right,
which kinds of work are used at all, and the straight line that the balance weight is to follow.
Given that, the keys are apart from each other. For a price ``p`` of one minute the best of each
key is the treatment of the least ``uneven + p x minutes``; their sum is then the least there is
for its own number of minutes, and at any other number of minutes b no way can be below::

    bound(b) = max over p of [ sum over keys of min(uneven + p x minutes) - p x b ]

(Lagrangian duality; H. Everett, Generalized Lagrange multiplier method, Operations Research 11
(1963) 399, cited from memory). The least bound of all combinations bounds every way from below,
and the gap of a way is how far it lies above it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain, combinations, product

import numpy as np

from balancekit.calculation.plan.piano import Floats, Piano
from balancekit.calculation.plan.treatments import (
    FRICTION,
    HAMMERS,
    KINDS,
    LEADS,
    SPRINGS,
    Ints,
    Treatments,
)
from balancekit.calculation.plan.work_costs import WorkCosts

PRICES = np.concatenate([np.geomspace(20.0, 1e-4, 140), [0.0]])
"""Prices of one minute that are tried, in grams squared."""
# Our own choice: at 20 nothing is worth a minute, at 0 everything that helps at all is done.

MOST_GAP_PERCENT = 1.0
"""A way that may be further above the best than this is not shown."""


@dataclass(frozen=True)
class Decision:
    """What holds for the whole keyboard.

    Attributes
    ----------
    shifts : groups that are put right, by number in ``Piano.shifts``.
    kinds : kinds of work that are used, see ``KINDS``.
    first_g, last_g : wanted balance weight of the first and the last key [g].
    """

    shifts: tuple[int, ...]
    kinds: tuple[str, ...]
    first_g: float
    last_g: float


@dataclass(frozen=True, eq=False)
class Way:
    """One way to work, with the treatment of every key.

    Attributes
    ----------
    decision : what holds for the whole keyboard.
    chosen : index into the treatments, one for each row.
    minutes, money : of all, set-up included.
    uneven : sum of what is left, in grams of balance weight squared.
    bound : what no way of as many minutes can be below.
    """

    decision: Decision
    chosen: Ints
    minutes: float
    money: float
    uneven: float
    bound: float

    @property
    def gap_percent(self) -> float:
        """How far the way may be above the best there is, in percent of what it leaves."""
        return 100.0 * max(self.uneven - self.bound, 0.0) / self.uneven if self.uneven else 0.0


class Combination:
    """One decision and the best treatments for every price of a minute."""

    def __init__(self, treatments: Treatments, costs: WorkCosts, decision: Decision) -> None:
        self.treatments, self.decision = treatments, decision
        self.fixed = fixed_costs(treatments.piano, costs, decision)
        self._uneven = self._left()
        runs = np.minimum.reduceat(self._uneven, treatments.starts)
        minutes = treatments.run_minutes
        total = runs[None, :] + PRICES[:, None] * minutes[None, :]
        least = np.minimum.reduceat(total, treatments.row_starts, axis=1)
        self.least = least.sum(axis=1)

    def _left(self) -> Floats:
        piano, decision = self.treatments.piano, self.decision
        ratio, balance, inertia = piano.moved(decision.shifts)
        line = decision.first_g + (decision.last_g - decision.first_g) * (piano.places + 0.5)
        heavy = inertia - piano.inertia_course(inertia)
        uneven = self.treatments.uneven(ratio, balance - line, heavy)
        allowed = self.treatments.of_kinds(decision.kinds)
        return np.where(allowed, uneven, np.inf)

    def bound(self, minutes: Floats) -> Floats:
        """Return what no way with this decision can be below, for some numbers of minutes."""
        left = np.asarray(minutes, dtype=float)[:, None] - self.fixed[0]
        bound = (self.least - PRICES * left).max(axis=1)
        return np.asarray(np.where(left[:, 0] < -1e-9, np.inf, bound))

    def ways(self) -> list[tuple[Ints, float, float, float]]:
        """Return the ways on the lower hull: treatments, minutes, money, uneven."""
        t = self.treatments
        found, seen = [], set()
        for price in PRICES:
            total = self._uneven + price * t.minutes
            # The first of the least: rows are sorted by minutes, so of equals the shorter.
            least = np.minimum.reduceat(total, t.starts[t.row_starts])
            equal = np.flatnonzero(total <= least[t.row] + 1e-12)
            chosen = equal[np.searchsorted(t.row[equal], np.arange(t.rows))]
            mark = chosen.tobytes()
            if mark not in seen:
                seen.add(mark)
                found.append(
                    (chosen, self.fixed[0] + float(t.minutes[chosen].sum()),
                     self.fixed[1] + float(t.money[chosen].sum()),
                     float(self._uneven[chosen].sum()))
                )  # fmt: skip
        return found


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


def wanted_lines(
    piano: Piano, shifts: tuple[int, ...], level_g: float | None
) -> list[tuple[float, float]]:
    """Return straight lines that the balance weight may follow: first and last key [g].

    The line through the keys as found, once the groups are put right, and the same level on
    every key; each also half a gram and a gram lower and higher. A level that the user gave
    is the only one.
    """
    if level_g is not None:
        return [(level_g, level_g)]
    _, balance, _ = piano.moved(shifts)
    slope, middle = _straight(piano.places, balance)
    around = (0.0, -0.5, 0.5, -1.0, 1.0)
    return [
        (middle + off - tilt / 2, middle + off + tilt / 2)
        for tilt in dict.fromkeys((slope, 0.0))
        for off in around
    ]


def _straight(places: Floats, values: Floats) -> tuple[float, float]:
    """Return slope and middle of the line through most values (median of slopes, of offsets)."""
    if len(values) < 2:
        return 0.0, float(np.median(values))
    i, j = np.triu_indices(len(values), 1)
    far = np.abs(places[j] - places[i]) > 0.1
    slopes = (values[j] - values[i])[far] / (places[j] - places[i])[far]
    slope = float(np.median(slopes)) if far.any() else 0.0
    return slope, float(np.median(values - slope * places))


def decisions(piano: Piano, level_g: float | None = None, *, short: bool = False) -> list[Decision]:
    """Return every combination of what holds for the whole keyboard.

    Parameters
    ----------
    piano : the keys.
    level_g : balance weight wanted on every key; None leaves it to the plan.
    short : only the line as found, and all kinds of work or none: for a first answer.
    """
    decided = bool(np.isfinite(piano.hammer_fixed_g).any())
    kinds = [kind for kind in KINDS if kind != SPRINGS or piano.has_springs]
    if not np.any(piano.excess_friction_g):
        kinds.remove(FRICTION)
    if short:
        sets: list[tuple[str, ...]] = [(), tuple(kinds)]
    else:
        sets = list(chain.from_iterable(combinations(kinds, n) for n in range(len(kinds) + 1)))
    sets = [each for each in sets if HAMMERS in each or not decided]
    numbers = range(len(piano.shifts))
    groups = list(chain.from_iterable(combinations(numbers, n) for n in range(len(numbers) + 1)))
    found = []
    for shifts, used in product(groups, sets):
        lines = wanted_lines(piano, shifts, level_g)
        # With nothing to do on single keys, the line is only a name for what is there.
        count = 1 if short else len(lines)
        found += [Decision(shifts, used, *line) for line in lines[:count]]
    return found


@dataclass(frozen=True, eq=False)
class Front:
    """The ways that no other beats, by rising minutes.

    Attributes
    ----------
    treatments : that the ways choose from.
    ways : by rising minutes and falling unevenness.
    """

    treatments: Treatments
    ways: tuple[Way, ...]

    @cached_property
    def minutes(self) -> Floats:
        """Minutes of each way."""
        return np.array([way.minutes for way in self.ways])

    @cached_property
    def uneven_g(self) -> Floats:
        """What each way leaves, as a root mean square over the keys [g]."""
        count = self.treatments.piano.count
        return np.sqrt(np.array([way.uneven for way in self.ways]) / count)

    def within(self, minutes: float) -> int:
        """Return the number of the best way that fits into the minutes; at least the first."""
        return max(int(np.searchsorted(self.minutes, minutes + 1e-9, side="right")) - 1, 0)


def find_front(
    treatments: Treatments,
    costs: WorkCosts,
    tried: Sequence[Decision],
    *,
    done: Callable[[float], None] = lambda _: None,
) -> Front:
    """Find the ways that no other beats.

    Parameters
    ----------
    treatments : what can be done on each key.
    costs : minutes and money.
    tried : combinations for the whole keyboard, see ``decisions``.
    done : told the share that is done, 0 to 1.

    Returns
    -------
    Front; each way with its bound, none further above it than ``MOST_GAP_PERCENT``.
    """
    combos = []
    for number, decision in enumerate(tried):
        combos.append(Combination(treatments, costs, decision))
        done(0.5 * (number + 1) / len(tried))
    grid = np.unique(np.round(np.concatenate([[c.fixed[0]] for c in combos]), 6))
    most = max(float(c.fixed[0] + _most_minutes(treatments)) for c in combos)
    look = np.unique(np.concatenate([grid, np.linspace(grid[0], most, 400)]))
    bounds = np.array([combo.bound(look) for combo in combos])
    best = set(np.argmin(bounds, axis=0).tolist())
    raw = []
    for count, number in enumerate(sorted(best)):
        raw += [(combos[number].decision, *way) for way in combos[number].ways()]
        done(0.5 + 0.5 * (count + 1) / len(best))
    raw.sort(key=lambda way: (way[2], way[4]))
    kept: list[tuple[Decision, Ints, float, float, float]] = []
    for way in raw:
        if not kept or way[4] < kept[-1][4] - 1e-9:
            kept.append(way)
    at = np.array([way[2] for way in kept])
    least = np.min([combo.bound(at) for combo in combos], axis=0)
    ways = [Way(*way, float(bound)) for way, bound in zip(kept, least, strict=True)]
    return Front(treatments, tuple(way for way in ways if way.gap_percent <= MOST_GAP_PERCENT))


def _most_minutes(treatments: Treatments) -> float:
    """Minutes of the longest treatment of every row together."""
    ends = np.append(treatments.row_starts[1:], len(treatments.run_row)) - 1
    return float(treatments.run_minutes[ends].sum())
