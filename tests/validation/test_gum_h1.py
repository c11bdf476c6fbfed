"""JCGM 100:2008 (GUM), annex H.1: calibration of an end gauge.

The results (u_c 32 nm, effective degrees of freedom 16, t99 2.92, U99 93 nm) were read;
the single contributions of table H.1 are from memory. The four parts add up like four terms of
the balance equation whose slopes are all 1.
"""

import pytest

from balancekit.calculation.balance import uncertainty_of
from balancekit.calculation.uncertainty import coverage_factor

GUARDS = (
    "balancekit.calculation.balance.uncertainty_of",
    "balancekit.calculation.uncertainty.coverage_factor",
)

# From memory, table H.1: standard, comparator, thermal expansion, temperature difference [nm].
PARTS_NM = (25.0, 9.7, 2.9, 16.6)

# From memory, H.1.3.2: repeated observations, random and systematic effects of the comparator.
COMPARATOR_NM, DIFFERENCE_NM = (5.8, 3.9, 6.7, 0.0), 9.7

TERMS = ("front_weight_g", "spring_relief_g", "wippen_weight_g", "strike_weight_g")


def in_quadrature(parts: tuple[float, ...]) -> float:
    slopes_of_one = {"key_ratio": 1.0, "wippen_weight_g": 1.0, "action_ratio": 1.0,
                     "strike_weight_g": 1.0}  # fmt: skip
    return float(
        uncertainty_of("balance_weight_g", slopes_of_one, dict(zip(TERMS, parts, strict=True)))
    )


def test_comparator() -> None:
    assert in_quadrature(COMPARATOR_NM) == pytest.approx(DIFFERENCE_NM, abs=0.05)


def test_combined_uncertainty() -> None:
    assert in_quadrature(PARTS_NM) == pytest.approx(32, abs=0.5)


def test_expanded_uncertainty() -> None:
    factor = coverage_factor(16, 0.99)
    assert factor == pytest.approx(2.92, abs=0.005)
    assert factor * 32 == pytest.approx(93, abs=0.5)


@pytest.mark.parametrize(
    ("freedom", "probability", "expected"),
    [(1, 0.95, 12.71), (5, 0.95, 2.57), (10, 0.95, 2.23), (20, 0.99, 2.85), (50, 0.95, 2.01)],
)
def test_coverage_factors(freedom: int, probability: float, expected: float) -> None:
    """JCGM 100:2008, table G.2; these rows are from memory."""
    assert coverage_factor(freedom, probability) == pytest.approx(expected, abs=0.005)
