"""One series laid on a grid of sizes: scatter, bends, and errors that neighbours share.

Nothing is decided here. Each point of the grid is weighed by its marginal likelihood and prior,
and from all of them come the evidence for a group, the sizes, and what they leave open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray

from balancekit.calculation.believed.expected_course import (
    NEIGHBOUR_SHARES,
    Axes,
    brought_near,
    error_axes,
    log_prior_of_scatter,
)
from balancekit.calculation.believed.running_sums import Turned, of_some, steps_of
from balancekit.calculation.believed.runs import Look, Run, columns
from balancekit.calculation.believed.usual import LOG_SIZES, Usual
from balancekit.calculation.course import (
    EXPECTED,
    Floats,
    Sizes,
    course_lines,
    log_prior_of_size,
    size_grid,
    smooth_shapes,
)

_SHARES: list[float] = [*NEIGHBOUR_SHARES]

_NOTHING = 30.0
# Our own choice: a reading that is odd alone counts as one this many times less sure.

_SCATTER, _BEND = (7, 1.7), (6, 3.0)
# Points and factor of the two sizes: coarse, because sums over them are smooth.

_USUAL_BEND = 0.25
# Our own choice: what is expected of a bend is wide on purpose, and most courses bend by less than
# this part of it. A course that may bend freely takes a group in: with the whole of it shifts of
# six standard errors are found a third less often (tests/benchmarks/group_limit.py), and not fewer
# groups are seen where none is, also with bends three times as large.

FEWEST_READINGS = 12
# Our own choice: on fewer readings a group cannot be told from a course that bends.

_HOPELESS = 45.0
# Points of the grid whose log weight is so far below the best are left out: e^-45 of it. A
# group that is put in raises what needs less scatter by as much.

_NEEDLESS = 8.0
# The same below the best of those that need less scatter, bend and errors shared by neighbours.


@dataclass
class Search:
    """One series as every point of a small grid of sizes sees it.

    Attributes
    ----------
    where, read, noise : place of each reading among the keys, the reading less ``middle``, and the
        square of its weighing error, (n,).
    naturals : which keys are naturals.
    expected : what is expected of the series before it is weighed.
    usual : what is usual of its scatter.
    middle : median of the readings, taken off for the sake of the arithmetic.
    runs, shifts : groups that are put into the course, and about how far each is shifted.
    values : readings, far ones brought near, (n,).
    errors : squares and axes of the weighing errors for each of ``NEIGHBOUR_SHARES``.
    scatter, bend : the grid, (s,) and (b,).
    whole : log of likelihood x prior at each point of it, (s, 3, b).
    running : sums of Q, the inverse covariance of the readings, and of Qy, at the points that
        are not hopeless; see ``running_sums``, (G, n + 2, n + 2).
    weight, sizes : log weight, and scatter, bend and the part of the weighing errors' variance
        that neighbours share, at these points, (G,) and (G, 3).
    ends : covariance of the true values of the keys that were read, because the ends of the
        groups are not sure, (n, n).
    looks : what was worked out since the last group was put in, by whether of sharps only.
    """

    where: NDArray[np.intp]
    read: Floats
    noise: Floats
    naturals: NDArray[np.bool_]
    expected: Sizes
    usual: Usual = field(default_factory=Usual)
    middle: float = 0.0
    runs: tuple[Run, ...] = ()
    shifts: tuple[float, ...] = ()
    values: Floats = field(init=False)
    errors: list[Axes] = field(init=False)
    scatter: Floats = field(init=False)
    bend: Floats = field(init=False)
    whole: Floats = field(init=False)
    running: Floats = field(init=False)
    weight: Floats = field(init=False)
    sizes: Floats = field(init=False)
    ends: Floats | float = field(init=False, default=0.0)
    looks: dict[bool, Look] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.errors = [error_axes(self.where, self.noise, share) for share in _SHARES]
        self._prepare()

    def _prepare(self) -> None:
        """Lay the series on the grid, with the groups that are known by now."""
        steps, expected = columns(self.runs, self.naturals)[self.where], self.expected
        moved = steps @ np.array(self.shifts)
        near, spread, alone = brought_near(self.read - moved, self.noise, self.naturals[self.where])
        self.values = near + moved
        self.scatter = size_grid(3 * max(spread, 0.5 * expected.scatter), *_SCATTER)
        self.bend = size_grid(max(10 * float(np.std(self.values)), 3 * expected.bend), *_BEND)
        odd = _NOTHING * spread * np.eye(len(alone))[:, alone]
        shapes, known = self._course(np.hstack([self.expected.step * steps, odd]))
        turned = [
            Turned.of(errors, self.values, shapes, self.scatter, known) for errors in self.errors
        ]
        self.whole = np.stack([each.weight for each in turned], axis=1)
        self.whole += self._before()[:, None, None]
        self.whole += np.log([*NEIGHBOUR_SHARES.values()])[:, None]
        self.whole += log_prior_of_size(self.bend, _USUAL_BEND * expected.bend)
        self._keep(turned)

    def _course(self, beside: Floats) -> tuple[Floats, Floats]:
        """Return the shapes of the course, and what each is known by at each size of it.

        ``beside`` are shifts of groups and of readings that are odd alone.
        """
        expected = self.expected
        level = 100.0 * (np.ptp(self.values) + expected.change)
        wide = [level, expected.change, expected.step, expected.step]
        line = course_lines(self.naturals)[self.where] * wide
        bends = smooth_shapes(len(self.naturals))[self.where]
        shapes = np.hstack([line, beside, bends])
        known = np.ones((len(self.bend), shapes.shape[1]))
        known[:, -bends.shape[1] :] = 1 / self.bend[:, None] ** 2
        return shapes, known

    def _keep(self, turned: Sequence[Turned]) -> None:
        """Work the running sums out at the points that a group could make likely."""
        kept = _worth_a_look(self.whole + self._as_expected(self.bend)).swapaxes(0, 1)
        part, scatter, bend = np.nonzero(kept)
        self.weight = self.whole[scatter, part, bend]
        shares = np.array(_SHARES)[part]
        self.sizes = np.column_stack([self.scatter[scatter], self.bend[bend], shares])
        self.running = np.empty((len(part), len(self.where) + 2, len(self.where) + 2))
        points = (
            sums for each, own in zip(turned, kept, strict=True) for sums in each.running(own)
        )
        for place, sums in zip(self.running, points, strict=True):
            place[:] = sums
        self.looks.clear()

    def left_open(self) -> Floats:
        """Return the covariance of the true values that the sizes being open makes, (K, K).

        With other sizes the same readings are drawn further or less far towards the course.
        """
        drawn = self._drawn(np.diff(self.running[:, :-1, -1]))
        share = _adding_up(self.weight + self._as_expected(self.sizes[:, 1]))
        off = (drawn - share @ drawn) * np.sqrt(share)[:, None]
        result = np.zeros((len(self.naturals),) * 2)
        result[np.ix_(self.where, self.where)] = off.T @ off + self.ends
        return result

    def _drawn(self, pulls: Floats) -> Floats:
        """Return how far the errors are drawn at each point of the grid, (G, n)."""
        drawn = np.empty_like(pulls)
        for (square, axes), part in zip(self.errors, _SHARES, strict=True):
            at = self.sizes[:, 2] == part
            drawn[at] = (pulls[at] @ axes * square) @ axes.T
        return drawn

    def other_ends(
        self, first: NDArray[np.intp], last: NDArray[np.intp], sharps: bool
    ) -> tuple[Floats, Floats]:
        """Hold other ends against those of the group that was taken last.

        Parameters
        ----------
        first, last : readings at which it may begin and end, (R,).
        sharps : whether only the sharps belong to it.

        Returns
        -------
        log evidence for each, (R,), and how far the true values are drawn with it, (R, n).
        """
        own = self.runs[-1].column(self.naturals)[self.where]
        steps = steps_of(own)
        lean = self.running @ steps
        back = self.shift**2 / (1 - self.shift**2 * (lean @ steps))
        plain = self.running + back[:, None, None] * lean[:, :, None] * lean[:, None, :]
        before = self.weight - self._with(own, plain)[2]
        readings = np.arange(len(self.where))
        inside = (readings >= first[:, None]) & (readings <= last[:, None])
        if sharps:
            inside &= ~self.naturals[self.where]
        evidence, drawn = np.empty(len(first)), np.empty(inside.shape)
        for number, column in enumerate(inside.astype(float)):
            lean, shift, gain = self._with(column, plain)
            raw = np.exp(before + gain - (most := (before + gain).max()))
            evidence[number] = most + np.log(raw.sum())
            drawn[number] = (raw / raw.sum() * shift) @ self._drawn(np.diff(lean[:, :-1]))
        return evidence, drawn

    def doubt_ends(self, evidence: Floats, off: Floats) -> None:
        """Take in that other ends are possible, with the true values so far off, (R, n)."""
        each = off * np.sqrt(_adding_up(evidence))[:, None]
        self.ends = self.ends + each.T @ each

    def _with(self, column: Floats, running: Floats) -> tuple[Floats, Floats, Floats]:
        """Return h'Q run along, the shift, and the log evidence for it, at every point."""
        steps = steps_of(column)
        lean = running @ steps
        held, pull = lean @ steps, lean[:, -1]
        wide = 1 + self.shift**2 * held
        shift = self.shift**2 / wide * pull
        return lean, shift, 0.5 * (shift * pull - np.log(wide))

    def told(self) -> Floats:
        """Return the evidence for each part that neighbours may share, by its prior, (3,)."""
        parts = [self.share[self.sizes[:, 2] == part].sum() for part in NEIGHBOUR_SHARES]
        result: Floats = np.array(parts) / np.array([*NEIGHBOUR_SHARES.values()])
        return result

    def expect(self, shares: Floats) -> None:
        """Take another prior of the part that neighbours share."""
        factors = shares / np.array([*NEIGHBOUR_SHARES.values()])
        for number, (part, factor) in enumerate(zip(NEIGHBOUR_SHARES, factors, strict=True)):
            self.weight[self.sizes[:, 2] == part] += np.log(factor)
            self.whole[:, number] += np.log(factor)

    def mixed(self) -> tuple[float, float, float, float]:
        """Return scatter and bend as root mean squares, and the mean part that neighbours share.

        Behind them stands the standard uncertainty of the scatter. Between the points of the
        scatter the log weight is a smooth curve. Here a course may bend by all that is expected, so
        that bands are not too narrow where one does.
        """
        whole = self.whole + self._as_expected(self.bend)
        log_weight = np.tensordot(_between(len(self.scatter)), whole, 1)
        share = _adding_up(log_weight)
        scatter = np.exp(_between(len(self.scatter)) @ np.log(self.scatter))
        of_scatter = share.sum(axis=(1, 2))
        scatter_mean = of_scatter @ scatter**2
        scatter_u = (of_scatter @ (scatter - of_scatter @ scatter) ** 2) ** 0.5
        bend_mean = share.sum(axis=(0, 1)) @ self.bend**2
        neighbours = share.sum(axis=(0, 2)) @ np.array([*NEIGHBOUR_SHARES])
        return float(scatter_mean**0.5), float(bend_mean**0.5), float(neighbours), float(scatter_u)

    def scatter_told(self) -> Floats:
        """Return the log likelihood of the scatter at ``usual.LOG_SIZES``, all else left open."""
        between = _between(len(self.scatter))
        alone = np.tensordot(between, self.whole - self._before()[:, None, None], 1)
        most = alone.max()
        logs = most + np.log(np.maximum(np.exp(alone - most).sum(axis=(1, 2)), 1e-300))
        result: Floats = np.interp(
            LOG_SIZES, between @ np.log(self.scatter / self.expected.scatter), logs
        )
        return result

    def _before(self) -> Floats:
        """Return what is known of the scatter before it is read, as logs."""
        middle = self.usual.scatter * self.expected.scatter
        return log_prior_of_scatter(self.scatter, middle, self.usual.within)

    def _as_expected(self, bend: Floats) -> Floats:
        """Return what makes the log weight of bends one by all that is expected of them."""
        result: Floats = log_prior_of_size(bend, self.expected.bend)
        return result - log_prior_of_size(bend, _USUAL_BEND * self.expected.bend)

    def look(self, sharps: bool) -> Look:
        """Return the evidence for every run of the keys, or of the sharps, as it now stands."""
        if sharps not in self.looks:
            readings, running = np.arange(len(self.where)), self.running
            if sharps:
                readings = np.flatnonzero(~self.naturals[self.where])
                running = of_some(running, readings)
            self.looks[sharps] = Look.of(running, self.share, self.shift, readings, sharps)
        return self.looks[sharps]

    @property
    def shift(self) -> float:
        """Prior size of a shift."""
        return self.expected.step

    @property
    def share(self) -> Floats:
        """Weights of the points of the grid, adding up to 1."""
        return _adding_up(self.weight)

    def take(self, run: Run) -> None:
        """Put a group into the course, and look at all sizes anew."""
        _, shift, gain = self._with(run.column(self.naturals)[self.where], self.running)
        moved = float(_adding_up(self.weight + gain) @ shift)
        self.hold((*self.runs, run), (*self.shifts, moved))

    def hold(self, runs: tuple[Run, ...], shifts: tuple[float, ...]) -> None:
        """Have these groups in the course, about so far shifted, and look at all sizes anew."""
        self.runs, self.shifts = runs, shifts
        self._prepare()

    @property
    def evidence(self) -> float:
        """Log of how likely the readings are with the groups in the course, all sizes open."""
        return float(scipy.special.logsumexp(self.weight))

    def run(self, first: int, last: int, sharps: bool, odds: float) -> Run:
        """Return a run of readings as a run of keys; the shorter side, if it reaches an end."""
        count = len(self.where)
        if not sharps and last - first + 1 > count / 2 and (first == 0 or last == count - 1):
            first, last = (last + 1, count - 1) if first == 0 else (0, first - 1)
        low = 0 if first == 0 else int(self.where[first])
        high = len(self.naturals) - 1 if last == count - 1 else int(self.where[last])
        return Run(low, high, sharps, odds)


