"""Key ratio and action ratio by other ways, so that one way can check another.

The key ratio can be measured with a ruler or with a scale. The action ratio can be
solved from the balance equation, weighed directly, or read from travel. Each way
has its own slips, so two ways that disagree point at the slip; see ``ways``.

Every function takes floats, arrays of shape (n,) or Series indexed by key, and returns
the same kind. A missing value (NaN) gives a missing result. Nothing is rounded.
The readings of one way are taken as independent of each other.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import pandas as pd

from balancekit.calculation.balance import Values
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.quantities import QUANTITIES


class Ratio(NamedTuple):
    """A ratio and its standard uncertainty; floats, arrays or Series alike."""

    value: Values
    uncertainty: Values


def _outside(column: str, values: Values, limits: str, advice: str = "") -> list[Problem]:
    """Find the values that lie outside the register's limits; missing values pass."""
    quantity = QUANTITIES[limits]
    start = "Possible is" if advice else "Give"
    allowed = f"{start} {quantity.minimum:g} to {quantity.maximum:g} {quantity.unit}".strip() + "."
    numbers = np.atleast_1d(np.asarray(values, dtype=float))
    wrong = np.flatnonzero((numbers < quantity.minimum) | (numbers > quantity.maximum))
    return [
        Problem(
            f"{quantity.label} is {numbers[place]:g} {quantity.unit}".strip() + ".",
            f"{allowed} {advice}".strip(),
            key=_key(values, place),
            column=column,
        )
        for place in wrong.tolist()
    ]


def _bad_uncertainties(column: str, values: Values) -> list[Problem]:
    """Find the standard uncertainties that cannot be; missing values pass."""
    numbers = np.atleast_1d(np.asarray(values, dtype=float))
    wrong = np.flatnonzero((numbers < 0) | np.isinf(numbers))
    return [
        Problem(
            f"The standard uncertainty is {numbers[place]:g}.",
            "Give 0 or more.",
            key=_key(values, place),
            column=column,
        )
        for place in wrong.tolist()
    ]


def _key(values: Values, place: int) -> int | None:
    return int(values.index[place]) if isinstance(values, pd.Series) else None


def check_readings(
    readings: Mapping[str, tuple[Values, str]], uncertainties: Mapping[str, Values]
) -> None:
    """Refuse readings outside the register's limits, all of them at once."""
    problems = [
        problem
        for column, (values, limits) in readings.items()
        for problem in _outside(column, values, limits)
    ]
    for column, values in uncertainties.items():
        problems += _bad_uncertainties(column, values)
    if problems:
        raise BalancekitError(problems)


def _quotient(quantity: str, over: Values, over_u: Values, under: Values, under_u: Values) -> Ratio:
    """Divide two independent readings, and refuse a ratio that no action has.

    u(a / b)^2 = (u(a)^2 + (a / b)^2 u(b)^2) / b^2; JCGM 100:2008, 5.1.2.
    """
    value = over / under
    advice = "Look for a slip in the readings it was made from."
    problems = _outside(quantity, value, quantity, advice)
    if problems:
        raise BalancekitError(problems)
    return Ratio(value, (over_u**2 + (value * under_u) ** 2) ** 0.5 / under)


def find_key_ratio_by_ruler(
    *, capstan_arm_mm: Values, arm_mm: Values, capstan_arm_u_mm: Values, arm_u_mm: Values
) -> Ratio:
    """Return the key ratio from two distances along the key.

    At the bench: from the middle of the balance pin to the line where the capstan
    touches the wippen, and to the measuring point; both along the key, level.

    Parameters
    ----------
    capstan_arm_mm : balance pin to capstan line [mm].
    arm_mm : balance pin to measuring point [mm].
    capstan_arm_u_mm, arm_u_mm : standard uncertainties of the two [mm].

    Returns
    -------
    the ratio, capstan arm / arm, and its standard uncertainty.

    Raises
    ------
    BalancekitError : a distance or the ratio outside what a key can have.

    References
    ----------
    JCGM 100:2008, 5.1.2.

    >>> ratio = find_key_ratio_by_ruler(capstan_arm_mm=120.0, arm_mm=240.0,
    ...                                 capstan_arm_u_mm=0.6, arm_u_mm=0.0)
    >>> ratio.value, round(ratio.uncertainty, 6)  # 0.6 / 240
    (0.5, 0.0025)
    """
    check_readings(
        {"capstan_arm_mm": (capstan_arm_mm, "capstan_arm_mm"), "arm_mm": (arm_mm, "arm_mm")},
        {"capstan_arm_u_mm": capstan_arm_u_mm, "arm_u_mm": arm_u_mm},
    )
    return _quotient("key_ratio", capstan_arm_mm, capstan_arm_u_mm, arm_mm, arm_u_mm)


