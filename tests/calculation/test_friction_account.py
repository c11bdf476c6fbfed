"""The account of friction: it adds up, one key is enough, and what is doubtful is said."""

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from balancekit.calculation.friction_account import (
    FRICTION_PARTS,
    REMAINDER,
    account_friction,
    friction_sentence,
)
from balancekit.calculation.problems import BalancekitError

TABLE = pd.DataFrame(
    {
        "friction_g": [14.0, 12.0, np.nan], "friction_u_g": 0.5, "action_ratio": [5.6, 5.5, 5.4],
        "action_ratio_u": 0.08, "key_ratio": 0.5, "key_ratio_u": 0.005,
    },
    index=[10, 40, 70],
)  # fmt: skip


def taken(
    key: int = 10, shank: float = 1.0, wippen: float = 3.0, key_stick: float = 2.0
) -> pd.DataFrame:
    return pd.DataFrame(
        {"key": key, "part": list(FRICTION_PARTS), "friction_g": [shank, wippen, key_stick]}
    )


def test_shares_and_remainder_add_up_to_the_whole() -> None:
    account = account_friction(pd.concat([taken(10), taken(40, shank=0.6)]), TABLE)
    sums = account["share_g"].groupby("key").sum()
    assert sums.to_dict() == pytest.approx({10: 14.0, 40: 12.0})
    assert account["share"].groupby("key").sum().tolist() == pytest.approx([1.0, 1.0])
    assert account.loc[10].index.tolist() == [*FRICTION_PARTS, REMAINDER]


def test_uncertainties_are_those_of_the_uncertainties_package() -> None:
    account = account_friction(taken(), TABLE)
    shank = ufloat(1.0, 0.1) * ufloat(5.6, 0.08)
    wippen = ufloat(3.0, 0.3) * ufloat(0.5, 0.005)
    left = ufloat(14.0, 0.5) - shank - wippen - ufloat(2.0, 0.5)
    assert account.loc[(10, "shank centre"), "share_u_g"] == pytest.approx(shank.s)
    assert account.loc[(10, "wippen centre"), "share_u_g"] == pytest.approx(wippen.s)
    assert account.loc[(10, REMAINDER), "share_g"] == pytest.approx(left.n)
    assert account.loc[(10, REMAINDER), "share_u_g"] == pytest.approx(left.s)


def test_a_part_taken_twice_counts_once_and_is_known_better() -> None:
    once, twice = taken(), pd.concat([taken(shank=0.9), taken(shank=1.1)])
    one, two = account_friction(once, TABLE), account_friction(twice, TABLE)
    assert two["share_g"].tolist() == pytest.approx(one["share_g"].tolist())
    assert two.loc[(10, "key bushings"), "share_u_g"] == pytest.approx(0.5 / 2**0.5)


def test_a_part_not_taken_stays_in_the_remainder_and_is_said() -> None:
    account = account_friction(taken().iloc[:1], TABLE)
    assert np.isnan(account.loc[(10, "key bushings"), "share_g"])
    assert account.loc[(10, REMAINDER), "share_g"] == pytest.approx(14.0 - 5.6)
    assert account.loc[(10, REMAINDER), "remark"] == "holds wippen centre, key bushings too"


def test_a_ratio_not_known_is_said() -> None:
    table = TABLE.assign(action_ratio=np.nan)
    account = account_friction(taken(), table)
    assert "its ratio is not known" in account.loc[(10, "shank centre"), "remark"]


def test_a_remainder_below_zero_is_judged_by_its_uncertainty() -> None:
    slightly = account_friction(taken(shank=1.9), TABLE).loc[(10, REMAINDER)]
    assert slightly["share_g"] < 0 and "no more than weighing" in slightly["remark"]
    far = account_friction(taken(shank=3.0), TABLE).loc[(10, REMAINDER)]
    assert "beyond weighing" in far["remark"]


def test_the_sentence_names_what_to_treat_first_only_if_it_is_sure() -> None:
    clear = friction_sentence(account_friction(taken(shank=1.6), TABLE))
    assert clear.startswith("On the one key sampled") and "Look at shank centre first" in clear
    unsure = friction_sentence(account_friction(taken(shank=0.9), TABLE))
    assert "cannot be told apart: sample more keys" in unsure
    both = account_friction(pd.concat([taken(10), taken(40)]), TABLE)
    assert friction_sentence(both).startswith("On the 2 keys sampled, on average")


def test_no_part_taken_gives_an_empty_account() -> None:
    account = account_friction(taken().iloc[:0], TABLE)
    assert account.empty and "No friction" in friction_sentence(account)


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        (taken().assign(part="hammer"), "'hammer' is not taken alone"),
        (taken(70), "whole friction of key 70 is not known"),
        (taken(99), "whole friction of key 99 is not known"),
        (taken(shank=-1.0), "friction of -1 g cannot be"),
    ],
)
def test_bad_input_is_said(parts: pd.DataFrame, words: str) -> None:
    with pytest.raises(BalancekitError, match=words):
        account_friction(parts, TABLE)
