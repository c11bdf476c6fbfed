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

from balancekit.calculation.plan.combination import (
    FEW_PRICES,
    PRICES,
    Combination,
    Decision,
    Floor,
    Ground,
    fixed_costs,
)
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

MOST_GAP_PERCENT = 1.0
"""A way that may be further above the best than this is not shown."""


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
    search = _Search(treatments, costs, tried)
    grounds = search.most_promising_first()
    for count, decided in enumerate(grounds):
        search.try_ground(decided)
        done(0.8 * (count + 1) / len(grounds))
    ways = search.ways()
    done(1.0)
    return Front(treatments, tuple(way for way in ways if way.gap_percent <= MOST_GAP_PERCENT))


_Point = tuple[float, float, Decision, float]
"""Minutes, what stays uneven, the decision, and the price of a minute."""


class _Search:
    """What was found yet, and what bounds all that was left out."""

    def __init__(self, treatments: Treatments, costs: WorkCosts, tried: Sequence[Decision]) -> None:
        self.treatments, self.costs = treatments, costs
        self.grounds = [list(each) for _, each in groupby(tried, lambda d: replace(d, kinds=()))]
        starts = [fixed_costs(treatments.piano, costs, each)[0] for each in tried]
        most = max(starts) + _most_minutes(treatments)
        self.look = np.unique([*starts, *np.linspace(min(starts), most, 800)])
        self.look_step = float(np.diff(self.look).max())
        self.best_yet = np.full(len(self.look), np.inf)
        self.bounds: list[Floor] = []
        self.left_out: list[tuple[Decision, Floor]] = []
        self.points: list[_Point] = []

    def most_promising_first(self) -> list[tuple[list[Decision], Floor]]:
        """Return the grounds with what bounds every kind of work on each, the lowest first.

        All kinds, nothing set up, and the course of the hammers left aside.
        """
        bounds = []
        for ground in self.grounds:
            fixed = min(fixed_costs(self.treatments.piano, self.costs, d)[0] for d in ground)
            least = Ground(self.treatments, ground[0]).relaxed(TREATMENT_KINDS, FEW_PRICES)
            bounds.append((ground, Floor(fixed, least, FEW_PRICES)))
        return sorted(bounds, key=lambda each: float(each[1].least.sum()))

    def try_ground(self, decided: tuple[list[Decision], Floor]) -> None:
        """Find the points of every kind of work on one ground, unless none can be on the front."""
        decisions_there, whole = decided
        if self._is_beaten(whole):
            self.left_out.append((decisions_there[0], whole))
            return
        ground = Ground(self.treatments, decisions_there[0])
        for decision in decisions_there:
            few = Combination(ground, self.costs, decision, FEW_PRICES).floor
            prices = self._promising(few)
            if not len(prices):
                self.bounds.append(few)
                continue
            combination = Combination(ground, self.costs, decision, prices)
            self.bounds.append(few.and_at(combination.floor))
            minutes, uneven = combination.points()
            self.points += zip(minutes.tolist(), uneven.tolist(), repeat(decision), prices.tolist())
            reached = np.searchsorted(self.look, minutes - 1e-9)
            np.minimum.at(self.best_yet, np.minimum(reached, len(self.look) - 1), uneven)
            self.best_yet = np.minimum.accumulate(self.best_yet)

    def _is_beaten(self, bound: Floor) -> bool:
        return bool(np.all(bound.at(self.look) >= self.best_yet))

    def _promising(self, few: Floor) -> Floats:
        """Return the prices at which a decision may have a point that nothing beats yet.

        The least at a price is concave, and its slope the minutes that are worked there: between
        two prices they lie between the slopes before and after.
        """
        slopes = np.diff(few.least) / np.diff(few.prices)
        low = few.fixed_minutes + np.append(0.0, slopes[:-1]) - 1e-6
        high = few.fixed_minutes + np.append(slopes[1:], np.inf) + 1e-6
        open_ones = self.look[few.at(self.look) < self.best_yet]
        # Also the next number of minutes looked at: a point counts from there on.
        ahead = np.searchsorted(open_ones, low) < np.searchsorted(
            open_ones, high + self.look_step, side="right"
        )
        near = np.append(ahead, False) | np.append(False, ahead)
        between = np.searchsorted(-few.prices, -PRICES, side="right") - 1
        return PRICES[
            ahead[np.minimum(between, len(ahead) - 1)] | np.isin(PRICES, few.prices[near])
        ]

    def ways(self) -> list[Way]:
        """Return the ways that no other beats, each with what bounds it."""
        kept = _kept(self.points)
        at, reach = np.array([each[0] for each in kept]), np.array([each[1] for each in kept])
        bounds = list(self.bounds)
        for decision, bound in self.left_out:
            near = np.any(bound.at(at) < reach)
            bounds.append(self._exact(decision, bound) if near else bound)
        least = np.min([bound.at(at) for bound in bounds], axis=0)
        prices: dict[Decision, list[float]] = {}
        for _, _, decision, price in kept:
            prices.setdefault(decision, []).append(price)
        made = {
            decision: Combination(Ground(self.treatments, decision), self.costs, decision, each)
            for decision, each in ((d, np.array(given)) for d, given in prices.items())
        }
        found = []
        for (_, _, decision, price), bound in zip(kept, least, strict=True):
            own = made[decision].way(prices[decision].index(price))
            found.append(Way(decision, *own, float(min(bound, own[3]))))
        return found

    def _exact(self, decision: Decision, bound: Floor) -> Floor:
        """Return the bound of what was left out at every price, the course of the hammers in it."""
        whole = replace(decision, kinds=TREATMENT_KINDS)
        combination = Combination(Ground(self.treatments, decision), self.costs, whole)
        return replace(combination.floor, fixed_minutes=bound.fixed_minutes)


def _kept(raw: list[_Point]) -> list[_Point]:
    """Return the points that no other beats, by rising minutes."""
    kept: list[_Point] = []
    for each in sorted(raw, key=lambda point: point[:2]):
        if not kept or each[1] < kept[-1][1] - 1e-9:
            kept.append(each)
    return kept


def _most_minutes(treatments: Treatments) -> float:
    """Minutes of the longest treatment of every row together."""
    return float(np.maximum.reduceat(treatments.minutes, treatments.row_starts).sum())