def find_key_ratio_by_weight(
    *,
    front_weight_g: Values,
    front_weight_with_mass_g: Values,
    known_mass_g: Values,
    front_weight_u_g: Values,
    known_mass_u_g: Values,
) -> Ratio:
    """Return the key ratio from a known mass set over the capstan.

    At the bench: the key stick alone is tipped on its balance pin, a scale under the
    measuring point. Read it without and with the mass; the mass lifts the front, so
    the reading falls by mass x key ratio. Choose a mass that keeps the key on the scale.

    Parameters
    ----------
    front_weight_g, front_weight_with_mass_g : the two readings of the scale [g].
    known_mass_g : mass over the capstan line [g].
    front_weight_u_g : standard uncertainty of each reading [g].
    known_mass_u_g : standard uncertainty of the mass [g].

    Returns
    -------
    the ratio, fall of the reading / mass, and its standard uncertainty.

    Raises
    ------
    BalancekitError : a reading or the ratio outside what a key can have.

    References
    ----------
    Balance of moments about the pin. JCGM 100:2008, 5.1.2.

    >>> ratio = find_key_ratio_by_weight(front_weight_g=27.0, front_weight_with_mass_g=17.0,
    ...     known_mass_g=20.0, front_weight_u_g=0.0, known_mass_u_g=0.2)
    >>> ratio.value, round(ratio.uncertainty, 6)  # 0.5 x 0.2 / 20
    (0.5, 0.005)
    """
    check_readings(
        {
            "front_weight_g": (front_weight_g, "front_weight_g"),
            "front_weight_with_mass_g": (front_weight_with_mass_g, "front_weight_g"),
            "known_mass_g": (known_mass_g, "known_mass_g"),
        },
        {"front_weight_u_g": front_weight_u_g, "known_mass_u_g": known_mass_u_g},
    )
    fall = front_weight_g - front_weight_with_mass_g
    return _quotient("key_ratio", fall, 2**0.5 * front_weight_u_g, known_mass_g, known_mass_u_g)


def find_action_ratio_by_added_mass(
    *,
    balance_weight_g: Values,
    balance_weight_with_mass_g: Values,
    known_mass_g: Values,
    balance_weight_u_g: Values,
    balance_weight_with_mass_u_g: Values,
    known_mass_u_g: Values,
) -> Ratio:
    """Return the action ratio directly, from a known mass hung at the strike point.

    At the bench: take down weight and up weight as always, hang the mass at the strike
    point, take both again. Balance weight rises by mass x action ratio. Hang it gently
    and let it hang free: a shank breaks easily.

    Parameters
    ----------
    balance_weight_g, balance_weight_with_mass_g : balance weight without and with the mass [g].
    known_mass_g : mass at the strike point [g].
    balance_weight_u_g, balance_weight_with_mass_u_g, known_mass_u_g : standard
        uncertainties of the three [g].

    Returns
    -------
    the ratio, rise of the balance weight / mass, and its standard uncertainty.

    Raises
    ------
    BalancekitError : a reading or the ratio outside what an action can have.

    References
    ----------
    The balance equation, taken twice. JCGM 100:2008, 5.1.2.

    >>> ratio = find_action_ratio_by_added_mass(balance_weight_g=38.0,
    ...     balance_weight_with_mass_g=65.5, known_mass_g=5.0, balance_weight_u_g=0.3,
    ...     balance_weight_with_mass_u_g=0.4, known_mass_u_g=0.0)
    >>> ratio.value, round(ratio.uncertainty, 6)  # 0.5 / 5
    (5.5, 0.1)
    """
    check_readings(
        {
            "balance_weight_g": (balance_weight_g, "balance_weight_g"),
            "balance_weight_with_mass_g": (balance_weight_with_mass_g, "balance_weight_g"),
            "known_mass_g": (known_mass_g, "known_mass_g"),
        },
        {
            "balance_weight_u_g": balance_weight_u_g,
            "balance_weight_with_mass_u_g": balance_weight_with_mass_u_g,
            "known_mass_u_g": known_mass_u_g,
        },
    )
    rise = balance_weight_with_mass_g - balance_weight_g
    rise_u = (balance_weight_u_g**2 + balance_weight_with_mass_u_g**2) ** 0.5
    return _quotient("action_ratio", rise, rise_u, known_mass_g, known_mass_u_g)


def find_action_ratio_by_travel(
    *, hammer_rise_mm: Values, key_dip_mm: Values, hammer_rise_u_mm: Values, key_dip_u_mm: Values
) -> Ratio:
    """Return the action ratio from travel: rise of the hammer over dip of the key.

    At the bench: press the key slowly to a block, short of let-off. Read the rise at the
    strike point and the dip at the measuring point, over the same stroke. It is the mean
    over that stroke, and what felt and key give way counts as dip. Where the levers swing
    it differs from the ratio at half stroke; see ``linkage.motion.ratio_from_rise``.

    Parameters
    ----------
    hammer_rise_mm : travel of the strike point [mm].
    key_dip_mm : travel of the measuring point [mm].
    hammer_rise_u_mm, key_dip_u_mm : standard uncertainties of the two [mm].

    Returns
    -------
    the ratio, rise / dip, and its standard uncertainty.

    Raises
    ------
    BalancekitError : a travel or the ratio outside what an action can have.

    References
    ----------
    Virtual work: what is gained in travel is lost in weight. JCGM 100:2008, 5.1.2.

    >>> ratio = find_action_ratio_by_travel(hammer_rise_mm=44.0, key_dip_mm=8.0,
    ...                                     hammer_rise_u_mm=0.4, key_dip_u_mm=0.0)
    >>> ratio.value, round(ratio.uncertainty, 6)  # 0.4 / 8
    (5.5, 0.05)
    """
    check_readings(
        {
            "hammer_rise_mm": (hammer_rise_mm, "hammer_rise_mm"),
            "key_dip_mm": (key_dip_mm, "key_dip_mm"),
        },
        {"hammer_rise_u_mm": hammer_rise_u_mm, "key_dip_u_mm": key_dip_u_mm},
    )
    return _quotient("action_ratio", hammer_rise_mm, hammer_rise_u_mm, key_dip_mm, key_dip_u_mm)
