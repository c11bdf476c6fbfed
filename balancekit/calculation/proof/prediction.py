"""What each key will weigh after the work, and how well that is known.

The action ratio is solved from the readings as found. It stays, unless a lever is moved.
Then the balance equation gives::

    balance weight after = wippen weight x key ratio + planned strike weight x action ratio
                           - planned front weight - planned spring relief
    friction after       = as found, or as planned
    down weight after    = balance weight after + friction after
    up weight after      = balance weight after - friction after

The bands are honest about what is the same error twice. With q = planned strike weight /
strike weight as found, an error in the balance weight as found counts q times, and so does
one in a front weight that is set anew; a front weight that is left alone counts only with
(q - 1). A hammer that is left alone is as heavy as it was, so an error in its strike weight
drops out. If nothing is touched the down weight after is the down weight that was read, with
its own uncertainty and no more. What is set anew is brought to its value on a scale, with an
error of its own.

A ratio solved from one key's readings is half weighing error. With the trend of the ratio
over the keyboard it is mixed with its neighbours, in the proportion of what each is worth::

    action ratio = w x solved + (1 - w) x trend,  w = scatter^2 / (scatter^2 + u(solved)^2)

and the errors of the key's readings then count w times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from balancekit.calculation.hammers.inertia_account import (
    SHANK_MASS_U_G,
    WIPPEN_SHAPE_U,
    WOOD_SCATTER,
)
from balancekit.calculation.hammers.least_work import per_key
from balancekit.calculation.inertia import SHANK_MASS_G, WIPPEN_SHAPE, Values, hammer_inertia_g
from balancekit.calculation.irregularities.trend import Trend
from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name

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
    ratio_trend: Trend | None = None,
) -> pd.DataFrame:
    """Predict what each key will weigh after the work.

    Parameters
    ----------
    table : the table of keys as found, with readings and their standard uncertainties; see
        ``key_table``. A missing reading gives a missing prediction, unless it does not
        matter: a key on which nothing is done keeps its down and up weight.
    planned : what the work is to bring each key to.
    key_mass : for the inertia; missing without it.
    ratio_trend : trend of the action ratio, to mix with; see above. It also stands in where
        the ratio of a key cannot be solved. A key on which nothing is done is not mixed.

    Returns
    -------
    DataFrame indexed by key, in the columns of the table of keys: ``note_name, colour`` as
    far as the table has them, and each of ``PREDICTED`` with its standard uncertainty.

    Raises
    ------
    BalancekitError : a column is lacking, a planned value is for another key, or a strike
        weight is not above 0.

    Notes
    -----
    First order; the readings as found, and what is set anew, are independent of each other.
    The equation holds about the position in which the key was weighed. The trend of the
    ratio is taken as independent of the one key's readings, of which it holds a small part.

    References
    ----------
    JCGM 100:2008, 5.1.2, with the partial derivatives taken of the whole expression, so that
    an input that enters twice is counted once (5.2.1, note 1).

    >>> row = pd.DataFrame({
    ...     "down_weight_g": 50.0, "up_weight_g": 26.0, "front_weight_g": 26.0,
    ...     "spring_relief_g": 0.0, "wippen_weight_g": 18.0, "key_ratio": 0.5,
    ...     "strike_weight_g": 10.0}, index=[40])
    >>> lighter = Planned(strike_weight_g=pd.Series([9.0], index=[40]))
    >>> predict(row, lighter)[["balance_weight_g", "down_weight_g"]].loc[40].tolist()
    [32.5, 44.5]
    """
    lacking = [name for name in _READ if name not in table]
    if lacking:
        raise BalancekitError(
            [Problem("The column is not there.", "Weigh it first.", column=c) for c in lacking]
        )
    case = _Case(table, planned, ratio_trend)
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
    return out


_Slopes = dict[str, Values]


class _Case:
    """One prediction: readings and plan by key, and how each result moves with each of them."""

    def __init__(self, table: pd.DataFrame, planned: Planned, ratio_trend: Trend | None) -> None:
        self.keys = table.index
        self.read = {name: table[name].astype(float) for name in _READ}
        self.u: _Slopes = {
            name: table.get(uncertainty_name(name), pd.Series(0.0, self.keys)).fillna(0.0)
            for name in _READ
        }
        if (self.read["strike_weight_g"] <= 0).any():
            raise refuse("A strike weight is 0 or below.", "Weigh the hammer again.")
        down, up = self.read["down_weight_g"], self.read["up_weight_g"]
        self.balance = (down + up) / 2
        found = {**self.read, "friction_g": (down - up) / 2}
        self.after: dict[str, pd.Series] = {}
        self.left: dict[str, pd.Series] = {}
        for name in SET_ANEW:
            wanted = self._wanted(planned, name)
            self.left[name] = wanted.isna().astype(float)
            self.after[name] = wanted.where(wanted.notna(), found[name])
            self.u[f"planned {name}"] = getattr(planned, uncertainty_name(name))
        self.part = pd.Series(per_key(planned.ratio_part, self.keys), self.keys)
        self.key_part = pd.Series(per_key(planned.key_ratio_part, self.keys), self.keys)
        self.lifted = self.read["wippen_weight_g"] * self.read["key_ratio"]
        pressed = self.balance + self.read["front_weight_g"] + self.read["spring_relief_g"]
        self.solved = (pressed - self.lifted) / self.read["strike_weight_g"]
        self.still = (self.part == 1) & (self.key_part == 1)
        for name in SET_ANEW[:3]:
            self.still &= self.left[name] == 1
        self._mix(ratio_trend)

    def _mix(self, trend: Trend | None) -> None:
        """Mix the solved ratio with its trend; ``weight`` is the solved one's part."""
        self.weight = pd.Series(1.0, self.keys)
        self.trend = pd.Series(float("nan"), self.keys)
        self.u["trend"] = 0.0
        if trend is not None:
            solved_u = self.spread(self._solved_slopes())
            share = trend.scatter**2 / (trend.scatter**2 + solved_u**2)
            self.weight = share.where(~self.still, 1.0).where(self.solved.notna(), 0.0)
            self.trend = trend.trend.reindex(self.keys)
            self.u["trend"] = np.hypot(trend.scatter, trend.trend_u.reindex(self.keys))
        mixed = _times(self.weight, self.solved) + _times(1 - self.weight, self.trend)
        self.ratio = self.part * mixed
        share = _times(self.weight, self.after["strike_weight_g"] / self.read["strike_weight_g"])
        unmoved = self.left["strike_weight_g"] == 1
        self.share = self.part * share.where(~unmoved, self.weight)

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
        after, q = self.after, self.share
        by_trend = self.part * _times(1 - self.weight, self.trend)
        balance = (
            _times(q, self.balance)
            + _times(self.key_part - q, self.lifted)
            + _times(by_trend, after["strike_weight_g"])
        )
        for name in ("front_weight_g", "spring_relief_g"):
            left = self.left[name]
            pressing = _times(q - left, self.read[name])
            balance = balance + pressing - _times(1 - left, after[name])
        return {
            **after,
            "balance_weight_g": balance,
            "down_weight_g": balance + after["friction_g"],
            "up_weight_g": balance - after["friction_g"],
            "action_ratio": self.ratio,
        }

    def slopes(self) -> dict[str, _Slopes]:
        """Return the partial derivatives of every predicted weight by what it rests on."""
        q, left, read = self.share, self.left, self.read
        anew = 1 - left["strike_weight_g"]
        by_trend = self.part * (1 - self.weight)
        balance = {
            "down_weight_g": q / 2,
            "up_weight_g": q / 2,
            "front_weight_g": q - left["front_weight_g"],
            "spring_relief_g": q - left["spring_relief_g"],
            "wippen_weight_g": _times(self.key_part - q, read["key_ratio"]),
            "key_ratio": _times(self.key_part - q, read["wippen_weight_g"]),
            "strike_weight_g": _times(1 - anew, _times(by_trend, self.trend))
            - _times(anew * q, self.solved),
            "planned strike_weight_g": _times(anew, self.ratio),
            "planned front_weight_g": left["front_weight_g"] - 1,
            "planned spring_relief_g": left["spring_relief_g"] - 1,
            "trend": _times(by_trend, self.after["strike_weight_g"]),
        }
        friction = {
            "down_weight_g": left["friction_g"] / 2,
            "up_weight_g": -left["friction_g"] / 2,
            "planned friction_g": 1 - left["friction_g"],
        }
        own = {
            name: {name: left[name], f"planned {name}": 1 - left[name]}
            for name in SET_ANEW
            if name != "friction_g"
        }
        return {
            **own,
            "balance_weight_g": balance,
            "friction_g": friction,
            "down_weight_g": _add(balance, friction, 1.0),
            "up_weight_g": _add(balance, friction, -1.0),
            "action_ratio": self._ratio_slopes(),
        }

    def _solved_slopes(self) -> _Slopes:
        strike = self.read["strike_weight_g"]
        return {
            "down_weight_g": 0.5 / strike,
            "up_weight_g": 0.5 / strike,
            "front_weight_g": 1 / strike,
            "spring_relief_g": 1 / strike,
            "wippen_weight_g": -self.read["key_ratio"] / strike,
            "key_ratio": -self.read["wippen_weight_g"] / strike,
            "strike_weight_g": -self.solved / strike,
        }

    def _ratio_slopes(self) -> _Slopes:
        slopes: _Slopes = {
            name: self.part * _times(self.weight, slope)
            for name, slope in self._solved_slopes().items()
        }
        return {**slopes, "trend": self.part * (1 - self.weight)}

    def inertia(self, key_mass: KeyMass) -> tuple[pd.Series, _Slopes]:
        """Return the inertia after the work and its partial derivatives; see ``inertia``."""
        wippen, key_ratio = self.read["wippen_weight_g"], self.key_part * self.read["key_ratio"]
        stick, lead = per_key(key_mass.stick_g, self.keys), per_key(key_mass.lead_g, self.keys)
        ratio = self.ratio.where(self.ratio > 0)  # a ratio of 0 or below is no ratio
        strike = self.after["strike_weight_g"]
        hammer = hammer_inertia_g(strike_weight_g=strike, action_ratio=ratio)
        total: pd.Series = hammer + wippen * key_ratio**2 * WIPPEN_SHAPE + stick + lead
        by_ratio = 2 * hammer / ratio
        slopes: _Slopes = {n: by_ratio * slope for n, slope in self._ratio_slopes().items()}
        slopes["wippen_weight_g"] += key_ratio**2 * WIPPEN_SHAPE
        slopes["key_ratio"] += 2 * wippen * key_ratio * self.key_part * WIPPEN_SHAPE
        slopes["strike_weight_g"] += self.left["strike_weight_g"] * ratio**2
        slopes["planned strike_weight_g"] = (1 - self.left["strike_weight_g"]) * ratio**2
        wood_u = WOOD_SCATTER * stick if key_mass.stick_u_g is None else key_mass.stick_u_g
        self.u |= {
            "shank": SHANK_MASS_U_G,
            "shape": WIPPEN_SHAPE_U,
            "stick": per_key(wood_u, self.keys),
            "lead": per_key(key_mass.lead_u_g, self.keys),
        }
        slopes |= {
            "shank": -(ratio**2) * (SHANK_MASS_G > 0) / 6,
            "shape": wippen * key_ratio**2,
            "stick": 1.0,
            "lead": 1.0,
        }
        return total, slopes

    def spread(self, slopes: _Slopes) -> pd.Series:
        """Return the standard uncertainty that some slopes make."""
        total = pd.Series(0.0, self.keys)
        for name, slope in slopes.items():
            spread = pd.Series(per_key(self.u[name], self.keys), self.keys)
            total = total + _times(pd.Series(per_key(slope, self.keys), self.keys), spread) ** 2
        return total**0.5


def _times(factor: pd.Series, value: pd.Series) -> pd.Series:
    """Multiply; what counts with 0 may be missing."""
    product: pd.Series = (factor * value).where(factor != 0, 0.0)
    return product


def _add(first: _Slopes, second: _Slopes, times: float) -> _Slopes:
    names = {*first, *second}
    return {name: first.get(name, 0.0) + times * second.get(name, 0.0) for name in names}
