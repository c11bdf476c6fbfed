"""The inertia at the finger, part by part.

The finger does not only lift grams, it also sets them going. Each moving part has a
moment of inertia about its own pivot; carried to the measuring point it acts like a
plain mass there, the inertia at the finger [g]. It decides how a loud note feels, while the
balance weight decides how a very soft one feels.

The kinetic energy of levers needs no more of them than how fast each goes when the key does. So
at every position the ratios of that position suffice, exactly, and at half stroke those are the
ones that a key is weighed with. A test holds the linkage to it, ``loads.inertia_g``.

Every function takes floats, arrays of shape (n,) or Series, and returns the same
kind. A missing value (NaN) gives a missing result. Nothing is rounded.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from balancekit.calculation.problems import refuse

Values: TypeAlias = Any
"""A float, an array of shape (n,), or a Series."""

GRAVITY_M_S2 = 9.80665
# Standard acceleration of free fall, 3rd CGPM, 1901. It differs by 0.3 % over the earth.

SHANK_MASS_G = 3.5
# From memory: a grand's shank without hammer, spread evenly along its length.

WIPPEN_SHAPE = 1.3
# From memory: inertia of a wippen at the capstan over its wippen weight.


def refuse_below(label: str, value: Values, least: float, *, above: bool = False) -> None:
    """Refuse a value that is below the least possible; missing values pass.

    Parameters
    ----------
    label : what it is, with its unit, for the sentence.
    value : shape (n,) or a float.
    least : the least value that is possible.
    above : True if the least value itself is not possible either.

    Raises
    ------
    BalancekitError : a value is too small or infinite.
    """
    read = np.asarray(value, dtype=float)
    wrong = (read <= least if above else read < least) | np.isinf(read)
    if np.any(wrong):
        allowed = f"above {least:g}" if above else f"{least:g} or more"
        raise refuse(f"{label} is {read[wrong].flat[0]:g}.", f"Give a number {allowed}.")


def hammer_inertia_g(
    *, strike_weight_g: Values, action_ratio: Values, shank_mass_g: Values = SHANK_MASS_G
) -> Values:
    """Return the inertia of hammer and shank at the finger [g].

    A shank of mass m spread evenly along its length counts m/2 on the scale under
    the strike point, but only m/3 when it is swung. So m/6 comes off::

        (strike weight - shank mass / 6) x action ratio^2

    The hammer head is taken as a point at the strike radius. A strike weight below half of
    the shank's mass is that of a bare, lighter shank: then a third of it comes off.

    Parameters
    ----------
    strike_weight_g : strike weight [g].
    action_ratio : action ratio.
    shank_mass_g : mass of the shank without hammer [g]; 0 leaves the correction out.

    Raises
    ------
    BalancekitError : a negative mass or ratio.

    >>> float(hammer_inertia_g(strike_weight_g=10.0, action_ratio=5.0, shank_mass_g=3.0))
    237.5
    """
    refuse_below("Strike weight (g)", strike_weight_g, 0)
    refuse_below("Action ratio", action_ratio, 0, above=True)
    refuse_below("Shank mass (g)", shank_mass_g, 0)
    correction_g = np.minimum(shank_mass_g / 6, strike_weight_g / 3)
    return (strike_weight_g - correction_g) * action_ratio**2


def wippen_inertia_g(
    *, wippen_weight_g: Values, key_ratio: Values, shape: Values = WIPPEN_SHAPE
) -> Values:
    """Return the inertia of the wippen at the finger [g].

    Parameters
    ----------
    wippen_weight_g : wippen weight [g].
    key_ratio : key ratio.
    shape : inertia at the capstan over the wippen weight; 1.3 from memory.

    Raises
    ------
    BalancekitError : a negative mass, ratio or shape.

    >>> round(wippen_inertia_g(wippen_weight_g=18.0, key_ratio=0.5), 3)
    5.85
    """
    refuse_below("Wippen weight (g)", wippen_weight_g, 0)
    refuse_below("Key ratio", key_ratio, 0, above=True)
    refuse_below("Shape of the wippen", shape, 0, above=True)
    return wippen_weight_g * key_ratio**2 * shape


def plug_inertia_g_mm2(*, mass_g: Values, distance_mm: Values, radius_mm: Values = 0.0) -> Values:
    """Return the moment of inertia of each plug about the balance pin [g mm2].

    A plug lies across the key, so its own axis is parallel to the axis the key
    turns about: m x^2 + m r^2 / 2.

    Parameters
    ----------
    mass_g : mass of the plug, less the wood bored out [g]; an empty hole is negative.
    distance_mm : distance from the balance pin, negative behind it [mm].
    radius_mm : half of the plug's diameter [mm].

    >>> plug_inertia_g_mm2(mass_g=10.0, distance_mm=100.0, radius_mm=6.0)
    100180.0
    """
    return mass_g * (distance_mm**2 + radius_mm**2 / 2)


def plug_inertia_g(
    *, mass_g: Values, distance_mm: Values, radius_mm: Values = 0.0, arm_mm: Values
) -> Values:
    """Return the inertia of each plug at the finger [g].

    Parameters
    ----------
    mass_g : mass of the plug, less the wood bored out [g]; an empty hole is negative.
    distance_mm : distance from the balance pin, negative behind it [mm].
    radius_mm : half of the plug's diameter [mm].
    arm_mm : balance pin to measuring point [mm].

    Raises
    ------
    BalancekitError : an arm of 0 or below.

    >>> round(plug_inertia_g(mass_g=10.0, distance_mm=100.0, radius_mm=6.0, arm_mm=200.0), 4)
    2.5045
    """
    return at_measuring_point_g(
        plug_inertia_g_mm2(mass_g=mass_g, distance_mm=distance_mm, radius_mm=radius_mm),
        arm_mm=arm_mm,
    )


def at_measuring_point_g(inertia_g_mm2: Values, *, arm_mm: Values) -> Values:
    """Return a key part's moment of inertia as a mass at the measuring point [g].

    Parameters
    ----------
    inertia_g_mm2 : moment of inertia about the balance pin [g mm2].
    arm_mm : balance pin to measuring point [mm].

    Raises
    ------
    BalancekitError : an arm of 0 or below.

    >>> at_measuring_point_g(800_000.0, arm_mm=200.0)
    20.0
    """
    refuse_below("Arm (mm)", arm_mm, 0, above=True)
    return inertia_g_mm2 / arm_mm**2


def stick_mass_g(
    *, length_mm: Values, height_mm: Values, width_mm: Values, density_g_cm3: Values
) -> Values:
    """Return the mass of a plain key stick [g].

    >>> round(stick_mass_g(length_mm=400.0, height_mm=23.0, width_mm=13.0, density_g_cm3=0.45), 2)
    53.82
    """
    sizes = {"Length": length_mm, "Height": height_mm, "Width": width_mm}
    for label, size in sizes.items():
        refuse_below(f"{label} of the key stick (mm)", size, 0, above=True)
    refuse_below("Density of the wood (g/cm3)", density_g_cm3, 0, above=True)
    return length_mm * height_mm * width_mm * density_g_cm3 / 1000


def stick_inertia_g_mm2(
    *,
    length_mm: Values,
    height_mm: Values,
    width_mm: Values,
    density_g_cm3: Values,
    pin_to_front_mm: Values,
) -> Values:
    """Return the moment of inertia of a plain key stick about the balance pin [g mm2].

    A straight bar, pivoting at half of its height::

        m (length^2 + height^2) / 12 + m (length / 2 - pin to front end)^2

    Leads, buttons, capstan and key covering come on top of it.

    Parameters
    ----------
    length_mm, height_mm, width_mm : of the whole stick [mm].
    density_g_cm3 : density of the wood [g/cm3].
    pin_to_front_mm : balance pin to the front end of the stick [mm].

    Raises
    ------
    BalancekitError : a size or density of 0 or below, or a pin outside the stick.

    References
    ----------
    Moment of inertia of a cuboid and the parallel axis theorem, any textbook of mechanics.

    >>> round(stick_inertia_g_mm2(length_mm=400.0, height_mm=23.0, width_mm=13.0,
    ...                           density_g_cm3=0.45, pin_to_front_mm=230.0))
    768411
    """
    mass_g = stick_mass_g(
        length_mm=length_mm, height_mm=height_mm, width_mm=width_mm, density_g_cm3=density_g_cm3
    )
    refuse_below("Balance pin to front end (mm)", pin_to_front_mm, 0, above=True)
    if np.any(length_mm - pin_to_front_mm <= 0):
        raise refuse(
            "The balance pin lies behind the end of the key stick.",
            "Give a distance to the front end that is less than the length.",
        )
    off_centre_mm = length_mm / 2 - pin_to_front_mm
    return mass_g * ((length_mm**2 + height_mm**2) / 12 + off_centre_mm**2)
