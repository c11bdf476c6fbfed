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


ROUND = pd.DataFrame(
    {
        "friction_g": [14.0, 12.0], "friction_u_g": 0.4775**0.5, "action_ratio": 5.0,
        "action_ratio_u": 0.0, "key_ratio": 0.5, "key_ratio_u": 0.0,
    },
    index=[10, 40],
)  # fmt: skip
"""Shares of 1, 3 and 2 g by hand: 5 +- 0.5, 1.5 +- 0.15, 2 +- 0.5; the remainder +- 1 g."""


@pytest.mark.parametrize(
    ("left", "remark"),
    [
        (4.2, ""),
        (3.8, "no more than weighing can tell from none"),
        (-3.8, "no more than weighing can tell from none"),
        (-4.2, "the parts are more than the whole, beyond weighing: take them again, each at its "
         "own radius"),
    ],
)  # fmt: skip
def test_two_standard_uncertainties_of_the_remainder_decide(left: float, remark: str) -> None:
    table = ROUND.assign(friction_g=8.5 + left, friction_u_g=3.4775**0.5)  # 2^2 - 0.5225
    row = account_friction(taken(), table).loc[(10, REMAINDER)]
    assert row["share_u_g"] == pytest.approx(2.0) and row["share_g"] == pytest.approx(left)
    assert row["remark"] == remark


def test_a_sampled_key_by_hand_among_others() -> None:
    few = taken(40, shank=0.8).assign(friction_g=[0.8, np.nan, np.nan])
    account = account_friction(pd.concat([few, taken()]), ROUND)
    assert account.index.names == ["key", "part"]
    assert account.index.get_level_values("key").tolist() == [10] * 4 + [40] * 4
    here = account.loc[10]
    assert here["share_g"].tolist() == pytest.approx([5.0, 1.5, 2.0, 5.5])
    assert here["share_u_g"].tolist() == pytest.approx([0.5, 0.15, 0.5, 1.0])
    assert (here["share"] * 14.0).tolist() == pytest.approx([5.0, 1.5, 2.0, 5.5])
    assert here["remark"].tolist() == [""] * 4
    there = account.loc[40]
    assert there["share_g"].tolist() == pytest.approx([4.0, np.nan, np.nan, 8.0], nan_ok=True)
    assert there["share"].isna().tolist() == there["share_u_g"].isna().tolist()
    assert there["remark"].iloc[1] == "not taken; in the remainder"
    # The remainder: (5.5 + 8) / 2; the shank centre: (5 + 4) / 2.
    assert friction_sentence(account) == (
        "On the 2 keys sampled, on average, friction at the measuring point is "
        "capstan and heel, knuckle, balance hole 6.8 g; shank centre 4.5 g; "
        "key bushings 2.0 g; wippen centre 1.5 g. "
        "Look at capstan and heel, knuckle, balance hole first."
    )


@pytest.mark.parametrize(("keys", "apart"), [([10], 2**0.5), ([10, 40], 1.0)])
def test_what_is_first_is_sure_from_two_standard_uncertainties_on(
    keys: list[int], apart: float
) -> None:
    """By hand: 2 x the root of (0.5^2 + 0.5^2) / keys; the remainder is 0.1 g."""
    for times, end in ((0.95, " be told apart: sample more keys."), (1.05, "shank centre first.")):
        bushings = 5.0 - times * apart
        rows = pd.concat([taken(key, key_stick=bushings) for key in keys])
        whole = ROUND.assign(friction_g=6.6 + bushings)
        said = friction_sentence(account_friction(rows, whole))
        assert said.startswith("On the ") and said.endswith(end)


def test_one_part_alone_is_held_against_the_remainder() -> None:
    said = friction_sentence(account_friction(taken().iloc[:1], ROUND))
    assert said.endswith("knuckle, balance hole 9.0 g; shank centre 5.0 g. "
                         "Look at capstan and heel, knuckle, balance hole first.")  # fmt: skip
    no_ratio = ROUND.assign(action_ratio=np.nan)
    said = friction_sentence(account_friction(taken().iloc[:1], no_ratio))
    assert said.endswith("is capstan and heel, knuckle, balance hole 14.0 g.")


def test_a_key_without_friction_has_no_part_of_it() -> None:
    account = account_friction(
        taken(shank=0.0, wippen=0.0, key_stick=0.0), ROUND.assign(friction_g=0)
    )
    assert account["share_g"].tolist() == [0.0] * 4 and account["share"].isna().all()


def test_no_part_taken_gives_an_empty_account() -> None:
    account = account_friction(taken().iloc[:0], TABLE)
    assert account.empty and "No friction" in friction_sentence(account)


@pytest.mark.parametrize(
    ("parts", "key", "words"),
    [
        (taken().assign(part="hammer"), 10,
         "'hammer' is not taken alone. Choose one of shank centre, wippen centre, key bushings."),
        (taken(70), 70, "whole friction of key 70 is not known. Take its down weight and up"),
        (taken(99), 99, "whole friction of key 99 is not known. Take its down weight"),
        (taken(shank=-1.0), 10, "friction of -1 g cannot be. Give half of the difference"),
        (taken(shank=np.inf), 10, "friction of inf g cannot be"),
    ],
)  # fmt: skip
def test_bad_input_is_said(parts: pd.DataFrame, key: int, words: str) -> None:
    with pytest.raises(BalancekitError, match=words) as caught:
        account_friction(parts, TABLE)
    assert {(problem.key, problem.column) for problem in caught.value.problems} == {
        (key, "friction_g")
    }


def test_every_wrong_row_is_said() -> None:
    rows = pd.concat([taken(shank=-1.0), taken(99)])
    with pytest.raises(BalancekitError) as caught:
        account_friction(rows, TABLE)
    assert [problem.key for problem in caught.value.problems] == [10, 99, 99, 99]
