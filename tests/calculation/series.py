"""Invented series with known truth, for the tests of trend, slips and sampling."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from balancekit.calculation.course import EXPECTED
from balancekit.calculation.irregularities.trend import Trend, fit_trend
from balancekit.calculation.keyboard import keyboard

BOARD = keyboard()
KEYS = BOARD.index.to_numpy()
PLACE = (KEYS - 44.5) / 87
NATURAL = (BOARD["colour"] == "natural").to_numpy()


@dataclass(frozen=True)
class Drawn:
    """One friction-like series: slow curve with its step, true values, readings."""

    curve: np.ndarray
    truth: np.ndarray
    reading: np.ndarray
    reading_u: float


def draw_series(seed: int, scatter: float, reading_u: float) -> Drawn:
    """Draw a series of 88 keys that falls by 4.5, bends by 0.8 and has a step of 0.7."""
    draw = np.random.default_rng(seed)
    curve = 11 - 4.5 * PLACE + 0.8 * np.sin(5 * PLACE) + 0.7 * (NATURAL - 0.5)
    truth = curve + draw.normal(0, scatter, len(KEYS))
    return Drawn(curve, truth, truth + draw.normal(0, reading_u, len(KEYS)), reading_u)


def fit(keys: object, values: object, reading_u: float, board: pd.DataFrame = BOARD) -> Trend:
    """Fit readings of one uncertainty as a friction."""
    where = np.asarray(keys)
    return fit_trend(
        where, values, np.full(len(where), reading_u), colours=board["colour"],
        all_keys=board.index, expected=EXPECTED["friction_g"],
    )  # fmt: skip
