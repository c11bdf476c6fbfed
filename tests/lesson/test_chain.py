"""Worked chains, sums, and what was rounded on the way; by hand."""

from __future__ import annotations

import pytest

from balancekit.lesson.practice.chain import read_steps, wrong_step
from balancekit.lesson.practice.exercise import Exercise, check
from balancekit.lesson.practice.exercises import FORMULAS, KINDS, make_exercise
from balancekit.lesson.practice.formula import evaluate, work_out
from balancekit.lesson.practice.session import Attempt


@pytest.mark.parametrize("kind", KINDS)
def test_each_formula_gives_the_answer_of_the_suite(kind):
    """The answers come from the functions of the suite; the formulas are written apart."""
    for seed in range(20):
        made = make_exercise(kind, seed)
        assert evaluate(FORMULAS[kind], made.given) == pytest.approx(made.answer, rel=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_a_right_chain_is_right_and_one_wrong_step_is_pointed_at(kind):
    """Each exercise worked out operation by operation; then one result is spoiled."""
    for seed in range(8):
        made = make_exercise(kind, seed)
        numbers = {name: f"{value:.6g}" for name, value in made.given.items()}
        sums = FORMULAS[kind]
        for name in sorted(numbers, key=len, reverse=True):
            sums = sums.replace(name, numbers[name])
        # A unit is written where the exercise has one.
        unit = f" {made.unit}" if made.unit else ""
        right = f"{sums} = {made.answer:.4f}{unit}"
        assert check(made, right).kind == "right", right
        wrong = f"{sums} = {made.answer * 1.2:.4f}{unit}"
        verdict = check(made, wrong)
        assert verdict.kind == "miss" and "Step 1" in verdict.sentence
        assert verdict.mistake == "a step worked out wrongly"


def test_the_first_wrong_step_is_named_and_the_ones_behind_it_are_not():
    steps = read_steps("37 + 27 = 64; 64 − 18 × 0,5 = 53; 53 / 10 = 5,3")
    assert wrong_step(steps, [37, 27, 18, 0.5, 10]) == "Step 2: 64 − 18 × 0,5 gives 55, not 53."


def test_steps_with_units_and_several_signs_are_read():
    steps = read_steps("(49 g + 25 g) / 2 = 74 g / 2 = 37 g")
    assert [step.says for step in steps] == ["74 g / 2", "37 g"]
    assert wrong_step(steps, [49, 25]) == ""


def test_a_number_from_nowhere_is_asked_about():
    assert "where does 31 come from" in wrong_step(read_steps("49 - 31 = 18; 18/2 = 9"), [49, 25])


def test_rounding_the_lever_of_a_plug_is_told():
    """By hand: 13.6 g x 169/243 = 9.46 g; with the lever rounded to 0.7, 9.52; to 1, 13.6."""
    for seed in range(200):
        made = make_exercise("lead", seed)
        lever = made.given["distance_mm"] / made.given["arm_mm"]
        typed = made.given["mass_g"] * round(lever, 1)
        verdict = check(made, f"{typed:.1f} g")
        if verdict.mistake == "rounded too early" and "on the way" in verdict.sentence:
            assert f"{lever:.4g} on the way was rounded to {round(lever, 1):g}" in verdict.sentence
            return
    raise AssertionError("no seed tells of it")


def test_nine_point_seven_for_nine_point_five_is_answered_by_what_was_rounded():
    """By hand: 13.6 g x 169/243 = 9.46 g; with 14 g it is 9.74 g."""
    given = {"mass_g": 13.6, "distance_mm": 169.0, "arm_mm": 243.0}
    made = Exercise("", "", given, 9.458, "g", 1, 0.1, (), (), formula=FORMULAS["lead"])
    assert made.show(made.answer) == "9.5 g"
    verdict = check(made, "9.7 g")
    assert verdict.mistake == "rounded too early"
    assert "Probably 13.6 was rounded to 14. Keep all digits until the end" in verdict.sentence


def test_results_on_the_way_are_kept_in_order():
    assert [exact for exact, _ in work_out("(2 + 4) * 3 / 9")[1]] == [6, 18, 2]


def test_a_rounding_that_would_divide_by_0_is_passed_over():
    """By hand: 2/(0.4 − 0.3) = 20; rounded to whole numbers it would be 2/0."""
    given = {"a_g": 2.0, "b_mm": 0.4, "c_mm": 0.3}
    made = Exercise(
        "", "", given, 20.0, "g", 1, 0.1, (), (), formula="a_g / (b_mm - c_mm) * (c_mm / c_mm)"
    )
    for near in ("20.4 g", "19.6 g"):
        verdict = check(made, near)
        assert verdict.kind == "miss" and "Keep all digits until the end" in verdict.sentence


def test_a_step_that_cannot_be_read_is_held_against_nobody():
    work = Attempt(Exercise("", "", {"a": 49.0, "b": 25.0}, 37.0, "g", 1, 0.1, (), ()))
    verdict = work.enter("49 + 25 = 74; 74 halved = 37 g")
    assert verdict.kind == "unclear" and "Step 2 cannot be read" in verdict.sentence
    assert work.entries == []
    assert work.enter("49 + 25 = 74; 74 / 2 = 37 g").kind == "right"
    assert work.result == "right at once"
    # A step that is wrong before it is a miss all the same.
    other = Attempt(work.exercise)
    assert other.enter("49 + 25 = 75; 75 halved = 37.5 g").kind == "miss"
