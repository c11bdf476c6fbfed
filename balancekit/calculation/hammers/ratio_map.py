"""Hammer mass against action ratio: the map, and what a changed ratio asks of the action.

The map is what the linkage gives with a moved lever, exactly: at half stroke, where weights are
compared, statics and inertia rest on nothing but the two ratios, whichever distances make them.
So a key that was weighed and not measured has its map too. A test holds the two equal, for
several geometries of the same ratios.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from balancekit.calculation.balance import solve_for_front_weight
from balancekit.calculation.hammers.least_work import Numbers
from balancekit.calculation.inertia import (
    SHANK_MASS_G,
    WIPPEN_SHAPE,
    Values,
    hammer_inertia_g,
    refuse_below,
    wippen_inertia_g,
)
from balancekit.calculation.problems import refuse

Lever = Literal["knuckle", "capstan"]


@dataclass(frozen=True)
class MapKey:
    """What the map keeps fixed: one key as weighed, and what is wanted of it.

    Attributes
    ----------
    strike_weight_g, action_ratio : this instrument's point [g].
    strike_weight_u_g, action_ratio_u : its standard uncertainties [g].
    wippen_weight_g, key_ratio : as weighed [g].
    own_share : weight of this key's own readings in its ratio: 1 for a ratio that was solved
        from them alone, less for a best estimate that rests on the neighbours too.
    balance_weight_g, spring_relief_g : wanted [g].
    bare_front_weight_g : front weight of the key without lead [g].
    stick_inertia_g : inertia of the key stick without lead [g].
    arm_mm, plug_distance_mm : balance pin to measuring point and to the plugs [mm].
    shank_mass_g : mass of the shank [g].
    """

    strike_weight_g: float
    action_ratio: float
    wippen_weight_g: float
    key_ratio: float
    balance_weight_g: float
    bare_front_weight_g: float
    stick_inertia_g: float
    arm_mm: float
    plug_distance_mm: float
    strike_weight_u_g: float = 0.0
    action_ratio_u: float = 0.0
    own_share: float = 1.0
    spring_relief_g: float = 0.0
    shank_mass_g: float = SHANK_MASS_G

    def __post_init__(self) -> None:
        for label, value in (
            ("Strike weight (g)", self.strike_weight_g),
            ("Action ratio", self.action_ratio),
            ("Wippen weight (g)", self.wippen_weight_g),
            ("Key ratio", self.key_ratio),
            ("Arm (mm)", self.arm_mm),
            ("Balance pin to plugs (mm)", self.plug_distance_mm),
        ):
            if value != value:
                raise refuse(f"{label} of this key is not known.", "Weigh or estimate it first.")
            refuse_below(label, value, 0, above=True)

    def key_ratio_at(self, action_ratio: Values, lever: Lever) -> Values:
        """Return the key ratio that gives the wippen its part at another action ratio.

        Moving the knuckle leaves it. Moving the capstan changes key and wippen lever
        together; the wippen's grams at the finger then change as the action ratio does,
        so the wippen weight is kept and the key ratio is scaled.
        """
        if lever == "knuckle":
            return self.key_ratio
        return self.key_ratio * action_ratio / self.action_ratio


def front_weight_and_inertia(
    key: MapKey, strike_weight_g: Values, action_ratio: Values, lever: Lever = "knuckle"
) -> tuple[Values, Values]:
    """Return the front weight that is needed, and the inertia at the finger, both [g].

    The front weight that the bare key does not have comes from lead at the plug distance,
    in front of the pin or, where it is too much, behind it; its inertia is counted.

    Parameters
    ----------
    key : what is kept fixed.
    strike_weight_g, action_ratio : of the same shape [g].
    lever : which lever the ratio is changed by, "knuckle" or "capstan".

    Raises
    ------
    BalancekitError : a strike weight or ratio that cannot be, or another lever.

    >>> key = MapKey(strike_weight_g=10.0, action_ratio=5.0, wippen_weight_g=20.0, key_ratio=0.5,
    ...              balance_weight_g=38.0, bare_front_weight_g=2.0, stick_inertia_g=15.0,
    ...              arm_mm=200.0, plug_distance_mm=100.0, shank_mass_g=0.0)
    >>> front_g, inertia_g = front_weight_and_inertia(key, 10.0, 5.0)
    >>> front_g, float(inertia_g)  # 250 + 6.5 + 15 + 20 x 100 / 200
    (22.0, 281.5)
    """
    if lever not in ("knuckle", "capstan"):
        raise refuse(f"'{lever}' is no lever of the map.", "Choose knuckle or capstan.")
    hammer_g = hammer_inertia_g(
        strike_weight_g=strike_weight_g, action_ratio=action_ratio, shank_mass_g=key.shank_mass_g
    )
    key_ratio = key.key_ratio_at(action_ratio, lever)
    front_weight_g = solve_for_front_weight(
        balance_weight_g=key.balance_weight_g,
        wippen_weight_g=key.wippen_weight_g,
        key_ratio=key_ratio,
        strike_weight_g=strike_weight_g,
        action_ratio=action_ratio,
        spring_relief_g=key.spring_relief_g,
    )
    wippen_g = wippen_inertia_g(
        wippen_weight_g=key.wippen_weight_g, key_ratio=key_ratio, shape=WIPPEN_SHAPE
    )
    leverage = key.plug_distance_mm / key.arm_mm
    lead_g = abs(front_weight_g - key.bare_front_weight_g) * leverage
    return front_weight_g, hammer_g + wippen_g + key.stick_inertia_g + lead_g


@dataclass(frozen=True)
class RatioMap:
    """The map of one key: strike weight across, action ratio up.

    Attributes
    ----------
    strike_weight_g : shape (columns,) [g].
    action_ratio : shape (rows,).
    front_weight_g, inertia_g : shape (rows, columns), for lines of equal value [g].
    correlation : between the errors of strike weight and ratio of this instrument's point.
    """

    strike_weight_g: Numbers
    action_ratio: Numbers
    front_weight_g: Numbers
    inertia_g: Numbers
    correlation: float


def ratio_map(
    key: MapKey,
    *,
    strike_weight_g: tuple[float, float] = (4.0, 14.0),
    action_ratio: tuple[float, float] = (4.5, 6.8),
    lever: Lever = "knuckle",
    steps: int = 60,
) -> RatioMap:
    """Compute front weight and inertia over a grid of strike weight and action ratio.

    Parameters
    ----------
    key : what is kept fixed.
    strike_weight_g, action_ratio : first and last value of each axis [g].
    lever : which lever the ratio is changed by, "knuckle" or "capstan".
    steps : points along each axis.

    Raises
    ------
    BalancekitError : an axis that does not rise, or a value that cannot be.
    """
    for label, (low, high) in (("Strike weight", strike_weight_g), ("Action ratio", action_ratio)):
        if not low < high:
            raise refuse(f"The map's {label.lower()} goes from {low:g} to {high:g}.",
                         "Give a lower and then a higher value.")  # fmt: skip
    across, up = np.linspace(*strike_weight_g, steps), np.linspace(*action_ratio, steps)
    grid_weight, grid_ratio = np.meshgrid(across, up)
    front, inertia = front_weight_and_inertia(key, grid_weight, grid_ratio, lever)
    return RatioMap(across, up, front, inertia, point_correlation(key))


def point_correlation(key: MapKey) -> float:
    """Return the correlation between the errors of strike weight and of action ratio.

    The ratio was solved by dividing by the strike weight: a hammer weighed too heavy gives
    a ratio too low. So the point's region on the map leans to the left. In a best estimate
    the key's own readings have only a part in the ratio, and so the region leans less.

    References
    ----------
    JCGM 100:2008, 5.2.2 and F.1.2.3.
    """
    if not key.action_ratio_u or not key.strike_weight_u_g:
        return 0.0
    shared = key.own_share * key.action_ratio / key.strike_weight_g * key.strike_weight_u_g
    return -min(1.0, shared / key.action_ratio_u)


def outline(key: MapKey, *, factor: float = 2.45, points: int = 73) -> tuple[Numbers, Numbers]:
    """Return the outline of the region where this instrument's true point probably lies.

    Parameters
    ----------
    key : with its uncertainties.
    factor : size in standard uncertainties; 2.45 holds 95 % for two quantities together,
        the square root of the 95 % point of chi-square with two degrees of freedom.
    points : of the closed line.

    Returns
    -------
    strike weight [g] and action ratio, each of shape (points,).

    References
    ----------
    JCGM 102:2011, 6.5.2 (from memory).
    """
    turn = np.linspace(0, 2 * np.pi, points)
    across, lean = np.cos(turn), point_correlation(key)
    up = lean * across + np.sqrt(1 - lean**2) * np.sin(turn)
    return (
        key.strike_weight_g + factor * key.strike_weight_u_g * across,
        key.action_ratio + factor * key.action_ratio_u * up,
    )
