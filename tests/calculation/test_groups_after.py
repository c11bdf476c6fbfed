"""What became of groups: each of the six words, and keys that came out off the plan together."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.believed.name_groups import Group
from balancekit.calculation.proof.groups_after import (
    GONE,
    NEW,
    NOT_READ,
    OPEN,
    PLANNED,
    SMALLER,
    STILL_THERE,
    all_groups,
    follow_groups,
    meet,
    off_together,
    together_sentences,
)
from balancekit.calculation.proof.plateaus import Plateau
from balancekit.calculation.quantities import uncertainty_name
from tests.benchmarks.invented_pianos import GROUP, KEYS, SHARP, invent

BOARD = pd.RangeIndex(1, KEYS + 1)
BASE = pd.DataFrame({"colour": np.where(SHARP, "sharp", "natural")}, index=BOARD)


def group(quantity: str, shift: float, shift_u: float, first: int = 30, last: int = 46) -> Group:
    return Group(first, last, "keys", quantity, shift, shift_u, "", "")


def weighed(quantity: str, shift: float, error: float, seed: int = 1) -> pd.DataFrame:
    """Return readings whose keys 30 to 46 stand off, other shares of the middle aside."""
    middle = {"key_ratio": 0.5, "action_ratio": 5.6}.get(quantity, 38.0)
    draw = np.random.default_rng(seed).normal(0, error, KEYS)
    values = middle + draw + shift * ((BOARD >= 30) & (BOARD <= 46))
    return BASE.assign(**{quantity: values, uncertainty_name(quantity): error})


@pytest.mark.parametrize(
    ("before", "left", "became"),
    [
        (group("key_ratio", 0.023, 0.002), 0.0, GONE),
        (group("key_ratio", 0.023, 0.002), 0.023, STILL_THERE),
        (group("key_ratio", 0.046, 0.003), 0.018, SMALLER),
        (group("key_ratio", 0.003, 0.002), 0.0, OPEN),
        # On the other side it is not smaller, but still a group.
        (group("key_ratio", 0.023, 0.002), -0.015, STILL_THERE),
    ],
)
def test_a_group_is_judged_on_its_own_keys(before: Group, left: float, became: str) -> None:
    (fate,) = follow_groups([before], [], weighed("key_ratio", left, 0.004))
    assert fate.became == became
    assert fate.after == pytest.approx(left, abs=2.5 * fate.after_u)


def test_what_was_not_weighed_again_is_not_called_gone() -> None:
    read = weighed("balance_weight_g", 0.0, 0.5)
    (fate,) = follow_groups([group("key_ratio", 0.023, 0.002)], [], read)
    assert fate.became == NOT_READ and np.isnan(fate.after)
    estimated = weighed("wippen_weight_g", 1.0, 0.2).assign(estimated="wippen_weight_g")
    (fate,) = follow_groups([group("wippen_weight_g", 1.0, 0.1)], [], estimated)
    assert fate.became == NOT_READ


def test_a_group_on_other_keys_or_in_another_quantity_is_new() -> None:
    before = [group("balance_weight_g", 2.6, 0.3)]
    after = [
        group("balance_weight_g", 2.0, 0.3, 31, 48),
        group("balance_weight_g", 2.0, 0.3, 60, 70),
        group("friction_g", 2.0, 0.3),
    ]
    fates = follow_groups(before, after, weighed("balance_weight_g", 2.6, 0.5))
    assert [fate.became for fate in fates] == [STILL_THERE, NEW, NEW]
    assert not fates[1].before and fates[0].before


def test_what_the_plan_wanted_is_new_and_as_planned() -> None:
    # Lead that makes up for a ratio: the front weight of these keys is to stand off by 3 g.
    promised = weighed("front_weight_g", 3.0, 0.3)
    found = group("front_weight_g", 3.2, 0.3)
    for name, word in (("front_weight_g", PLANNED), ("wippen_weight_g", NEW)):
        (fate,) = follow_groups([], [replace(found, quantity=name)], promised, promised)
        assert fate.became == word
    (less,) = follow_groups([], [replace(found, shift=0.9)], promised, promised)
    assert less.became == NEW and less.open and not less.before


def test_groups_meet_when_they_share_most_of_their_keys() -> None:
    one = group("key_ratio", 1, 1, 30, 39)
    assert meet(one, group("key_ratio", 1, 1, 35, 44))
    assert not meet(one, group("key_ratio", 1, 1, 36, 45))
    assert not meet(one, Group(30, 39, "sharps", "key_ratio", 1, 1, "", ""))


def test_a_plateau_is_named_by_the_groups_that_make_it() -> None:
    plateaus = {"balance_weight_g": (Plateau(30, 46, "keys", 2.6, 0.2),)}
    ratio = group("action_ratio", 0.25, 0.02, 29, 46)
    made = all_groups([ratio], plateaus)
    assert [each.quantity for each in made] == ["action_ratio", "balance_weight_g"]
    assert made[1].likely_cause == "what is off in action ratio on these keys"
    wider = all_groups([ratio, group("strike_weight_g", 0.6, 0.1, 50, 67)],
                       {"balance_weight_g": (Plateau(29, 67, "keys", 2.6, 0.2),)})  # fmt: skip
    assert wider[1].likely_cause == "what is off in action ratio, strike weight on these keys"
    alone = all_groups([], plateaus)
    assert "the plan did not know of" in alone[0].likely_cause


def test_a_plan_that_missed_a_group_is_not_called_held() -> None:
    # The plan takes the ratios of all keys from the course beside the group: a
    # displaced capstan line, 0.25 in the action ratio and 0.023 in the key ratio.
    told, false = 0, 0
    for seed in range(12):
        true, draw = invent("shifted group", seed).truth, np.random.default_rng(seed)
        inside = (GROUP[0] < BOARD) & (GROUP[1] + 1 >= BOARD)
        more = 0.25 * true["strike_weight_g"] + 0.023 * true["wippen_weight_g"]
        promised = BASE.assign(balance_weight_g=38.0, balance_weight_u_g=0.6,
                               friction_g=11.0, friction_u_g=0.8)  # fmt: skip
        even = promised.assign(
            balance_weight_g=38.0 + draw.normal(0, 0.6, KEYS) + draw.normal(0, 0.5, KEYS),
            friction_g=11.0 + draw.normal(0, 0.8, KEYS) + draw.normal(0, 0.5, KEYS),
            balance_weight_u_g=0.5, friction_u_g=0.5,
        )  # fmt: skip
        off = even.assign(balance_weight_g=even["balance_weight_g"] + more * inside)
        said = together_sentences(off_together(off, promised))
        told += any("balance weight" in each and "above the plan together" in each for each in said)
        false += bool(together_sentences(off_together(even, promised)))
    assert told >= 9 and false <= 1
