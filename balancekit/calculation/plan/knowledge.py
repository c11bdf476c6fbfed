"""What a plan cannot know: the limit below which more work cannot be told, and the chances.

What is left uneven is later seen only through weighing. A mean square of ``n`` keys that each
scatter with the variance ``v`` is known to about ``v sqrt(2 / n)`` (variance of a chi-square).
Where the mean square of a way is above that of the most work by less than twice that, a second
weighing of every key that may cry wolf at most once in twenty tells the two apart on at most
every second piano: the critical value of ISO 11843-1, from memory. ``plan_technicians`` among the
benchmarks counts both. The least work below that limit is where a plan starts from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from balancekit.calculation.plan.front import Front, Way
from balancekit.calculation.plan.piano import Floats
from balancekit.calculation.plan.treatments import Treatments

TELLING = 2.0
# Our own choice: two standard errors; a chi-square of some 88 keys is beyond them on 3 of 100.

TOLERANCE_G = 2.0
# Probably not felt below about 2 g: lifted weights of 50 g, force discrimination; Pang, Tan and
# Durlach, Perception & Psychophysics 49 (1991) 531. None was measured on keys in play.

MOST_KEYS_SHARE = 0.95

_DRAWS, _SEED = 1000, 20_261
# Our own choice: a chance is then known to 1.6 of 100 at worst.


def limit_g(front: Front, later_u_g: float = 0.5) -> float:
    """Return what may be left uneven so that no later weighing can tell it from the least.

    Parameters
    ----------
    front : the ways.
    later_u_g : standard uncertainty of a later balance weight [g].

    Returns
    -------
    root mean square over the keys, to be held against ``Front.uneven_g`` [g].

    >>> from types import SimpleNamespace
    >>> piano = SimpleNamespace(count=50, known_u_g=np.zeros(50))
    >>> made = SimpleNamespace(treatments=SimpleNamespace(piano=piano),
    ...                        uneven_g=np.array([2.0, 0.0]))
    >>> round(limit_g(made, later_u_g=1.0) ** 2, 3)  # 2 x 1 x sqrt(2 / 50)
    0.4
    """
    piano = front.treatments.piano
    known = float(np.mean(piano.known_u_g**2))
    least = float(front.uneven_g[-1]) ** 2
    scatter = least + known + later_u_g**2
    return float(np.sqrt(least + TELLING * scatter * np.sqrt(2.0 / piano.count)))


def default_way(front: Front, later_u_g: float = 0.5) -> int:
    """Return the number of the shortest way that cannot be told from the longest.

    Parameters
    ----------
    front, later_u_g : as for ``limit_g``.
    """
    return int(np.flatnonzero(front.uneven_g <= limit_g(front, later_u_g) + 1e-12)[0])


@dataclass(frozen=True)
class Chances:
    """How sure a way is.

    Attributes
    ----------
    every_percent : chance that every key ends within the tolerance.
    most_percent : chance that at least 95 of 100 keys do.
    keys_percent : mean share of keys that do.
    """

    every_percent: float
    most_percent: float
    keys_percent: float


def chances(
    treatments: Treatments,
    way: Way,
    draws: Mapping[str, Floats],
    tolerance_g: float = TOLERANCE_G,
    seed: int = _SEED,
) -> Chances:
    """Return the chances that the balance weights end on their line within a tolerance.

    What was weighed, what is believed of it, and the hand that does the work all enter.

    Parameters
    ----------
    treatments, way : from ``find_front``.
    draws : joint draws of the true values, each of shape (draws, keys); see
        ``Believed.draws``.
    tolerance_g : to both sides [g].
    seed : of the hand's errors.
    """
    after = balance_after(treatments, way, draws, seed)
    off = np.abs(after - wanted_line(treatments, way)) <= tolerance_g
    share = off.mean(axis=1)
    return Chances(
        100.0 * float(off.all(axis=1).mean()),
        100.0 * float((share >= MOST_KEYS_SHARE).mean()),
        100.0 * float(share.mean()),
    )


def wanted_line(treatments: Treatments, way: Way) -> Floats:
    """Return the wanted balance weight of each key [g]."""
    return way.decision.line(treatments.piano.places)


def balance_after(
    treatments: Treatments, way: Way, draws: Mapping[str, Floats], seed: int = _SEED
) -> Floats:
    """Return the balance weight after the work in every draw, shape (draws, keys) [g].

    A hammer or a lead that is worked on ends at its planned weight, with the hand's error; what
    is left alone stays as it truly is.
    """
    piano = treatments.piano
    own = way.chosen[: piano.count]
    count = draws["balance_weight_g"].shape[0]
    hand = np.random.default_rng(seed)

    def error(u_g: float) -> Floats:
        return hand.normal(0.0, u_g, (count, piano.count))

    strike, front, relief = (
        values[own] for values in (treatments.strike_g, treatments.front_g, treatments.relief_g)
    )
    strike_after = np.where(
        strike != 0,
        piano.strike_weight_g + strike + error(piano.hand_hammer_g),
        draws["strike_weight_g"],
    )
    front_after = np.where(
        front != 0,
        piano.front_weight_g + front + error(piano.hand_lead_g),
        draws["front_weight_g"],
    )
    relief_after = draws["spring_relief_g"] + np.where(
        relief != 0, relief + error(piano.hand_spring_g), 0.0
    )
    part, key_part = np.ones(piano.count), np.ones(piano.count)
    for number in way.decision.shifts:
        rows = list(piano.shifts[number].rows)
        part[rows] *= piano.shifts[number].ratio_part
        key_part[rows] *= piano.shifts[number].key_ratio_part
    return np.asarray(
        draws["wippen_weight_g"] * draws["key_ratio"] * key_part
        + strike_after * draws["action_ratio"] * part
        - front_after
        - relief_after
    )
