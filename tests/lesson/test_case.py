"""The case: faults are planted as told, and what is named is judged fairly."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.generator import complete
from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.filled_in import key_table
from balancekit.instrument.findings import find_all
from balancekit.lesson.faults.case import (
    FAULTS,
    case_table,
    judge,
    make_case,
    suspected_by_flags,
)


def test_the_same_seed_gives_the_same_case():
    one, again = make_case(5), make_case(5)
    assert one.planted == again.planted
    assert one.instrument.visits[0].readings.equals(again.instrument.visits[0].readings)
    assert make_case(6).planted != one.planted


def test_eight_faults_are_all_of_different_kinds_and_apart():
    for seed in range(10):
        planted = make_case(seed).planted
        assert sorted(planted.values()) == sorted(FAULTS)
        keys = sorted(planted)
        assert min(b - a for a, b in pairwise(keys)) >= 4
        assert keys[0] >= 4 and keys[-1] <= 85


@pytest.mark.parametrize("kind", [name for name, fault in FAULTS.items() if not fault.on_paper])
def test_a_fault_shows_in_the_balance_as_the_equation_says(kind):
    """By hand: what the change does to balance weight and friction."""
    row = {
        "front_weight_g": 27.0,
        "strike_weight_g": 10.0,
        "wippen_weight_g": 18.0,
        "key_ratio": 0.5,
        "action_ratio": 5.5,
        "spring_relief_g": 0.0,
        "friction_g": 12.0,
    }
    change = FAULTS[kind].change(row, np.random.default_rng(1))
    after = complete(pd.DataFrame([{**row, **change}])).iloc[0]
    moved = after["balance_weight_g"] - 37.0
    by_hand = {
        "tight": 0.0,
        "loose": 0.0,
        "heavy hammer": 5.5 * (change.get("strike_weight_g", 0) - 10),
        "light hammer": 5.5 * (change.get("strike_weight_g", 0) - 10),
        "lead missing": 27.0 - change.get("front_weight_g", 0),
        # Both products grow as the levers do: capstan longer, heel shorter (69 mm at 0.5).
        "capstan": 64 * (_longer(change) - 1),
    }[kind]
    assert moved == pytest.approx(by_hand)
    assert (after["friction_g"] != 12.0) == (kind in ("tight", "loose"))


def _longer(change):
    capstan = change.get("key_ratio", 0.5) * 240
    return capstan / 120 * 69 / (189 - capstan)


def test_judging_by_hand():
    case = make_case(5)
    first, second, third, *rest = case.planted
    sound = next(key for key in range(1, 89) if key not in case.planted)
    other = next(kind for kind in FAULTS if kind != case.planted[second])
    result = judge(case, {first: case.planted[first], second: other, third: "", sound: "tight"})
    assert result.found == (first,) and set(result.other_cause) == {second, third}
    assert result.missed == tuple(rest) and result.accused == (sound,)
    table = case_table(case, {first: case.planted[first]}, {sound: ""})
    assert table.loc[sound].tolist() == ["–", "–", "named, cause left open"]
    assert table.loc[first, "you"] == table.loc[first, "planted"]


@pytest.mark.slow
def test_the_flags_of_the_suite_find_most_faults():
    found = accused = 0
    for seed in range(5):
        case = make_case(seed)
        flags = find_all(case.instrument, 0, key_table(case.instrument)).flags
        result = judge(case, suspected_by_flags(flags))
        found += len(result.found)
        accused += len(result.accused)
    # 40 planted, each many standard deviations large; a fair learner's task.
    assert found >= 36 and accused <= 8


def test_what_is_not_there_is_refused_all_at_once():
    with pytest.raises(BalancekitError) as refused:
        judge(make_case(5), {12: "rust", 99: "tight"})
    assert [problem.key for problem in refused.value.problems] == [12, 99]
    with pytest.raises(BalancekitError, match="1 to 12"):
        make_case(5, 13)
