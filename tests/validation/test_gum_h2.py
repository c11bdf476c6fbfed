"""JCGM 100:2008 (GUM), annex H.2: resistance and reactance measured at the same time.

Five simultaneous readings of voltage, current and phase (table H.2); results, standard
uncertainties and correlations of table H.4. The GUM rounds on the way, so 0.001 is allowed.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from balancekit.calculation.uncertainty import combine, mean_covariance

VOLTAGE_V = (5.007, 4.994, 5.005, 4.990, 4.999)
CURRENT_MA = (19.663, 19.639, 19.640, 19.685, 19.678)
PHASE_RAD = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)
ROUNDING = 1e-3

READINGS = np.column_stack([VOLTAGE_V, np.array(CURRENT_MA) / 1000, PHASE_RAD])
V, CURRENT_A, PHASE = READINGS.mean(axis=0)
Z = V / CURRENT_A

SLOPES = {
    "R": np.array([np.cos(PHASE) / CURRENT_A, -Z * np.cos(PHASE) / CURRENT_A, -Z * np.sin(PHASE)]),
    "X": np.array([np.sin(PHASE) / CURRENT_A, -Z * np.sin(PHASE) / CURRENT_A, Z * np.cos(PHASE)]),
    "Z": np.array([1 / CURRENT_A, -Z / CURRENT_A, 0.0]),
}


@pytest.fixture(scope="module")
def covariance() -> NDArray[np.float64]:
    return mean_covariance(READINGS)


def test_means_and_their_uncertainties(covariance: NDArray[np.float64]) -> None:
    means = READINGS.mean(axis=0) * [1, 1000, 1]
    assert means == pytest.approx([4.9990, 19.6610, 1.04446], abs=5e-5)
    spread = np.sqrt(np.diag(covariance)) * [1, 1000, 1]
    assert spread == pytest.approx([0.0032, 0.0095, 0.00075], abs=5e-5)


@pytest.mark.parametrize(
    ("value", "expected"),
    [(Z * np.cos(PHASE), 127.732), (Z * np.sin(PHASE), 219.847), (Z, 254.260)],
)
def test_results(value: float, expected: float) -> None:
    assert value == pytest.approx(expected, abs=ROUNDING)


@pytest.mark.parametrize(("name", "expected"), [("R", 0.071), ("X", 0.295), ("Z", 0.236)])
def test_uncertainties(covariance: NDArray[np.float64], name: str, expected: float) -> None:
    assert combine(SLOPES[name], covariance) == pytest.approx(expected, abs=ROUNDING)


@pytest.mark.parametrize(
    ("one", "other", "expected"), [("R", "X", -0.588), ("R", "Z", -0.485), ("X", "Z", 0.993)]
)
def test_correlations(
    covariance: NDArray[np.float64], one: str, other: str, expected: float
) -> None:
    """From u(a + b)^2 - u(a - b)^2 = 4 u(a, b)."""
    a, b = SLOPES[one], SLOPES[other]
    shared = (combine(a + b, covariance) ** 2 - combine(a - b, covariance) ** 2) / 4
    found = shared / combine(a, covariance) / combine(b, covariance)
    assert found == pytest.approx(expected, abs=ROUNDING)


def test_leaving_the_correlation_out_is_wrong(covariance: NDArray[np.float64]) -> None:
    independent = combine(SLOPES["R"], np.diag(np.diag(covariance)))
    assert independent > 2 * combine(SLOPES["R"], covariance)
