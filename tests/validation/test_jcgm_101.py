"""JCGM 101:2008, clause 9: additive model (9.2) and mass calibration (9.3).

9.2: interval recomputed from its closed form. 9.3: inputs read, published results from memory,
recomputed with ten million draws.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from balancekit.calculation.uncertainty import Draw, combine, monte_carlo

Drawn = NDArray[np.float64]
DRAWS = 400_000


def rectangular(low: float, high: float) -> Draw:
    return lambda generator, count: generator.uniform(low, high, count)


def test_four_rectangular_inputs() -> None:
    """9.2.3: the 95 % interval is +-2 sqrt(3) (2 - (3/5)^(1/4)) = +-3.87940674."""
    half = 3**0.5
    found = monte_carlo(
        lambda **inputs: sum(inputs.values()),
        {name: rectangular(-half, half) for name in "abcd"},
        draws=DRAWS,
    )
    exact = 2 * half * (2 - (3 / 5) ** 0.25)
    assert exact == pytest.approx(3.87940674, abs=5e-9)
    # Two standard errors of a quantile of so many draws are about 0.02.
    assert [found.low, found.high] == pytest.approx([-exact, exact], abs=0.02)
    assert found.uncertainty == pytest.approx(2.0, abs=0.01)
    assert found.mean == pytest.approx(0.0, abs=0.01)


def test_four_normal_inputs() -> None:
    """9.2.2: four standard normal inputs give u = 2.0 and +-3.92."""
    found = monte_carlo(
        lambda **inputs: sum(inputs.values()), dict.fromkeys("abcd", (0.0, 1.0)), draws=DRAWS
    )
    assert found.uncertainty == pytest.approx(2.0, abs=0.01)
    assert [found.low, found.high] == pytest.approx([-3.92, 3.92], abs=0.025)


NOMINAL_MG = 100_000.0


def mass_difference_mg(
    standard_mg: Drawn, added_mg: Drawn, air: Drawn, weight: Drawn, standard: Drawn
) -> Drawn:
    """9.3.1, equation 31, densities in kg/m3; air is given as the difference from 1.2 kg/m3."""
    return (standard_mg + added_mg) * (1 + air * (1 / weight - 1 / standard)) - NOMINAL_MG


def test_mass_calibration_by_draws() -> None:
    found = monte_carlo(
        mass_difference_mg,
        {
            "standard_mg": (NOMINAL_MG, 0.050),
            "added_mg": (1.234, 0.020),
            "air": rectangular(-0.1, 0.1),
            "weight": rectangular(7000, 9000),
            "standard": rectangular(7950, 8050),
        },
        draws=DRAWS,
    )
    assert found.uncertainty == pytest.approx(0.0754, abs=0.0003)
    assert found.mean == pytest.approx(1.234, abs=0.0005)


def test_mass_calibration_to_first_order() -> None:
    """At 1.2 kg/m3 every density slope is zero, so first order sees the two masses alone."""
    slopes = [1.0, 1.0, NOMINAL_MG * (1 / 8000 - 1 / 8000), 0.0, 0.0]
    u = np.array([0.050, 0.020, 0.1 / 3**0.5, 1000 / 3**0.5, 50 / 3**0.5])
    assert combine(slopes, np.diag(u**2)) == pytest.approx(0.0539, abs=5e-5)
