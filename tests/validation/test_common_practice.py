"""Common practice, no source.

One key that closes: balance weight 38, front weight 27.1, wippen weight 18, key ratio 0.5,
strike weight 10.2 give action ratio 5.5, because 38 + 27.1 = 65.1 = 18 x 0.5 + 10.2 x 5.5.
"""

import pytest

from balancekit.calculation import balance

GUARDS = (
    "balancekit.calculation.balance.solve_for_action_ratio",
    "balancekit.calculation.balance.solve_for_balance_weight",
    "balancekit.calculation.balance.find_half_sum_uncertainty",
)

KEY = {
    "balance_weight_g": 38.0,
    "front_weight_g": 27.1,
    "spring_relief_g": 0.0,
    "wippen_weight_g": 18.0,
    "key_ratio": 0.5,
    "strike_weight_g": 10.2,
    "action_ratio": 5.5,
}


@pytest.mark.parametrize("unknown", KEY)
def test_key_that_closes(unknown: str) -> None:
    known = {name: value for name, value in KEY.items() if name != unknown}
    solve = getattr(balance, f"solve_for_{unknown.removesuffix('_g')}")
    assert solve(**known) == pytest.approx(KEY[unknown], abs=1e-12)


def test_both_sides_are_equal() -> None:
    left = KEY["balance_weight_g"] + KEY["front_weight_g"] + KEY["spring_relief_g"]
    assert left == pytest.approx(65.1, abs=1e-12)
    balance_weight = balance.solve_for_balance_weight(
        **{name: value for name, value in KEY.items() if name != "balance_weight_g"}
    )
    assert balance_weight + KEY["front_weight_g"] == pytest.approx(left, abs=1e-12)


def test_weighing_alone_scatters_the_ratio() -> None:
    """0.7 g each in down and up weight is 0.5 g in balance weight and 0.05 in the ratio."""
    spread = balance.find_half_sum_uncertainty(down_weight_u_g=0.7, up_weight_u_g=0.7)
    assert spread == pytest.approx(0.5, abs=0.01)
    ratio_u = balance.uncertainty_of(
        "action_ratio", KEY | {"strike_weight_g": 10.0}, {"balance_weight_g": spread}
    )
    assert ratio_u == pytest.approx(0.05, abs=0.001)
