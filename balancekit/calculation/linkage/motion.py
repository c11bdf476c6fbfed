"""How long a key takes under a weight, and what a ruler reads of its hammer."""

from __future__ import annotations

import numpy as np

from balancekit.calculation.inertia import GRAVITY_M_S2, Values
from balancekit.calculation.linkage.distances import USUAL_GEOMETRY, fit_distances
from balancekit.calculation.linkage.loads import Loads, held_g, inertia_g
from balancekit.calculation.linkage.positions import Linkage
from balancekit.calculation.problems import refuse

LEAST_EXCESS_G = 0.25
# Our own choice: a key whose weight is exactly enough moves as if this much were left over.

_PLACES, _STEPS, _CLOSE = 41, 40, 1e-9


def move_seconds(
    linkage: Linkage, loads: Loads, weight_g: float, from_mm: float, to_mm: float
) -> float:
    """Return how long a key takes from one travel to another under a weight [s].

    Energy: what weight and levers give along the way, less friction, is inertia x speed^2 / 2.
    Where less than ``LEAST_EXCESS_G`` is left over, so much is taken.

    Parameters
    ----------
    weight_g : on the measuring point [g].
    from_mm, to_mm : key travel, from rest [mm]; the key sinks if the second is larger.

    >>> level = Loads(strike_weight_g=0.0, wippen_weight_g=0.0, front_weight_g=0.0)
    >>> 0.05 < move_seconds(Linkage(), level, 50.0, 0.0, 7.6) < 0.2
    True
    """
    if from_mm == to_mm:
        return 0.0
    way = 1 if to_mm > from_mm else -1
    # Places crowd at the start, where the key is slow.
    part = np.linspace(0.0, 1.0, _PLACES) ** 2
    travel = from_mm + (to_mm - from_mm) * part
    at = linkage.at(travel)
    excess = np.maximum(way * (weight_g - held_g(linkage, loads, at, way)), LEAST_EXCESS_G)
    moved = inertia_g(linkage, loads, at) + weight_g
    gone = np.abs(travel - from_mm)
    work = np.concatenate([[0.0], np.cumsum((excess[1:] + excess[:-1]) / 2 * np.diff(gone))])
    # g and mm: grams x 9.80665 m/s2 / grams x mm / 1000 = m2/s2.
    speed = np.sqrt(2 * GRAVITY_M_S2 * 1000 * work / moved)
    # From one place to the next at even acceleration.
    return float(np.sum(2 * np.diff(gone) / (speed[1:] + speed[:-1])))


def hammer_speed_m_s(linkage: Linkage, loads: Loads, work_mj: float) -> float:
    """Return how fast the hammer is at let-off when a finger does so much work on the key [m/s].

    Energy: work, less what lifts the parts and rubs along the stroke, is inertia x speed^2 / 2.
    All parts are taken as stiff. 0 where the work does not bring the key down.

    Parameters
    ----------
    work_mj : of the finger from rest to let-off [mJ].

    >>> hammer_speed_m_s(Linkage(), Loads(), 0.0)
    0.0
    """
    at = linkage.along(_PLACES)
    held_mj = float(np.trapezoid(held_g(linkage, loads, at, 1), at.travel_mm)) * GRAVITY_M_S2 / 1000
    left_mj = work_mj - held_mj
    if left_mj <= 0:
        return 0.0
    moved_g = float(inertia_g(linkage, loads, at)[-1])
    # mJ / g = m2/s2.
    return float(linkage.action_ratio(at)[-1]) * float(np.sqrt(2 * left_mj / moved_g))


def rise_mm(linkage: Linkage, travel_mm: Values) -> Values:
    """Return how far the strike point has come straight up when the key is so far down [mm].

    >>> round(float(rise_mm(Linkage(), 5.0)), 3)
    29.884
    """
    at = linkage.put(linkage.turn_from_rest(np.asarray(travel_mm, dtype=float)))
    return linkage.strike_height_mm(at)


def ratio_from_rise(
    rise_share: Values,
    *,
    travel_mm: Values,
    key_ratio: Values = USUAL_GEOMETRY.key_ratio,
    arm_mm: Values = USUAL_GEOMETRY.arm_mm,
    blow_distance_mm: Values = 46.0,
) -> Values:
    """Return the action ratio at half stroke from a rise that a ruler read over a part of it.

    The ruler reads the mean over its stroke, straight up; the balance equation wants the ratio
    where all levers are level. The levers of a usual grand say how far the two differ.

    Parameters
    ----------
    rise_share : rise of the strike point / travel of the key, both from rest.
    travel_mm : of the measuring point [mm].
    key_ratio, arm_mm, blow_distance_mm : of the key; floats, or arrays of one shape.

    Raises
    ------
    BalancekitError : no such levers come to this rise.

    >>> [float(round(ratio_from_rise(5.5, travel_mm=travel), 2)) for travel in (4.0, 7.6)]
    [5.25, 5.46]
    """
    wanted = np.asarray(rise_share, dtype=float)
    ratio = wanted
    for _ in range(_STEPS):
        distances = fit_distances(np.asarray(key_ratio, dtype=float), ratio, arm_mm=arm_mm)
        part = wanted * travel_mm / rise_mm(Linkage(distances, blow_distance_mm), travel_mm)
        ratio = ratio * part
        if np.all((np.abs(part - 1) < _CLOSE) | np.isnan(part)):
            return ratio
    raise refuse("No levers come to such a rise.", "Read rise and dip again, short of let-off.")
