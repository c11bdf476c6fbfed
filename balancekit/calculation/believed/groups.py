"""Keys that are shifted together: a run of neighbours, or the sharps of a run.

A group is a step up at one key and down at another, on top of the slow course of a series. A
course that may bend freely swallows such a step. So every run of keys is weighed against the
course with both sizes of it, scatter and bends, open: at every point of a grid of sizes, with
Q the inverse covariance of the readings and h the run, a shift of prior size t changes the
evidence by the factor::

    exp(t^2 (h'Qy)^2 / (1 + t^2 h'Qh) / 2) / sqrt(1 + t^2 h'Qh)

which is exact. All runs come at once from running sums over y and Q. A run is taken if it is
worth its price: runs are many, and the price is their number times the odds against any.

References
----------
Kass and Raftery, Journal of the American Statistical Association 90 (1995) 773, Bayes factors.
Olshen, Venkatraman, Lucito and Wigler, Biostatistics 5 (2004) 557: a change is sought as a run
with two ends, because a run between two changes hides each of them alone; from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.believed.expected_course import (
    NEIGHBOUR_SHARES,
    brought_near,
    log_prior_of_scatter,
    neighbour_errors,
    smooth_shapes,
)
from balancekit.calculation.believed.running_sums import White, of_few, of_runs, of_some, steps_of
from balancekit.calculation.irregularities.trend_grid import (
    Floats,
    Sizes,
    lines,
    log_prior,
    size_grid,
)

FEWEST_KEYS = 3
"""Fewer keys than this are no group, but odd keys."""

PRICE = 3.6
# Our own choice: log of the odds against any group in one series. Of 40 quiet instruments one
# then showed a group, counted over all series of each by tests/benchmarks/believed.py.

_MOST = 6
# Our own choice: more groups than this in one series are not told apart.

_NOTHING = 30.0
# Our own choice: a reading that is odd alone counts as one this many times less sure.

_SCATTER, _BEND = (7, 1.7), (6, 3.0)
# Points and factor of the two sizes: coarse, because sums over them are smooth.


_HOPELESS = 30.0
# Points of the grid whose log weight is so far below the best are left out: e^-30 of it.


@dataclass(frozen=True)
class Run:
    """A run of keys, counted from 0.

    Attributes
    ----------
    first, last : places of its first and last key.
    sharps : whether only the sharps of the run belong to it.
    odds : log of the odds that there is such a group, over none.
    """

    first: int
    last: int
    sharps: bool
    odds: float

    @property
    def place(self) -> tuple[int, int, bool]:
        """Which keys belong to it."""
        return self.first, self.last, self.sharps

    def column(self, naturals: NDArray[np.bool_]) -> Floats:
        """Return 1 for every key of the group and 0 for the others."""
        places = np.arange(len(naturals))
        inside = (places >= self.first) & (places <= self.last)
        return np.asarray(inside & ~naturals if self.sharps else inside, dtype=float)


@dataclass
class Search:
    """One series as every point of a small grid of sizes sees it.

    Attributes
    ----------
    where : place of each reading among the keys, (n,).
    values : readings, far ones brought near, (n,).
    naturals : colour of every key.
    shift : prior size of a shift.
    running : sums of Q, the inverse covariance of the readings, and of Qy; see ``running_sums``,
        (G, n + 2, n + 2).
    weight : log of likelihood x prior of each point, (G,).
    sizes : scatter, bend, and the part of the weighing errors' variance that neighbours share, at
        each point, (G, 3).
    errors : covariance of the weighing errors for each of ``NEIGHBOUR_SHARES``, (3, n, n).
    looks : what was worked out since the last group was put in, by whether of sharps only.
    """

    where: NDArray[np.intp]
    values: Floats
    naturals: NDArray[np.bool_]
    shift: float
    running: Floats
    weight: Floats
    sizes: Floats
    errors: Floats
    looks: dict[bool, Look] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        where: NDArray[np.intp],
        values: Floats,
        noise: Floats,
        naturals: NDArray[np.bool_],
        places: Floats,
        expected: Sizes,
    ) -> Search:
        """Prepare a series; see ``setting_aside.Series`` for the arguments."""
        near, spread, alone = brought_near(values, noise, naturals[where])
        scatter = size_grid(3 * max(spread, 0.5 * expected.scatter), *_SCATTER)
        bend = size_grid(max(10 * float(np.std(values)), 3 * expected.bend), *_BEND)
        wide = [100.0 * (np.ptp(values) + expected.change), expected.change, expected.step]
        each: Floats = np.sqrt(noise)
        errors = np.array(
            [neighbour_errors(where, share) * each[:, None] * each for share in NEIGHBOUR_SHARES]
        )
        odd = np.where(alone, (_NOTHING * spread) ** 2, 0.0)
        shapes = np.hstack([lines(places, naturals) * wide, smooth_shapes(len(naturals))])[where]
        known = np.ones((len(bend), shapes.shape[1]))
        known[:, len(wide) :] = 1 / bend[:, None] ** 2
        points = [(size, part) for size in range(len(scatter)) for part in range(len(errors))]
        whites = [
            White.of(errors[part] + np.diag(odd + scatter[size] ** 2), near, shapes, known)
            for size, part in points
        ]
        prior = log_prior_of_scatter(scatter, expected.scatter)[:, None]
        prior = (prior + np.log([*NEIGHBOUR_SHARES.values()])).ravel()[:, None]
        prior = prior + log_prior(bend, expected.bend)
        weight = np.array([white.weight for white in whites]) + prior
        kept = weight > weight.max() - _HOPELESS
        sums = [each for white, own in zip(whites, kept, strict=True) if own.any()
                for each in white.running(own)]  # fmt: skip
        grid = np.meshgrid(scatter, [*NEIGHBOUR_SHARES], bend, indexing="ij")
        sizes = np.column_stack([grid[place].ravel() for place in (0, 2, 1)])[kept.ravel()]
        return cls(
            where, near, naturals, expected.step, np.array(sums), weight[kept], sizes, errors
        )

    def left_open(self) -> Floats:
        """Return the covariance of the true values that the sizes being open makes, (K, K).

        With other sizes the same readings are drawn further or less far towards the course.
        """
        pulls = np.diff(self.running[:, :-1, -1])
        drawn = np.empty_like(pulls)
        for errors, part in zip(self.errors, NEIGHBOUR_SHARES, strict=True):
            at = self.sizes[:, 2] == part
            drawn[at] = pulls[at] @ errors
        off = (drawn - self.share @ drawn) * np.sqrt(self.share)[:, None]
        result = np.zeros((len(self.naturals),) * 2)
        result[np.ix_(self.where, self.where)] = off.T @ off
        return result

    def told(self) -> Floats:
        """Return the evidence for each part that neighbours may share, by its prior, (3,)."""
        parts = [self.share[self.sizes[:, 2] == part].sum() for part in NEIGHBOUR_SHARES]
        result: Floats = np.array(parts) / np.array([*NEIGHBOUR_SHARES.values()])
        return result

    def expect(self, shares: Floats) -> None:
        """Take another prior of the part that neighbours share."""
        factors = shares / np.array([*NEIGHBOUR_SHARES.values()])
        for part, factor in zip(NEIGHBOUR_SHARES, factors, strict=True):
            self.weight[self.sizes[:, 2] == part] += np.log(factor)

    def mixed(self) -> tuple[float, float, float]:
        """Return scatter and bend as root mean squares, and the mean part that neighbours share."""
        scatter, bend, _ = np.sqrt(self.share @ self.sizes**2)
        return float(scatter), float(bend), float(self.share @ self.sizes[:, 2])

    def look(self, sharps: bool) -> Look:
        """Return the evidence for every run of the keys, or of the sharps, as it now stands."""
        if sharps not in self.looks:
            self.looks[sharps] = Look.at(self, sharps)
        return self.looks[sharps]

    @property
    def share(self) -> Floats:
        """Weights of the points of the grid, adding up to 1."""
        raw = np.exp(self.weight - self.weight.max())
        result: Floats = raw / raw.sum()
        return result

    def take(self, run: Run) -> None:
        """Put a group into the course."""
        column = steps_of(run.column(self.naturals)[self.where])
        lean = self.running @ column
        held, pull = lean @ column, lean[:, -1]
        wide = 1 + self.shift**2 * held
        shrink = self.shift**2 / wide
        self.weight = self.weight + 0.5 * (shrink * pull**2 - np.log(wide))
        self.running = self.running - shrink[:, None, None] * lean[:, :, None] * lean[:, None, :]
        self.looks.clear()

    def run(self, first: int, last: int, sharps: bool, odds: float) -> Run:
        """Return a run of readings as a run of keys; the shorter side, if it reaches an end."""
        count = len(self.where)
        if not sharps and last - first + 1 > count / 2 and (first == 0 or last == count - 1):
            first, last = (last + 1, count - 1) if first == 0 else (0, first - 1)
        low = 0 if first == 0 else int(self.where[first])
        high = len(self.naturals) - 1 if last == count - 1 else int(self.where[last])
        return Run(low, high, sharps, odds)


@lru_cache(maxsize=32)
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return first and last of every run of so many readings that leaves enough beside it."""
    first, last = np.triu_indices(count, FEWEST_KEYS - 1)
    enough = count - (last - first + 1) >= FEWEST_KEYS
    return first[enough], last[enough]


