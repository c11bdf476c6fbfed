"""Curves from levels and from a fit; the plan and its totals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import make_lsq_spline
from scipy.optimize import minimize

from balancekit.calculation.hammers.hammer_curve import (
    TARGET,
    Totals,
    curve_from_levels,
    fitted_curve,
    hammer_totals,
    plan,
)
from balancekit.calculation.hammers.least_work import LOWEST_G
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
    assert curve.name == TARGET and curve.index.equals(KEYS)
    pd.testing.assert_series_equal(curve_from_levels({80: 5.0, 10: 9.0}, KEYS), curve)
    assert (curve_from_levels({1: 9.0, 88: 9.0}, KEYS) == 9.0).all()
    assert curve_from_levels({40: LOWEST_G}, KEYS).tolist() == [LOWEST_G] * 88


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


@pytest.mark.parametrize(
    ("known", "pieces", "degree"),
    [(88, 4, 3), (14, 4, 3), (9, 3, 3), (6, 2, 3), (5, 1, 3), (3, 1, 2), (2, 1, 1)],
)
def test_where_nothing_holds_it_the_fit_is_that_of_least_squares(known, pieces, degree):
    """Against scipy's make_lsq_spline, which knows no falling, on the same even knots."""
    found = pd.Series(np.nan, index=KEYS)
    places = np.linspace(1, 88, known).round().astype(int)
    found.loc[places] = (scattered(0, 0.0) + 0.02 * np.sin(KEYS)).loc[places]
    inner = np.linspace(1, 88, pieces + 1)[1:-1]
    knots = np.concatenate([[1.0] * (degree + 1), inner, [88.0] * (degree + 1)])
    free = make_lsq_spline(places, found.loc[places], knots, k=degree)
    assert (np.diff(free.c) < 0).all()
    fit = fitted_curve(found)
    assert fit.to_numpy() == pytest.approx(free(KEYS.to_numpy()), abs=1e-9)
    assert fit.name == TARGET and fit.index.equals(KEYS)


def test_a_fit_to_one_key_is_level():
    one = pd.Series([np.nan, LOWEST_G, np.nan], index=[1, 2, 3])
    assert fitted_curve(one).tolist() == pytest.approx([LOWEST_G] * 3)
    assert fitted_curve(pd.Series([8.0], index=[7])).tolist() == pytest.approx([8.0])


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
    assert planned.columns[:3].tolist() == ["strike_weight_g", TARGET, "work"]
    total = hammer_totals(planned)
    assert (total.trimmed_g, total.added_g) == pytest.approx((0.5, 1.6))
    assert (total.touched_count, total.leave_count, total.unknown_count) == (3, 1, 1)
    assert total.sentence == (
        "Hammers: trim 0.5 g in all off 1, add 1.6 g to 2, leave 1; 1 not weighed."
    )


def test_what_is_left_and_what_is_most_by_hand():
    """A change of just so many uncertainties is left; one that is not known hides nothing."""
    keys = pd.RangeIndex(1, 7)
    found = pd.Series([10.0] * 6, index=keys)
    target = found.add([0.5, -0.5, -0.625, 0.0625, -3.0, 3.0])
    spread = pd.Series([0.25, 0.25, 0.25, np.nan, 0.25, 0.25], index=keys)
    off = pd.Series([9.0, 9.0, 9.0, 9.0, 0.75, 9.0], index=keys)
    work = plan(found, target, strike_weight_u_g=spread, most_trimmed_g=off, most_added_g=0.5)
    assert work["work"].tolist() == ["leave", "leave", "trim", "add", "trim", "leave"]
    assert work["trimmed_g"].tolist() == [0, 0, 0.625, 0, 0.75, 0]
    assert work["added_g"].tolist() == [0, 0, 0, 0.0625, 0, 0]
    assert work["left_over_g"].tolist() == [-0.5, 0.5, 0, 0, 2.25, -3.0]
    thrice = plan(found, target, strike_weight_u_g=spread, pointless=3.0)
    assert thrice["work"].tolist() == ["leave", "leave", "leave", "add", "trim", "add"]
    always = plan(found, target, strike_weight_u_g=spread, pointless=0.5)
    assert always["work"].tolist() == ["add", "trim", "trim", "add", "trim", "add"]
    # A limit that is missing is none.
    free = plan(found, target, strike_weight_u_g=spread, most_trimmed_g=off.where(off > 1))
    assert free["trimmed_g"].tolist() == [0, 0, 0.625, 0, 3.0, 0]
    # Of no work to do there is none; the usual spread of 0.1 g twice is 0.2 g.
    assert plan(found, found + 0.1999)["work"].tolist() == ["leave"] * 6
    assert hammer_totals(plan(found, found + 0.2001)) == Totals(
        0.0, pytest.approx(6 * 0.2001), 0, 6, 0, 0
    )
    assert hammer_totals(plan(found, found)) == Totals(0.0, 0.0, 0, 0, 6, 0)
    assert hammer_totals(plan(found, found)).sentence.endswith("leave 6.")


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
        (lambda: curve_from_levels({}, KEYS), "No level was given. Set the strike weight"),
        (lambda: curve_from_levels({1: -3.0}, KEYS), r"^Level \(g\) is -3. Give a number 0.5 or"),
        (lambda: curve_from_levels({1: 9.0, 88: 9.5}, KEYS),
         "level at key 88 is 9.5 g, above the 9 g at key 1. Hammers grow lighter"),
        (lambda: fitted_curve(pd.Series(np.nan, index=KEYS)),
         "No strike weight was weighed. Weigh at least one"),
        (lambda: fitted_curve(-scattered(0)), r"^Strike weight \(g\) is -.* Give a number 0.5 or"),
        (lambda: plan(scattered(0), scattered(0).iloc[:40]), "keys 41 to 88. Give one for each"),
        (lambda: plan(scattered(0).iloc[:40], scattered(0)), "other keys than the hammers"),
        (lambda: plan(scattered(0), scattered(0), pointless=-0.5),
         "^Times the standard uncertainty is -0.5. Give a number 0 or"),
        (lambda: plan(scattered(0), scattered(0), strike_weight_u_g=-1.0),
         r"^Uncertainty of the strike weight \(g\) is -1. Give a number 0 or"),
        (lambda: plan(scattered(0), scattered(0), most_trimmed_g=-1.0),
         r"^Most that may be trimmed \(g\) is -1. Give a number 0 or"),
        (lambda: plan(scattered(0), scattered(0), most_added_g=-1.0),
         r"^Most that may be added \(g\) is -1. Give a number 0 or"),
    ],
)  # fmt: skip
def test_bad_input_is_said(call, words):
    with pytest.raises(BalancekitError, match=words):
        call()
