"""The scale against check weights: known truth, verdicts, corrections, bad input.

The published line stands in ``tests/validation/test_straight_line.py``.
"""

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
    fit_scale,
    judge_scale,
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


def test_weights_too_coarse_to_tell_are_named() -> None:
    fit = fit_scale(LOADS, "M3", LOADS)
    assert "too coarse" in judge_scale(fit, allowed_g=0.02)


def test_a_load_above_the_check_weights_is_called_a_guess() -> None:
    verdict = judge_scale(fit_scale([1, 2, 5], "F1", [1.0, 2.0, 5.0], display_step_g=0.01))
    assert "heaviest check weight was 5 g" in verdict


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
    assert corrected["front_weight_g"][0] == pytest.approx(19.5)
    assert corrected["down_weight_g"].tolist() == [50.0, 51.0]
    assert corrected["note"].tolist() == ["tight; scale corrected", ""]
    assert raw["front_weight_g"][0] == 20.0


@pytest.mark.parametrize(
    ("nominal", "kind", "reading", "words"),
    [
        ([1, 2], "M1", [1, 2], "2 different loads"),
        ([5, 5, 5], "M1", [5, 5, 5], "1 different loads"),
        ([1, 2, 5], "E9", [1, 2, 5], "line 1: 'E9' is not a class"),
        ([1, 2.5, 5], "M1", [1, 2.5, 5], "line 2: A check weight of 2.5 g"),
        ([1, 2, 50], "M1", [1, 2, 5], "line 3: The scale shows 5 g for 50 g"),
        ([1, 2, 50], "M1", [1, 2, np.nan], "line 3: The scale shows nan g"),
    ],
)
def test_bad_input_is_said(nominal: Any, kind: str, reading: Any, words: str) -> None:
    with pytest.raises(BalancekitError, match=words):
        fit_scale(nominal, kind, reading)


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
