"""Drift over a session: what repeats tell of it, and what is said where they tell nothing.

The posterior is held against scikit-learn's Gaussian process at a known size of the drift.
"""

import numpy as np
import pandas as pd
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import DotProduct, Kernel

from balancekit.calculation.quantities import WITHIN_COLUMNS
from balancekit.calculation.weighing import session
from balancekit.calculation.weighing.session import drift_sentence, find_drifts

U = {"down_weight_g": 0.7, "up_weight_g": 0.7, "front_weight_g": 0.3}


def rows(keys, hours, values, name="front_weight_g"):
    """Readings of one column, hour by hour."""
    start = pd.Timestamp("2026-05-04T09:00")
    times = [(start + pd.Timedelta(hours=hour)).isoformat() for hour in hours]
    return pd.DataFrame({"key": keys, "read_at": times, name: values})


def test_a_reference_key_tells_the_drift_and_a_course_of_the_piano_is_left():
    hours = np.linspace(0, 3, 99)
    keys = np.arange(1, 100)
    keys[::10] = 40
    piano = 40 - 0.1 * keys  # a course as steep as the drift
    found = find_drifts(rows(keys, hours, piano + 0.8 * hours), {"front_weight_g": 0.3})
    drift = found["front_weight_g"]
    assert drift.end == pytest.approx(2.4, abs=2 * drift.end_u)
    assert drift.keys == 1 and drift.readings == 11
    assert "taken off" in drift_sentence("front_weight_g", drift)


def test_without_repeats_nothing_is_taken_off_and_the_bands_are_widened():
    hours = np.linspace(0, 3, 88)
    found = find_drifts(rows(np.arange(1, 89), hours, 30 + hours), {"front_weight_g": 0.3})
    drift = found["front_weight_g"]
    assert not drift.rows.any() and drift.end_u > 0.1
    said = drift_sentence("front_weight_g", drift)
    assert "cannot be told from the piano" in said and "again" in said


def test_what_both_weights_do_is_the_same_error_in_both():
    hours = np.linspace(0, 3, 40)
    draw = np.random.default_rng(1)
    both = rows(np.full(40, 40), hours, 50 + hours + draw.normal(0, 0.7, 40), "down_weight_g")
    both["up_weight_g"] = 26 + hours + draw.normal(0, 0.7, 40)
    found = find_drifts(both, {name: U[name] for name in ("down_weight_g", "up_weight_g")})
    down, up = (found[name].shared[-1] for name in ("down_weight_g", "up_weight_g"))
    assert np.linalg.norm(down + up) == pytest.approx(2 * np.linalg.norm(down[:9]))
    assert found["up_weight_g"].end == pytest.approx(3, abs=0.8)


def test_a_reading_without_its_time_leaves_the_column_alone():
    readings = rows([1, 1, 2], [0, 1, 2], [30.0, 31.0, 30.0])
    readings.loc[1, "read_at"] = ""
    assert find_drifts(readings, {"front_weight_g": 0.3}) == {}


def test_a_pause_begins_a_session():
    readings = rows([1, 1, 1, 1], [0, 2, 20, 22], [30.0, 32.0, 30.0, 32.0])
    drift = find_drifts(readings, {"front_weight_g": 0.05})["front_weight_g"]
    assert drift.rows[[0, 2]].tolist() == [0.0, 0.0]
    assert drift.rows[[1, 3]] == pytest.approx([2.0, 2.0], abs=0.15)


class Walk(Kernel):
    """Covariance of the random walk: the earlier of two times."""

    def __init__(self):
        pass

    def __call__(self, one, other=None, eval_gradient=False):
        other = one if other is None else other
        return np.minimum(one, other.T)

    def diag(self, one):
        return one[:, 0]

    def is_stationary(self):
        return False


def test_the_drift_is_that_of_a_gaussian_process(monkeypatch):
    """One key read again and again; its level is open, which a very wide constant stands for."""
    size, hours = 1.5, np.linspace(0, 1, 25)
    values = 0.9 * hours + np.random.default_rng(3).normal(0, 0.3, 25)
    monkeypatch.setattr(session, "size_grid", lambda *_: np.array([size]))
    monkeypatch.setattr(session, "_TERMS", 400)
    drift = find_drifts(rows(np.ones(25, dtype=int), hours, values), {"front_weight_g": 0.3})[
        "front_weight_g"
    ]
    kernel = size**2 * (0.8 * DotProduct(0.0, "fixed") + 0.2 * Walk()) + 1e4
    process = GaussianProcessRegressor(kernel, alpha=0.09, optimizer=None)
    process.fit(hours[:, None], values)
    mean, cover = process.predict(hours[:, None], return_cov=True)
    # The drift starts from 0 at the first reading, so the level is what is there.
    assert drift.rows == pytest.approx(mean - mean[0], abs=0.01)
    u = (cover[-1, -1] + cover[0, 0] - 2 * cover[0, -1]) ** 0.5
    assert drift.end_u == pytest.approx(u, rel=0.01)


def test_coarse_steps_tell_less_of_the_drift_as_in_a_gaussian_process(monkeypatch):
    """Every second pair was left between weights 6 g apart: ``alpha`` is the variance of each."""
    size, hours = 1.5, np.linspace(0, 1, 25)
    values = 0.9 * hours + np.random.default_rng(3).normal(0, 0.5, 25)
    monkeypatch.setattr(session, "size_grid", lambda *_: np.array([size]))
    monkeypatch.setattr(session, "_TERMS", 400)
    within = np.where(np.arange(25) % 2, 3.0, np.nan)
    both = rows(np.ones(25, dtype=int), hours, 50 + values, "down_weight_g").assign(
        up_weight_g=25 + values, down_weight_within_g=within, up_weight_within_g=within
    )
    drift = find_drifts(both, {name: U[name] for name in session.PAIR})["down_weight_g"]
    kernel = size**2 * (0.8 * DotProduct(0.0, "fixed") + 0.2 * Walk()) + 1e4
    one = 0.7**2 + np.nan_to_num((within**2 - 0.5**2) / 3)  # JCGM 100:2008, 4.3.7
    process = GaussianProcessRegressor(kernel, alpha=one / 2, optimizer=None)
    process.fit(hours[:, None], values)
    mean = process.predict(hours[:, None])
    assert drift.rows == pytest.approx(mean - mean[0], abs=0.01)
    alike = find_drifts(both.assign(**dict.fromkeys(WITHIN_COLUMNS.values(), np.nan)),
                        {name: U[name] for name in session.PAIR})["down_weight_g"]  # fmt: skip
    assert np.abs(alike.rows - drift.rows).max() > 0.03 and alike.end_u < drift.end_u
