"""What a changed action ratio does to dip and blow, and which lever moves by how much.

The action ratio is the product of three levers: key, wippen and shank::

    capstan / arm  x  wippen top / wippen heel  x  hammer / knuckle
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from balancekit.calculation.inertia import Values, refuse_below
from balancekit.calculation.problems import refuse


def find_dip_mm(*, blow_distance_mm: Values, action_ratio: Values, aftertouch_mm: Values) -> Values:
    """Return the key dip that a blow distance needs [mm].

    Dip = blow / ratio + aftertouch. It takes the ratio as the same along the whole stroke.

    Raises
    ------
    BalancekitError : a blow or a ratio of 0 or below, a negative aftertouch.

    >>> find_dip_mm(blow_distance_mm=45.0, action_ratio=5.0, aftertouch_mm=1.0)
    10.0
    """
    _check_regulation(blow_distance_mm, action_ratio, aftertouch_mm)
    return blow_distance_mm / action_ratio + aftertouch_mm


def find_blow_distance_mm(
    *, key_dip_mm: Values, action_ratio: Values, aftertouch_mm: Values
) -> Values:
    """Return the blow distance that a key dip reaches [mm]: (dip - aftertouch) x ratio.

    Raises
    ------
    BalancekitError : a dip or a ratio of 0 or below, or an aftertouch as large as the dip.

    >>> find_blow_distance_mm(key_dip_mm=10.0, action_ratio=5.0, aftertouch_mm=1.0)
    45.0
    """
    _check_regulation(key_dip_mm, action_ratio, aftertouch_mm, "Key dip (mm)")
    if np.any(np.asarray(key_dip_mm - aftertouch_mm, dtype=float) <= 0):
        raise refuse(
            "The aftertouch is as large as the key dip.",
            "Give a smaller aftertouch; about 1 mm is usual.",
        )
    return (key_dip_mm - aftertouch_mm) * action_ratio


def _check_regulation(
    length_mm: Values, ratio: Values, aftertouch_mm: Values, label: str = "Blow distance (mm)"
) -> None:
    refuse_below(label, length_mm, 0, above=True)
    refuse_below("Action ratio", ratio, 0, above=True)
    refuse_below("Aftertouch (mm)", aftertouch_mm, 0)


@dataclass(frozen=True)
class ActionGeometry:
    """The six distances that make the action ratio, measured with the action at half stroke.

    Attributes
    ----------
    arm_mm : balance pin to measuring point [mm].
    capstan_arm_mm : balance pin to the line of contact of the capstan [mm].
    heel_arm_mm : wippen centre to the contact of the capstan [mm].
    top_arm_mm : wippen centre to the contact under the knuckle, along the wippen [mm].
    knuckle_arm_mm : shank centre to the contact of the knuckle [mm].
    hammer_arm_mm : shank centre to the strike point [mm].
    """

    # From memory: a usual grand.
    arm_mm: float = 240.0
    capstan_arm_mm: float = 125.0
    heel_arm_mm: float = 64.0
    top_arm_mm: float = 93.0
    knuckle_arm_mm: float = 17.0
    hammer_arm_mm: float = 130.0

    def __post_init__(self) -> None:
        for name, label in (
            ("arm_mm", "Balance pin to measuring point (mm)"),
            ("capstan_arm_mm", "Balance pin to capstan (mm)"),
            ("heel_arm_mm", "Wippen centre to capstan (mm)"),
            ("top_arm_mm", "Wippen centre to knuckle (mm)"),
            ("knuckle_arm_mm", "Shank centre to knuckle (mm)"),
            ("hammer_arm_mm", "Shank centre to strike point (mm)"),
        ):
            refuse_below(label, getattr(self, name), 0, above=True)

    @property
    def key_ratio(self) -> float:
        """Capstan over arm."""
        return self.capstan_arm_mm / self.arm_mm

    @property
    def action_ratio(self) -> float:
        """Travel of the hammer for each unit of key travel, from the six distances.

        >>> round(ActionGeometry(200, 100, 60, 90, 18, 126).action_ratio, 3)
        5.25
        """
        wippen = self.top_arm_mm / self.heel_arm_mm
        return self.key_ratio * wippen * self.hammer_arm_mm / self.knuckle_arm_mm


@dataclass(frozen=True)
class LeverMove:
    """By how much one lever must move to reach a wanted ratio.

    Attributes
    ----------
    lever : "capstan" or "knuckle".
    move_mm : positive away from its pivot [mm].
    ratio_for_one_mm : change of the action ratio for the first mm away from the pivot.
    sentence : the same in words.
    """

    lever: str
    move_mm: float
    ratio_for_one_mm: float
    sentence: str


def lever_moves(
    geometry: ActionGeometry, *, action_ratio: float, wanted_ratio: float
) -> tuple[LeverMove, LeverMove]:
    """Return how far the capstan, or else the knuckle, must move for a wanted ratio.

    The ratio that was weighed and the one from a ruler never agree wholly, so only the
    proportion wanted / weighed is used. A capstan that moves towards the balance pin by d
    meets the wippen d further from the wippen's centre, so both levers change::

        (capstan - d) / (heel + d) = capstan / heel x wanted / weighed

    The heel must still cover the capstan there, and the jack must still meet a moved
    knuckle: look before anything is glued or bored.

    Parameters
    ----------
    geometry : distances from the user.
    action_ratio : as weighed.
    wanted_ratio : to be reached.

    Returns
    -------
    the move of the capstan, and that of the knuckle; each alone reaches the ratio.

    Raises
    ------
    BalancekitError : a ratio of 0 or below.

    >>> geometry = ActionGeometry(200, 100, 60, 90, 18, 126)
    >>> capstan, knuckle = lever_moves(geometry, action_ratio=5.25, wanted_ratio=5.0)
    >>> round(knuckle.move_mm, 3), round(capstan.move_mm, 3)
    (0.9, -1.84)
    """
    refuse_below("Action ratio", action_ratio, 0, above=True)
    refuse_below("Wanted action ratio", wanted_ratio, 0, above=True)
    part = wanted_ratio / action_ratio
    capstan, heel, knuckle = geometry.capstan_arm_mm, geometry.heel_arm_mm, geometry.knuckle_arm_mm
    lever_ratio = capstan / heel * part
    capstan_move = (lever_ratio * heel - capstan) / (1 + lever_ratio)
    capstan_slope = action_ratio * (1 / capstan + 1 / heel)
    knuckle_move = knuckle * (1 / part - 1)
    return (
        _move("capstan", capstan_move, capstan_slope, "balance pin"),
        _move("knuckle", knuckle_move, -action_ratio / knuckle, "shank centre"),
    )


def _move(lever: str, move_mm: float, slope: float, pivot: str) -> LeverMove:
    side = "away from" if move_mm > 0 else "towards"
    text = f"Move the {lever} {abs(move_mm):.1f} mm {side} the {pivot}"
    if abs(move_mm) < 0.05:
        text = f"Leave the {lever} where it is"
    return LeverMove(
        lever, move_mm, slope, f"{text}; 1 mm there changes the ratio by {abs(slope):.2f}."
    )
