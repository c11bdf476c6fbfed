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
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby, product, repeat

import numpy as np

from balancekit.calculation.plan.piano import ALL_KEYS, Floats, Piano
from balancekit.calculation.plan.treatments import (
    FRICTION,
    HAMMERS,
    LEADS,
    SPRINGS,
    TREATMENT_KINDS,
    Ints,
    Treatments,
)
from balancekit.calculation.plan.work_costs import WorkCosts
from balancekit.calculation.quantities import QUANTITIES

PRICES = np.concatenate([np.geomspace(20.0, 1e-4, 140), [0.0]])
"""Prices of one minute that are tried, in grams squared."""
# Our own choice: at 20 nothing is worth a minute, at 0 everything that helps at all is done.

FEW_PRICES = PRICES[::10]
"""Some of them, to tell that a combination cannot be on the front; the last is 0."""

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
    """One decision and the best treatments for every price of a minute.

    Parameters
    ----------
    treatments, costs, decision : what is decided, on what.
    prices : that are tried.
    """

    def __init__(
        self,
        treatments: Treatments,
        costs: WorkCosts,
        decision: Decision,
        prices: Floats = PRICES,
    ) -> None:
        self.treatments, self.decision, self.prices = treatments, decision, prices
        self.fixed = fixed_costs(treatments.piano, costs, decision)
        self._uneven = self._left()
        runs = np.minimum.reduceat(self._uneven, treatments.starts)
        total = runs[None, :] + prices[:, None] * treatments.run_minutes[None, :]
        least = np.minimum.reduceat(total, treatments.row_starts, axis=1)
        self.least = least.sum(axis=1)
        self.floor = _Bound(self.fixed[0], self.least, prices)
        self._total, self._of_rows = total, least

    def _left(self) -> Floats:
        piano, decision = self.treatments.piano, self.decision
        ratio, balance, inertia = piano.moved(decision.shifts)
        heavy = inertia - piano.inertia_course(decision.shifts)
        uneven = self.treatments.uneven(ratio, balance - decision.line(piano.places), heavy)
        return np.where(self.treatments.of_kinds(decision.kinds), uneven, np.inf)

    def bound(self, minutes: Floats) -> Floats:
        """Return what no way with this decision can be below, for some numbers of minutes."""
        return self.floor.bound(minutes)

    def points(self) -> tuple[Floats, Floats]:
        """Return minutes and what stays uneven of the best way at each price."""
        t = self.treatments
        equal = self._total <= self._of_rows[:, t.run_row] + 1e-12
        minutes = np.where(equal, t.run_minutes, np.inf)
        worked = np.minimum.reduceat(minutes, t.row_starts, axis=1).sum(axis=1)
        return self.fixed[0] + worked, self.least - self.prices * worked

    def chosen(self, price: float) -> Ints:
        """Return the treatment of each row at a price: of equals the shorter, then the first."""
        t = self.treatments
        total = self._uneven + price * t.minutes
        least = np.minimum.reduceat(total, t.starts[t.row_starts])
        equal = np.flatnonzero(total <= least[t.row] + 1e-12)
        return np.asarray(equal[np.searchsorted(t.row[equal], np.arange(t.rows))])

    def way(self, price: float) -> tuple[Ints, float, float, float]:
        """Return treatments, minutes, money and what stays uneven at a price."""
        t, chosen = self.treatments, self.chosen(price)
        return (
            chosen,
            self.fixed[0] + float(t.minutes[chosen].sum()),
            self.fixed[1] + float(t.money[chosen].sum()),
            float(self._uneven[chosen].sum()),
        )


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
    piano: Piano, shifts: tuple[int, ...], wanted: tuple[float, float, float] | None
) -> list[tuple[float, ...]]:
    """Return lines that the balance weight may follow: first and last key, middle above it [g].

    The line through the keys as found, once the levers are moved, and the same level on
    every key; each also half a gram and a gram lower and higher. Where the levers of all keys
    are moved, its middle stays within what is usual. A line that the user gave is the only one.
    """
    if wanted is not None:
        return [wanted]
    _, balance, _ = piano.moved(shifts)
    slope, middle = _straight(piano.places, balance)
    if any(piano.shifts[each].place == ALL_KEYS for each in shifts):
        found = float(np.median(piano.balance_weight_g))
        usual = QUANTITIES["balance_weight_g"]
        low, high = float(usual.usual_low or 0), float(usual.usual_high or 0)
        middle = min(max(middle, min(low, found)), max(high, found))
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


