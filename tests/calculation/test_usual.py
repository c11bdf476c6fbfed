"""What is usual in a shop: random effects against statsmodels, the scatter against plain sums."""

import numpy as np
import pytest
from scipy.stats import norm, t
from statsmodels.stats.meta_analysis import combine_effects

from balancekit.calculation.believed.expected_course import USUAL_SCATTER, WITHIN
from balancekit.calculation.believed.usual import (
    LOG_SIZES,
    next_one,
    random_effects,
    usual_scatter,
)

LEVELS = np.array([0.498, 0.512, 0.505, 0.489, 0.515, 0.502])
SPREAD = np.array([0.001, 0.004, 0.002, 0.001, 0.006, 0.003])


def test_mean_and_variance_between_instruments_are_those_of_statsmodels() -> None:
    theirs = combine_effects(LEVELS, SPREAD**2, method_re="dl")
    mean, mean_u, between = random_effects(LEVELS, SPREAD)
    assert mean == pytest.approx(theirs.mean_effect_re)
    assert mean_u == pytest.approx(theirs.sd_eff_w_re)
    assert between == pytest.approx(theirs.tau2)


def test_instruments_that_are_alike_are_pooled_as_one() -> None:
    alike = 0.5 + 0.1 * (LEVELS - 0.5)
    with np.errstate(invalid="ignore"):  # statsmodels leaves a variance below 0 as it is
        theirs = combine_effects(alike, SPREAD**2, method_re="dl")
    assert theirs.tau2 < 0
    expected = (theirs.mean_effect_fe, theirs.sd_eff_w_fe, 0.0)
    assert random_effects(alike, SPREAD) == pytest.approx(expected)


def test_the_next_instrument_lies_as_far_off_as_student_s_t_says() -> None:
    mean, mean_u, between = random_effects(LEVELS, SPREAD)
    _, off = next_one(LEVELS, SPREAD)
    reach = t.ppf(0.975, len(LEVELS) - 2) * np.hypot(mean_u, between**0.5)
    assert norm.ppf(0.975) * off == pytest.approx(reach)
    assert mean == pytest.approx(next_one(LEVELS, SPREAD)[0])


def told_by(sizes: np.ndarray, seed: int, readings: int = 88, error: float = 1.0) -> list:
    """Return log likelihoods of pianos with these scatters, written out by scipy."""
    draw = np.random.default_rng(seed)
    asked = np.exp(LOG_SIZES)
    return [
        norm.logpdf(
            draw.normal(0, np.hypot(size, error), readings)[:, None], 0, np.hypot(asked, error)
        ).sum(axis=0)
        for size in sizes
    ]


def test_without_an_instrument_the_scatter_is_as_uncertain_as_ever() -> None:
    assert usual_scatter([]) == pytest.approx((USUAL_SCATTER, WITHIN), rel=0.05)


def test_the_scatter_of_the_next_instrument_lies_where_the_shop_says() -> None:
    """Shops of twelve instruments, a thirteenth from each: it lies within, and is known better."""
    draw, inside, widths = np.random.default_rng(4), [], []
    for seed in range(60):
        middle, between = draw.normal(np.log(USUAL_SCATTER), 0.4), 0.2
        logs = draw.normal(middle, between, 13)
        scatter, within = usual_scatter(told_by(np.exp(logs[:12]), seed, error=0.5))
        inside.append(abs(logs[12] - np.log(scatter)) <= 1.96 * within)
        widths.append(within)
    assert np.mean(inside) >= 0.88  # 60 draws of 0.95 lie above 0.88 in 98 of 100 cases (binomial)
    assert np.mean(widths) < 0.7 * WITHIN
