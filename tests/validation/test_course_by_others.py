"""The course's algebra against scikit-learn, statsmodels and scipy, where they solve the same.

- scikit-learn, GaussianProcessRegressor: same covariance, in function space.
- statsmodels, hp_filter: Hodrick and Prescott, J. Money, Credit and Banking 29 (1997) 1; on its
  own data set of US real GDP (macrodata).
- statsmodels, UnobservedComponents "smooth trend", exact diffuse start: Durbin and Koopman,
  Time Series Analysis by State Space Methods; on the Nile data set that it carries.
- scipy, make_smoothing_spline: the same with a curve in place of separate keys; Nile again.

All bends of 26 keys are taken there, so that nothing is left out.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.interpolate import make_smoothing_spline
from sklearn.gaussian_process import GaussianProcessRegressor
from statsmodels.tsa.filters.hp_filter import hpfilter

from balancekit.calculation.believed.one_series import course_of
from balancekit.calculation.believed.running_sums import Turned
from balancekit.calculation.believed.search import search_of
from balancekit.calculation.course import EXPECTED, bend_shapes, course_lines, smooth_shapes
from tests.calculation.given_kernel import Given
from tests.calculation.series import BOARD

GUARDS = (
    "balancekit.calculation.believed.running_sums.Turned",
    "balancekit.calculation.believed.one_series.course_of",
    "balancekit.calculation.course.smooth_shapes",
)

KEYS = 26
ALL = np.arange(KEYS)
FREE = 1e5
"""Standard deviation of a line that is free."""


def second_difference(bend: float) -> float:
    """Variance of one second difference of a trend with bends of a given size."""
    first = bend_shapes(KEYS)[:, 0]
    curvature = np.diff(first, n=2) @ np.diff(first, n=2)
    # A shape has unit length / sqrt(eigenvalue) x size, so its curvature is size squared.
    return float(bend**2 * curvature)


@dataclass(frozen=True)
class Solved:
    """Readings with a course of one size: course at each, Q, Qy, and the log likelihood."""

    course: np.ndarray
    inverse: np.ndarray
    left: np.ndarray
    weight: float


def solve(values: Any, scatter: float, bend: float, used: Any = ALL) -> Solved:
    """Solve with one scatter and one bend, and no weighing error."""
    read = np.asarray(values, dtype=float)
    line = FREE * course_lines(np.ones(KEYS, dtype=bool))[used, :2]
    bends = bend_shapes(KEYS)[used]
    known = np.concatenate([[1.0, 1.0], np.full(bends.shape[1], bend**-2)])
    exact = np.zeros(len(read)), np.eye(len(read))
    turned = Turned.of(exact, read, np.hstack([line, bends]), np.array([scatter]), known[None])
    running = next(turned.running(np.array([[True]])))
    left = np.diff(running[:-1, -1])
    inverse = np.diff(np.diff(running[:-1, :-1], axis=0), axis=1)
    return Solved(read - scatter**2 * left, inverse, left, float(turned.weight[0, 0]))


def test_scikit_learn_gives_the_same_values_and_bands() -> None:
    """88 keys, naturals and sharps, errors that differ, some keys not weighed."""
    draw = np.random.default_rng(0)
    values = pd.Series(12 - BOARD.index / 20 + draw.normal(0, 1.1, 88), BOARD.index)
    values[draw.choice(BOARD.index, 28, replace=False)] = np.nan
    errors = pd.Series(draw.uniform(0.2, 0.8, 88), BOARD.index)
    search = search_of(values, errors, BOARD["colour"], "friction_g")
    assert search is not None and np.allclose(search.values, search.read)  # none is far off
    found, sizes = course_of(search), EXPECTED["friction_g"]
    level = 10 * (float(np.ptp(search.values)) + sizes.change)
    lines = course_lines(search.naturals) * [level, sizes.change, sizes.step, sizes.step]
    bends = found.bend * smooth_shapes(88)
    table = lines @ lines.T + bends @ bends.T + found.scatter**2 * np.eye(88)
    at = search.where
    apart = np.exp(-0.5 * (np.subtract.outer(at, at) / 2) ** 2)
    noise = found.neighbours * apart + (1 - found.neighbours) * np.eye(len(at))
    noise *= np.outer(errors.to_numpy()[at], errors.to_numpy()[at])
    seen = table.copy()
    seen[np.ix_(at, at)] += noise
    middle = np.nanmedian(values)
    machine = GaussianProcessRegressor(Given(seen), alpha=1e-9 * found.scatter**2, optimizer=None)
    machine.fit(at[:, None], values.to_numpy()[at] - middle)
    # Readings carry the errors, true values do not: scikit-learn's own weights, our covariance.
    assert found.guess == pytest.approx(middle + table[:, at] @ machine.alpha_, abs=1e-6)
    half = np.linalg.solve(machine.L_, table[at])
    spread = np.sqrt(np.diagonal(table) - np.sum(half**2, axis=0))
    assert found.guess_u == pytest.approx(spread, rel=1e-5)


def test_statsmodels_filter_gives_the_same_trend() -> None:
    values = np.log(sm.datasets.macrodata.load_pandas().data["realgdp"].to_numpy()[:KEYS])
    values = 1000 * (values - values.mean())
    for bend in (3.0, 30.0):
        _, trend = hpfilter(values, lamb=10.0**2 / second_difference(bend))
        assert solve(values, 10.0, bend).course == pytest.approx(np.asarray(trend), abs=1e-4)


def test_statsmodels_state_space_gives_the_same_trend_and_likelihood() -> None:
    values = sm.datasets.nile.load_pandas().data["volume"].to_numpy()[:KEYS]
    values = values - values.mean()
    model = sm.tsa.UnobservedComponents(values, "smooth trend", use_exact_diffuse=True)
    found = []
    for bend in (100.0, 300.0):
        solved = solve(values, 120.0, bend)
        smoothed = model.smooth([120.0**2, second_difference(bend)])
        assert solved.course == pytest.approx(smoothed.level.smoothed, abs=1e-2)
        # The scatter is taken off by s^2 Q y, so the course's variance is s^2 - s^4 Q.
        variance = 120.0**2 - 120.0**4 * np.diagonal(solved.inverse)
        assert variance == pytest.approx(smoothed.level.smoothed_cov, rel=1e-4)
        found.append((solved.weight, smoothed.llf))
    (ours, theirs), (ours_more, theirs_more) = found
    assert ours - ours_more == pytest.approx(theirs - theirs_more, abs=1e-4)


def test_scipy_smoothing_spline_agrees_but_for_its_curve_between_keys() -> None:
    values = sm.datasets.nile.load_pandas().data["volume"].to_numpy()[:KEYS]
    course = solve(values - values.mean(), 120.0, 300.0).course
    spline = make_smoothing_spline(
        np.arange(KEYS), values - values.mean(), lam=120.0**2 / second_difference(300.0)
    )
    # Integral and sum of squared curvature differ by the ends of the keyboard.
    assert course == pytest.approx(spline(np.arange(KEYS)), abs=0.05 * values.std())


def test_leaving_one_out_is_the_same_as_leaving_it_out() -> None:
    """Rasmussen and Williams, 5.4.2: the likelihood of all is that of the rest, and of the one."""
    values = sm.datasets.nile.load_pandas().data["volume"].to_numpy()[:KEYS]
    values = values - values.mean()
    whole = solve(values, 120.0, 300.0)
    for gone in (0, 7, 25):
        rest = np.delete(ALL, gone)
        fewer = solve(values[rest], 120.0, 300.0, rest)
        miss, variance = whole.left[gone] / whole.inverse[gone, gone], 1 / whole.inverse[gone, gone]
        own = -0.5 * (miss**2 / variance + np.log(variance))
        assert whole.weight == pytest.approx(fewer.weight + own, abs=1e-5)