def decisions(
    piano: Piano, wanted: tuple[float, float, float] | None = None, *, short: bool = False
) -> list[Decision]:
    """Return every combination of what holds for the whole keyboard.

    Work that needs no setting up for the whole keyboard, friction and springs, is left out only
    where nothing at all is done: leaving it out saves nothing.

    Parameters
    ----------
    piano : the keys.
    wanted : balance weight of the first and the last key, and how far the middle lies above
        the straight line between them [g]; None leaves it to the plan.
    short : only the line as found, no lever of all keys, and all kinds of work or none: for a
        first answer.
    """
    kinds = [(), *((FRICTION, SPRINGS, *more) for more in ((), (HAMMERS,), (LEADS,)))]
    kinds = [*kinds[:1], TREATMENT_KINDS] if short else [*kinds, TREATMENT_KINDS]
    for kind, fixed in ((HAMMERS, piano.hammer_fixed_g), (SPRINGS, piano.relief_fixed_g)):
        if np.isfinite(fixed).any():
            kinds = [each for each in kinds if kind in each]
    places: dict[str, list[int]] = {}
    for number, shift in enumerate(piano.shifts):
        if not short or shift.place != ALL_KEYS or piano.must_move:
            places.setdefault(shift.place or f"{number}", []).append(number)
    slots = [
        [*([] if place == ALL_KEYS and piano.must_move else [()]), *((each,) for each in numbers)]
        for place, numbers in places.items()
    ]
    found = []
    for picked in product(*slots):
        shifts = tuple(number for each in picked for number in each)
        lines = wanted_lines(piano, shifts, wanted)
        for line in lines[:1] if short else lines:
            found += [Decision(shifts, used, *line) for used in kinds]
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
    look = _look(treatments, costs, tried)
    best_yet = np.full(len(look), np.inf)
    full: list[_Bound] = []
    left_out: list[tuple[Decision, _Bound]] = []
    raw: list[tuple[float, float, Decision, float]] = []
    grounds = [list(each) for _, each in groupby(tried, key=lambda d: replace(d, kinds=()))]
    for count, ground in enumerate(grounds):
        whole = _whole(treatments, costs, ground)
        if np.all(whole.bound(look) >= best_yet):
            left_out.append((ground[0], whole))
        else:
            for decision in ground:
                combo = Combination(treatments, costs, decision)
                full.append(combo.floor)
                minutes, uneven = combo.points()
                raw += zip(minutes.tolist(), uneven.tolist(), repeat(decision), PRICES.tolist())
                reached = np.searchsorted(look, minutes - 1e-9)
                np.minimum.at(best_yet, np.minimum(reached, len(look) - 1), uneven)
                best_yet = np.minimum.accumulate(best_yet)
        done(0.8 * (count + 1) / len(grounds))
    kept = _kept(raw)
    at, reach = np.array([each[0] for each in kept]), np.array([each[1] for each in kept])
    for ground_of, whole in left_out:
        near = np.any(whole.bound(at) < reach)
        full.append(_whole(treatments, costs, [ground_of], PRICES) if near else whole)
    least = np.min([bound.bound(at) for bound in full], axis=0)
    ways = []
    for number, ((_, _, decision, price), bound) in enumerate(zip(kept, least, strict=True)):
        made = Combination(treatments, costs, decision, np.array([price])).way(price)
        ways.append(Way(decision, *made, float(min(bound, made[3]))))
        done(0.8 + 0.2 * (number + 1) / len(kept))
    return Front(treatments, tuple(way for way in ways if way.gap_percent <= MOST_GAP_PERCENT))


@dataclass(frozen=True, eq=False)
class _Bound:
    """What no way can be below: minutes before any key is touched, and the least at each price."""

    fixed_minutes: float
    least: Floats
    prices: Floats

    def bound(self, minutes: Floats) -> Floats:
        left = np.asarray(minutes, dtype=float)[:, None] - self.fixed_minutes
        bound = (self.least - self.prices * left).max(axis=1)
        return np.asarray(np.where(left[:, 0] < -1e-9, np.inf, bound))


def _whole(
    treatments: Treatments,
    costs: WorkCosts,
    ground: Sequence[Decision],
    prices: Floats = FEW_PRICES,
) -> _Bound:
    """Return what bounds every kind of work on one ground at once: all kinds, nothing set up."""
    fixed = min(fixed_costs(treatments.piano, costs, each)[0] for each in ground)
    combo = Combination(treatments, costs, replace(ground[0], kinds=TREATMENT_KINDS), prices)
    return replace(combo.floor, fixed_minutes=fixed)


def _kept(
    raw: list[tuple[float, float, Decision, float]],
) -> list[tuple[float, float, Decision, float]]:
    """Return the points that no other beats, by rising minutes."""
    kept: list[tuple[float, float, Decision, float]] = []
    for each in sorted(raw, key=lambda point: point[:2]):
        if not kept or each[1] < kept[-1][1] - 1e-9:
            kept.append(each)
    return kept


def _look(treatments: Treatments, costs: WorkCosts, tried: Sequence[Decision]) -> Floats:
    """Return the numbers of minutes at which bounds are held against what was found."""
    starts = np.unique([fixed_costs(treatments.piano, costs, each)[0] for each in tried])
    most = float(starts[-1]) + _most_minutes(treatments)
    return np.unique(np.concatenate([starts, np.linspace(starts[0], most, 800)]))


def _most_minutes(treatments: Treatments) -> float:
    """Minutes of the longest treatment of every row together."""
    ends = np.append(treatments.row_starts[1:], len(treatments.run_row)) - 1
    return float(treatments.run_minutes[ends].sum())
