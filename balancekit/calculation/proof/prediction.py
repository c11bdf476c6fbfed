"""What each key will weigh after the work, and how well that is known.

The action ratio stays, unless a lever is moved. Then the balance equation gives::

    balance weight after = wippen weight x key ratio + planned strike weight x action ratio
                           - planned front weight - planned spring relief
    friction after       = as found, or as planned
    down weight after    = balance weight after + friction after
    up weight after      = balance weight after - friction after

The bands are honest about what is the same error twice. What is known of a key as found comes
with its covariance: an error in the balance weight as found is in the action ratio too, so
that a key on which nothing is done keeps its balance weight with its own uncertainty and no
more. What is set anew is brought to its value on a scale, with an error of its own.

The friction that stays changes with the load that the action lifts, L, and assembly makes some
of it anew on every key that is taken apart::

    friction after = friction x (1 + part x (L after / L as found - 1)) + assembly
    L = wippen weight x key ratio + strike weight x action ratio

What is known of a key comes from its readings, or, with ``cover``, from ``believed.joint``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.balance import find_load
from balancekit.calculation.hammers.inertia_account import (
    SHANK_MASS_U_G,
    WIPPEN_SHAPE_U,
    WOOD_SCATTER,
)
from balancekit.calculation.hammers.least_work import per_key
from balancekit.calculation.inertia import WIPPEN_SHAPE, Values, hammer_inertia_g
from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name

Floats = NDArray[np.float64]

SET_ANEW = ("strike_weight_g", "front_weight_g", "spring_relief_g", "friction_g")
"""What work on a key can change."""

PREDICTED = (
    "down_weight_g",
    "up_weight_g",
    "front_weight_g",
    "balance_weight_g",
    "friction_g",
    "strike_weight_g",
    "spring_relief_g",
    "action_ratio",
    "inertia_g",
)
"""What is predicted for every key."""

KNOWN = (
    "front_weight_g", "strike_weight_g", "wippen_weight_g", "key_ratio", "action_ratio",
    "spring_relief_g", "friction_g",
)  # fmt: skip
"""What a prediction rests on, and the order of its covariance at each key."""

_READ = (
    "down_weight_g", "up_weight_g", "front_weight_g", "spring_relief_g", "wippen_weight_g",
    "key_ratio", "strike_weight_g",
)  # fmt: skip


@dataclass(frozen=True)
class Planned:
    """What the work is to bring each key to.

    Every value is a Series by key [g]; None, or a missing value, leaves the key as it was
    found. Every ``_u`` is the standard uncertainty of what the work will really reach, as
    the scale at the end of it shows: a float or by key [g]. ``ratio_part`` and
    ``key_ratio_part`` are the planned action ratio and key ratio over the present ones, where
    a lever is moved; they are taken as exact, so weigh again after such work.
    ``friction_load_part`` is the part of the friction that grows with the load, and
    ``assembly_u_g`` what assembly makes anew where anything is done; see ``friction_by_load``.
    """

    strike_weight_g: pd.Series | None = None
    front_weight_g: pd.Series | None = None
    spring_relief_g: pd.Series | None = None
    friction_g: pd.Series | None = None
    ratio_part: Values = 1.0
    key_ratio_part: Values = 1.0
    strike_weight_u_g: Values = QUANTITIES["strike_weight_g"].reading_u
    front_weight_u_g: Values = QUANTITIES["front_weight_g"].reading_u
    spring_relief_u_g: Values = QUANTITIES["spring_relief_g"].reading_u
    friction_u_g: Values = 1.0
    friction_load_part: float = 0.0
    friction_load_part_u: float = 0.0
    assembly_u_g: float = 0.0

    def __post_init__(self) -> None:
        for name in SET_ANEW:
            spread = np.asarray(getattr(self, uncertainty_name(name)), dtype=float)
            if np.any(spread < 0) or np.any(np.isinf(spread)):
                raise refuse(
                    f"The uncertainty of the planned {QUANTITIES[name].label.lower()} is "
                    f"{float(spread.min()):g} g.",
                    "Give 0 or more.",
                )
        for part in (self.ratio_part, self.key_ratio_part):
            if np.any(np.asarray(part, dtype=float) <= 0):
                raise refuse("A ratio is to become 0 or less.", "Give a part above 0.")


@dataclass(frozen=True)
class KeyMass:
    """The inertia of key stick and lead at the finger [g], after the work.

    Attributes
    ----------
    stick_g, lead_g : floats or by key.
    stick_u_g, lead_u_g : standard uncertainties; of the stick 10 % if left out.
    """

    stick_g: Values
    lead_g: Values
    stick_u_g: Values | None = None
    lead_u_g: Values = 0.0


def predict(
    table: pd.DataFrame,
    planned: Planned,
    *,
    key_mass: KeyMass | None = None,
    cover: Floats | None = None,
) -> pd.DataFrame:
    """Predict what each key will weigh after the work.

    Parameters
    ----------
    table : by key, with standard uncertainties: the readings as found, or, with ``cover``, what
        is believed of every key. What is missing gives a missing prediction, unless it does not
        matter: a key on which nothing is done keeps its balance weight and friction.
    planned : what the work is to bring each key to.
    key_mass : for the inertia; missing without it.
    cover : covariance at each key of ``KNOWN``, which the table then holds, (K, 7, 7); without
        it they follow from the key's own readings.

    Returns
    -------
    DataFrame indexed by key, in the columns of the table of keys: ``note_name, colour`` as
    far as the table has them, and each of ``PREDICTED`` with its standard uncertainty.

    Raises
    ------
    BalancekitError : a column is lacking, a planned value is for another key, or a strike
        weight is not above 0.

    References
    ----------
    JCGM 100:2008, 5.1.2 and 5.2.2: first order, of the whole expression, so that an input
    that enters twice is counted once; what is set anew is independent of what was found. Left
    out is that the load by which friction grows rests on readings too, a part of second order.

    >>> row = pd.DataFrame({
    ...     "down_weight_g": 50.0, "up_weight_g": 26.0, "front_weight_g": 26.0,
    ...     "spring_relief_g": 0.0, "wippen_weight_g": 18.0, "key_ratio": 0.5,
    ...     "strike_weight_g": 10.0}, index=[40])
    >>> lighter = Planned(strike_weight_g=pd.Series([9.0], index=[40]))
    >>> predict(row, lighter)[["balance_weight_g", "down_weight_g"]].loc[40].tolist()
    [32.5, 44.5]
    """
    lacking = [name for name in (_READ if cover is None else KNOWN) if name not in table]
    if lacking:
        raise BalancekitError(
            [Problem("The column is not there.", "Weigh it first.", column=c) for c in lacking]
        )
    if (table["strike_weight_g"] <= 0).any():
        raise refuse("A strike weight is 0 or below.", "Weigh the hammer again.")
    if cover is None:
        table, cover = known_alone(table)
    case = _Case(table, planned, cover)
    values, slopes = case.values(), case.slopes()
    if key_mass is not None:
        values["inertia_g"], slopes["inertia_g"] = case.inertia(key_mass)
    out = table[[name for name in ("note_name", "colour") if name in table]].copy()
    for name in PREDICTED:
        if name in values:
            out[name] = values[name]
            out[uncertainty_name(name)] = case.spread(slopes[name])
        else:
            out[name] = out[uncertainty_name(name)] = float("nan")
    case.keep_as_found(out)
    return out


def known_alone(table: pd.DataFrame) -> tuple[pd.DataFrame, Floats]:
    """Return what each key's own readings tell of it, and its covariance; see ``KNOWN``."""
    read = {name: table[name].astype(float) for name in _READ}
    down, up = read["down_weight_g"], read["up_weight_g"]
    strike, ratio_of_key = read["strike_weight_g"], read["key_ratio"]
    pressed = (down + up) / 2 + read["front_weight_g"] + read["spring_relief_g"]
    ratio = (pressed - read["wippen_weight_g"] * ratio_of_key) / strike
    found = {
        "friction_g": (down - up) / 2, "balance_weight_g": (down + up) / 2, "action_ratio": ratio,
    }  # fmt: skip
    solved = {
        "down_weight_g": 0.5 / strike, "up_weight_g": 0.5 / strike,
        "front_weight_g": 1 / strike, "spring_relief_g": 1 / strike,
        "wippen_weight_g": -ratio_of_key / strike, "key_ratio": -read["wippen_weight_g"] / strike,
        "strike_weight_g": -ratio / strike,
    }  # fmt: skip
    turn = np.zeros((len(table), len(KNOWN), len(_READ)))
    for row, name in enumerate(KNOWN):
        for column, reading in enumerate(_READ):
            if name == "action_ratio":
                turn[:, row, column] = solved[reading]
            elif name == reading:
                turn[:, row, column] = 1.0
    turn[:, KNOWN.index("friction_g"), :2] = 0.5, -0.5
    none = pd.Series(0.0, table.index)
    spread = np.column_stack([table.get(uncertainty_name(name), none) for name in _READ])
    half = np.nan_to_num(turn) * np.nan_to_num(spread.astype(float))[:, None, :]
    halves = half @ np.swapaxes(half, 1, 2)
    sums = (np.nan_to_num(spread[:, 0]) ** 2 + np.nan_to_num(spread[:, 1]) ** 2) ** 0.5 / 2
    return table.assign(**found, balance_weight_u_g=sums), halves


