"""Soft and loud: what the finger works against, statics or inertia.

The finger carries the balance weight and the friction at every loudness. To throw the
hammer it must also set all the parts going. The faster the hammer, the more of the
force is inertia; so a key can be even on the scale and uneven under the hands.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from balancekit.calculation.inertia import GRAVITY_M_S2, Values, refuse_below

HAMMER_VELOCITIES_M_S: Mapping[str, float] = {"soft": 1.0, "middle": 2.5, "loud": 5.0}
# Askenfelt and Jansson in Five Lectures on the Acoustics of the Piano, Royal Swedish
# Academy of Music 64 (1990): about 1 m/s at piano and 5 m/s at forte, second-hand; the
# middle value is our own choice between them.

PRESSED_TIME_MS, PRESSED_POWER = 98.57, -0.7147
# Goebl, Bresin and Galembo, J. Acoust. Soc. Am. 118(2) (2005) 1154: a pressed key of one
# grand, time from the start of the key to the string, hammer velocity in m/s; second-hand.


def press_time_ms(*, hammer_velocity_m_s: Values, blow_distance_mm: Values) -> Values:
    """Return the time from the start of the key to the string, at constant acceleration [ms].

    The hammer covers the blow distance with half of its last velocity: 2 x blow / v.

    Parameters
    ----------
    hammer_velocity_m_s : at the string [m/s].
    blow_distance_mm : hammer to string [mm].

    Raises
    ------
    BalancekitError : a velocity or a distance of 0 or below.

    >>> press_time_ms(hammer_velocity_m_s=1.0, blow_distance_mm=47.0)
    94.0
    """
    refuse_below("Hammer velocity (m/s)", hammer_velocity_m_s, 0, above=True)
    refuse_below("Blow distance (mm)", blow_distance_mm, 0, above=True)
    return 2 * blow_distance_mm / hammer_velocity_m_s


def published_press_time_ms(hammer_velocity_m_s: Values) -> Values:
    """Return the time that a pressed key of one grand was measured to take [ms].

    Raises
    ------
    BalancekitError : a velocity of 0 or below.

    References
    ----------
    Goebl, Bresin and Galembo, J. Acoust. Soc. Am. 118(2) (2005) 1154.

    >>> published_press_time_ms(1.0)
    98.57
    """
    refuse_below("Hammer velocity (m/s)", hammer_velocity_m_s, 0, above=True)
    return PRESSED_TIME_MS * hammer_velocity_m_s**PRESSED_POWER


def blow(
    *,
    balance_weight_g: Values,
    friction_g: Values,
    inertia_g: Values,
    action_ratio: Values,
    blow_distance_mm: Values,
    hammer_velocity_m_s: Values,
) -> pd.DataFrame:
    """Return force and work of one blow, statics and inertia apart.

    The key is taken to be accelerated evenly over the dip that the blow needs,
    s = blow / ratio, up to v / ratio, and all parts to be stiff::

        static force = (balance weight + friction) x g
        inertia force = inertia x (v / ratio)^2 / (2 s)
        work = force x s

    Parameters
    ----------
    balance_weight_g, friction_g : at the measuring point [g].
    inertia_g : inertia at the finger [g].
    action_ratio : action ratio.
    blow_distance_mm : hammer to string [mm].
    hammer_velocity_m_s : at the string [m/s]. All of one shape, or floats.

    Returns
    -------
    DataFrame: ``travel_mm`` (s), ``key_velocity_m_s`` (the last), ``static_n, inertia_n,
    force_n, static_mj, inertia_mj, work_mj, inertia_share, press_time_ms``.

    Raises
    ------
    BalancekitError : a negative weight, or a ratio, distance or velocity of 0 or below.

    Notes
    -----
    Parts bend and felt gives way, so a loud blow takes longer than this and its force is not
    even. Damper, let-off and what the finger itself weighs are left out.

    >>> one = blow(balance_weight_g=38.0, friction_g=12.0, inertia_g=400.0, action_ratio=5.0,
    ...            blow_distance_mm=50.0, hammer_velocity_m_s=5.0)
    >>> one[["travel_mm", "key_velocity_m_s", "inertia_n", "inertia_mj"]].values.tolist()
    [[10.0, 1.0, 20.0, 200.0]]
    """
    refuse_below("Friction (g)", friction_g, 0)
    refuse_below("Inertia at the finger (g)", inertia_g, 0, above=True)
    refuse_below("Action ratio", action_ratio, 0, above=True)
    time_ms = press_time_ms(
        hammer_velocity_m_s=hammer_velocity_m_s, blow_distance_mm=blow_distance_mm
    )
    travel_mm = blow_distance_mm / action_ratio
    key_velocity = hammer_velocity_m_s / action_ratio
    # g -> kg and mm -> m: grams times m/s2 over 1000 are newtons; newtons times mm are mJ.
    static_n = (balance_weight_g + friction_g) * GRAVITY_M_S2 / 1000
    inertia_mj = inertia_g * key_velocity**2 / 2
    columns = {
        "travel_mm": travel_mm,
        "key_velocity_m_s": key_velocity,
        "static_n": static_n,
        "inertia_n": inertia_mj / travel_mm,
        "force_n": static_n + inertia_mj / travel_mm,
        "static_mj": static_n * travel_mm,
        "inertia_mj": inertia_mj,
        "work_mj": static_n * travel_mm + inertia_mj,
        "inertia_share": inertia_mj / (static_n * travel_mm + inertia_mj),
        "press_time_ms": time_ms,
    }
    indexes = [value.index for value in columns.values() if isinstance(value, pd.Series)]
    if indexes:
        return pd.DataFrame(columns, index=indexes[0])
    return pd.DataFrame({name: np.atleast_1d(value) for name, value in columns.items()})


def blows(
    *,
    balance_weight_g: float,
    friction_g: float,
    inertia_g: float,
    action_ratio: float,
    blow_distance_mm: float,
    hammer_velocities_m_s: Mapping[str, float] = HAMMER_VELOCITIES_M_S,
) -> pd.DataFrame:
    """Return force and work of a soft, a middle and a loud blow of one key; see ``blow``.

    Returns
    -------
    DataFrame indexed by ``loudness``, with ``hammer_velocity_m_s`` and the columns of ``blow``.

    Raises
    ------
    BalancekitError : see ``blow``.

    >>> blows(balance_weight_g=38.0, friction_g=12.0, inertia_g=370.0, action_ratio=5.5,
    ...       blow_distance_mm=46.0)["inertia_share"].round(2).tolist()
    [0.6, 0.9, 0.97]
    """
    velocities = pd.Series(hammer_velocities_m_s, name="hammer_velocity_m_s", dtype=float)
    table = blow(
        balance_weight_g=balance_weight_g,
        friction_g=friction_g,
        inertia_g=inertia_g,
        action_ratio=action_ratio,
        blow_distance_mm=blow_distance_mm,
        hammer_velocity_m_s=velocities,
    )
    table.insert(0, "hammer_velocity_m_s", velocities)
    return table.rename_axis("loudness")
