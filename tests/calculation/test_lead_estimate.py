"""Lead in keys that nobody looked into: estimated on invented keyboards, apart from the model."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.leads.bare_key import bare_front_weight_g
from balancekit.calculation.leads.key_stick import usual_sticks
from balancekit.calculation.leads.lead_estimate import estimate_lead
from balancekit.calculation.problems import BalancekitError


def invented(seed: int, recorded: int, from_one_end: bool = False):
    """Return front weights, sticks, what is recorded, and the truth by key.

    Sticks of one piano are off the plain wood by some grams in common and each by some more;
    one to four plugs of 7 to 14 g lie where a hand would bore them. Who looks ``from_one_end``
    finds sticks and places that change over the keyboard.
    """
    draw = np.random.default_rng(seed)
    keys = keyboard()
    sticks = usual_sticks(keys["colour"], key_ratio=pd.Series(0.5, keys.index))
    arm = sticks["arm_mm"]
    bare = bare_front_weight_g(sticks) + draw.normal(0, 5) + draw.normal(0, 2.5, len(keys))
    middle = pd.Series(draw.uniform(0.5, 0.7), keys.index)
    if from_one_end:
        along = pd.Series(np.linspace(-0.5, 0.5, len(keys)), keys.index)
        bare += along * draw.normal(0, 3)
        middle += along * draw.normal(0, 0.15)
    rows = {}
    for key in keys.index:
        mass = draw.uniform(7, 14, draw.integers(1, 5))
        place = arm[key] * np.clip(draw.normal(middle[key], 0.08, len(mass)), 0.2, 0.9)
        rows[key] = (mass.sum(), (mass * place).sum() / arm[key],
                     (mass * place**2).sum() / arm[key] ** 2)  # fmt: skip
    names = ["lead_g", "lead_front_weight_g", "lead_inertia_g"]
    truth = pd.DataFrame.from_dict(rows, orient="index", columns=names)
    front = bare + truth["lead_front_weight_g"] + draw.normal(0, 0.3, len(keys))
    seen = sorted(draw.choice(keys.index, recorded, replace=False))
    if from_one_end:
        seen = list(range(1, recorded + 1))
    return front, pd.Series(0.3, keys.index), sticks, truth.loc[seen], truth


@pytest.mark.slow
@pytest.mark.parametrize(
    ("recorded", "from_one_end"),
    [(0, False), (3, False), (12, False), (40, False), (12, True), (44, True)],
)
def test_the_uncertainty_of_estimated_lead_keeps_its_word(recorded, from_one_end):
    inside, totals, wide = [], [], []
    for seed in range(80):
        front, u, sticks, seen, truth = invented(seed, recorded, from_one_end)
        found = estimate_lead(front, u, sticks, seen)
        guess = found[found["estimated"]]
        true = truth.loc[guess.index]
        off = (guess["lead_inertia_g"] - true["lead_inertia_g"]).abs()
        inside.append((off <= 2 * guess["lead_inertia_u_g"]).mean())
        wide.append(guess["lead_inertia_u_g"].mean())
        shared, own = guess["lead_shared_u_g"], guess["lead_u_g"]
        spread = np.hypot(shared.sum(), (own**2 - shared**2).sum() ** 0.5)
        totals.append(abs(guess["lead_g"].sum() - true["lead_g"].sum()) <= 2 * spread)
    assert np.mean(inside) >= 0.93
    assert np.mean(totals) >= 0.93
    assert np.mean(wide) < 8.0


def test_what_was_recorded_is_counted_and_no_more():
    front, u, sticks, seen, _ = invented(1, 30)
    found = estimate_lead(front, u, sticks, seen)
    counted = found[~found["estimated"]]
    assert list(counted.index) == list(seen.index)
    pd.testing.assert_series_equal(counted["lead_g"], seen["lead_g"], check_names=False)
    assert (counted[["lead_u_g", "lead_inertia_u_g"]] == 0).all().all()


def test_keys_seen_make_the_others_better_known():
    wide = []
    for recorded in (0, 12, 60):
        front, u, sticks, seen, _ = invented(3, recorded)
        found = estimate_lead(front, u, sticks, seen)
        wide.append(found.loc[found["estimated"], "lead_front_weight_u_g"].mean())
    assert wide[0] > wide[1] > wide[2]


def test_a_record_off_the_keyboard_is_refused():
    front, u, sticks, seen, _ = invented(2, 2)
    with pytest.raises(BalancekitError, match="Key 99 is not on the keyboard"):
        estimate_lead(front, u, sticks, seen.set_axis([1, 99]))


def test_lead_behind_the_pin_is_lead_all_the_same():
    """By hand: 12 g less than the bare key, at 0.6 of the arm: 20 g of lead, 7.2 g of inertia."""
    _, u, sticks, seen, _ = invented(2, 0)
    found = estimate_lead(bare_front_weight_g(sticks) - 12.0, u, sticks, seen)
    for name, grams in (("lead_front_weight", -12.0), ("lead", 20.0), ("lead_inertia", 7.2)):
        assert found[f"{name}_g"].tolist() == pytest.approx([grams] * len(found))
