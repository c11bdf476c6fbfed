"""JCGM 100:2008 (GUM), annex H.1: calibration of an end gauge.

The results (u_c 32 nm, effective degrees of freedom 16, t99 2.92, U99 93 nm) were read;
the single contributions of table H.1 are from memory and are recomputed here.
"""

import math

import pytest

from balancekit.calculation.uncertainty import combine, coverage_factor, effective_freedom

# From memory, table H.1: standard, comparator, thermal expansion, temperature difference [nm].
STANDARD_NM, DIFFERENCE_NM, EXPANSION_NM, TEMPERATURE_NM = 25.0, 9.7, 2.9, 16.6
FREEDOMS = (18, 25.6, 50, 2)

# From memory, H.1.3.2: repeated observations, random and systematic effects of the comparator.
COMPARATOR_NM, COMPARATOR_FREEDOMS = (5.8, 3.9, 6.7), (24, 5, 8)

PARTS_NM = (STANDARD_NM, DIFFERENCE_NM, EXPANSION_NM, TEMPERATURE_NM)


def in_quadrature(parts: tuple[float, ...]) -> float:
    covariance = [
        [part**2 if row == column else 0.0 for column, _ in enumerate(parts)]
        for row, part in enumerate(parts)
    ]
    return combine([1.0] * len(parts), covariance)


def test_comparator() -> None:
    assert in_quadrature(COMPARATOR_NM) == pytest.approx(DIFFERENCE_NM, abs=0.05)
    # The three parts are printed to 0.1 nm, which moves the freedom by about 0.2.
    assert effective_freedom(COMPARATOR_NM, COMPARATOR_FREEDOMS) == pytest.approx(25.6, abs=0.2)


def test_combined_uncertainty() -> None:
    assert in_quadrature(PARTS_NM) == pytest.approx(32, abs=0.5)


def test_effective_freedom() -> None:
    """The GUM cuts to the next lower whole number."""
    assert math.floor(effective_freedom(PARTS_NM, FREEDOMS)) == 16


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