@dataclass(frozen=True)
class Look:
    """All runs of one series at once: R runs, G points of the grid.

    Attributes
    ----------
    first, last : the readings at which each begins and ends, (R,).
    evidence : log evidence for a shift, summed over the grid, (R,).
    sharps : whether only sharps belong to them.
    """

    first: NDArray[np.intp]
    last: NDArray[np.intp]
    evidence: Floats
    sharps: bool

    @classmethod
    def at(cls, search: Search, sharps: bool) -> Look:
        """Work the evidence out, one point of the grid after the other."""
        readings, running = np.arange(len(search.where)), search.running
        if sharps:
            readings = np.flatnonzero(~search.naturals[search.where])
            running = of_some(running, readings)
        first, last = _pairs(len(readings))
        most, total = np.zeros(len(first)), np.full(len(first), 1e-300)
        for sums, share in zip(running, search.share, strict=True):
            pull, held = of_runs(sums, first, last)
            wide = 1 + search.shift**2 * held
            grown = (0.5 * search.shift**2) * pull**2 / wide
            grown -= most
            if (grown > _HOPELESS).any():
                rise = np.maximum(grown, 0.0)
                total *= np.exp(-rise)
                most += rise
                grown -= rise
            total += share * np.exp(grown) / np.sqrt(wide)
        return cls(readings[first], readings[last], most + np.log(total), sharps)

    @property
    def odds(self) -> float:
        """Log odds that any run is a group."""
        return _odds(self.evidence)


