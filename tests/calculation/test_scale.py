"""The scale against check weights: known truth, verdicts, corrections, bad input.

The published line stands in ``tests/validation/test_straight_line.py``.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.weighing.scale import (
    WEIGHT_CLASSES,
    correct_readings,
    fit_line,
    fit_scale,
    judge_scale,
    last_digit_g,
    permitted_error_g,
)

LOADS = np.array([2.0, 5.0, 10.0, 20.0, 50.0, 100.0])


def test_a_scale_that_is_off_in_a_line_is_put_right() -> None:
    """Reads 0.2 g too little and 1 % too much: reading = 1.01 load - 0.2."""
    fit = fit_scale(LOADS, "M1", 1.01 * LOADS - 0.2)
    assert fit.line.intercept == pytest.approx(0.2 / 1.01)
    assert fit.line.slope == pytest.approx(-0.01 / 1.01)
    value, u = fit.correct(1.01 * 37.0 - 0.2, 0.1)
    assert value == pytest.approx(37.0) and 0.1 < u < 0.101


@pytest.mark.slow
def test_a_corrected_load_lies_in_its_band_as_often_as_it_says() -> None:
    """1,000 scales with a scatter of 0.02 g; t with 4 degrees of freedom (JCGM 100:2008, G.3)."""
    held = []
    for seed in range(1000):
        draw = np.random.default_rng(seed)
        fit = fit_scale(LOADS, "F1", 1.002 * LOADS + 0.05 + draw.normal(0, 0.02, len(LOADS)))
        held.append(
            abs(fit.line.at(30.0) + 30.0 - (30.0 - 0.05) / 1.002) <= 2.776 * fit.line.u_at(30.0)
        )
    assert 0.93 <= np.mean(held) <= 0.97


@settings(max_examples=20, deadline=None)
@given(st.permutations(range(6)), st.sampled_from(WEIGHT_CLASSES))
def test_the_order_of_the_weights_does_not_matter(order: list[int], kind: str) -> None:
    reading = LOADS + np.array([0.02, -0.01, 0.03, 0.0, 0.04, 0.05])
    plain, turned = fit_scale(LOADS, kind, reading), fit_scale(LOADS[order], kind, reading[order])
    assert plain.correction_g(33.0) == pytest.approx(turned.correction_g(33.0))
    assert plain.correction_u_g(33.0) == pytest.approx(turned.correction_u_g(33.0))


@pytest.mark.parametrize(
    ("readings", "kind", "words"),
    [
        (LOADS, "M1", "Fit for the work: "),
        (LOADS + 0.3, "M1", "if its readings are corrected"),
        (LOADS + np.array([0.4, -0.3, 0.2, -0.4, 0.3, -0.2]), "M1", "scatter too much"),
    ],
)
def test_the_verdict_is_said_with_its_reason(readings: Any, kind: str, words: str) -> None:
    verdict = judge_scale(fit_scale(LOADS, kind, readings, display_step_g=0.01))
    assert words in verdict and "0.1 g is allowed" in verdict


@pytest.mark.parametrize(
    ("off_g", "allowed_g", "words"),
    [
        (0.06, None, "Fit for the work: from 4 to 50 g it is off by at most 0.06 g, known to "
         "\u00b10.03 g, and 0.1 g is allowed."),
        (0.07, None, "Fit for the work if its readings are corrected: "),
        (0.0, 0.035, "Fit for the work: from 4 to 50 g it is off by at most 0.000 g, known to "
         "\u00b10.035 g, and 0.035 g is allowed."),
        (0.01, 0.035, "Fit for the work if its readings are corrected: "),
        (0.0, 0.034, "Not fit for the work: from 4 to 50 g it is off by at most 0.000 g, known to "
         "\u00b10.035 g, and 0.034 g is allowed. Here the check weights are too coarse to tell. "
         "Use a finer class."),
        (0.0, 0.009, "it is off by at most 0.0000 g, known to \u00b10.0346 g"),
    ],
)  # fmt: skip
def test_twice_the_uncertainty_of_the_weights_by_hand(
    off_g: float, allowed_g: float | None, words: str
) -> None:
    """OIML R 111-1:2004, table 1: M3 of 50 g within 30 mg; 2 x 30 / root of 3 are 34.6 mg."""
    loads = LOADS[:-1]
    assert words in judge_scale(fit_scale(loads, "M3", loads + off_g), allowed_g)


def test_weights_are_too_coarse_only_if_they_alone_are() -> None:
    """34.6 mg of the weights, by hand as above, and far more from the scatter."""
    loads = LOADS[:-1]
    fit = fit_scale(loads, "M3", loads + np.array([0.1, -0.1, 0.1, -0.1, 0.1]))
    assert judge_scale(fit, 0.045).endswith(
        "Here its readings scatter too much. Check level, draught, warm-up and batteries."
    )


@pytest.mark.parametrize(("level", "slope", "worst"), [(0.2, -0.004, 0.18), (0.0, 0.004, 0.20)])
def test_the_worst_is_sought_from_the_lightest_to_the_heaviest_load(
    level: float, slope: float, worst: float
) -> None:
    """By hand: 0.2 - 0.004 x 4 is 0.184 g at a light hammer, 0.004 x 50 at a heavy front weight."""
    fit = fit_scale(LOADS, "F1", (LOADS - level) / (1 + slope))
    assert f"off by at most {worst:.2f} g, known to \u00b10.00 g" in judge_scale(fit)


def test_what_is_open_of_check_weights_lies_between_two_loads() -> None:
    """OIML R 111-1:2004: M1 of 5 and 20 g within 1.6 and 2.5 mg, M3 of 20 g within 25 mg."""
    nominal, reading = [5, 20, 20, 50], [5.0, 20.0, 20.0, 50.0]
    fit = fit_scale(nominal, "M1", reading)
    third = (1.6 + (2.5 - 1.6) / 3) / 1000 / 3**0.5
    assert fit.errors_g([10.0])[0].tolist() == pytest.approx([0, 0, third], abs=1e-9)
    assert fit.correct(10.0)[1] == pytest.approx(third)
    mixed = fit_scale(nominal, ["M1", "M1", "M3", "M1"], reading)
    assert mixed.errors_g(20.0)[2] == pytest.approx(0.025 / 3**0.5)
    assert fit.points.columns.tolist() == [
        "nominal_g", "weight_class", "reading_g", "correction_g", "left_g", "weight_u_g"
    ]  # fmt: skip


def test_what_is_left_of_the_line_by_hand() -> None:
    """Corrections 0, 0.02, 0 at 10, 20, 30 g: a level line of 0.02 / 3, here at the readings."""
    fit = fit_scale([10, 20, 30], "F1", [10.0, 19.98, 30.0])
    assert fit.points["correction_g"].tolist() == pytest.approx([0.0, 0.02, 0.0])
    assert fit.points["left_g"].tolist() == pytest.approx(
        [-0.02 / 3, 0.04 / 3, -0.02 / 3], abs=2e-5
    )
    assert fit.line.scatter == pytest.approx((0.02**2 * 6 / 9) ** 0.5, rel=1e-3)
    assert fit.line.freedom == 1


def test_the_last_digit_of_a_display() -> None:
    assert last_digit_g([5.0, 20.0]) == 1.0
    assert last_digit_g([5.25, 20.1]) == pytest.approx(0.01)
    assert last_digit_g([20.1, 5.0]) == pytest.approx(0.1)


def test_a_load_above_the_check_weights_is_called_a_guess() -> None:
    verdict = judge_scale(fit_scale([1, 2, 5], "F1", [1.0, 2.0, 5.0], display_step_g=0.01))
    assert "allowed. The heaviest check weight was 5 g; above it this is a guess." in verdict
    to_the_end = fit_scale([1, 5, 50], "F1", [1.0, 5.0, 50.0], display_step_g=0.01)
    assert "guess" not in judge_scale(to_the_end)


def test_a_coarse_display_counts_where_nothing_scatters() -> None:
    """Step / sqrt(12), JCGM 100:2008, F.2.2.1."""
    assert fit_scale(LOADS, "F1", LOADS).line.scatter == pytest.approx(0, abs=1e-12)
    assert fit_scale(LOADS, "F1", LOADS, display_step_g=0.1).line.scatter == pytest.approx(
        0.0289, abs=1e-4
    )


def test_readings_are_corrected_only_where_taken_and_marked() -> None:
    fit = fit_scale(LOADS, "M1", LOADS + 0.5)
    raw = pd.DataFrame(
        {"key": [1, 2], "down_weight_g": [50.0, 51.0], "front_weight_g": [20.0, np.nan],
         "strike_weight_g": [10.0, np.nan], "wippen_weight_g": [18.0, np.nan],
         "note": ["tight", ""]}
    )  # fmt: skip
    corrected = correct_readings(raw, fit)
    for name, value in (("front", 19.5), ("strike", 9.5), ("wippen", 17.5)):
        assert corrected[f"{name}_weight_g"].tolist() == pytest.approx([value, np.nan], nan_ok=True)
    assert corrected["down_weight_g"].tolist() == [50.0, 51.0]
    assert corrected["note"].tolist() == ["tight; scale corrected", ""]
    assert raw["front_weight_g"][0] == 20.0 and raw["note"].tolist() == ["tight", ""]
    one_each = pd.DataFrame(
        {"front_weight_g": [20.0, np.nan, np.nan, np.nan],
         "strike_weight_g": [np.nan, 10.0, np.nan, np.nan],
         "wippen_weight_g": [np.nan, np.nan, 18.0, np.nan], "note": [np.nan, "", "a", np.nan]},
        index=[7, 3, 5, 1],
    )  # fmt: skip
    notes = correct_readings(one_each, fit)["note"]
    assert notes.to_dict() == {7: "scale corrected", 3: "scale corrected",
                               5: "a; scale corrected", 1: ""}  # fmt: skip


@pytest.mark.parametrize(
    ("nominal", "kind", "reading", "words"),
    [
        ([1, 2], "M1", [1, 2], "2 different loads. Take at least 3, over the range"),
        ([5, 5, 5], "M1", [5, 5, 5], "1 different loads"),
        ([1, 2, 5], "E9", [1, 2, 5],
         "line 1: 'E9' is not a class of weights. Choose one of F1, F2, M1, M2, M3; it stands"),
        ([1, 2.5, 5], "M1", [1, 2.5, 5],
         "line 2: A check weight of 2.5 g is not in the table. Use weights of 1 to 200 g"),
        ([1, 2, 501], "M1", [1, 2, 501], "line 3: A check weight of 501 g"),
        ([0, 2, 5], "M1", [0, 2, 5], "line 1: A check weight of 0 g"),
        ([1, 2, 50], "M1", [1, 2, 5],
         "line 3: The scale shows 5 g for 50 g. No scale is so far off. Check which weight was on"),
        ([1, 2, 50], "M1", [1, 2, np.nan], "line 3: The scale shows nan g"),
        ([1, 2, 5], "M1", [1, 2, 6.01], "line 3: The scale shows 6.01 g"),
        ([1, 2, 5], "M1", [1, 2, 3.99], "line 3: The scale shows 3.99 g"),
    ],
)  # fmt: skip
def test_bad_input_is_said(nominal: Any, kind: str, reading: Any, words: str) -> None:
    with pytest.raises(BalancekitError, match=words):
        fit_scale(nominal, kind, reading)


def test_every_wrong_load_is_said_and_none_that_is_just_possible() -> None:
    """A tenth of the load and half a gram: 1 g at 5 g."""
    with pytest.raises(BalancekitError) as caught:
        fit_scale([1.5, 2, 5, 2.5], "M1", [1.5, 9, 5, 2.5])
    assert [problem.line for problem in caught.value.problems] == [1, 2, 4]
    assert len(fit_scale([5, 20, 50], "M1", [6.0, 20, 50]).points) == 3
    assert len(fit_scale([5, 20, 50], "M1", [4.0, 20, 50]).points) == 3


def test_a_load_of_several_weights_may_be_off_by_the_sum_of_theirs() -> None:
    """OIML R 111-1:2004, table 1, M1: 200 + 100 + 50 + 20 + 10 + 5 + 2 + 1 g, in mg as there."""
    together = 10 + 5 + 3 + 2.5 + 2 + 1.6 + 1.2 + 1
    assert permitted_error_g(388, "M1") == pytest.approx(together / 1000)
    assert permitted_error_g(500, "M1") == pytest.approx((2 * 10 + 5) / 1000)
    assert permitted_error_g(4, "M1") == pytest.approx(2 * 1.2 / 1000)


def test_no_weight_is_finer_in_a_coarser_class() -> None:
    for nominal in (1, 2, 5, 10, 20, 50, 100, 200, 388):
        limits = [permitted_error_g(nominal, kind) for kind in WEIGHT_CLASSES]
        assert limits == sorted(limits)


@pytest.mark.parametrize(("loads", "factor"), [(3, 12.706), (4, 4.303), (12, 2.228)])
def test_few_loads_widen_the_band_as_students_t(loads, factor):
    """Factors of t at 95 % for 1, 2 and 10 degrees of freedom: JCGM 100:2008, table G.2."""
    nominal = np.array([5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 110])[:loads]
    readings = nominal + 0.02 * (-1.0) ** np.arange(loads)
    fit = fit_scale(nominal, "F1", readings)
    errors = fit.errors_g(50.0)
    assert 1.95996 * np.hypot(*errors[:2]) == pytest.approx(factor * fit.line.u_at(50.0), rel=1e-3)
    assert np.linalg.norm(errors) == pytest.approx(fit.correction_u_g(50.0))


def test_the_line_s_errors_have_the_covariance_of_the_line():
    fit = fit_scale([5, 20, 50, 100], "M1", [5.01, 20.0, 50.02, 99.99])
    near, far = fit.errors_g(10.0)[:2] / fit.few, fit.errors_g(60.0)[:2] / fit.few
    line = fit.line
    held = line.correlation * line.intercept_u * line.slope_u
    expected = line.intercept_u**2 + 70 * held + 600 * line.slope_u**2
    assert near @ far == pytest.approx(expected, rel=1e-6)
    # Wherever its intercept is taken, the line is the same (JCGM 100:2008, H.3.5).
    points = fit.points
    moved = replace(fit, line=fit_line(points["reading_g"], points["correction_g"], 30.0))
    loads = np.array([2.0, 10.0, 60.0])
    assert moved.correction_g(loads) == pytest.approx(fit.correction_g(loads), abs=1e-12)
    assert moved.correction_u_g(loads) == pytest.approx(fit.correction_u_g(loads))
