"""Curves from levels and from a fit; the plan and its totals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from balancekit.calculation.hammers.hammer_curve import (
    curve_from_levels,
    fitted_curve,
    hammer_totals,
    plan,
)
from balancekit.calculation.problems import BalancekitError

KEYS = pd.RangeIndex(1, 89, name="key")


def scattered(seed: int, scatter_g: float = 0.3) -> pd.Series:
    along = np.linspace(0, 1, 88)
    noise = np.random.default_rng(seed).normal(0, scatter_g, 88)
    return pd.Series(11.5 - 5 * along - 1.5 * along**3 + noise, index=KEYS)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0.5, 15.0), min_size=1, max_size=5))
def test_a_curve_goes_through_its_levels_and_falls(heights):
    places = np.linspace(1, 88, len(heights)).round().astype(int)
    levels_g = dict(zip(places.tolist(), sorted(heights, reverse=True), strict=True))
    curve = curve_from_levels(levels_g, KEYS)
    assert curve.diff().dropna().le(1e-12).all()
    assert curve.loc[list(levels_g)].tolist() == pytest.approx(list(levels_g.values()), abs=1e-12)


def test_levels_inside_the_keyboard_hold_to_its_ends():
    curve = curve_from_levels({10: 9.0, 80: 5.0}, KEYS)
    assert curve.loc[[1, 10, 80, 88]].tolist() == [9.0, 9.0, 5.0, 5.0]


def test_a_fit_falls_and_stays_close_to_the_truth():
    truth = scattered(0, 0.0)
    fit = fitted_curve(scattered(0))
    assert fit.diff().dropna().le(1e-9).all()
    # Seven coefficients from 88 hammers: sqrt(7 / 88) of the scatter on average (least
    # squares, any textbook); twice that is allowed.
    assert np.sqrt(((fit - truth) ** 2).mean()) < 2 * 0.3 * np.sqrt(7 / 88)


def test_no_falling_parabola_fits_better():
    """A falling parabola is one of the falling splines, so it cannot fit better.

    The parabola's fit is found by scipy's general minimiser (SLSQP).
    """
    found = scattered(3)
    along = np.linspace(0, 1, 88)

    def squares(p):
        return float(((p[0] - p[1] * along - p[2] * along**2 - found.to_numpy()) ** 2).sum())

    falls = [
        {"type": "ineq", "fun": lambda p: p[1]},
        {"type": "ineq", "fun": lambda p: p[1] + 2 * p[2]},
    ]
    parabola = minimize(squares, [11.0, 5.0, 0.0], constraints=falls, method="SLSQP").fun
    assert ((fitted_curve(found) - found) ** 2).sum() <= parabola + 1e-6


def test_rising_hammers_are_fitted_by_a_level():
    """The best falling fit of a straight rise is its mean (isotonic regression)."""
    rising = pd.Series(np.linspace(5.0, 6.0, 88), index=KEYS)
    assert fitted_curve(rising).to_numpy() == pytest.approx(5.5, abs=1e-9)


@pytest.mark.parametrize("known", [1, 2, 3, 5, 9])
def test_a_fit_to_few_keys_is_sensible(known):
    sparse = pd.Series(np.nan, index=KEYS)
    places = np.linspace(1, 88, known).round().astype(int)
    sparse.loc[places] = np.linspace(10, 6, known)
    fit = fitted_curve(sparse)
    assert fit.diff().dropna().le(1e-9).all()
    assert fit.between(5.9, 10.1).all()


def test_a_plan_by_hand():
    """Five hammers, weighed to 0.1 g: changes up to 0.2 g are left."""
    keys = pd.RangeIndex(1, 6, name="key")
    found = pd.Series([10.5, 9.9, 9.0, np.nan, 8.0], index=keys)
    target = pd.Series([10.0, 9.8, 9.6, 9.4, 9.2], index=keys)
    planned = plan(found, target, most_added_g=1.0)
    assert planned["work"].tolist() == ["trim", "leave", "add", "not weighed", "add"]
    assert planned["trimmed_g"].fillna(0).tolist() == pytest.approx([0.5, 0, 0, 0, 0])
    assert planned["added_g"].fillna(0).tolist() == pytest.approx([0, 0, 0.6, 0, 1.0])
    assert planned["planned_strike_weight_g"].tolist() == pytest.approx([10, 9.9, 9.6, 9.4, 9])
    assert planned["left_over_g"].tolist() == pytest.approx([0, 0.1, 0, 0, -0.2])
    total = hammer_totals(planned)
    assert (total.trimmed_g, total.added_g) == pytest.approx((0.5, 1.6))
    assert (total.touched_count, total.leave_count, total.unknown_count) == (3, 1, 1)
    assert total.sentence == (
        "Hammers: trim 0.5 g in all off 1, add 1.6 g to 2, leave 1; 1 not weighed."
    )


def test_weighing_more_exactly_leaves_fewer_hammers():
    found, target = scattered(1), scattered(1, 0.0)
    counts = [
        hammer_totals(plan(found, target, strike_weight_u_g=u)).touched_count
        for u in (0.0, 0.1, 0.2, 0.5)
    ]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] == 88


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: curve_from_levels({}, KEYS), "No level"),
        (lambda: curve_from_levels({1: -3.0}, KEYS), "Level"),
        (lambda: curve_from_levels({1: 9.0, 88: 9.5}, KEYS), "above the 9 g at key 1"),
        (lambda: fitted_curve(pd.Series(np.nan, index=KEYS)), "No strike weight"),
        (lambda: fitted_curve(-scattered(0)), "Strike weight"),
        (lambda: plan(scattered(0), scattered(0).iloc[:40]), "keys 41 to 88"),
        (lambda: plan(scattered(0), scattered(0), strike_weight_u_g=-1.0), "Uncertainty"),
        (lambda: plan(scattered(0), scattered(0), most_trimmed_g=-1.0), "Most that may be"),
    ],
)
def test_bad_input_is_said(call, words):
    with pytest.raises(BalancekitError, match=words):
        call()
