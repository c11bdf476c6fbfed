"""Exercises: right answers by hand and by the functions, and every named mistake found.

The hand formulas are those of the trade (common practice, no source) and of any textbook of
mechanics; they are written out here again, apart from the package.
"""

from __future__ import annotations

from itertools import islice
from math import sqrt

import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.lesson.practice.exercise import check, read_entry
from balancekit.lesson.practice.exercises import KINDS, exercise_row, exercises, make_exercise

BY_HAND = {
    "friction": lambda g: (g["down_weight_g"] - g["up_weight_g"]) / 2,
    "balance weight": lambda g: (g["down_weight_g"] + g["up_weight_g"]) / 2,
    "down weight": lambda g: g["balance_weight_g"] + g["friction_g"],
    "key ratio": lambda g: g["capstan_arm_mm"] / g["arm_mm"],
    "lead": lambda g: g["mass_g"] * g["distance_mm"] / g["arm_mm"],
    "action ratio": lambda g: (
        g["balance_weight_g"] + g["front_weight_g"] + g["spring_relief_g"]
        - g["wippen_weight_g"] * g["key_ratio"]
    ) / g["strike_weight_g"],
    "front weight": lambda g: (
        g["wippen_weight_g"] * g["key_ratio"] + g["strike_weight_g"] * g["action_ratio"]
        - g["balance_weight_g"] - g["spring_relief_g"]
    ),
    "place of lead": lambda g: g["front_weight_g"] * g["arm_mm"] / g["mass_g"],
    "strike weight": lambda g: (
        g["balance_weight_g"] + g["front_weight_g"] - g["wippen_weight_g"] * g["key_ratio"]
    ) / g["action_ratio"],
    "hammer travel": lambda g: g["action_ratio"] * g["travel_mm"],
    "spring relief": lambda g: (
        g["down_without_g"] + g["up_without_g"] - g["down_with_g"] - g["up_with_g"]
    ) / 2,
    "key dip": lambda g: g["blow_distance_mm"] / g["action_ratio"] + g["aftertouch_mm"],
    "inertia of lead": lambda g: g["mass_g"] * (g["distance_mm"] / g["arm_mm"]) ** 2,
    "inertia of the hammer": lambda g: g["strike_weight_g"] * g["action_ratio"] ** 2,
    "uncertainty": lambda g: sqrt(g["down_weight_u_g"] ** 2 + g["up_weight_u_g"] ** 2) / 2,
}  # fmt: skip

SEEDS = range(25)
every_kind = pytest.mark.parametrize("kind", KINDS)


@every_kind
def test_answers_hold_by_hand(kind):
    for seed in SEEDS:
        one = make_exercise(kind, seed)
        assert one.answer == pytest.approx(BY_HAND[kind](one.given), abs=1e-9)


@every_kind
def test_right_answers_are_right_as_they_are_written(kind):
    for seed in SEEDS:
        one = make_exercise(kind, seed)
        assert check(one, one.show(one.answer)).kind == "right"
        assert check(one, one.show(one.answer).replace(".", ",")).kind == "right"


@every_kind
def test_every_named_mistake_brings_its_own_hint(kind):
    for seed in SEEDS:
        one = make_exercise(kind, seed)
        assert len(one.mistakes) >= 2
        for mistake in one.mistakes:
            verdict = check(one, one.show(mistake.value))
            assert (verdict.kind, verdict.mistake) == ("miss", mistake.name)
            assert mistake.hint in verdict.sentence


@every_kind
def test_numbers_of_the_question_are_those_that_are_given(kind):
    """What is printed must be enough to work the answer out again."""
    for seed in range(5):
        one = make_exercise(kind, seed)
        assert one.solution and one.show(one.answer).replace("−", "-") in one.solution[-1].replace(
            "−", "-"
        )


HINTS_BY_HAND = [
    # (kind, what the mistake gives, from the numbers alone, name)
    ("balance weight", lambda g: g["down_weight_g"] + g["up_weight_g"], "the sum instead of half"),
    ("friction", lambda g: g["down_weight_g"] - g["up_weight_g"], "the whole gap instead of half"),
    ("key ratio", lambda g: g["arm_mm"] / g["capstan_arm_mm"], "the ratio upside down"),
    ("action ratio", lambda g: 1 / BY_HAND["action ratio"](g), "the ratio upside down"),
    ("balance weight", lambda g: g["down_weight_g"], "friction taken for weight"),
    ("lead", lambda g: g["mass_g"], "the lever left out"),
    ("inertia of lead", lambda g: g["mass_g"] * g["distance_mm"] / g["arm_mm"], "taken once"),
    ("key dip", lambda g: g["blow_distance_mm"] / g["action_ratio"], "the aftertouch left out"),
]


@pytest.mark.parametrize(("kind", "wrong", "name"), HINTS_BY_HAND)
def test_classic_mistakes_are_named(kind, wrong, name):
    one = make_exercise(kind, 11)
    assert name in check(one, one.show(wrong(one.given))).mistake


