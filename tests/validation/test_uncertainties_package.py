"""The uncertainties package (BSD licence): first-order propagation by automatic derivatives.

Every formula is written out anew here in that package's own numbers.
"""

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import covariance_matrix, ufloat

from balancekit.calculation import balance, ratios, ways

GUARDS = (
    "balancekit.calculation.balance.uncertainty_of",
    "balancekit.calculation.ratios.find_key_ratio_by_ruler",
    "balancekit.calculation.ways.compare_ways",
)

AGREE = 1e-9

# The value of each term, and its uncertainty, anywhere in what is possible at the bench.
RANGES = {
    "balance_weight_g": (30.0, 50.0, 1.0),
    "front_weight_g": (-20.0, 60.0, 1.0),
    "spring_relief_g": (0.0, 20.0, 1.0),
    "wippen_weight_g": (10.0, 30.0, 0.5),
    "key_ratio": (0.4, 0.6, 0.01),
    "strike_weight_g": (4.0, 15.0, 0.3),
    "action_ratio": (4.0, 7.0, 0.2),
}

SOLUTIONS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "balance_weight_g": lambda t: (
        t["wippen_weight_g"] * t["key_ratio"]
        + t["strike_weight_g"] * t["action_ratio"]
        - t["front_weight_g"]
        - t["spring_relief_g"]
    ),
    "front_weight_g": lambda t: (
        t["wippen_weight_g"] * t["key_ratio"]
        + t["strike_weight_g"] * t["action_ratio"]
        - t["balance_weight_g"]
        - t["spring_relief_g"]
    ),
    "spring_relief_g": lambda t: (
        t["wippen_weight_g"] * t["key_ratio"]
        + t["strike_weight_g"] * t["action_ratio"]
        - t["balance_weight_g"]
        - t["front_weight_g"]
    ),
    "wippen_weight_g": lambda t: (
        (pressed(t) - t["strike_weight_g"] * t["action_ratio"]) / t["key_ratio"]
    ),
    "key_ratio": lambda t: (
        (pressed(t) - t["strike_weight_g"] * t["action_ratio"]) / t["wippen_weight_g"]
    ),
    "strike_weight_g": lambda t: (
        (pressed(t) - t["wippen_weight_g"] * t["key_ratio"]) / t["action_ratio"]
    ),
    "action_ratio": lambda t: (
        (pressed(t) - t["wippen_weight_g"] * t["key_ratio"]) / t["strike_weight_g"]
    ),
}


def pressed(terms: dict[str, Any]) -> Any:
    return terms["balance_weight_g"] + terms["front_weight_g"] + terms["spring_relief_g"]


TERMS = st.fixed_dictionaries(
    {name: st.tuples(st.floats(low, high), st.floats(0.01 * u, u)) for name, (low, high, u) in
     RANGES.items()}
)  # fmt: skip


@pytest.mark.parametrize("unknown", SOLUTIONS)
@given(terms=TERMS)
@settings(max_examples=40, deadline=None)
def test_balance_equation(unknown: str, terms: dict[str, tuple[float, float]]) -> None:
    others = {name: pair for name, pair in terms.items() if name != unknown}
    expected = SOLUTIONS[unknown]({name: ufloat(*pair) for name, pair in others.items()})
    values = {name: value for name, (value, _) in others.items()}
    found = getattr(balance, f"solve_for_{unknown.removesuffix('_g')}")(**values)
    found_u = balance.uncertainty_of(
        unknown, values | {unknown: found}, {name: u for name, (_, u) in others.items()}
    )
    assert found == pytest.approx(expected.nominal_value, rel=AGREE, abs=AGREE)
    assert found_u == pytest.approx(expected.std_dev, rel=AGREE, abs=AGREE)


@pytest.mark.parametrize(("down_u", "up_u"), [(0.7, 0.7), (0.3, 1.1), (1e-6, 0.5)])
def test_half_sums(down_u: float, up_u: float) -> None:
    down, up = ufloat(50, down_u), ufloat(26, up_u)
    found = balance.find_half_sum_uncertainty(down_weight_u_g=down_u, up_weight_u_g=up_u)
    assert found == pytest.approx(((down + up) / 2).std_dev, rel=AGREE)
    assert found == pytest.approx(((down - up) / 2).std_dev, rel=AGREE)


def same(found: ratios.Ratio, expected: Any) -> None:
    assert found.value == pytest.approx(expected.nominal_value, rel=AGREE)
    assert found.uncertainty == pytest.approx(expected.std_dev, rel=AGREE)


def test_key_ratio_by_ruler() -> None:
    found = ratios.find_key_ratio_by_ruler(
        capstan_arm_mm=121.3, arm_mm=238.0, capstan_arm_u_mm=0.5, arm_u_mm=0.7
    )
    same(found, ufloat(121.3, 0.5) / ufloat(238.0, 0.7))


def test_key_ratio_by_weight() -> None:
    found = ratios.find_key_ratio_by_weight(
        front_weight_g=27.1,
        front_weight_with_mass_g=-3.4,
        known_mass_g=60.0,
        front_weight_u_g=0.1,
        known_mass_u_g=0.2,
    )
    same(found, (ufloat(27.1, 0.1) - ufloat(-3.4, 0.1)) / ufloat(60.0, 0.2))


def test_action_ratio_by_added_mass() -> None:
    found = ratios.find_action_ratio_by_added_mass(
        balance_weight_g=38.0,
        balance_weight_with_mass_g=65.9,
        known_mass_g=5.0,
        balance_weight_u_g=0.5,
        balance_weight_with_mass_u_g=0.4,
        known_mass_u_g=0.03,
    )
    same(found, (ufloat(65.9, 0.4) - ufloat(38.0, 0.5)) / ufloat(5.0, 0.03))


def test_action_ratio_by_travel() -> None:
    found = ratios.find_action_ratio_by_travel(
        hammer_rise_mm=43.2, key_dip_mm=7.9, hammer_rise_u_mm=0.5, key_dip_u_mm=0.1
    )
    same(found, ufloat(43.2, 0.5) / ufloat(7.9, 0.1))


def test_ways_that_share_the_balance_weight() -> None:
    """The package follows the shared reading by itself; we are told the covariance."""
    shared = ufloat(38.0, 0.5)
    strike, mass = ufloat(10.2, 0.1), ufloat(5.0, 0.02)
    by_balance = (shared + ufloat(27.1, 0.3) - ufloat(18.0, 0.2) * 0.5) / strike
    by_mass = (ufloat(65.9, 0.4) - shared) / mass
    covariance = ways.find_shared_covariance(
        balance_weight_u_g=0.5, strike_weight_g=10.2, known_mass_g=5.0
    )
    assert covariance == pytest.approx(covariance_matrix([by_balance, by_mass])[0][1], rel=AGREE)
    table = ways.compare_ways(
        "action_ratio",
        {
            "balance": ratios.Ratio(by_balance.nominal_value, by_balance.std_dev),
            "added_mass": ratios.Ratio(by_mass.nominal_value, by_mass.std_dev),
        },
        covariances={("added_mass", "balance"): covariance},
    )
    assert table.loc[1, "difference_u"] == pytest.approx((by_balance - by_mass).std_dev, rel=AGREE)