def search_of(
    values: pd.Series,
    values_u: pd.Series,
    colours: pd.Series,
    quantity: str,
    usual: Usual | None = None,
    fewest: int = FEWEST_READINGS,
) -> Search | None:
    """Return one series ready to be searched, or None for too few readings.

    Parameters
    ----------
    values, values_u : by key; a value of NaN was not read, an uncertainty of NaN counts as 0.
    colours : "natural" or "sharp", by the same index.
    quantity : what the values are of; it says how much a series may bend and scatter.
    usual : what is usual in one's own shop.
    fewest : fewer readings than this are too few; less than stated only where no group is sought.
    """
    read = values.to_numpy(dtype=np.float64)
    where = np.flatnonzero(np.isfinite(read))
    if len(where) < max(fewest, 1):
        return None
    middle, noise = float(np.median(read[where])), values_u.fillna(0.0).to_numpy(float)[where] ** 2
    naturals = (colours.loc[values.index] == "natural").to_numpy()
    return Search(where, read[where] - middle, noise, naturals, EXPECTED[quantity],
                  usual or Usual(), middle)  # fmt: skip


def _adding_up(weight: Floats) -> Floats:
    """Return weights that are given as logs, adding up to 1."""
    raw = np.exp(weight - weight.max())
    result: Floats = raw / raw.sum()
    return result


def _worth_a_look(whole: Floats) -> NDArray[np.bool_]:
    """Tell which points of the grid a group could make likely, (s, 3, b).

    A group takes scatter, bends and errors of neighbours away. So a point is hopeless if it is far
    less likely than the best, or less likely than one that needs less of all three.
    """
    less = whole
    for axis in range(whole.ndim):
        less = np.maximum.accumulate(less, axis=axis)
    result: NDArray[np.bool_] = (whole > whole.max() - _HOPELESS) & (whole > less - _NEEDLESS)
    return result


@lru_cache(maxsize=8)
def _between(points: int) -> Floats:
    """Return what makes values at so many even points into values between them as well."""
    fine = np.linspace(0, points - 1, 6 * points - 5)
    result: Floats = scipy.interpolate.CubicSpline(np.arange(points), np.eye(points))(fine)
    return result