@pytest.mark.parametrize("kind", ["key ratio", "lead", "place of lead", "inertia of lead"])
def test_a_sharp_taken_for_a_natural_is_named(kind):
    one = next(
        made for made in (make_exercise(kind, seed) for seed in SEEDS) if " sharp" in made.text
        and "a sharp taken for a natural" in [mistake.name for mistake in made.mistakes]
    )  # fmt: skip
    natural_mm = float(one.text.split(" mm on naturals")[0].split()[-1])
    wrong = BY_HAND[kind]({**one.given, "arm_mm": natural_mm})
    assert check(one, one.show(wrong)).mistake == "a sharp taken for a natural"


@pytest.mark.parametrize(
    ("entry", "unit", "value"),
    [("12.5 g", "g", 12.5), ("12,5g", "g", 12.5), (" 0.0125 kg ", "g", 12.5), ("-2 g", "g", -2.0),
     ("−2 grams", "g", -2.0), ("1.2 cm", "mm", 12.0), ("5.5", "", 5.5), (".5", "", 0.5)],
)  # fmt: skip
def test_entries_are_read_with_their_units(entry, unit, value):
    read, hindered = read_entry(entry, unit)
    assert hindered == "" and read == pytest.approx(value)


@pytest.mark.parametrize(
    ("entry", "unit", "words"),
    [("12.5", "g", "write the unit too"), ("12.5 mm", "g", "The answer is in g"),
     ("5.5 g", "", "A ratio has no unit"), ("twelve", "g", "is not a number"),
     ("", "g", "is not a number"), ("1.2.3 g", "g", "is not a number")],
)  # fmt: skip
def test_what_cannot_be_read_is_said_and_is_no_miss(entry, unit, words):
    _, hindered = read_entry(entry, unit)
    assert words in hindered
    one = make_exercise("friction", 1)
    if unit == one.unit:
        assert check(one, entry).kind == "unclear"


def test_decimal_point_and_sign_are_noticed():
    one = make_exercise("lead", 3)
    assert check(one, f"{one.answer * 10:.1f} g").mistake == "decimal point"
    assert check(one, f"{one.answer / 10:.2f} g").mistake == "decimal point"
    assert check(one, f"-{one.answer:.1f} g").mistake == "sign"


def test_tolerance_is_what_is_said():
    one = make_exercise("friction", 5)
    assert "within 0.1 g" in one.asked
    assert check(one, f"{one.answer + 0.1:.1f} g").kind == "right"
    assert check(one, f"{one.answer + 0.3:.1f} g").kind == "miss"


def test_the_same_seed_gives_the_same_row_and_another_another():
    assert exercise_row(12, 20) == exercise_row(12, 20)
    texts = [each.text for seed in range(40) for each in exercise_row(seed, len(KINDS))]
    assert len(set(texts)) > 0.97 * len(texts)


def test_none_comes_twice_in_a_row():
    texts = [each.text for each in islice(exercises(8), 40 * len(KINDS))]
    assert len(set(texts)) == len(texts)


def test_a_used_up_seed_says_so():
    with pytest.raises(BalancekitError, match="another seed"):
        for _ in exercises(8):
            pass


@pytest.mark.parametrize("seed", [-1, 1_000_000, 1.5, True])
def test_a_bad_seed_is_refused(seed):
    with pytest.raises(BalancekitError, match="is not a seed"):
        make_exercise("friction", seed)


def test_an_unknown_kind_and_an_empty_row_are_refused():
    with pytest.raises(BalancekitError, match="Choose one of: friction"):
        make_exercise("tuning", 1)
    with pytest.raises(BalancekitError, match="1 or more"):
        exercise_row(1, 0)


@pytest.mark.parametrize(
    ("entry", "value"),
    [("(49 + 25) / 2 g", 37.0), ("74/2 g", 37.0), ("=(49 g + 25 g)/2 g", 37.0), ("3,5 + 1 g", 4.5),
     ("2 × 3² g", 18.0), ("-4 g", -4.0), ("9 1/2 g", 9.5), ("9½ g", 9.5), ("½ g + 9 g", 9.5),
     ("-9 1/2 g", -9.5), ("19/2 g", 9.5), ("3 × 3 1/6 g", 9.5)],
)  # fmt: skip
def test_sums_and_fractions_are_read(entry, value):
    assert read_entry(entry, "g") == (pytest.approx(value), "")


@pytest.mark.parametrize("entry", ["(49 + / 2 g", "1/0 g", "__import__('os') g", "9**9**9 g"])
def test_what_is_no_sum_is_said_and_never_run(entry):
    value, hindered = read_entry(entry, "g")
    assert hindered and value != value


def test_a_number_that_was_rounded_on_the_way_is_named():
    """By hand: 46 mm / 5.4 + 1.0 mm = 9.52 mm; with the ratio rounded to 5 it is 10.2 mm."""
    row = [make_exercise("key dip", seed) for seed in range(200)]
    for exercise in row:
        ratio = exercise.given["action_ratio"]
        short = {**exercise.given, "action_ratio": round(ratio)}
        value = short["blow_distance_mm"] / short["action_ratio"] + short["aftertouch_mm"]
        if exercise.tolerance * 1.5 < abs(value - exercise.answer) < 0.03 * exercise.answer:
            verdict = check(exercise, f"{value:.1f} mm")
            if verdict.mistake == "rounded too early":
                assert f"{ratio:g} was rounded to {round(ratio)}" in verdict.sentence
                return
    raise AssertionError("no exercise shows it")
