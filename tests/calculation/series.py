"""Invented series with known truth, for the tests of trends, slips and sampling."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from balancekit.calculation.balance import find_balance_weight, find_friction
from balancekit.calculation.irregularities.judge_table import Judged, judge_table
from balancekit.calculation.irregularities.trend import Trend
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.quantities import NEEDED_COLUMNS, uncertainty_name

BOARD = keyboard()
KEYS = BOARD.index.to_numpy()
PLACE = (KEYS - 44.5) / 87
NATURAL = (BOARD["colour"] == "natural").to_numpy()
HELD_G = 38.0
"""Balance weight of every key [g]."""


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


def weighed(
    keys: object, frictions: object, friction_u: object, board: pd.DataFrame = BOARD
) -> Judged:
    """Judge down and up weights that give these frictions; nothing else is read."""
    table = board[["colour"]].copy()
    for name in (*NEEDED_COLUMNS, "spring_relief_g"):
        table[name] = table[uncertainty_name(name)] = np.nan
    table["action_ratio"] = table["action_ratio_u"] = np.nan
    for name, sign in (("down_weight_g", 1), ("up_weight_g", -1)):
        weights = HELD_G + sign * np.asarray(frictions, dtype=float)
        spread = np.broadcast_to(np.sqrt(2) * np.asarray(friction_u, dtype=float), weights.shape)
        table.loc[keys, name], table.loc[keys, uncertainty_name(name)] = weights, spread
    two = {name: table[name] for name in ("down_weight_g", "up_weight_g")}
    table["friction_g"] = find_friction(**two)
    table["balance_weight_g"] = find_balance_weight(**two)
    table["friction_u_g"] = table["balance_weight_u_g"] = table["down_weight_u_g"] / np.sqrt(2)
    return judge_table(table)


def fit(keys: object, values: object, reading_u: object, board: pd.DataFrame = BOARD) -> Trend:
    """Take readings of a friction apart."""
    return weighed(keys, values, reading_u, board).trends["friction_g"]