def _odds(evidence: Floats) -> float:
    """Return the log odds that any run is a group."""
    if not len(evidence) or not np.isfinite(most := float(evidence.max())):
        return -np.inf
    return most + float(np.log(np.exp(evidence - most).mean())) - PRICE


def find_runs(search: Search) -> list[Run]:
    """Return the groups of one series, the surest first; each is sought beside those before."""
    found: list[Run] = []
    while len(found) < _MOST:
        best = max((search.look(sharps) for sharps in (False, True)), key=lambda look: look.odds)
        if best.odds <= 0:
            break
        at = int(np.argmax(best.evidence))
        found.append(search.run(int(best.first[at]), int(best.last[at]), best.sharps, best.odds))
        search.take(found[-1])
    return found


def find_shared_runs(one: Search, other: Search, part: float) -> list[Run]:
    """Return groups that two series share, shifted in a fixed proportion.

    A capstan line that is displaced moves key ratio and action ratio together.

    Parameters
    ----------
    one, other : read on the same keys; groups that are found are put into both.
    part : shift of the other for a shift of 1 in the first.
    """
    found: list[Run] = []
    if not np.array_equal(one.where, other.where):
        return found
    while len(found) < _MOST:
        looks = one.look(False), other.look(False)
        total = looks[0].evidence + looks[1].evidence
        likely = np.argsort(total)[-_LIKELY:]
        shared = np.full(len(total), -np.inf)
        ends = looks[0].first[likely], looks[0].last[likely]
        (pull, held), (pull_2, held_2) = (of_few(each.running, *ends) for each in (one, other))
        for number, at in enumerate(likely):
            wide = 1 + one.shift**2 * (held[:, number, None] + part**2 * held_2[:, number])
            both = pull[:, number, None] + part * pull_2[:, number]
            grown = (0.5 * one.shift**2) * both**2 / wide
            most = grown.max()
            total = one.share @ (np.exp(grown - most) / np.sqrt(wide)) @ other.share
            shared[at] = most + np.log(total)
        odds = _odds(shared)
        if odds <= 0 or odds <= max(look.odds for look in looks):
            break
        at = int(np.argmax(shared))
        run = one.run(int(looks[0].first[at]), int(looks[0].last[at]), False, odds)
        one.take(run)
        other.take(run)
        found.append(run)
    return found


_LIKELY = 60
# Our own choice: the shared shift is weighed exactly on the runs that both series like best.


def columns(runs: Sequence[Run], naturals: NDArray[np.bool_]) -> Floats:
    """Return one column of 0 and 1 for each run, (K, runs)."""
    return np.column_stack([run.column(naturals) for run in runs] or [np.zeros((len(naturals), 0))])
