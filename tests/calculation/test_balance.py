"""Properties of the balance equation: inverses, scaling, kinds, missing and impossible values."""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation import balance
from balancekit.calculation.problems import BalancekitError
from tests.validation.test_common_practice import KEY

WEIGHTS = tuple(name for name in balance.TERMS if name.endswith("_g"))
DIVISORS = {
    "action_ratio": "strike_weight_g",
    "strike_weight_g": "action_ratio",
    "wippen_weight_g": "key_ratio",
    "key_ratio": "wippen_weight_g",
}
TERMS = st.fixed_dictionaries(
    {
        "balance_weight_g": st.floats(-50, 300),
        "front_weight_g": st.floats(-150, 150),
        "spring_relief_g": st.floats(0, 60),
        "wippen_weight_g": st.floats(1, 60),
        "key_ratio": st.floats(0.2, 0.9),
        "strike_weight_g": st.floats(0.5, 40),
        "action_ratio": st.floats(2, 12),
    }
)


def solve(unknown: str, terms: dict[str, Any]) -> Any:
    known = {name: value for name, value in terms.items() if name != unknown}
    return getattr(balance, f"solve_for_{unknown.removesuffix('_g')}")(**known)


@pytest.mark.parametrize("unknown", balance.TERMS)
@given(terms=TERMS)
@settings(max_examples=60, deadline=None)
def test_solution_balances_the_key(unknown: str, terms: dict[str, float]) -> None:
    closed = terms | {unknown: solve(unknown, terms)}
    left = closed["balance_weight_g"] + closed["front_weight_g"] + closed["spring_relief_g"]
    right = (
        closed["wippen_weight_g"] * closed["key_ratio"]
        + closed["strike_weight_g"] * closed["action_ratio"]
    )
    assert left == pytest.approx(right, abs=1e-9)


@pytest.mark.parametrize("unknown", balance.TERMS)
@pytest.mark.parametrize("other", balance.TERMS)
@given(terms=TERMS)
@settings(max_examples=20, deadline=None)
def test_each_inverse_undoes_its_function(
    unknown: str, other: str, terms: dict[str, float]
) -> None:
    """Solve for one term, then from it for another: the other comes back."""
    closed = terms | {unknown: solve(unknown, terms)}
    if other in DIVISORS and closed[DIVISORS[other]] <= 1e-3:
        with_no_divisor = closed | {DIVISORS[other]: min(closed[DIVISORS[other]], 0.0)}
        with pytest.raises(BalancekitError):
            solve(other, with_no_divisor)
    else:
        assert solve(other, closed) == pytest.approx(closed[other], rel=1e-6, abs=1e-6)


@given(down=st.floats(0, 300), up=st.floats(0, 300))
@settings(max_examples=100, deadline=None)
def test_half_sums_are_undone(down: float, up: float) -> None:
    weights = {"down_weight_g": down, "up_weight_g": up}
    halves = {
        "balance_weight_g": balance.find_balance_weight(**weights),
        "friction_g": balance.find_friction(**weights),
    }
    assert balance.find_down_weight(**halves) == pytest.approx(down, abs=1e-9)
    assert balance.find_up_weight(**halves) == pytest.approx(up, abs=1e-9)


@pytest.mark.parametrize("unknown", balance.TERMS)
@given(terms=TERMS, scale=st.floats(0.1, 50))
@settings(max_examples=30, deadline=None)
def test_another_unit_of_weight(unknown: str, terms: dict[str, float], scale: float) -> None:
    """All weights in another unit: weights scale, ratios stay."""
    scaled = {name: value * scale if name in WEIGHTS else value for name, value in terms.items()}
    factor = scale if unknown in WEIGHTS else 1.0
    expected = solve(unknown, terms) * factor
    assert solve(unknown, scaled) == pytest.approx(expected, rel=1e-9, abs=1e-9 * max(factor, 1.0))


@pytest.mark.parametrize("unknown", balance.TERMS)
@given(scale=st.floats(0.1, 50))
@settings(max_examples=20, deadline=None)
def test_uncertainty_scales_with_its_inputs(unknown: str, scale: float) -> None:
    stated = {name: 0.1 for name in balance.TERMS}
    once = balance.uncertainty_of(unknown, KEY, stated)
    more = balance.uncertainty_of(unknown, KEY, {n: u * scale for n, u in stated.items()})
    assert more == pytest.approx(once * scale, rel=1e-12)


@pytest.mark.parametrize("unknown", balance.TERMS)
def test_same_kind_out(unknown: str) -> None:
    stated = {name: 0.1 for name in balance.TERMS}
    number, number_u = solve(unknown, KEY), balance.uncertainty_of(unknown, KEY, stated)
    assert isinstance(number, float)
    array = {name: np.full(3, value) for name, value in KEY.items()}
    series = {name: pd.Series(value, [5, 7, 9]) for name, value in KEY.items()}
    for given_terms, kind in ((array, np.ndarray), (series, pd.Series)):
        found, found_u = solve(unknown, given_terms), balance.uncertainty_of(
            unknown, given_terms, stated
        )  # fmt: skip
        assert isinstance(found, kind)
        assert np.asarray(found) == pytest.approx(np.full(3, number), rel=1e-14)
        assert np.broadcast_to(found_u, 3) == pytest.approx(np.full(3, number_u), rel=1e-14)
        if isinstance(found, pd.Series):
            assert found.index.tolist() == [5, 7, 9]


@pytest.mark.parametrize("unknown", balance.TERMS)
def test_missing_reading_gives_missing_result(unknown: str) -> None:
    for missing in set(balance.TERMS) - {unknown}:
        assert np.isnan(solve(unknown, KEY | {missing: float("nan")})), missing


@pytest.mark.parametrize(("unknown", "divisor"), DIVISORS.items())
@pytest.mark.parametrize("value", [0.0, -1.0])
def test_impossible_divisor_is_said(unknown: str, divisor: str, value: float) -> None:
    with pytest.raises(BalancekitError, match=r"is (0|-1)\. The equation divides by it"):
        solve(unknown, KEY | {divisor: value})
    with pytest.raises(BalancekitError, match="divides by it"):
        solve(unknown, KEY | {divisor: np.array([KEY[divisor], value])})


def test_unknown_term_is_said() -> None:
    with pytest.raises(BalancekitError, match="'friction_g' is not in the balance equation"):
        balance.uncertainty_of("friction_g", KEY, {})


def test_spring_relief_may_be_left_out() -> None:
    without = {name: value for name, value in KEY.items() if name != "spring_relief_g"}
    for unknown in without:
        assert solve(unknown, without) == solve(unknown, KEY)
