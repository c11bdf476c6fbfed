"""A textbook four-bar linkage.

R. L. Norton, Design of Machinery, McGraw-Hill, position analysis, Example 4-1 (inputs and printed
answers from memory): ground 100, crank 40, coupler 120, rocker 80 mm, crank at 40 degrees. Open:
coupler 20.298, rocker 57.325 degrees. Crossed: coupler -60.98, rocker -98.01 degrees.
"""

from __future__ import annotations

import numpy as np
import pytest

from balancekit.calculation.linkage.positions import follow

GUARDS = ("balancekit.calculation.linkage.positions.follow",)

CRANK_END = 40.0 * np.exp(1j * np.radians(40.0))


@pytest.mark.parametrize(
    ("side", "rocker", "coupler", "digits"),
    [(-1.0, 57.325, 20.298, 5e-4), (1.0, -98.01, -60.98, 1e-2)],
)
def test_rocker_and_coupler(side, rocker, coupler, digits):
    turned = follow(CRANK_END, 100.0 + 0j, 80.0 + 0j, 120.0, side)
    assert np.degrees(turned) == pytest.approx(rocker, abs=digits)
    line = 100.0 + 80.0 * np.exp(1j * turned) - CRANK_END
    assert abs(line) == pytest.approx(120.0)
    assert np.degrees(np.angle(line)) == pytest.approx(coupler, abs=digits)
