"""OIML R 111-1:2004, Weights of classes E1 to M3, table 1: maximum permissible errors in mg.

Read in a balance maker's copy of the table.
"""

import pytest

from balancekit.calculation.weighing.scale import WEIGHT_CLASSES, permitted_error_g, weight_u_g

GUARDS = ("balancekit.calculation.weighing.scale.weight_u_g",)

TABLE_1_MG = {
    1: (0.10, 0.3, 1.0, 3.0, 10),
    2: (0.12, 0.4, 1.2, 4.0, 12),
    5: (0.16, 0.5, 1.6, 5.0, 16),
    10: (0.20, 0.6, 2.0, 6.0, 20),
    20: (0.25, 0.8, 2.5, 8.0, 25),
    50: (0.3, 1.0, 3.0, 10, 30),
    100: (0.5, 1.6, 5.0, 16, 50),
    200: (1.0, 3.0, 10, 30, 100),
}


@pytest.mark.parametrize("nominal_g", TABLE_1_MG)
def test_every_limit_is_the_table_s(nominal_g: int) -> None:
    found = [permitted_error_g(nominal_g, kind) * 1000 for kind in WEIGHT_CLASSES]
    assert found == pytest.approx(TABLE_1_MG[nominal_g])


def test_classes_are_in_the_order_of_the_table() -> None:
    assert WEIGHT_CLASSES == ("F1", "F2", "M1", "M2", "M3")


def test_standard_uncertainty_of_a_rectangular_limit() -> None:
    """JCGM 100:2008, 4.3.7: half width over the root of 3."""
    assert weight_u_g(50, "M2") == pytest.approx(0.010 / 3**0.5)
