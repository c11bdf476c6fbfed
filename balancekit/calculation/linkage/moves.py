"""What a moved capstan or knuckle does, and by how much one must move for a wanted ratio."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from balancekit.calculation.inertia import Values, refuse_below
from balancekit.calculation.linkage.distances import (
    LEAST_HEEL_MM,
    USUAL_GEOMETRY,
    ActionGeometry,
    fit_distances,
)


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


def with_moved_capstan(
    *,
    key_ratio: Values,
    action_ratio: Values,
    wippen_weight_g: Values,
    move_mm: Values,
    arm_mm: Values = USUAL_GEOMETRY.arm_mm,
) -> dict[str, Values]:
    """Return what is weighed of a key once its capstan stands elsewhere on a usual grand's rails.

    Both ratios as the levers then are, and the wippen weighed where the capstan now meets it: its
    moment about its own centre stays.

    Parameters
    ----------
    key_ratio, action_ratio, wippen_weight_g : as weighed before [g].
    move_mm : of the capstan, positive away from the balance pin [mm].
    arm_mm : balance pin to measuring point [mm].

    Raises
    ------
    BalancekitError : the capstan would not meet the wippen.

    >>> moved = with_moved_capstan(
    ...     key_ratio=0.5, action_ratio=5.5, wippen_weight_g=18.0, move_mm=3.0)
    >>> {name: round(each, 3) for name, each in moved.items()}  # 123/120 and 69/66
    {'key_ratio': 0.512, 'action_ratio': 5.894, 'wippen_weight_g': 18.818}
    """
    before = fit_distances(key_ratio, action_ratio, arm_mm=arm_mm)
    after = before.with_capstan(before.capstan_arm_mm + move_mm)
    return {
        "key_ratio": after.key_ratio,
        "action_ratio": after.action_ratio,
        "wippen_weight_g": wippen_weight_g * before.heel_arm_mm / after.heel_arm_mm,
    }


def capstan_shifts(
    *,
    key_ratio: Values,
    action_ratio: Values,
    wippen_weight_g: Values,
    capstan_for_heel: Values | None = None,
) -> dict[str, Values]:
    """Return what a moved capstan shifts, for a shift of 1 in the key ratio.

    Moved away from the pin by d, the capstan's arm c is longer by d, the heel's arm h shorter by
    d, and the moment of the wippen about its centre stays. With the arm a, for small d::

        key ratio      c / a            grows by  d / a
        action ratio   as c / h does    grows by  ratio x (1 / c + 1 / h) d
        wippen weight  as 1 / h does    grows by  weight / h x d

    So for one of key ratio the action ratio is shifted by action ratio / key ratio x (1 + c / h),
    and the wippen weight by wippen weight / key ratio x c / h. In a usual grand that is 31, and
    63 g; with a heel of 60 mm in place of 69 it is 34, and 72 g.

    Parameters
    ----------
    key_ratio, action_ratio, wippen_weight_g : as weighed [g].
    capstan_for_heel : c / h; that of a usual grand's rails if left out (from memory, no source).

    Returns
    -------
    by quantity of the register.

    >>> shifts = capstan_shifts(
    ...     key_ratio=0.5, action_ratio=5, wippen_weight_g=18, capstan_for_heel=2)
    >>> shifts  # 5 / 0.5 x 3, 18 / 0.5 x 2
    {'key_ratio': 1.0, 'action_ratio': 30.0, 'wippen_weight_g': 72.0}
    """
    if capstan_for_heel is None:
        usual, capstan = USUAL_GEOMETRY, key_ratio * USUAL_GEOMETRY.arm_mm
        heel = np.maximum(usual.heel_arm_mm + usual.capstan_arm_mm - capstan, LEAST_HEEL_MM)
        capstan_for_heel = capstan / heel
    return {
        "key_ratio": 1.0,
        "action_ratio": action_ratio / key_ratio * (1 + capstan_for_heel),
        "wippen_weight_g": wippen_weight_g / key_ratio * capstan_for_heel,
    }


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
