"""Sets of hammers: which one needs the least work on this instrument, and what it brings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from balancekit.calculation.balance import solve_for_front_weight
from balancekit.calculation.hammers.hammer_curve import hammer_totals, plan
from balancekit.calculation.hammers.inertia_account import inertia_account
from balancekit.calculation.hammers.least_work import (
    BoundsContradict,
    CurveBounds,
    least_work,
    per_key,
)
from balancekit.calculation.inertia import Values, refuse_below
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.quantities import QUANTITIES

SET_COLUMNS = ("key", "strike_weight_g")
_FEWEST_KEYS = 2
_LEVER = ("wippen_weight_g", "key_ratio", "action_ratio")


def check_set(table: pd.DataFrame, key_count: int, file: str = "") -> pd.Series:
    """Check the table of a hammer set and return its strike weights at the keys given [g].

    Parameters
    ----------
    table : columns ``key`` and ``strike_weight_g``: hammer on its shank, at some or all keys.
    key_count : number of keys of the instrument.
    file : its name, for the sentences.

    Raises
    ------
    BalancekitError : every problem of the table: a column or a weight is lacking, a key is not
        on the keyboard or stands twice, a weight is negative or heavier than any hammer, or
        there are fewer than two keys.

    >>> check_set(pd.DataFrame(dict(key=[1, 88], strike_weight_g=[11.0, 5.0])), 88).tolist()
    [11.0, 5.0]
    """
    lacking = [name for name in SET_COLUMNS if name not in table]
    if lacking:
        advice = "Give the columns key and strike_weight_g."
        raise BalancekitError(
            [Problem("The column is not there.", advice, file, column=name) for name in lacking]
        )
    problems: list[Problem] = []
    seen: set[float] = set()
    numbers = table[list(SET_COLUMNS)].apply(pd.to_numeric, errors="coerce").astype(float)
    for row, (key, mass_g) in enumerate(numbers.to_numpy().tolist()):
        line = row + 2 if file else None
        problems += [
            Problem(message, advice, file, line, _whole(key), column)
            for message, advice, column in (_wrong_key(key, key_count, seen), _wrong_mass(mass_g))
            if message
        ]
        seen.add(key)
    if not problems and len(table) < _FEWEST_KEYS:
        problems.append(
            Problem(f"The set has {len(table)} weighed keys.", "Weigh two or more.", file)
        )
    if problems:
        raise BalancekitError(problems)
    weighed = numbers.astype({"key": int}).set_index("key")["strike_weight_g"]
    return pd.Series(weighed.sort_index())


def _whole(key: float) -> int | None:
    return int(key) if np.isfinite(key) and key == int(key) else None


def _wrong_key(key: float, key_count: int, seen: set[float]) -> tuple[str, str, str]:
    if _whole(key) is None or not 1 <= key <= key_count:
        return (
            f"Key {key:g} is not on this keyboard.",
            f"Give whole numbers from 1 to {key_count}, counted from the left.",
            "key",
        )
    if key in seen:
        return (f"Key {key:g} stands twice.", "Give each key once.", "key")
    return ("", "", "")


def _wrong_mass(mass_g: float) -> tuple[str, str, str]:
    limits = QUANTITIES["strike_weight_g"]
    allowed = f"Hammer and shank weigh {limits.minimum:g} to {limits.maximum:g} g there"
    if np.isnan(mass_g):
        return (
            "The weight is missing or no number.",
            "Weigh it or take the row out.",
            "strike_weight_g",
        )
    if mass_g < 0:
        return (f"'{mass_g:g}' is negative.", f"{allowed}; check the sign.", "strike_weight_g")
    if mass_g > limits.maximum:
        text = f"'{mass_g:g}' is heavier than any hammer."
        return (text, f"{allowed}; check the decimal point.", "strike_weight_g")
    if mass_g < limits.minimum:
        text = f"'{mass_g:g}' is lighter than any hammer."
        return (text, f"{allowed}; check the decimal point.", "strike_weight_g")
    return ("", "", "")


def fill_set(weighed_g: pd.Series, keys: pd.Index) -> pd.Series:
    """Estimate a set's strike weight at every key from the keys that were weighed [g].

    Between weighed keys a smooth curve that never overshoots; beyond the outermost ones
    straight on, as between the two outermost. What a hammer between two weighed ones really
    weighs is not known: its scatter shows on the scale only.

    Parameters
    ----------
    weighed_g : by key, rising, two keys or more; see ``check_set`` [g].
    keys : the keys of the instrument.

    Raises
    ------
    BalancekitError : the straight line beyond the weighed keys leads to an impossible weight.

    References
    ----------
    Fritsch and Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17 (1980).

    >>> fill_set(pd.Series([10.0, 8.0], index=[2, 4]), pd.RangeIndex(1, 6)).tolist()
    [11.0, 10.0, 9.0, 8.0, 7.0]
    """
    at = weighed_g.index.to_numpy(dtype=float)
    mass_g = weighed_g.to_numpy(dtype=float)
    wanted = keys.to_numpy(dtype=float)
    curve = scipy.interpolate.PchipInterpolator(at, mass_g)(np.clip(wanted, at[0], at[-1]))
    first = (mass_g[1] - mass_g[0]) / (at[1] - at[0])
    last = (mass_g[-1] - mass_g[-2]) / (at[-1] - at[-2])
    curve += first * np.minimum(wanted - at[0], 0) + last * np.maximum(wanted - at[-1], 0)
    refuse_below(
        "Strike weight beyond the weighed keys (g)", curve, QUANTITIES["strike_weight_g"].minimum
    )
    return pd.Series(curve, keys, name="strike_weight_g")


@dataclass(frozen=True)
class Setting:
    """What the hammers are put into: the same for every set that is compared.

    Attributes
    ----------
    table : of the instrument by key: ``wippen_weight_g, key_ratio, action_ratio`` and, if
        known, ``front_weight_g``; see ``key_table``.
    balance_weight_g, spring_relief_g : wanted, floats or by key [g].
    arm_mm, plug_distance_mm : balance pin to measuring point and to the plugs [mm].
    bare_front_weight_g, stick_inertia_g : of the key without lead [g].
    """

    table: pd.DataFrame
    balance_weight_g: Values
    arm_mm: Values
    plug_distance_mm: Values
    stick_inertia_g: Values
    bare_front_weight_g: Values = 0.0
    spring_relief_g: Values = 0.0

    def __post_init__(self) -> None:
        refuse_below("Arm (mm)", self.arm_mm, 0, above=True)
        refuse_below("Balance pin to plugs (mm)", self.plug_distance_mm, 0, above=True)
        refuse_below("Spring relief (g)", self.spring_relief_g, 0)


def consequences(strike_weight_g: pd.Series, setting: Setting) -> pd.DataFrame:
    """Return what hammers ask of the keys: front weight, lead and inertia.

    Lead is counted as if all of it sat at the plug distance; where the key would be too
    heavy in front without any, the same mass is needed behind the pin.

    Parameters
    ----------
    strike_weight_g : planned, by key [g].
    setting : the instrument and what is wanted of it.

    Returns
    -------
    DataFrame by key: ``front_weight_g`` (needed), ``front_weight_more_g`` (than as found, NaN
    where that is not known), ``lead_g`` (mass of lead, negative behind the pin), and the
    columns of ``inertia_account``.
    """
    table, keys = setting.table, setting.table.index
    lever = {name: per_key(table[name], keys) for name in _LEVER}
    front = solve_for_front_weight(
        balance_weight_g=per_key(setting.balance_weight_g, keys),
        strike_weight_g=per_key(strike_weight_g, keys),
        spring_relief_g=per_key(setting.spring_relief_g, keys),
        **lever,
    )
    leverage = per_key(setting.plug_distance_mm, keys) / per_key(setting.arm_mm, keys)
    from_lead = front - per_key(setting.bare_front_weight_g, keys)
    account = inertia_account(
        table.assign(strike_weight_g=strike_weight_g),
        stick_inertia_g=setting.stick_inertia_g,
        lead_inertia_g=abs(from_lead) * leverage,
    )
    first = {
        "front_weight_g": front,
        "front_weight_more_g": front - per_key(table.get("front_weight_g", np.nan), keys),
        "lead_g": from_lead / leverage,
    }
    return pd.concat([pd.DataFrame(first, index=keys), account], axis=1)


@dataclass(frozen=True)
class SetResult:
    """What one set would need, and what it brings; the tables are None where no curve is possible.

    Attributes
    ----------
    plan : see ``hammer_curve.plan``.
    consequences : see ``consequences``.
    reason : why no curve is possible, and what would allow one; "" where there is one.
    """

    plan: pd.DataFrame | None
    consequences: pd.DataFrame | None
    reason: str


def try_set(
    strike_weight_g: pd.Series,
    bounds: CurveBounds,
    setting: Setting,
    *,
    target_g: pd.Series | None = None,
    strike_weight_u_g: Values = 0.1,
) -> SetResult:
    """Plan the least work for one set, and what it does to front weight, lead and inertia.

    Parameters
    ----------
    strike_weight_g : the set at every key; see ``fill_set`` [g].
    bounds : what the curve must keep to.
    setting : the instrument and what is wanted of it.
    target_g : a curve that was decided on; None to seek the curve of least work [g].
    strike_weight_u_g : standard uncertainty of a strike weight [g].
    """
    if target_g is None:
        try:
            target_g = least_work(strike_weight_g, bounds).target_g
        except BoundsContradict as contradiction:
            return SetResult(None, None, str(contradiction))
    planned = plan(
        strike_weight_g,
        target_g,
        strike_weight_u_g=strike_weight_u_g,
        most_trimmed_g=bounds.most_trimmed_g,
        most_added_g=bounds.most_added_g,
    )
    return SetResult(planned, consequences(planned["planned_strike_weight_g"], setting), "")


def compare_sets(results: Mapping[str, SetResult], bounds: CurveBounds) -> pd.DataFrame:
    """Put sets side by side, the one with the least work first; impossible ones last.

    Parameters
    ----------
    results : by name of the set; see ``try_set``.
    bounds : for the work that a gram trimmed and a gram added cost.

    Returns
    -------
    DataFrame by set: ``work, trimmed_g, added_g, touched_count, left_over_g`` (the largest
    deviation from the curve that stays), ``front_weight_g, inertia_g`` (means), ``lead_g``
    (sum of the masses, in front and behind), ``reason``.
    """
    rows = {name: _summary(result, bounds) for name, result in results.items()}
    return pd.DataFrame.from_dict(rows, orient="index").rename_axis("set").sort_values("work")


def _summary(result: SetResult, bounds: CurveBounds) -> dict[str, float | str]:
    names = ("work", "trimmed_g", "added_g", "touched_count", "left_over_g",
             "front_weight_g", "lead_g", "inertia_g")  # fmt: skip
    if result.plan is None or result.consequences is None:
        return {**dict.fromkeys(names, float("nan")), "reason": result.reason}
    total, brought = hammer_totals(result.plan), result.consequences
    values = (
        bounds.trim_cost * total.trimmed_g + bounds.add_cost * total.added_g,
        total.trimmed_g,
        total.added_g,
        float(total.touched_count),
        float(result.plan["left_over_g"].abs().max()),
        float(brought["front_weight_g"].mean()),
        float(brought["lead_g"].abs().sum()),
        float(brought["inertia_g"].mean()),
    )
    return {**dict(zip(names, values, strict=True)), "reason": ""}
