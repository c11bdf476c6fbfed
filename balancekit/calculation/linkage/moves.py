"""By how much a capstan or a knuckle must move for a wanted action ratio."""

from __future__ import annotations

from dataclasses import dataclass

from balancekit.calculation.inertia import refuse_below
from balancekit.calculation.linkage.distances import ActionGeometry


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
