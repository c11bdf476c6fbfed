"""The part of the friction that grows with the load: against statsmodels, and in simulation."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from balancekit.calculation.proof.friction_by_load import (
    USUAL_PART,
    USUAL_PART_U,
    LoadPart,
    find_load_part,
)
from balancekit.instrument.believed import believe
from balancekit.instrument.demo import studio_grand
from balancekit.instrument.model import Instrument
from balancekit.instrument.ratio_checks import load_part_of

WITH_U_G = 0.5


def keys(seed: int, part: float, count: int) -> tuple[pd.Series, pd.Series, pd.Series, pd.Series]:
    """Return friction as believed and its uncertainty, with the mass, and the share of the load."""
    draw = np.random.default_rng(seed)
    true = pd.Series(draw.normal(11, 1.5, count))
    share = pd.Series(draw.uniform(0.35, 0.6, count))
    u = pd.Series(np.full(count, 0.4))
    with_mass = true * (1 + part * share) + draw.normal(0, WITH_U_G, count)
    return true + draw.normal(0, 0.4, count), u, with_mass, share


def test_it_is_the_weighted_fit_that_statsmodels_makes_with_one_reading_more():
    friction, u, with_mass, share = keys(1, 0.3, 6)
    found = find_load_part(friction, u, with_mass, WITH_U_G, share)
    noise = WITH_U_G**2 + ((1 + USUAL_PART * share) * u) ** 2
    fit = sm.WLS(
        [*(with_mass - friction), USUAL_PART], [*(friction * share), 1.0],
        weights=[*(1 / noise), 1 / USUAL_PART_U**2],
    ).fit()  # fmt: skip
    assert found.part == pytest.approx(fit.params[0])
    assert found.part_u == pytest.approx(fit.normalized_cov_params[0, 0] ** 0.5)
    assert found.keys == 6 and "from 6 keys" in found.sentence


@pytest.mark.parametrize("part", [0.1, 0.5, 0.9])
def test_its_band_holds(part):
    found = [find_load_part(*keys(seed, part, 6)[:3], WITH_U_G, keys(seed, part, 6)[3])
             for seed in range(100)]  # fmt: skip
    inside = sum(abs(each.part - part) <= 1.96 * each.part_u for each in found)
    assert inside >= 89  # below that 3 of 1,000 bands of 95 % fall (binomial distribution)


def test_without_such_readings_the_usual_part_is_taken_and_said():
    none = pd.Series(dtype=float)
    assert find_load_part(none, none, none, WITH_U_G, none) == LoadPart()
    assert "no source" in LoadPart().sentence
    empty = Instrument()
    assert load_part_of(empty, believe(studio_grand()).table) == LoadPart()


def test_the_demo_s_keys_with_an_added_mass_tell():
    grand = studio_grand()
    found = load_part_of(grand, believe(grand).table)
    hung = grand.table("ratio_checks")["strike_mass_g"].notna().sum()
    assert found.keys == hung > 0 and found.part_u < USUAL_PART_U
