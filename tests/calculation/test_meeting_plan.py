"""The proof: planted reasons are found, chance sends nobody to the bench, bands hold."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from balancekit.calculation.generator import complete, invent, weigh
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.proof.false_calls import false_calls
from balancekit.calculation.proof.meeting_plan import (
    MEETS,
    NOT_KNOWN,
    TAKE_UP,
    WEIGH_AGAIN,
    Limits,
    band_coverage,
    coverage_sentence,
    find_off,
    meet_plan,
)
from balancekit.calculation.proof.prediction import Planned, predict
from balancekit.calculation.quantities import QUANTITIES
from balancekit.instrument.filled_in import key_table
from balancekit.instrument.model import BenchSettings, Instrument


def second_visit(seed: int = 1, change=None):
    """A plan made from readings, the work done on the truth, and readings of what came out."""
    draw = np.random.default_rng(seed + 900)
    truth = invent(seed).truth
    instrument = Instrument(settings=BenchSettings())
    found = key_table(instrument.with_readings(weigh(truth, seed, rounded=False)))
    strike, front = found["strike_weight_g"] - 0.6, found["front_weight_g"] - 4.0
    predicted = predict(found, Planned(strike_weight_g=strike, front_weight_g=front))
    after = truth.assign(
        strike_weight_g=strike + draw.normal(0, 0.1, 88),
        front_weight_g=front + draw.normal(0, 0.3, 88),
    )
    if change is not None:
        change(after)
    read = weigh(complete(after), seed + 1, rounded=False)
    return key_table(instrument.with_readings(read)), predicted


def add(name: str, key: int, by: float):
    def change(truth: pd.DataFrame) -> None:
        truth.loc[key, name] += by

    return change


@pytest.mark.parametrize(
    ("name", "by", "reason"),
    [
        ("strike_weight_g", 1.2, "hammer"),
        ("strike_weight_g", -1.2, "hammer"),
        ("front_weight_g", 6.0, "lead"),
        ("front_weight_g", -6.0, "lead"),
        ("friction_g", 6.0, "friction"),
    ],
)
def test_a_planted_reason_is_named(name, by, reason):
    verdicts = meet_plan(*second_visit(change=add(name, 40, by))).loc[40]
    assert verdicts["verdict"] == TAKE_UP
    assert verdicts["reason"] == reason
    side = "above" if by > 0 else "below"
    said = rf"(?i){QUANTITIES[name].label} \d+\.\d g {side} the plan"
    assert re.search(said, verdicts["sentence"])


def test_what_each_reason_explains_is_in_grams_at_the_key():
    read, predicted = second_visit(change=add("strike_weight_g", 40, 1.0))
    row = meet_plan(read, predicted).loc[40]
    # One gram of strike weight costs the action ratio at the measuring point.
    expected = (read["strike_weight_g"][40] - predicted["strike_weight_g"][40]) * predicted[
        "action_ratio"
    ][40]
    assert row["hammer_g"] == pytest.approx(expected)
    assert row["hammer_g"] == pytest.approx(row["balance_weight_off_g"], abs=3.0)


def test_a_moved_lever_is_no_reason_to_touch_hammer_or_lead():
    row = meet_plan(*second_visit(change=add("action_ratio", 40, 1.0))).loc[40]
    assert row["verdict"] == WEIGH_AGAIN and row["reason"] == ""
    assert "Weigh all of the key again" in row["sentence"]


def test_every_sentence_starts_with_a_capital():
    changes = (None, add("action_ratio", 40, 1.0), add("strike_weight_g", 40, 1.5))
    verdicts = pd.concat([meet_plan(*second_visit(change=change)) for change in changes])
    assert set(verdicts["verdict"]) >= {MEETS, WEIGH_AGAIN, TAKE_UP}
    assert all(said[0].isupper() for said in verdicts["sentence"])


@pytest.mark.slow
def test_with_nothing_wrong_few_keyboards_have_a_key_called():
    """With nothing wrong, a rate of 0.1 means any call at all in at most 1 keyboard of 10."""
    verdicts = [meet_plan(*second_visit(seed))["verdict"] for seed in range(60)]
    called = sum((each != MEETS).any() for each in verdicts)
    # Binomial distribution: 12 or more of 60 at 0.1 has a chance of 1.5 in 100.
    assert called < 12
    assert sum((each == TAKE_UP).any() for each in verdicts) <= 3


@pytest.mark.slow
def test_of_the_keys_that_are_called_few_are_called_by_chance():
    """Ten keys are really off by 5 g of friction; Benjamini and Hochberg bound the wrong calls."""
    wrong, called = 0, 0
    for seed in range(30):
        draw = np.random.default_rng(seed)
        spoiled = draw.choice(np.arange(1, 89), 10, replace=False)

        def change(truth: pd.DataFrame, keys=spoiled) -> None:
            truth.loc[keys, "friction_g"] += 5.0

        verdict = meet_plan(*second_visit(seed, change))["verdict"]
        named = set(verdict.index[verdict.isin([TAKE_UP, WEIGH_AGAIN])])
        wrong += len(named - set(spoiled)) / max(len(named), 1)
        called += len(named & set(spoiled))
    assert wrong / 30 <= 0.1
    assert called >= 0.9 * 300


@pytest.mark.slow
def test_the_bands_hold_what_they_promise():
    inside = {}
    for seed in range(25):
        for name, found in band_coverage(*second_visit(seed)).items():
            inside.setdefault(name, []).append(found)
    shares = {n: sum(f.inside for f in each) / sum(f.count for f in each)
              for n, each in inside.items()}  # fmt: skip
    assert {"down_weight_g", "balance_weight_g", "friction_g"} <= shares.keys()
    assert all(0.93 <= share <= 0.97 for share in shares.values()), shares


def test_too_narrow_a_band_is_noticed():
    read, predicted = second_visit()
    for name in ("balance_weight_g", "down_weight_g"):
        column = QUANTITIES[name].uncertainty_name
        read[column] *= 0.3
        predicted[column] *= 0.3
    found = band_coverage(read, predicted)["balance_weight_g"]
    assert found.inside < found.low
    assert "changed more than the plan" in coverage_sentence(found, "balance_weight_g")


@pytest.mark.parametrize("stated", [0.5, 0.68, 0.95, 0.99])
def test_limits_of_the_count_are_those_of_the_binomial_distribution(stated):
    """The chance of fewer than ``low`` or more than ``high`` is at most 2.5 % each: SciPy."""
    read, predicted = second_visit()
    for count in range(1, 89):
        some = read.assign(down_weight_g=read["down_weight_g"].where(read.index <= count))
        found = band_coverage(some, predicted, stated=stated)["down_weight_g"]
        limits = stats.binom.interval(0.95, count, stated)
        assert (found.count, found.low, found.high) == (count, *limits)


def test_the_rates_of_false_calls_are_those_of_benjamini_and_hochberg():
    """Over both quantities of all keys together: SciPy, ``false_discovery_control``."""
    drawn = np.random.default_rng(4).normal(0, 2, (88, 2))
    names = ("balance_weight_g", "friction_g")
    offs = {name: pd.DataFrame({"off": drawn[:, n]}) for n, name in enumerate(names)}
    told = pd.DataFrame({"parts": np.full(88, np.nan), "both": np.nan})
    rates = false_calls(offs, names, told, [True] * 88)
    chances = 2 * stats.norm.sf(abs(drawn))
    expected = stats.false_discovery_control(chances.ravel()).reshape(88, 2)
    assert np.array_equal(rates.to_numpy(), expected)


def test_a_missing_key_is_not_known_and_an_exact_match_is_not_off():
    read, predicted = second_visit()
    read.loc[5, ["down_weight_g", "up_weight_g", "balance_weight_g", "friction_g"]] = np.nan
    assert meet_plan(read, predicted).loc[5, "verdict"] == NOT_KNOWN
    off = find_off(read, predicted, "spring_relief_g")
    assert (off["off"] == 0).all()


def test_a_key_whose_reading_looks_like_a_slip_is_to_be_weighed_again():
    read, predicted = second_visit()
    read.loc[5, ["up_weight_g", "balance_weight_g", "friction_g"]] = float("nan")
    read.loc[5, "estimated"] = "up_weight_g"
    verdicts = meet_plan(read, predicted).loc[5]
    assert verdicts["verdict"] == WEIGH_AGAIN and "slip" in verdicts["sentence"]


def test_small_but_sure_differences_are_not_worth_the_bench():
    read, predicted = second_visit()
    for table in (read, predicted):
        for name in ("balance_weight_g", "friction_g", "strike_weight_g", "front_weight_g"):
            table[QUANTITIES[name].uncertainty_name] = 0.01
            table[name] = 10.0
    read["balance_weight_g"] += 0.5
    assert TAKE_UP not in set(meet_plan(read, predicted)["verdict"])


@pytest.mark.parametrize(
    ("make", "word"),
    [
        (lambda r, p: find_off(r, p.iloc[:10], "friction_g"), "another keyboard"),
        (lambda r, p: find_off(r.drop(columns="friction_g"), p, "friction_g"), "not there"),
        (lambda r, p: band_coverage(r, p, stated=1.0), "band of"),
        (lambda r, p: Limits(0.01, 0.1), "larger first"),
    ],
    ids=["keys", "column", "band", "limits"],
)
def test_bad_input_is_said(make, word):
    with pytest.raises(BalancekitError, match=word):
        make(*second_visit())
