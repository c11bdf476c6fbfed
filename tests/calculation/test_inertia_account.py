"""The account of inertia, its uncertainty, and the steps from key to key."""

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from balancekit.calculation.hammers.inertia_account import (
    INERTIA_PARTS,
    SHANK_MASS_U_G,
    WIPPEN_SHAPE_U,
    felt_steps,
    inertia_account,
    steps_sentence,
)
from balancekit.calculation.problems import BalancekitError

TABLE = pd.DataFrame(
    {
        "strike_weight_g": [11.0, 8.0],
        "strike_weight_u_g": [0.1, 0.2],
        "action_ratio": [5.6, 5.4],
        "action_ratio_u": [0.05, 0.08],
        "wippen_weight_g": [18.0, 17.0],
        "wippen_weight_u_g": [0.2, 0.2],
        "key_ratio": [0.5, 0.52],
        "key_ratio_u": [0.005, 0.005],
    },
    index=pd.Index([1, 40], name="key"),
)


def test_against_the_uncertainties_package():
    """First-order propagation by the uncertainties package (BSD), the formula written anew."""
    account = inertia_account(TABLE, stick_inertia_g=16.0, lead_inertia_g=25.0)
    for key, row in TABLE.iterrows():
        strike = ufloat(row["strike_weight_g"], row["strike_weight_u_g"])
        ratio = ufloat(row["action_ratio"], row["action_ratio_u"])
        wippen = ufloat(row["wippen_weight_g"], row["wippen_weight_u_g"])
        key_ratio = ufloat(row["key_ratio"], row["key_ratio_u"])
        shank, shape = ufloat(3.5, SHANK_MASS_U_G), ufloat(1.3, WIPPEN_SHAPE_U)
        whole = (strike - shank / 6) * ratio**2 + wippen * key_ratio**2 * shape
        whole = whole + ufloat(16.0, 1.6) + 25.0
        assert account.at[key, "inertia_g"] == pytest.approx(whole.nominal_value, rel=1e-12)
        assert account.at[key, "inertia_u_g"] == pytest.approx(whole.std_dev, rel=1e-9)


def test_the_stated_uncertainty_is_never_too_narrow():
    """Draws in which the ratio is solved from the same strike weight, as at the bench."""
    generator = np.random.default_rng(1)
    pressed = generator.normal(61.6, 0.6, 100_000)
    strike = generator.normal(11.0, 0.1, 100_000)
    drawn = (strike - 3.5 / 6) * (pressed / strike) ** 2
    row = TABLE.iloc[[0]].drop(columns=["wippen_weight_u_g", "key_ratio_u"]).assign(
        action_ratio_u=np.hypot(0.6 / 11.0, 5.6 * 0.1 / 11.0)
    )  # fmt: skip
    account = inertia_account(row, stick_inertia_g=0.0, shank_mass_g=0.0)
    stated = account["inertia_u_g"].iloc[0]
    assert drawn.std() < stated < 1.6 * drawn.std()


def test_parts_add_up_and_lead_is_small():
    """Three plugs add 20 to 35 g to some 370 g (common practice, no source)."""
    account = inertia_account(TABLE, stick_inertia_g=[16.0, 15.0], lead_inertia_g=25.0)
    assert account[list(INERTIA_PARTS)].sum(axis=1).tolist() == pytest.approx(
        account["inertia_g"].tolist()
    )
    assert account.at[1, "inertia_g"] == pytest.approx(370, rel=0.05)
    assert account.at[1, "hammer_share"] > 0.8 > 0.1 > account.at[1, "lead_share"]


def test_a_missing_reading_gives_a_missing_sum():
    table = TABLE.copy()
    table.loc[1, "strike_weight_g"] = np.nan
    account = inertia_account(table, stick_inertia_g=16.0)
    assert account["inertia_g"].isna().tolist() == [True, False]
    assert account["inertia_u_g"].isna().tolist() == [True, False]


def test_steps_are_shares_of_the_mean():
    """350 and 380 g differ by 30 g, 8.2 % of 365 g: more than the 7 % of Pang et al. 1991."""
    steps = felt_steps(pd.Series([350.0, 380.0, 379.0, np.nan, 370.0], index=range(1, 6)))
    assert steps["step_share"].iloc[1] == pytest.approx(30 / 365)
    assert steps["felt"].tolist() == [
        "not known", "may be felt", "probably not felt", "not known", "not known",
    ]  # fmt: skip


def test_sentences_never_promise_that_nothing_is_felt():
    even = felt_steps(pd.Series([350.0, 351.0, 352.0], index=[1, 2, 3]))
    uneven = felt_steps(pd.Series([350.0, 390.0, 350.0], index=[1, 2, 3]))
    assert steps_sentence(even).startswith("No step from key to key is above")
    assert "at keys 2, 3" in steps_sentence(uneven)
    for text in (steps_sentence(even), steps_sentence(uneven)):
        assert "probably not felt" in text
        assert "cannot" not in text


def test_bad_input_is_said():
    with pytest.raises(BalancekitError, match="key_ratio"):
        inertia_account(TABLE.drop(columns="key_ratio"), stick_inertia_g=16.0)
    with pytest.raises(BalancekitError, match="key stick"):
        inertia_account(TABLE, stick_inertia_g=-1.0)
    with pytest.raises(BalancekitError, match="may be felt"):
        felt_steps(TABLE["strike_weight_g"], felt_share=0.0)
