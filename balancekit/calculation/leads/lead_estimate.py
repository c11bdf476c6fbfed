"""Lead in keys whose plugs nobody recorded, from their front weight and the bare stick.

A key with no record is unknown, never empty. What its front weight has beyond that of the bare
key comes from lead. That is good enough for inertia, with its uncertainty; it is no ground to
bore or to take out anything. Look into the key first.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation.leads.bare_key import bare_front_weight_g
from balancekit.calculation.problems import refuse

BARE_U_G = 6.0
# From memory: covering, capstan, back check and the wood's density, none of them weighed, shift
# the front weight of the bare keys of one piano by about this much, and scatter by half of it.

PLUG_PLACE = 0.6
PLUG_PLACE_U = 0.12
# From memory: plugs sit at about six tenths of the arm; two thirds of keys within these limits.

_REGION, _FADING_KEYS = 0.5, 22.0
# Our own choices: half of what differs from piano to piano differs along the keyboard as well, as
# plugs sit elsewhere in the treble than in the bass; it fades over a quarter of the keyboard.

_WORTH = 4.0
# Our own choice: the value from memory weighs as much as so many recorded keys.


def estimate_lead(
    front_weight_g: pd.Series,
    front_weight_u_g: pd.Series,
    sticks: pd.DataFrame,
    recorded: pd.DataFrame,
) -> pd.DataFrame:
    """Return the lead in each key: counted where it was recorded, estimated elsewhere.

    The bare sticks of recorded keys (front weight less what their lead presses) say how far the
    key by its parts is off, and how much that scatters; see ``bare_key``. The farther a key is
    from them, the less they tell of it.

    Parameters
    ----------
    front_weight_g, front_weight_u_g : by key, with its standard uncertainty [g].
    sticks : table of key sticks; see ``key_stick.usual_sticks``.
    recorded : by recorded key: ``lead_g`` [g], ``lead_front_weight_g`` [g, negative where the
        lead behind the pin outweighs] and ``lead_inertia_g`` [g]; zeros for a key without lead.

    Returns
    -------
    DataFrame by key: ``lead_g``, ``lead_front_weight_g``, ``lead_inertia_g``, each with its
        ``_u_g``, ``lead_shared_u_g``, the part of ``lead_u_g`` that all estimated keys have in
        common, ``bare_front_weight_g`` and ``estimated``, True where nothing was recorded.

    Raises
    ------
    BalancekitError : a recorded key that is not on the keyboard.

    References
    ----------
    JCGM 100:2008, 4.2 and 5.1.2 (scatter and first order propagation).

    >>> stick = pd.DataFrame({"arm_mm": 240.0, "front_edge_mm": 13.0, "stick_length_mm": 506.0,
    ...                       "stick_height_mm": 25.0, "stick_width_mm": 13.0,
    ...                       "wood_density_g_cm3": 0.4, "capstan_mm": -120.0,
    ...                       "covering_g": 0.0, "covering_mm": 60.0, "capstan_g": 0.0,
    ...                       "back_check_g": 0.0, "back_check_mm": 15.0}, index=[1])
    >>> none = pd.DataFrame(columns=["lead_g", "lead_front_weight_g", "lead_inertia_g"])
    >>> found = estimate_lead(pd.Series(30.0, [1]), pd.Series(0.3, [1]), stick, none)
    >>> found[["lead_g", "lead_front_weight_g", "lead_inertia_g"]].round(2).values.tolist()
    [[50.0, 30.0, 18.0]]
    """
    keys = front_weight_g.index
    stray = recorded.index.difference(keys)
    if len(stray):
        raise refuse(f"Key {stray[0]} is not on the keyboard.", f"Keys are 1 to {len(keys)}.")
    wood = bare_front_weight_g(sticks).reindex(keys)
    known = recorded.reindex(keys)
    off = (front_weight_g - known["lead_front_weight_g"].astype(float) - wood).dropna()
    shift, shift_u, scatter = _learnt(off, keys, 0.0, BARE_U_G)
    place, place_shared_u, place_scatter = _learnt(
        _places(recorded), keys, PLUG_PLACE, PLUG_PLACE_U
    )
    bare_u, place_u = np.hypot(shift_u, scatter), np.hypot(place_shared_u, place_scatter)
    pressed = front_weight_g - wood - shift
    pressed_u = np.hypot(front_weight_u_g.fillna(0.0), bare_u)
    inertia_u = np.hypot(place * pressed_u, pressed * place_u)
    mass_u = np.hypot(pressed_u / place, pressed * place_u / place**2)
    shared_u = np.hypot(shift_u / place, pressed * place_shared_u / place**2)
    out = pd.DataFrame(
        {
            "lead_g": pressed.abs() / place, "lead_u_g": mass_u, "lead_shared_u_g": shared_u,
            "lead_front_weight_g": pressed, "lead_front_weight_u_g": pressed_u,
            "lead_inertia_g": pressed.abs() * place, "lead_inertia_u_g": inertia_u,
        }
    )  # fmt: skip
    seen = keys.isin(recorded.index)
    for name in ("lead_g", "lead_front_weight_g", "lead_inertia_g"):
        out.loc[seen, name] = known.loc[seen, name].astype(float)
        out.loc[seen, name.replace("_g", "_u_g")] = 0.0
    out["bare_front_weight_g"] = front_weight_g - out["lead_front_weight_g"]
    out["estimated"] = ~seen
    return out


def _learnt(
    values: pd.Series, keys: pd.Index, usual: float, usual_u: float
) -> tuple[pd.Series, pd.Series, float]:
    """Return the middle at every key, its uncertainty, and the scatter of one key about it.

    What is from memory counts as a few values, so that two keys alone claim nothing. Keys are the
    less alike the farther they are apart.

    References
    ----------
    Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 2.2.
    """
    if values.empty:
        return pd.Series(usual, keys), pd.Series(usual_u, keys), usual_u / 2
    count = len(values)
    squares = float(((values - values.mean()) ** 2).sum()) + _WORTH * (usual_u / 2) ** 2
    scatter = (squares / (_WORTH + count - 1.0)) ** 0.5
    at, everywhere = (index.to_numpy(dtype=float) for index in (values.index, keys))
    region = _REGION * usual_u

    def alike(one: np.ndarray) -> np.ndarray:
        apart = np.abs(at[:, None] - one)
        return np.asarray(usual_u**2 + region**2 * np.exp(-apart / _FADING_KEYS))

    gain = np.linalg.solve(alike(at) + scatter**2 * np.eye(count), alike(everywhere))
    middle = usual + (values.to_numpy(dtype=float) - usual) @ gain
    left = usual_u**2 + region**2 - (gain * alike(everywhere)).sum(axis=0)
    return pd.Series(middle, keys), pd.Series(np.sqrt(left.clip(min=0.0)), keys), scatter


def _places(recorded: pd.DataFrame) -> pd.Series:
    """Return where the lead of each recorded key sits, as a part of the arm."""
    lead = recorded[recorded["lead_front_weight_g"].astype(float) > 0].astype(float)
    return lead["lead_inertia_g"] / lead["lead_front_weight_g"]
