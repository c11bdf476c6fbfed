"""The key without lead: its wood, and covering, capstan and back check that are fixed to it.

Each part counts as a point: its mass m at the distance x from the balance pin presses m x / arm
at the measuring point, and m x^2 / arm^2 is what the finger sets going. The wood is a straight bar.
The button on the balance pin turns about itself and counts for nothing.

How the wood is shaped nobody weighs part by part, but the front weight tells where the middle of
the whole mass is: what the key presses without its plugs, times the arm, is mass times distance.
So the inertia is carried from where the parts put the centre of mass, c, to where the scale puts
it::

    c on the scale = front weight without plugs x arm / mass
    inertia        = inertia of the parts + mass x (c on the scale^2 - c^2)

References
----------
Parallel axis theorem and moment of inertia of point masses: Feynman, Leighton and Sands, The
Feynman Lectures on Physics, volume I, 19-2 and 19-3.
"""

from __future__ import annotations

import pandas as pd

from balancekit.calculation.inertia import stick_mass_g
from balancekit.calculation.leads.key_stick import (
    back_end_mm,
    front_end_mm,
    stick_sizes,
    wood_front_weight_g,
    wood_inertia_g,
)

FITTINGS = ("covering", "capstan", "back_check")
"""What is fixed to the wood, besides lead."""

KEY_PARTS = {
    "wood": "wood, as a plain bar",
    "covering": "covering",
    "capstan": "capstan",
    "back_check": "back check",
    "centre": "where the front weight puts the centre of mass",
}
"""The parts of the bare key's inertia, in words; the last is what the front weight corrects."""


def fitting_place_mm(sticks: pd.DataFrame, fitting: str) -> pd.Series:
    """Return how far before the balance pin a fitting is, negative behind it [mm].

    Parameters
    ----------
    sticks : table of key sticks; see ``key_stick.usual_sticks``.
    fitting : one of ``FITTINGS``.
    """
    place: pd.Series = {
        "covering": front_end_mm(sticks) - sticks["covering_mm"],
        "capstan": sticks["capstan_mm"],
        "back_check": back_end_mm(sticks) + sticks["back_check_mm"],
    }[fitting]
    return place


def bare_mass_g(sticks: pd.DataFrame) -> pd.Series:
    """Return the mass of the keys without lead [g]."""
    total: pd.Series = stick_mass_g(**stick_sizes(sticks))
    for fitting in FITTINGS:
        total = total + sticks[f"{fitting}_g"]
    return total


def bare_front_weight_g(sticks: pd.DataFrame) -> pd.Series:
    """Return the front weight of the keys without lead, by their parts [g]."""
    total = wood_front_weight_g(sticks)
    for fitting in FITTINGS:
        pressed = sticks[f"{fitting}_g"] * fitting_place_mm(sticks, fitting)
        total = total + pressed / sticks["arm_mm"]
    return total


def bare_inertia_parts_g(
    sticks: pd.DataFrame, front_weight_g: pd.Series | None = None
) -> pd.DataFrame:
    """Return the inertia of the keys without lead at the finger, part by part [g].

    Parameters
    ----------
    sticks : table of key sticks; see ``key_stick.usual_sticks``.
    front_weight_g : of the keys without their plugs, by key; where it is missing or left out, the
        centre of mass is that of the parts.

    Returns
    -------
    DataFrame by key with ``KEY_PARTS``; their sum is the inertia of the bare key.

    >>> from balancekit.calculation.leads.key_stick import usual_sticks
    >>> sticks = usual_sticks(pd.Series("natural", [1]))
    >>> parts = bare_inertia_parts_g(sticks)
    >>> round(float(parts.loc[1, "covering"]), 3)  # 6 g x (193 mm / 240 mm)^2
    3.88
    """
    arm = sticks["arm_mm"]
    parts = pd.DataFrame({"wood": wood_inertia_g(sticks)})
    for fitting in FITTINGS:
        parts[fitting] = sticks[f"{fitting}_g"] * (fitting_place_mm(sticks, fitting) / arm) ** 2
    parts["centre"] = 0.0
    if front_weight_g is not None:
        mass = bare_mass_g(sticks)
        squares = front_weight_g**2 - bare_front_weight_g(sticks) ** 2
        parts["centre"] = (squares / mass).fillna(0.0)
    return parts


def bare_inertia_g(sticks: pd.DataFrame, front_weight_g: pd.Series | None = None) -> pd.Series:
    """Return the inertia of the keys without lead at the finger [g]; see above."""
    total: pd.Series = bare_inertia_parts_g(sticks, front_weight_g).sum(axis=1)
    return total
