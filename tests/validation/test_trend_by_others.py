"""The trend's algebra against scikit-learn, statsmodels and scipy, where they solve the same.

- scikit-learn, GaussianProcessRegressor: same covariance, in function space.
- statsmodels, hp_filter: Hodrick and Prescott, J. Money, Credit and Banking 29 (1997) 1; on its
  own data set of US real GDP (macrodata).
- statsmodels, UnobservedComponents "smooth trend", exact diffuse start: Durbin and Koopman,
  Time Series Analysis by State Space Methods; on the Nile data set that it carries.
- scipy, make_smoothing_spline: the same with a curve in place of separate keys; Nile again.

All bends of 26 keys are taken there, so that nothing is left out.
"""

from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.interpolate import make_smoothing_spline
from sklearn.gaussian_process import GaussianProcessRegressor
from statsmodels.tsa.filters.hp_filter import hpfilter

from balancekit.calculation.course import Sizes, bend_shapes, course_lines, smooth_shapes
from balancekit.calculation.irregularities.trend_grid import SolvedGrid, log_prior, solve_grid
from tests.calculation.given_kernel import Given

GUARDS = (
    "balancekit.calculation.irregularities.trend_grid.solve_grid",
    "balancekit.calculation.irregularities.trend_grid.log_prior",
    "balancekit.calculation.course.smooth_shapes",
)

KEYS = 26
ALL = np.arange(KEYS)
LINE_ONLY = Sizes(change=1e5, bend=1, step=1e-6, scatter=1)
"""A line that is free, and no step."""


def second_difference(bend: float) -> float:
    """Variance of one second difference of a trend with bends of a given size."""
    first = bend_shapes(KEYS)[:, 0]
    curvature = np.diff(first, n=2) @ np.diff(first, n=2)
    # A shape has unit length / sqrt(eigenvalue) x size, so its curvature is size squared.
    return float(bend**2 * curvature)


def solve(
    values: Any, scatter: float, bend: float, used: Any = ALL, noise: Any = 0.0
) -> SolvedGrid:
    """Solve with one scatter and one bend: the largest of each, the last on the grid."""
    return solve_grid(
        np.asarray(used), np.asarray(values, dtype=float), np.broadcast_to(noise, len(used)) * 1.0,
        course_lines(np.ones(KEYS, dtype=bool)), bend_shapes(KEYS), LINE_ONLY, (scatter, bend),
    )  # fmt: skip


def test_scikit_learn_gives_the_same_trend_band_and_likelihood() -> None:
    """88 keys, naturals and sharps, errors that differ, some keys not weighed."""
    draw = np.random.default_rng(0)
    lines, shapes = course_lines(np.arange(88) % 12 < 7), smooth_shapes(88)
    used = np.sort(draw.choice(88, 60, replace=False))
    noise = draw.uniform(0.2, 0.8, 60) ** 2
    expected = Sizes(change=4, bend=1, step=1, scatter=0.5)
    values = 2 * np.sin(4 * lines[used, 1]) + draw.normal(0, 0.7, 60)
    grid = solve_grid(used, values, noise, lines, shapes, expected, (0.5, 1.0))

    level = 1e3
    fixed = lines * [level, expected.change, expected.step, expected.step]
    likelihoods = []
    for bend_at in (-1, -3):
        bends = shapes * grid.bend[bend_at]
        table = fixed @ fixed.T + bends @ bends.T
        machine = GaussianProcessRegressor(Given(table), alpha=noise + 0.25, optimizer=None)
        machine.fit(used[:, None], values)
        mean, spread = machine.predict(np.arange(88)[:, None], return_std=True)
        assert grid.mean[-1, bend_at] == pytest.approx(mean, abs=1e-4)
        assert np.sqrt(grid.variance[-1, bend_at]) == pytest.approx(spread, rel=1e-4)
        prior = log_prior(grid.bend[bend_at], expected.bend)
        likelihoods.append(machine.log_marginal_likelihood_value_ + prior)
        # A key's own value: the scatter belongs to it, only the weighing does not.
        own = Given(table + 0.25 * np.eye(88))
        machine = GaussianProcessRegressor(own, alpha=noise, optimizer=None)
        machine.fit(used[:, None], values)
        mean, spread = machine.predict(np.arange(88)[:, None], return_std=True)
        of_keys, variances = grid.key_values()
        assert of_keys[-1, bend_at] == pytest.approx(mean, abs=1e-4)
        assert np.sqrt(variances[-1, bend_at]) == pytest.approx(spread, rel=1e-4)
    difference = grid.log_weight[-1, -1] - grid.log_weight[-1, -3]
    assert difference == pytest.approx(likelihoods[0] - likelihoods[1], abs=1e-4)


def test_statsmodels_filter_gives_the_same_trend() -> None:
    values = np.log(sm.datasets.macrodata.load_pandas().data["realgdp"].to_numpy()[:KEYS])
    for bend in (0.003, 0.03):
        grid = solve(values - values.mean(), 0.01, bend)
        _, trend = hpfilter(values - values.mean(), lamb=0.01**2 / second_difference(bend))
        assert grid.mean[-1, -1] == pytest.approx(np.asarray(trend), abs=1e-7)


def test_statsmodels_state_space_gives_the_same_trend_band_and_likelihood() -> None:
    values = sm.datasets.nile.load_pandas().data["volume"].to_numpy()[:KEYS]
    values = values - values.mean()
    model = sm.tsa.UnobservedComponents(values, "smooth trend", use_exact_diffuse=True)
    found = []
    for bend in (100.0, 300.0):
        grid = solve(values, 120.0, bend)
        smoothed = model.smooth([120.0**2, second_difference(bend)])
        assert grid.mean[-1, -1] == pytest.approx(smoothed.level.smoothed, abs=1e-2)
        assert grid.variance[-1, -1] == pytest.approx(smoothed.level.smoothed_cov, rel=1e-4)
        prior = log_prior(grid.bend[-1], LINE_ONLY.bend)
        found.append((grid.log_weight[-1, -1] - prior, smoothed.llf))
    (ours, theirs), (ours_more, theirs_more) = found
    assert ours - ours_more == pytest.approx(theirs - theirs_more, abs=1e-4)


def test_scipy_smoothing_spline_agrees_but_for_its_curve_between_keys() -> None:
    values = sm.datasets.nile.load_pandas().data["volume"].to_numpy()[:KEYS]
    grid = solve(values - values.mean(), 120.0, 300.0)
    spline = make_smoothing_spline(
        np.arange(KEYS), values - values.mean(), lam=120.0**2 / second_difference(300.0)
    )
    # Integral and sum of squared curvature differ by the ends of the keyboard.
    assert grid.mean[-1, -1] == pytest.approx(spline(np.arange(KEYS)), abs=0.05 * values.std())


def test_leaving_one_out_is_the_same_as_leaving_it_out() -> None:
    """The closed form of Rasmussen and Williams, 5.4.2, against fits without the reading."""
    values = sm.datasets.nile.load_pandas().data["volume"].to_numpy()[:KEYS]
    values = values - values.mean()
    mean, variance, _ = solve(values, 120.0, 300.0, noise=50.0**2).without_own()
    for gone in (0, 7, 25):
        rest = np.delete(ALL, gone)
        grid = solve(values[rest], 120.0, 300.0, rest, 50.0**2)
        assert mean[-1, -1, gone] == pytest.approx(grid.mean[-1, -1, gone], abs=1e-6)
        whole = grid.variance[-1, -1, gone] + 120.0**2 + 50.0**2
        assert variance[-1, -1, gone] == pytest.approx(whole, rel=1e-8)