_Slopes = dict[str, Values]


class _Case:
    """One prediction: what is known and planned by key, and how each result moves with each."""

    def __init__(self, table: pd.DataFrame, planned: Planned, cover: Floats) -> None:
        self.keys, self.table = table.index, table
        self.found = {name: table[name].astype(float) for name in KNOWN}
        self.cover, self.planned = np.nan_to_num(cover), planned
        self.u: _Slopes = {"load part": planned.friction_load_part_u}
        self.after: dict[str, pd.Series] = {}
        self.left: dict[str, pd.Series] = {}
        for name in SET_ANEW:
            wanted = self._wanted(planned, name)
            self.left[name] = wanted.isna().astype(float)
            self.after[name] = wanted.where(wanted.notna(), self.found[name])
            self.u[f"planned {name}"] = getattr(planned, uncertainty_name(name))
        self.part = pd.Series(per_key(planned.ratio_part, self.keys), self.keys)
        self.key_part = pd.Series(per_key(planned.key_ratio_part, self.keys), self.keys)
        self.ratio = self.part * self.found["action_ratio"]
        self.key_ratio = self.key_part * self.found["key_ratio"]
        self.still = (self.part == 1) & (self.key_part == 1)
        for name in SET_ANEW[:3]:
            self.still &= self.left[name] == 1
        self._add_load()

    def _add_load(self) -> None:
        """Let the friction that stays follow the load, and assembly add its own."""
        names = ("wippen_weight_g", "key_ratio", "strike_weight_g", "action_ratio")
        load = find_load(**{name: self.found[name] for name in names})
        self.load_after = find_load(
            wippen_weight_g=self.found["wippen_weight_g"], key_ratio=self.key_ratio,
            strike_weight_g=self.after["strike_weight_g"], action_ratio=self.ratio,
        )  # fmt: skip
        change = ((self.load_after - load) / load).fillna(0.0)
        left = self.left["friction_g"] == 1
        self.grows = 1 + self.planned.friction_load_part * change
        grown = self.found["friction_g"] * self.grows
        self.after["friction_g"] = self.after["friction_g"].where(~left, grown)
        self.grown_by = self.found["friction_g"] * change * self.left["friction_g"]
        self.u["assembly"] = self.planned.assembly_u_g * (~self.still & left).astype(float)

    def _wanted(self, planned: Planned, name: str) -> pd.Series:
        wanted = getattr(planned, name)
        if wanted is None:
            return pd.Series(float("nan"), self.keys)
        other = [int(key) for key in wanted.index if key not in self.keys]
        if other:
            label = QUANTITIES[name].label.lower()
            raise BalancekitError(
                Problem(
                    f"There is a planned {label} for a key that the instrument does not have.",
                    f"Keys are {self.keys[0]} to {self.keys[-1]}.",
                    key=other[0],
                )
            )
        result: pd.Series = wanted.reindex(self.keys).astype(float)
        return result

    def values(self) -> dict[str, Values]:
        """Return every predicted weight by name."""
        after = self.after
        balance = self.load_after - after["front_weight_g"] - after["spring_relief_g"]
        return {
            **after,
            "balance_weight_g": balance,
            "down_weight_g": balance + after["friction_g"],
            "up_weight_g": balance - after["friction_g"],
            "action_ratio": self.ratio,
        }

    def slopes(self) -> dict[str, _Slopes]:
        """Return the partial derivatives of every predicted weight by what it rests on."""
        left = self.left
        anew = 1 - left["strike_weight_g"]
        balance = {
            "wippen_weight_g": self.key_ratio,
            "key_ratio": self.found["wippen_weight_g"] * self.key_part,
            "action_ratio": self.after["strike_weight_g"] * self.part,
            "strike_weight_g": left["strike_weight_g"] * self.ratio,
            "front_weight_g": -left["front_weight_g"],
            "spring_relief_g": -left["spring_relief_g"],
            "planned strike_weight_g": anew * self.ratio,
            "planned front_weight_g": left["front_weight_g"] - 1,
            "planned spring_relief_g": left["spring_relief_g"] - 1,
        }
        friction = {
            "friction_g": left["friction_g"] * self.grows,
            "planned friction_g": 1 - left["friction_g"],
            "load part": self.grown_by,
            "assembly": 1.0,
        }
        own = {name: {name: left[name], f"planned {name}": 1 - left[name]} for name in SET_ANEW}
        return {
            **own,
            "balance_weight_g": balance,
            "friction_g": friction,
            "down_weight_g": _add(balance, friction, 1.0),
            "up_weight_g": _add(balance, friction, -1.0),
            "action_ratio": {"action_ratio": self.part},
        }

    def inertia(self, key_mass: KeyMass) -> tuple[pd.Series, _Slopes]:
        """Return the inertia after the work and its partial derivatives; see ``inertia``."""
        wippen, key_ratio = self.found["wippen_weight_g"], self.key_ratio
        stick, lead = per_key(key_mass.stick_g, self.keys), per_key(key_mass.lead_g, self.keys)
        ratio = self.ratio.where(self.ratio > 0)  # a ratio of 0 or below is no ratio
        strike = self.after["strike_weight_g"]
        hammer = hammer_inertia_g(strike_weight_g=strike, action_ratio=ratio)
        total: pd.Series = hammer + wippen * key_ratio**2 * WIPPEN_SHAPE + stick + lead
        anew = 1 - self.left["strike_weight_g"]
        wood_u = WOOD_SCATTER * stick if key_mass.stick_u_g is None else key_mass.stick_u_g
        self.u |= {
            "shank": SHANK_MASS_U_G,
            "shape": WIPPEN_SHAPE_U,
            "stick": per_key(wood_u, self.keys),
            "lead": per_key(key_mass.lead_u_g, self.keys),
        }
        return total, {
            "action_ratio": 2 * hammer / ratio * self.part,
            "wippen_weight_g": key_ratio**2 * WIPPEN_SHAPE,
            "key_ratio": 2 * wippen * key_ratio * self.key_part * WIPPEN_SHAPE,
            "strike_weight_g": (1 - anew) * ratio**2,
            "planned strike_weight_g": anew * ratio**2,
            "shank": -(ratio**2) / 6,
            "shape": wippen * key_ratio**2,
            "stick": 1.0,
            "lead": 1.0,
        }

    def spread(self, slopes: _Slopes) -> pd.Series:
        """Return the standard uncertainty that some slopes make."""
        total = pd.Series(0.0, self.keys)
        known = np.zeros((len(self.keys), len(KNOWN)))
        for name, slope in slopes.items():
            by_key = pd.Series(per_key(slope, self.keys), self.keys)
            if name in KNOWN:
                known[:, KNOWN.index(name)] = by_key
            else:
                spread = pd.Series(per_key(self.u[name], self.keys), self.keys)
                total = total + _times(by_key, spread) ** 2
        total = total + np.einsum("ki,kij,kj->k", known, self.cover, known)
        result: pd.Series = total.clip(lower=0.0) ** 0.5
        return result

    def keep_as_found(self, out: pd.DataFrame) -> None:
        """Put the weights as found in where nothing is done and the parts are not known."""
        keys = self.keys[self.still & out["balance_weight_g"].isna()]
        balance = self.table.loc[keys, "balance_weight_g"]
        balance_u = self.table.loc[keys, "balance_weight_u_g"]
        friction, friction_u = out.loc[keys, "friction_g"], out.loc[keys, "friction_u_g"]
        out.loc[keys, "balance_weight_g"], out.loc[keys, "balance_weight_u_g"] = balance, balance_u
        for name, sign in (("down_weight_g", 1.0), ("up_weight_g", -1.0)):
            out.loc[keys, name] = balance + sign * friction
            out.loc[keys, uncertainty_name(name)] = np.hypot(balance_u, friction_u)


def _times(factor: pd.Series, value: pd.Series) -> pd.Series:
    """Multiply; what counts with 0 may be missing."""
    product: pd.Series = (factor * value).where(factor != 0, 0.0)
    return product


def _add(first: _Slopes, second: _Slopes, times: float) -> _Slopes:
    names = {*first, *second}
    return {name: first.get(name, 0.0) + times * second.get(name, 0.0) for name in names}
