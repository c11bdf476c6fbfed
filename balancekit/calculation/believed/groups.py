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
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy
from numpy.typing import NDArray

from balancekit.calculation.irregularities.trend_grid import (
    Floats,
    Sizes,
    bend_shapes,
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

_FAR = 3.5
# Our own choice: a reading counts at most this many robust standard deviations off the median
# of its neighbours, so that one odd key makes no group.

_NOTHING = 30.0
# Our own choice: a reading that is odd alone counts as one this many times less sure.

_ROBUST, _NEIGHBOURS = 1.4826, 7
# Median absolute deviation to standard deviation of a normal: 1 / 0.6745 (standard table).

_SCATTER, _BEND = (7, 1.7), (6, 3.0)
# Points and factor of the two sizes: coarse, because sums over them are smooth.


_HOPELESS = 30.0
# Points of the grid whose log weight is so far below the best are left out: e^-30 of it.


NEIGHBOUR_SHARES = {0.0: 0.9, 0.5: 0.07, 0.9: 0.03}
"""Part of the weighing errors' variance that neighbours share, and how likely each is before."""
# Our own choice, no source: most people's errors are new at every key.

NEIGHBOUR_KEYS = 2.0
# Our own choice: such an error lasts over about five keys.


def neighbour_errors(where: NDArray[np.intp], share: float) -> Floats:
    """Return the correlation of weighing errors of which neighbours share a part, (n, n)."""
    apart = (where[:, None] - where) / NEIGHBOUR_KEYS
    result: Floats = share * np.exp(-0.5 * apart**2) + (1 - share) * np.eye(len(where))
    return result


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
    inverse : inverse covariance of the readings, (G, n, n).
    weight : log of likelihood x prior of each point, (G,).
    sizes : scatter, bend, and the part of the weighing errors' variance that neighbours share, at
        each point, (G, 3).
    errors : covariance of the weighing errors for each of ``NEIGHBOUR_SHARES``, (3, n, n).
    """

    where: NDArray[np.intp]
    values: Floats
    naturals: NDArray[np.bool_]
    shift: float
    inverse: Floats
    weight: Floats
    sizes: Floats
    errors: Floats

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
        near, spread, alone = _brought_near(values, noise, naturals[where])
        scatter = size_grid(3 * max(spread, 0.5 * expected.scatter), *_SCATTER)
        bend = size_grid(max(10 * float(np.std(values)), 3 * expected.bend), *_BEND)
        wide = [100.0 * (np.ptp(values) + expected.change), expected.change, expected.step]
        line = lines(places, naturals)[where] * wide
        bends = smooth_shapes(len(naturals))[where]
        course = line @ line.T + (bend**2)[:, None, None] * (bends @ bends.T)
        each: Floats = np.sqrt(noise)
        errors = np.array(
            [neighbour_errors(where, share) * each[:, None] * each for share in NEIGHBOUR_SHARES]
        )
        own = (scatter**2)[:, None, None] * np.eye(len(where))
        own = own + np.diag(np.where(alone, (_NOTHING * spread) ** 2, 0.0))
        total = course[None, :, None] + own[:, None, None] + errors
        total = total.reshape(-1, len(where), len(where))
        root = np.linalg.cholesky(total)
        size = 2 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
        fit = np.array(
            [np.sum(scipy.linalg.solve_triangular(one, near, lower=True) ** 2) for one in root]
        )
        prior = log_prior(scatter, expected.scatter)[:, None] + log_prior(bend, expected.bend)
        prior = prior[:, :, None] + np.log([*NEIGHBOUR_SHARES.values()])
        weight = -0.5 * (size + fit) + prior.ravel()
        points = np.meshgrid(scatter, bend, [*NEIGHBOUR_SHARES], indexing="ij")
        sizes = np.column_stack([each.ravel() for each in points])
        kept = weight > weight.max() - _HOPELESS
        return cls(
            where, near, naturals, expected.step, np.linalg.inv(total[kept]), weight[kept],
            sizes[kept], errors,
        )  # fmt: skip

    def left_open(self) -> Floats:
        """Return the covariance of the true values that the sizes being open makes, (K, K).

        With other sizes the same readings are drawn further or less far towards the course.
        """
        pulls = np.einsum("gij,j->gi", self.inverse, self.values)
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

    def sums(self, members: NDArray[np.bool_]) -> tuple[Floats, Floats]:
        """Return h'Qy and h'Qh of every run of the members, (G, n, n), first and last reading."""
        pull = np.where(members, np.einsum("gij,j->gi", self.inverse, self.values), 0.0)
        along = np.cumsum(np.pad(pull, ((0, 0), (1, 0))), axis=1)
        held = np.where(members[:, None] & members, self.inverse, 0.0)
        block = np.pad(held, ((0, 0), (1, 0), (1, 0))).cumsum(axis=1).cumsum(axis=2)
        corner = np.diagonal(block, axis1=1, axis2=2)
        across = corner[:, None, 1:] + corner[:, :-1, None] - 2 * block[:, :-1, 1:]
        return along[:, None, 1:] - along[:, :-1, None], across

    def gains(self, pull: Floats, held: Floats) -> Floats:
        """Return the log evidence for a shift at every point of the grid."""
        wide = 1 + self.shift**2 * np.maximum(held, 0.0)
        result: Floats = 0.5 * (self.shift**2 * pull**2 / wide - np.log(wide))
        return result

    @property
    def share(self) -> Floats:
        """Weights of the points of the grid, adding up to 1."""
        raw = np.exp(self.weight - self.weight.max())
        result: Floats = raw / raw.sum()
        return result

    def take(self, run: Run, gain: Floats | None = None) -> None:
        """Put a group into the course."""
        column = run.column(self.naturals)[self.where]
        lean = np.einsum("gij,j->gi", self.inverse, column)
        held, pull = lean @ column, lean @ self.values
        self.weight = self.weight + (self.gains(pull, held) if gain is None else gain)
        shrink = self.shift**2 / (1 + self.shift**2 * held)
        self.inverse = self.inverse - shrink[:, None, None] * lean[:, :, None] * lean[:, None, :]

    def members(self, sharps: bool) -> NDArray[np.bool_]:
        """Which readings may belong to a group."""
        result: NDArray[np.bool_] = ~self.naturals[self.where] if sharps else self.where >= 0
        return result

    def evidence(self, sharps: bool) -> Floats:
        """Return the log evidence of every run, summed over the grid; -inf where it is none."""
        members = self.members(sharps)
        gains = self.gains(*self.sums(members))
        most = gains.max(axis=0)
        total = most + np.log(np.tensordot(self.share, np.exp(gains - most), 1) + 1e-300)
        return np.where(_allowed(members), total, -np.inf)

    def run(self, first: int, last: int, sharps: bool, odds: float) -> Run:
        """Return a run of readings as a run of keys; the shorter side, if it reaches an end."""
        count = len(self.where)
        if not sharps and last - first + 1 > count / 2 and (first == 0 or last == count - 1):
            first, last = (last + 1, count - 1) if first == 0 else (0, first - 1)
        low = 0 if first == 0 else int(self.where[first])
        high = len(self.naturals) - 1 if last == count - 1 else int(self.where[last])
        return Run(low, high, sharps, odds)


@lru_cache(maxsize=32)
def smooth_shapes(count: int) -> Floats:
    """Return the bends of ``bend_shapes``, the shorter ones still smaller.

    Their size falls with the cube of their number, as in a course whose third differences are
    independent: it follows a slow wave, and not a step.
    """
    bends = bend_shapes(count)
    slow = bends / np.arange(2, bends.shape[1] + 2)
    result: Floats = slow / np.sqrt(np.mean(np.sum(slow**2, axis=1)))
    return result


def _brought_near(
    values: Floats, noise: Floats, naturals: NDArray[np.bool_]
) -> tuple[Floats, float, NDArray[np.bool_]]:
    """Return values with far ones brought near their neighbours, their spread, and lonely ones.

    A far one with a far neighbour on the same side may be of a group; one alone is an odd key.
    """
    middle = values.copy()
    for colour in (True, False):
        own = values[naturals == colour]
        if len(own) >= _NEIGHBOURS:
            padded = np.pad(own, _NEIGHBOURS // 2, mode="edge")
            around = np.lib.stride_tricks.sliding_window_view(padded, _NEIGHBOURS)
            middle[naturals == colour] = np.median(around, axis=1)
    off = values - middle
    spread = max(_ROBUST * float(np.median(np.abs(off))), float(np.sqrt(noise.mean())))
    side = np.sign(off) * (np.abs(off) > _FAR * spread)
    around = np.pad(side, 1)
    alone = (side != 0) & (around[:-2] != side) & (around[2:] != side)
    return middle + np.clip(off, -_FAR * spread, _FAR * spread), spread, alone


def _allowed(members: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark the runs that begin and end with a member and leave enough keys on both sides."""
    count = np.cumsum(np.pad(members.astype(int), (1, 0)))
    inside = count[None, 1:] - count[:-1, None]
    ends = members[:, None] & members
    enough = (inside >= FEWEST_KEYS) & (count[-1] - inside >= FEWEST_KEYS)
    return np.asarray(np.triu(ends & enough))


def _odds(evidence: Floats) -> float:
    """Return the log odds that any run is a group."""
    count = int(np.isfinite(evidence).sum())
    if not count:
        return -np.inf
    most = float(evidence.max())
    return most + float(np.log(np.exp(evidence - most).sum())) - float(np.log(count)) - PRICE


def find_runs(search: Search) -> list[Run]:
    """Return the groups of one series, the surest first; each is sought beside those before."""
    found: list[Run] = []
    while len(found) < _MOST:
        best = _best(search)
        if best is None:
            break
        search.take(best)
        found.append(best)
    return found


def _best(search: Search) -> Run | None:
    """Return the best run that is worth its price."""
    best: Run | None = None
    for sharps in (False, True):
        evidence = search.evidence(sharps)
        odds = _odds(evidence)
        if odds > 0 and (best is None or odds > best.odds):
            first, last = np.unravel_index(int(np.argmax(evidence)), evidence.shape)
            best = search.run(int(first), int(last), sharps, odds)
    return best


def find_shared_runs(one: Search, other: Search, part: float) -> list[Run]:
    """Return groups that two series share, shifted in a fixed proportion.

    A capstan line that is displaced moves key ratio and action ratio together.

    Parameters
    ----------
    one, other : read on the same keys; groups that are found are put into both.
    part : shift of the other for a shift of 1 in the first.
    """
    found: list[Run] = []
    if not np.array_equal(one.where, other.where) or len(one.where) < 2 * FEWEST_KEYS:
        return found
    members = one.members(False)
    while len(found) < _MOST:
        alone = [one.evidence(False), other.evidence(False)]
        sums = [one.sums(members), other.sums(members)]
        total = np.where(np.isfinite(alone[0]), alone[0] + alone[1], -np.inf)
        likely = np.argsort(total, axis=None)[-_LIKELY:]
        shared = np.full_like(total, -np.inf)
        for flat in likely:
            first, last = np.unravel_index(int(flat), total.shape)
            if not np.isfinite(total[first, last]):
                continue
            (pull, held), (pull_2, held_2) = ((s[0][:, first, last], s[1][:, first, last])
                                              for s in sums)  # fmt: skip
            gain = one.gains(
                pull[:, None] + part * pull_2[None, :], held[:, None] + part**2 * held_2[None, :]
            )
            most = gain.max()
            weight = one.share[:, None] * other.share[None, :]
            shared[first, last] = most + np.log(np.sum(weight * np.exp(gain - most)))
        count = int(np.isfinite(total).sum())
        best = float(shared.max())
        if not np.isfinite(best):
            break
        odds = best + float(np.log(np.exp(shared - best).sum()) - np.log(count)) - PRICE
        if odds <= 0 or odds <= max(_odds(each) for each in alone):
            break
        first, last = np.unravel_index(int(np.argmax(shared)), shared.shape)
        run = one.run(int(first), int(last), False, odds)
        one.take(run)
        other.take(run)
        found.append(run)
    return found


_LIKELY = 60
# Our own choice: the shared shift is weighed exactly on the runs that both series like best.


def columns(runs: Sequence[Run], naturals: NDArray[np.bool_]) -> Floats:
    """Return one column of 0 and 1 for each run, (K, runs)."""
    return np.column_stack([run.column(naturals) for run in runs] or [np.zeros((len(naturals), 0))])
