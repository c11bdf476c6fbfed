"""The balance equation, solved for each of its unknowns.

At the measuring point, with the key held level and friction taken out::

    balance weight + front weight + spring relief
        = wippen weight x key ratio + strike weight x action ratio

What lifts the key's front is on the right, what presses it down on the left.
It is frictionless statics about one position of the key: take it as true near
the position where the key was weighed.

Every function takes floats, arrays of shape (n,) or Series, and returns the
same kind. A missing value (NaN) gives a missing result. Nothing is rounded.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeAlias

import numpy as np

from balancekit.calculation.problems import refuse
from balancekit.calculation.quantities import QUANTITIES

Values: TypeAlias = Any
"""A float, an array of shape (n,), or a Series."""

TERMS = (
    "balance_weight_g",
    "front_weight_g",
    "spring_relief_g",
    "wippen_weight_g",
    "key_ratio",
    "strike_weight_g",
    "action_ratio",
)
"""The seven quantities of the equation."""


def _positive(name: str, value: Values) -> None:
    """Refuse a divisor that is zero or negative; missing values pass."""
    below = np.asarray(value, dtype=float) <= 0
    if np.any(below):
        label = QUANTITIES[name].label
        raise refuse(
            f"{label} is {np.asarray(value, dtype=float)[below].flat[0]:g}.",
            f"The equation divides by it: give a {label.lower()} above 0.",
        )


def find_balance_weight(*, down_weight_g: Values, up_weight_g: Values) -> Values:
    """Return the weight that would hold the key level without friction [g].

    At the bench: the middle between the weight that sinks and the weight that
    the key still lifts.

    Parameters
    ----------
    down_weight_g, up_weight_g : readings at the measuring point [g].

    >>> find_balance_weight(down_weight_g=50.0, up_weight_g=26.0)
    38.0
    """
    return (down_weight_g + up_weight_g) / 2


def find_friction(*, down_weight_g: Values, up_weight_g: Values) -> Values:
    """Return the friction at the measuring point [g].

    At the bench: half of the gap between the two weights. Friction works
    against the finger on the way down and for it on the way up.

    Parameters
    ----------
    down_weight_g, up_weight_g : readings at the measuring point [g].

    >>> find_friction(down_weight_g=50.0, up_weight_g=26.0)
    12.0
    """
    return (down_weight_g - up_weight_g) / 2


def find_half_sum_uncertainty(*, down_weight_u_g: Values, up_weight_u_g: Values) -> Values:
    """Return the standard uncertainty of balance weight, and of friction [g].

    Both are half of a sum or a difference, so both have the same uncertainty,
    sqrt(u(down)^2 + u(up)^2) / 2.

    Parameters
    ----------
    down_weight_u_g, up_weight_u_g : standard uncertainties of the readings [g].

    References
    ----------
    JCGM 100:2008, 5.1.2.

    >>> round(find_half_sum_uncertainty(down_weight_u_g=0.6, up_weight_u_g=0.8), 3)
    0.5
    """
    return (down_weight_u_g**2 + up_weight_u_g**2) ** 0.5 / 2


def find_down_weight(*, balance_weight_g: Values, friction_g: Values) -> Values:
    """Return the down weight that a balance weight and a friction give [g].

    >>> find_down_weight(balance_weight_g=38.0, friction_g=12.0)
    50.0
    """
    return balance_weight_g + friction_g


def find_up_weight(*, balance_weight_g: Values, friction_g: Values) -> Values:
    """Return the up weight that a balance weight and a friction give [g].

    >>> find_up_weight(balance_weight_g=38.0, friction_g=12.0)
    26.0
    """
    return balance_weight_g - friction_g


def _pressed(balance_weight_g: Values, front_weight_g: Values, spring_relief_g: Values) -> Values:
    return balance_weight_g + front_weight_g + spring_relief_g


def find_load(
    *, wippen_weight_g: Values, key_ratio: Values, strike_weight_g: Values, action_ratio: Values
) -> Values:
    """Return what wippen and hammer press at the measuring point [g].

    Parameters
    ----------
    wippen_weight_g, strike_weight_g : as weighed [g].
    key_ratio, action_ratio : grams at the measuring point for each of their grams.

    >>> find_load(wippen_weight_g=18.0, key_ratio=0.5, strike_weight_g=10.0, action_ratio=5.5)
    64.0
    """
    return wippen_weight_g * key_ratio + strike_weight_g * action_ratio


def solve_for_balance_weight(
    *,
    front_weight_g: Values,
    wippen_weight_g: Values,
    key_ratio: Values,
    strike_weight_g: Values,
    action_ratio: Values,
    spring_relief_g: Values = 0.0,
) -> Values:
    """Return the balance weight that the parts give [g].

    >>> solve_for_balance_weight(front_weight_g=27.0, wippen_weight_g=18.0, key_ratio=0.5,
    ...                          strike_weight_g=10.0, action_ratio=5.5)
    37.0
    """
    lifted = find_load(
        wippen_weight_g=wippen_weight_g, key_ratio=key_ratio,
        strike_weight_g=strike_weight_g, action_ratio=action_ratio,
    )  # fmt: skip
    return lifted - front_weight_g - spring_relief_g


def solve_for_front_weight(
    *,
    balance_weight_g: Values,
    wippen_weight_g: Values,
    key_ratio: Values,
    strike_weight_g: Values,
    action_ratio: Values,
    spring_relief_g: Values = 0.0,
) -> Values:
    """Return the front weight that gives a wanted balance weight [g].

    At the bench: how heavy the key's front must be leaded.

    >>> solve_for_front_weight(balance_weight_g=37.0, wippen_weight_g=18.0, key_ratio=0.5,
    ...                        strike_weight_g=10.0, action_ratio=5.5)
    27.0
    """
    lifted = find_load(
        wippen_weight_g=wippen_weight_g, key_ratio=key_ratio,
        strike_weight_g=strike_weight_g, action_ratio=action_ratio,
    )  # fmt: skip
    return lifted - balance_weight_g - spring_relief_g


def solve_for_spring_relief(
    *,
    balance_weight_g: Values,
    front_weight_g: Values,
    wippen_weight_g: Values,
    key_ratio: Values,
    strike_weight_g: Values,
    action_ratio: Values,
) -> Values:
    """Return the spring relief that gives a wanted balance weight [g].

    >>> solve_for_spring_relief(balance_weight_g=37.0, front_weight_g=20.0, wippen_weight_g=18.0,
    ...                         key_ratio=0.5, strike_weight_g=10.0, action_ratio=5.5)
    7.0
    """
    lifted = find_load(
        wippen_weight_g=wippen_weight_g, key_ratio=key_ratio,
        strike_weight_g=strike_weight_g, action_ratio=action_ratio,
    )  # fmt: skip
    return lifted - balance_weight_g - front_weight_g


def solve_for_action_ratio(
    *,
    balance_weight_g: Values,
    front_weight_g: Values,
    wippen_weight_g: Values,
    key_ratio: Values,
    strike_weight_g: Values,
    spring_relief_g: Values = 0.0,
) -> Values:
    """Return the action ratio: grams at the key for one gram of strike weight.

    At the bench: the one term that no scale shows, so it is solved for first.

    Raises
    ------
    BalancekitError : a strike weight of 0 or below.

    >>> solve_for_action_ratio(balance_weight_g=37.0, front_weight_g=27.0, wippen_weight_g=18.0,
    ...                        key_ratio=0.5, strike_weight_g=10.0)
    5.5
    """
    _positive("strike_weight_g", strike_weight_g)
    pressed = _pressed(balance_weight_g, front_weight_g, spring_relief_g)
    return (pressed - wippen_weight_g * key_ratio) / strike_weight_g


def solve_for_strike_weight(
    *,
    balance_weight_g: Values,
    front_weight_g: Values,
    wippen_weight_g: Values,
    key_ratio: Values,
    action_ratio: Values,
    spring_relief_g: Values = 0.0,
) -> Values:
    """Return the strike weight that gives a wanted balance weight [g].

    With the highest front weight allowed it is the ceiling by leverage: no
    heavier hammer can be carried.

    Raises
    ------
    BalancekitError : an action ratio of 0 or below.

    >>> solve_for_strike_weight(balance_weight_g=37.0, front_weight_g=27.0, wippen_weight_g=18.0,
    ...                         key_ratio=0.5, action_ratio=5.5)
    10.0
    """
    _positive("action_ratio", action_ratio)
    pressed = _pressed(balance_weight_g, front_weight_g, spring_relief_g)
    return (pressed - wippen_weight_g * key_ratio) / action_ratio


def solve_for_wippen_weight(
    *,
    balance_weight_g: Values,
    front_weight_g: Values,
    key_ratio: Values,
    strike_weight_g: Values,
    action_ratio: Values,
    spring_relief_g: Values = 0.0,
) -> Values:
    """Return the wippen weight that closes the equation [g].

    Raises
    ------
    BalancekitError : a key ratio of 0 or below.

    >>> solve_for_wippen_weight(balance_weight_g=37.0, front_weight_g=27.0, key_ratio=0.5,
    ...                         strike_weight_g=10.0, action_ratio=5.5)
    18.0
    """
    _positive("key_ratio", key_ratio)
    pressed = _pressed(balance_weight_g, front_weight_g, spring_relief_g)
    return (pressed - strike_weight_g * action_ratio) / key_ratio


def solve_for_key_ratio(
    *,
    balance_weight_g: Values,
    front_weight_g: Values,
    wippen_weight_g: Values,
    strike_weight_g: Values,
    action_ratio: Values,
    spring_relief_g: Values = 0.0,
) -> Values:
    """Return the key ratio that closes the equation.

    Raises
    ------
    BalancekitError : a wippen weight of 0 or below.

    >>> solve_for_key_ratio(balance_weight_g=37.0, front_weight_g=27.0, wippen_weight_g=18.0,
    ...                     strike_weight_g=10.0, action_ratio=5.5)
    0.5
    """
    _positive("wippen_weight_g", wippen_weight_g)
    pressed = _pressed(balance_weight_g, front_weight_g, spring_relief_g)
    return (pressed - strike_weight_g * action_ratio) / wippen_weight_g


def _slopes(values: Mapping[str, Values]) -> dict[str, Values]:
    """Partial derivatives of (left side - right side) by each term."""
    return {
        "balance_weight_g": 1.0,
        "front_weight_g": 1.0,
        "spring_relief_g": 1.0,
        "wippen_weight_g": -values["key_ratio"],
        "key_ratio": -values["wippen_weight_g"],
        "strike_weight_g": -values["action_ratio"],
        "action_ratio": -values["strike_weight_g"],
    }


def slopes_of(unknown: str, values: Mapping[str, Values]) -> dict[str, Values]:
    """Return how one term, solved from the six others, moves with each of them, to first order.

    The equation is F = left - right = 0, so that the slope by another term i is -F_i / F_x.

    Parameters
    ----------
    unknown : name of the term that is solved for, one of ``TERMS``.
    values : wippen weight, key ratio, strike weight and action ratio by name.

    >>> lever = dict(wippen_weight_g=18.0, key_ratio=0.5, strike_weight_g=10.0, action_ratio=5.5)
    >>> slopes_of("action_ratio", lever)["front_weight_g"]
    0.1
    """
    slopes = _slopes(values)
    own = slopes.pop(unknown)
    return {name: -slope / own for name, slope in slopes.items()}


def uncertainty_of(
    unknown: str, values: Mapping[str, Values], uncertainties: Mapping[str, Values]
) -> Values:
    """Return the standard uncertainty of one term, solved from the six others.

    The equation is F = left - right = 0, so that, to first order and for
    independent readings, u(x)^2 = sum over the others of (F_i / F_x)^2 u_i^2.

    Parameters
    ----------
    unknown : name of the term that was solved for, one of ``TERMS``.
    values : all seven terms by name, the solved one included; spring relief may be left out.
    uncertainties : standard uncertainties of the other terms by the same names;
        a term left out is taken as exact.

    Returns
    -------
    standard uncertainty in the unknown's own unit.

    Raises
    ------
    BalancekitError : an unknown that is not a term.

    References
    ----------
    JCGM 100:2008, 5.1.2.

    >>> round(uncertainty_of("action_ratio",
    ...     dict(wippen_weight_g=18, key_ratio=0.5, strike_weight_g=10, action_ratio=5.5),
    ...     dict(balance_weight_g=0.5)), 3)
    0.05
    """
    if unknown not in TERMS:
        raise refuse(f"'{unknown}' is not in the balance equation.", f"Choose one of {TERMS}.")
    slopes = _slopes(values)
    total: Values = 0.0
    for name, uncertainty in uncertainties.items():
        if name in TERMS and name != unknown:
            total = total + (slopes[name] * uncertainty) ** 2
    return total**0.5 / abs(slopes[unknown])
