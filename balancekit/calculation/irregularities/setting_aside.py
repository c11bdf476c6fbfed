"""Fitting a series so that gross slips do not bend its trend.

Readings that the others do not believe are set aside one by one, the worst first. What
makes a slip show is that each reading is judged by the others alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.believed.runs import Run, columns
from balancekit.calculation.course import (
    ROBUST,
    Floats,
    Sizes,
    course_lines,
    off_neighbours,
    smooth_shapes,
)
from balancekit.calculation.irregularities.trend_grid import SolvedGrid, deviation, solve_grid

STANDS_OUT_AT = 3.6
"""Standard units beyond which a reading is not believed by the others."""
# Our own choice: a normal deviate exceeds 3.6 three times in 10,000, and a fault of 6 falls
# below 3.6 by chance 8 times in 1,000 (standard normal table).

_ONE_ASIDE_IN = 5
# Our own choice: at most one reading in five is set aside. More are not slips but the piano.

_COARSE = 8.0
# Our own choice: so many robust standard deviations off the median of its seven nearest
# of the same colour, a reading is left out of the first fit. It comes back if believed.


def _sizes_of(values: Floats, noise: Floats) -> Sizes:
    """Guess from the readings alone what to expect of them, so that no slip bears on it.

    Spread comes from the median distance to the median, scatter from the median difference
    of neighbours, and neither is below the weighing error.
    """
    least = float(np.sqrt(noise.mean())) or 1e-6 * float(np.max(np.abs(values))) or 1e-6
    spread = max(ROBUST * float(np.median(np.abs(values))), least)
    steps = np.abs(np.diff(values)) if len(values) > 1 else np.zeros(1)
    scatter = max(ROBUST * float(np.median(steps)) / np.sqrt(2), least)
    return Sizes(change=10 * spread, bend=spread, step=3 * spread, scatter=scatter)


@dataclass(frozen=True)
class Settled:
    """A fit that every reading still in it believes.

    Attributes
    ----------
    grid : the fit.
    aside : which readings were set aside, (n,).
    expected, expected_u, deviation : what the other readings say of each reading, its
        standard uncertainty, and the distance in standard units, (n,). NaN for one reading.
    """

    grid: SolvedGrid
    aside: NDArray[np.bool_]
    expected: Floats
    expected_u: Floats
    deviation: Floats


@dataclass(frozen=True)
class Series:
    """Readings ready to be fitted.

    Attributes
    ----------
    where : place of each reading among the keys, from 0, (n,).
    values, noise : reading less ``middle``, and square of its weighing error, (n,).
    naturals : which keys are naturals, (K,).
    expected : what is expected before weighing.
    middle : median of the readings, taken off for the sake of the arithmetic.
    groups : a column of 0 and 1 for each group of keys that is shifted together, (K, groups).
    """

    where: NDArray[np.intp]
    values: Floats
    noise: Floats
    naturals: NDArray[np.bool_]
    expected: Sizes
    middle: float
    groups: Floats

    @classmethod
    def of(
        cls,
        reading: pd.Series,
        reading_u: pd.Series,
        colours: pd.Series,
        expected: Sizes | None,
        runs: Sequence[Run] = (),
    ) -> Series:
        """Prepare readings that are indexed by every key; at least one is not NaN."""
        where = np.flatnonzero(reading.notna())
        values = reading.to_numpy(dtype=float)[where]
        noise = reading_u.to_numpy(dtype=float)[where] ** 2
        middle = float(np.median(values))
        naturals = (colours.loc[reading.index] == "natural").to_numpy()
        expected = expected or _sizes_of(values - middle, noise)
        groups = columns(runs, naturals)
        return cls(where, values - middle, noise, naturals, expected, middle, groups)

    def solve(self, used: NDArray[np.bool_]) -> SolvedGrid:
        """Fit some of the readings; the grid reaches to twice their spread about a line."""
        place = self.where[used]
        every = course_lines(self.naturals)
        line = np.column_stack([every, self.groups])[place]
        off = self.values[used] - line @ np.linalg.lstsq(line, self.values[used])[0]
        spread = 2 * float(np.sqrt(np.mean(off**2)))
        largest = (max(spread, 3 * self.expected.scatter), max(spread, 3 * self.expected.bend))
        return solve_grid(
            place, self.values[used], self.noise[used], every,
            smooth_shapes(len(every)), self.expected, largest, self.groups,
        )  # fmt: skip

    def settle(self) -> Settled:
        """Fit, set the worst reading aside, and fit again until all are believed."""
        most = len(self.values) // _ONE_ASIDE_IN
        settled = self._judge(self._far_off())
        aside = settled.aside & (np.abs(settled.deviation) > STANDS_OUT_AT)
        if aside.sum() > most:
            aside = np.zeros_like(aside)
        while True:
            if not np.array_equal(aside, settled.aside):
                settled = self._judge(aside)
            off = np.where(aside, 0.0, np.nan_to_num(np.abs(settled.deviation)))
            worst = int(np.argmax(off))
            if off[worst] <= STANDS_OUT_AT or aside.sum() >= most:
                return settled
            aside = aside.copy()
            aside[worst] = True

    def _far_off(self) -> NDArray[np.bool_]:
        """Mark readings far off the median of their neighbours of the same colour."""
        off = off_neighbours(self.values, self.naturals[self.where])
        spread = ROBUST * float(np.median(np.abs(off)))
        result: NDArray[np.bool_] = np.abs(off) > _COARSE * np.sqrt(
            spread**2 + self.noise + (0.1 * self.expected.scatter) ** 2
        )
        return result

    def _judge(self, aside: NDArray[np.bool_]) -> Settled:
        """Fit the readings that are not aside, and hold every reading against the others."""
        grid = self.solve(~aside)
        expected, spread, off = (np.full(len(self.values), np.nan) for _ in range(3))
        if len(grid.used) > 1:
            mean, variance, log_weight = grid.without_own()
            weight = np.exp(log_weight)
            expected[~aside] = middle = np.sum(weight * mean, axis=(0, 1))
            square = np.sum(weight * (variance + (mean - middle) ** 2), axis=(0, 1))
            spread[~aside] = np.sqrt(square)
            off[~aside] = deviation(grid.values, mean, variance, log_weight)
        if aside.any():
            places = self.where[aside]
            mean = grid.mean[..., places]
            total = (grid.scatter**2)[:, None, None] + self.noise[aside]
            variance = grid.variance[..., places] + total
            log_weight = np.log(np.maximum(grid.weight, 1e-300))[..., None]
            expected[aside], spread[aside] = grid.mix(mean, variance)
            off[aside] = deviation(self.values[aside], mean, variance, log_weight)
        return Settled(grid, aside, expected, spread, off)
