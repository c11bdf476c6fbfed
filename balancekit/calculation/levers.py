"""What a changed action ratio does to dip and blow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from balancekit.calculation.inertia import Values, refuse_below
from balancekit.calculation.problems import refuse
from balancekit.calculation.quantities import QUANTITIES


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
    if np.any(key_dip_mm - aftertouch_mm <= 0):
        raise refuse(
            "The aftertouch is as large as the key dip.",
            "Give a smaller aftertouch; about 1 mm is usual.",
        )
    return (key_dip_mm - aftertouch_mm) * action_ratio


@dataclass(frozen=True)
class Regulation:
    """Key dip and blow distance that belong to a moved lever [mm]."""

    key_dip_mm: float
    blow_distance_mm: float


def regulation_after(
    ratio_part: float, *, key_dip_mm: float, blow_distance_mm: float, aftertouch_mm: float
) -> Regulation | None:
    """Return dip and blow after the action ratio has changed; None where neither stays usable.

    The ratio from a ruler and the weighed one never agree wholly, so only the proportion is
    used: ``(dip - aftertouch) x ratio_part`` belongs to a blow as it did before. The blow stays
    where the dip can give way within its usual limits; else the dip goes as far as it may, and
    the blow gives way. What is beyond the usual limits as found may stay there.

    Parameters
    ----------
    ratio_part : action ratio after over before.
    key_dip_mm, blow_distance_mm, aftertouch_mm : as found [mm].

    Raises
    ------
    BalancekitError : a length or a ratio of 0 or below, or an aftertouch as large as the dip.

    >>> regulation_after(0.92, key_dip_mm=10.0, blow_distance_mm=46.0, aftertouch_mm=1.0)
    Regulation(key_dip_mm=10.5, blow_distance_mm=44.67)
    >>> regulation_after(0.9, key_dip_mm=10.0, blow_distance_mm=46.0, aftertouch_mm=1.0)
    """
    find_blow_distance_mm(
        key_dip_mm=key_dip_mm, action_ratio=ratio_part, aftertouch_mm=aftertouch_mm
    )
    (low, high), (least, most) = (
        (min(float(limits.usual_low or 0), found), max(float(limits.usual_high or 0), found))
        for limits, found in (
            (QUANTITIES["key_dip_mm"], key_dip_mm),
            (QUANTITIES["blow_distance_mm"], blow_distance_mm),
        )
    )
    throw = blow_distance_mm / (key_dip_mm - aftertouch_mm) * ratio_part
    wanted = blow_distance_mm / throw + aftertouch_mm
    held = min(max(wanted, low), high)
    after = Regulation(round(held, 2), round((held - aftertouch_mm) * throw, 2))
    return after if least <= after.blow_distance_mm <= most else None


def _check_regulation(
    length_mm: Values, ratio: Values, aftertouch_mm: Values, label: str = "Blow distance (mm)"
) -> None:
    refuse_below(label, length_mm, 0, above=True)
    refuse_below("Action ratio", ratio, 0, above=True)
    refuse_below("Aftertouch (mm)", aftertouch_mm, 0)
