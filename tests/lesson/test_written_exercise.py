"""Exercises of a teacher: read from plain text, tried on 50 seeds, never run as code."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from balancekit.calculation.problems import BalancekitError
from balancekit.lesson.classroom.teacher_panel import EXAMPLE, TeacherDesk
from balancekit.lesson.practice.exercise import check
from balancekit.lesson.practice.formula import evaluate
from balancekit.lesson.practice.written_exercise import read_exercise


def test_the_example_makes_exercises_that_are_judged():
    written = read_exercise(EXAMPLE)
    made = written.make(7)
    by_hand = made.given["mass_g"] * made.given["distance_mm"] / made.given["arm_mm"]
    assert made.answer == pytest.approx(by_hand)
    assert f"{made.given['mass_g']:.1f} g" in made.text and "{" not in made.text
    assert check(made, made.show(by_hand)).kind == "right"
    wrong = check(made, made.show(made.given["mass_g"]))
    assert wrong.mistake == "the lever left out" and "Multiply by its lever" in wrong.sentence
    assert written.make(7) == made and written.make(8).text != made.text


def test_what_is_written_is_read_again():
    written = read_exercise(EXAMPLE)
    assert read_exercise(written.as_text()) == written


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("answer: mass_g * distance_mm / arm_mm", "answer: mass_g / (arm_mm - arm_mm)", "by 0"),
        ("= mass_g |", "= mass_g * distance_mm / arm_mm |", "both give"),
        ("given: mass_g from 9 to 15", "given: mass_g from 15 to 9", "no range"),
        ("answer: mass_g", "answer: mass", "'mass' is not known"),
        ("unit: g", "unit: pound", "not known"),
        ("kind: front", "sort: front", "cannot be used"),
        ("{arm_mm}", "{arms}", "is not given"),
        ("answer: mass_g", "answer: __import__ * mass_g", "'__import__' is not known"),
        ("tolerance: 0.1", "tolerance: x", "not a number"),
        ("answer: mass_g", "answer: __import__('os') * mass_g", "cannot be read"),
    ],
)
def test_what_cannot_be_used_is_said(old, new, said):
    assert old in EXAMPLE
    with pytest.raises(BalancekitError) as refused:
        read_exercise(EXAMPLE.replace(old, new))
    assert said in str(refused.value)


@given(st.text(max_size=60))
@example("²")
def test_no_text_breaks_the_reader(text):
    for call in (evaluate, read_exercise):
        try:
            call(text)
        except BalancekitError as error:
            assert error.problems


@given(st.floats(0.5, 99), st.floats(0.5, 99), st.floats(0.5, 99))
def test_formulas_by_python(a, b, c):
    """The same sums by Python's own arithmetic."""
    names = {"a": a, "b": b, "c": c}
    assert evaluate("a + b * c - a / b", names) == pytest.approx(a + b * c - a / b)
    assert evaluate("-(a - b) ^ 2 / c", names) == pytest.approx(-((a - b) ** 2) / c)
    assert evaluate("sqrt(a² + b²) / 2", names) == pytest.approx((a**2 + b**2) ** 0.5 / 2)


def test_the_form_says_what_is_wrong_and_saves_what_is_right():
    desk = TeacherDesk()
    assert "Tried on 50 seeds" in desk.said.value and "exercise.txt" in desk.link.value
    desk.task.entry.value = desk.written.make(desk.seed).show(desk.written.make(desk.seed).answer)
    assert "lesson-right" in desk.task.said.value
    desk.text.value = EXAMPLE.replace("/ arm_mm\nunit", "/ 0\nunit")
    assert "divides by 0" in desk.said.value and desk.link.value == ""
    desk.take_file("saved.txt", EXAMPLE.encode())
    assert "Tried on 50 seeds" in desk.said.value
