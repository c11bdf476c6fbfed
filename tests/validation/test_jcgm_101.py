"""JCGM 101:2008, 9.2: the additive model by draws, in the draws of what is believed of a key.

With key ratio and action ratio of exactly 1 the balance weight is a sum of four terms, two of
them taken off: wippen weight and strike weight less front weight and spring relief.
"""

import numpy as np
import pandas as pd
import pytest

from balancekit.instrument.believed import BELIEVED, Believed

GUARDS = ("balancekit.instrument.believed.Believed",)

DRAWS = 400_000
SUMMED = ("wippen_weight_g", "strike_weight_g", "front_weight_g", "spring_relief_g")
EXACT = ("key_ratio", "action_ratio")


def balance_weights(spreads: tuple[float, ...]) -> np.ndarray:
    """Draw the balance weight of one key whose four terms are 0 with some uncertainties."""
    count = len(BELIEVED)
    centre, cover = np.zeros(count), np.zeros((count, count))
    for name in EXACT:
        centre[BELIEVED.index(name)] = 1.0
    for name, spread in zip(SUMMED, spreads, strict=True):
        cover[BELIEVED.index(name), BELIEVED.index(name)] = spread**2
    table = pd.DataFrame({"action_ratio": [1.0]}, index=[1])
    drawn = Believed(table, {}, (), centre, cover).draws(DRAWS, seed=2)
    return np.asarray(drawn["balance_weight_g"][:, 0])


def test_four_normal_inputs() -> None:
    """9.2.2: four standard normal inputs give u = 2.0 and +-3.92."""
    found = balance_weights((1.0, 1.0, 1.0, 1.0))
    assert found.mean() == pytest.approx(0.0, abs=0.01)
    assert found.std() == pytest.approx(2.0, abs=0.01)
    assert np.quantile(found, [0.025, 0.975]) == pytest.approx([-3.92, 3.92], abs=0.025)


def test_one_input_ten_times_as_wide() -> None:
    """9.2.4 with normal inputs: u = sqrt(3 + 10^2) = 10.149 (arithmetic)."""
    assert balance_weights((1.0, 1.0, 1.0, 10.0)).std() == pytest.approx(10.149, abs=0.04)
