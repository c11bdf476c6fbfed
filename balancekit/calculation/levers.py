"""What a changed action ratio does to dip and blow."""

from __future__ import annotations

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
