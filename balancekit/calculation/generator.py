"""Invented instruments with known truth, for the demo, the lessons and the tests.

Everything here is made up from a seed. The shapes follow what is usual
(common practice, no source); no real instrument is copied.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.balance import (
    find_down_weight,
    find_up_weight,
    solve_for_balance_weight,
    solve_for_front_weight,
)
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.linkage.moves import with_moved_capstan
from balancekit.calculation.quantities import NEEDED_COLUMNS, QUANTITIES

PLUG_DIAMETER_MM = 12.7
PLUG_MASS_G = 13.6
# From memory: a usual lead plug, 9.5 mm long.

_STEP_G = {"down_weight_g": 1.0, "up_weight_g": 1.0}
_FINE_STEP = 0.1


@dataclass(frozen=True)
class InventedRun:
    """Neighbouring keys that differ together from the rest of the instrument.

    The leads were set before they did, so the balance weight shows it.

    Attributes
    ----------
    first_key, last_key : both belong to it.
    shifts : how far a true value lies off, by quantity, in the quantity's unit.
    scatter : what is added to its scatter from key to key, by quantity.
    capstan_mm : how far the capstan line stands too far from the balance pins; the levers say
        what that does to both ratios and to the wippen weight [mm].
    """

    first_key: int
    last_key: int
    shifts: Mapping[str, float] = field(default_factory=dict)
    scatter: Mapping[str, float] = field(default_factory=dict)
    capstan_mm: float = 0.0


@dataclass(frozen=True)
class Recipe:
    """What an invented instrument is like.

    Attributes
    ----------
    key_count, first_note : size of the keyboard.
    natural_arm_mm, sharp_arm_mm : balance pin to measuring point [mm].
    bass_strike_g, treble_strike_g : strike weight at the two ends [g].
    strike_scatter_g : real scatter of strike weight from key to key [g].
    wippen_scatter_g, key_ratio_scatter : real scatter of wippen weight [g] and key ratio.
    ratio, ratio_fall : action ratio in the bass, and how much less it is in the treble.
    ratio_wave, ratio_scatter, ratio_sharp_step : slow wave, scatter, and step at sharps.
    friction_bass_g, friction_treble_g, friction_scatter_g : friction [g].
    tight_keys : keys with extra friction, by key number [g].
    runs : neighbouring keys that differ together.
    balance_weight_g : balance weight that the leads were set for [g].
    """

    key_count: int = 88
    first_note: str = "A0"
    natural_arm_mm: float = 240.0
    sharp_arm_mm: float = 200.0
    bass_strike_g: float = 12.0
    treble_strike_g: float = 6.0
    strike_scatter_g: float = 0.12
    wippen_scatter_g: float = 0.15
    key_ratio_scatter: float = 0.002
    ratio: float = 5.7
    ratio_fall: float = 0.2
    ratio_wave: float = 0.0
    ratio_scatter: float = 0.03
    ratio_sharp_step: float = 0.06
    friction_bass_g: float = 13.5
    friction_treble_g: float = 9.0
    friction_scatter_g: float = 0.6
    tight_keys: dict[int, float] = field(default_factory=dict)
    runs: tuple[InventedRun, ...] = ()
    balance_weight_g: float = 38.0


@dataclass(frozen=True)
class Invented:
    """An invented instrument: its truth, the leads that are in it, and its readings.

    Attributes
    ----------
    truth : one row a key: the true value of every reading, ``balance_weight_g``,
        ``friction_g``, ``action_ratio``, and ``bare_front_weight_g``, the key without leads [g].
    leads : ``key, diameter_mm, mass_g, distance_mm``.
    """

    truth: pd.DataFrame
    leads: pd.DataFrame


def _leads(
    wanted_g: NDArray[np.float64], bare_g: NDArray[np.float64], arm_mm: NDArray[np.float64]
) -> pd.DataFrame:
    """Place plugs in each key, at most four, so that the front weight comes near the wish."""
    rows = []
    for key, (wish, bare, arm) in enumerate(zip(wanted_g, bare_g, arm_mm, strict=True), start=1):
        need = wish - bare
        if need <= 1.0:
            continue
        count = int(np.ceil(need / (PLUG_MASS_G * 0.72)))
        middle = need * arm / (PLUG_MASS_G * count)
        for place in range(count):
            distance = round(middle + (place - (count - 1) / 2) * 16.0)
            rows.append((key, PLUG_DIAMETER_MM, PLUG_MASS_G, float(distance)))
    return pd.DataFrame(rows, columns=["key", "diameter_mm", "mass_g", "distance_mm"])


def leads_front_weight(leads: pd.DataFrame, arm_mm: pd.Series) -> pd.Series:
    """Return what the plugs add to the front weight of each key [g].

    The sum of mass x distance / arm over the plugs of a key.
    """
    moment = (leads["mass_g"] * leads["distance_mm"]).groupby(leads["key"]).sum()
    return moment.reindex(arm_mm.index, fill_value=0.0) / arm_mm


def invent(seed: int, recipe: Recipe | None = None) -> Invented:
    """Invent an instrument.

    Parameters
    ----------
    seed : the same seed and recipe always give the same instrument.
    recipe : what it is like; a quiet grand if left out.
    """
    recipe = recipe or Recipe()
    draw = np.random.default_rng(seed)
    keys = keyboard(recipe.key_count, recipe.first_note)
    count = recipe.key_count
    place = np.linspace(0.0, 1.0, count) if count > 1 else np.zeros(1)
    sharp = (keys["colour"] == "sharp").to_numpy()

    fall = recipe.bass_strike_g - recipe.treble_strike_g
    curve = recipe.bass_strike_g - fall * (0.75 * place + 0.25 * place**2)
    strike = curve + draw.normal(0, recipe.strike_scatter_g, count)
    ratio = (
        recipe.ratio
        - recipe.ratio_fall * place
        + recipe.ratio_wave * np.sin(2 * np.pi * place * 1.5 + 0.7)
        + recipe.ratio_sharp_step * sharp
        + draw.normal(0, recipe.ratio_scatter, count)
    )
    wippen = 18.2 - 0.6 * place + draw.normal(0, recipe.wippen_scatter_g, count)
    key_ratio = 0.505 + 0.012 * sharp - 0.01 * place
    key_ratio = key_ratio + draw.normal(0, recipe.key_ratio_scatter, count)
    tight = pd.Series(recipe.tight_keys, dtype=float).reindex(keys.index, fill_value=0.0)
    slope = recipe.friction_treble_g - recipe.friction_bass_g
    friction = (
        recipe.friction_bass_g
        + slope * place
        + draw.normal(0, recipe.friction_scatter_g, count)
        + tight.to_numpy()
    )
    bare = 3.5 - 1.5 * sharp + draw.normal(0, 0.4, count)
    parts = {"wippen_weight_g": wippen, "key_ratio": key_ratio, "action_ratio": ratio}
    wanted = solve_for_front_weight(
        balance_weight_g=recipe.balance_weight_g, strike_weight_g=curve, **parts
    )
    arm = np.where(sharp, recipe.sharp_arm_mm, recipe.natural_arm_mm)
    leads = _leads(wanted, bare, arm)
    truth = pd.DataFrame({"strike_weight_g": strike, **parts}, index=keys.index)
    truth["friction_g"] = np.maximum(friction, 3.0)
    truth["bare_front_weight_g"] = bare
    truth["front_weight_g"] = bare + leads_front_weight(leads, pd.Series(arm, keys.index))
    truth["spring_relief_g"] = 0.0
    return Invented(complete(_set_apart(truth, recipe.runs, arm, draw)), leads)


def _set_apart(
    truth: pd.DataFrame,
    runs: Sequence[InventedRun],
    arm_mm: NDArray[np.float64],
    draw: np.random.Generator,
) -> pd.DataFrame:
    """Return a truth in which the runs of keys differ from the rest."""
    apart, moved_by = truth.copy(), ["key_ratio", "action_ratio", "wippen_weight_g"]
    for run in runs:
        keys = apart.index[(apart.index >= run.first_key) & (apart.index <= run.last_key)]
        for name in dict.fromkeys([*run.shifts, *run.scatter]):
            spread = run.scatter.get(name, 0.0)
            apart.loc[keys, name] += run.shifts.get(name, 0.0) + draw.normal(0, spread, len(keys))
        if run.capstan_mm:
            before = {name: apart.loc[keys, name] for name in moved_by}
            arms = pd.Series(arm_mm, apart.index)[keys]
            moved = with_moved_capstan(**before, move_mm=run.capstan_mm, arm_mm=arms)
            apart.loc[keys, moved_by] = pd.DataFrame(moved)
    return apart


def complete(truth: pd.DataFrame) -> pd.DataFrame:
    """Return a truth with balance weight, down weight and up weight worked out anew."""
    names = (
        "front_weight_g", "wippen_weight_g", "key_ratio", "strike_weight_g", "action_ratio",
        "spring_relief_g",
    )  # fmt: skip
    balance = solve_for_balance_weight(**{name: truth[name] for name in names})
    weights = {"balance_weight_g": balance, "friction_g": truth["friction_g"]}
    return truth.assign(
        balance_weight_g=balance,
        down_weight_g=find_down_weight(**weights),
        up_weight_g=find_up_weight(**weights),
    )


def weigh(
    truth: pd.DataFrame,
    seed: int,
    *,
    reading_u: dict[str, float] | None = None,
    repeats: dict[int, int] | None = None,
    columns: Sequence[str] = NEEDED_COLUMNS,
    sampled: Mapping[str, Sequence[int]] | None = None,
    rounded: bool = True,
) -> pd.DataFrame:
    """Take readings from a truth, with weighing error.

    Parameters
    ----------
    truth : from ``invent`` or ``complete``.
    reading_u : standard uncertainty of one reading by column, rounding included.
    repeats : how many times a key is read, by key number; once if left out.
    columns : what is read.
    sampled : the keys on which a column is read; every key if left out.
    rounded : round as a scale or a set of weights does.

    Returns
    -------
    DataFrame of raw readings, ``key``, the columns and ``note``.
    """
    draw = np.random.default_rng(seed)
    times = pd.Series(repeats or {}, dtype=float).reindex(truth.index, fill_value=1).astype(int)
    keys = np.repeat(truth.index.to_numpy(), times)
    readings = pd.DataFrame({"key": keys})
    for name in columns:
        spread = (reading_u or {}).get(name, QUANTITIES[name].reading_u or 0.0)
        step = 0.001 if name == "key_ratio" else _STEP_G.get(name, _FINE_STEP)
        true = truth[name].to_numpy()[keys - truth.index[0]]
        hand = np.sqrt(max(spread**2 - step**2 / 12, 0.0)) if rounded else spread
        value = true + draw.normal(0, hand, len(keys))
        if rounded:
            value = np.round(np.round(value / step) * step, 3)
        if sampled and name in sampled:
            value = np.where(np.isin(keys, list(sampled[name])), value, np.nan)
        readings[name] = value
    readings["note"] = ""
    return readings
