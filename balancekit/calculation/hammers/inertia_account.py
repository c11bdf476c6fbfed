"""The account of inertia at the finger, key by key, and the step to the next key."""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation.hammers.least_work import Numbers, per_key
from balancekit.calculation.inertia import (
    SHANK_MASS_G,
    WIPPEN_SHAPE,
    Values,
    hammer_inertia_g,
    refuse_below,
    wippen_inertia_g,
)
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.words import in_words

INERTIA_PARTS = ("hammer_inertia_g", "wippen_inertia_g", "stick_inertia_g", "lead_inertia_g")
"""The parts of the account, in the order in which they are stacked."""

NEEDED = ("strike_weight_g", "action_ratio", "wippen_weight_g", "key_ratio")
"""What the account reads from the table of keys."""

SHANK_MASS_U_G = 0.7
WIPPEN_SHAPE_U = 0.15
# Standard uncertainties of the two defaults, from memory.

WOOD_SCATTER = 0.1
# Density of wood of one kind scatters by about 10 %: USDA Forest Products Laboratory,
# Technical Note 218.

FELT_SHARE = 0.07
# Force discrimination about 7 % for 2.5 to 10 N: Pang, Tan and Durlach, Perception &
# Psychophysics 49 (1991). It was not measured on keys in play.


def inertia_account(
    table: pd.DataFrame,
    *,
    stick_inertia_g: Values,
    lead_inertia_g: Values = 0.0,
    shank_mass_g: float = SHANK_MASS_G,
    lead_inertia_u_g: Values = 0.0,
) -> pd.DataFrame:
    """Add up the inertia at the finger, part by part.

    For hammers after the work, give the same table with the planned ``strike_weight_g``
    and the planned leads.

    Parameters
    ----------
    table : indexed by key, with ``strike_weight_g, action_ratio, wippen_weight_g, key_ratio``
        and, as far as known, their standard uncertainties; see ``key_table``.
    stick_inertia_g, lead_inertia_g : inertia, a float or by key [g].
    shank_mass_g : see ``hammer_inertia_g``.
    lead_inertia_u_g : its standard uncertainty [g].

    Returns
    -------
    DataFrame by key: ``hammer_inertia_g, wippen_inertia_g, stick_inertia_g, lead_inertia_g,
    inertia_g, inertia_u_g, hammer_share, lead_share``. A missing reading gives a missing sum.

    Raises
    ------
    BalancekitError : a column is lacking, or a mass or ratio cannot be.

    Notes
    -----
    First order, the readings taken as independent. A ratio that was solved from the same
    strike weight falls where the strike weight rises; leaving that out makes the stated
    uncertainty a little too wide, never too narrow.

    References
    ----------
    JCGM 100:2008, 5.1.2.

    >>> row = pd.DataFrame(dict(strike_weight_g=10.0, action_ratio=5.0, wippen_weight_g=20.0,
    ...                         key_ratio=0.5), index=[40])
    >>> account = inertia_account(row, stick_inertia_g=15.0, shank_mass_g=3.0)
    >>> account[["hammer_inertia_g", "wippen_inertia_g", "inertia_g"]].values.tolist()
    [[237.5, 6.5, 259.0]]
    """
    lacking = [name for name in NEEDED if name not in table]
    if lacking:
        raise BalancekitError(
            [Problem("The column is not there.", "Weigh it first.", column=c) for c in lacking]
        )
    keys = table.index
    strike_g, ratio, wippen_g, key_ratio = (per_key(table[name], keys) for name in NEEDED)
    stick_g, lead_g = per_key(stick_inertia_g, keys), per_key(lead_inertia_g, keys)
    refuse_below("Inertia of the key stick (g)", stick_g, 0)
    hammer_g = hammer_inertia_g(
        strike_weight_g=strike_g, action_ratio=ratio, shank_mass_g=shank_mass_g
    )
    carried_g = wippen_inertia_g(wippen_weight_g=wippen_g, key_ratio=key_ratio, shape=WIPPEN_SHAPE)
    whole_g = hammer_g + carried_g + stick_g + lead_g
    contributions = (
        ratio**2 * _known_u(table, "strike_weight_u_g"),
        2 * hammer_g / ratio * _known_u(table, "action_ratio_u"),
        ratio**2 / 6 * (SHANK_MASS_U_G if shank_mass_g else 0.0),
        key_ratio**2 * WIPPEN_SHAPE * _known_u(table, "wippen_weight_u_g"),
        2 * wippen_g * key_ratio * WIPPEN_SHAPE * _known_u(table, "key_ratio_u"),
        wippen_g * key_ratio**2 * WIPPEN_SHAPE_U,
        WOOD_SCATTER * stick_g,
        per_key(lead_inertia_u_g, keys),
    )
    return pd.DataFrame(
        {
            **dict(zip(INERTIA_PARTS, (hammer_g, carried_g, stick_g, lead_g), strict=True)),
            "inertia_g": whole_g,
            "inertia_u_g": np.sqrt(sum(part**2 for part in contributions)),
            "hammer_share": hammer_g / whole_g,
            "lead_share": lead_g / whole_g,
        },
        index=keys,
    )


def _known_u(table: pd.DataFrame, name: str) -> Numbers:
    """Return a column of uncertainties; 0 where the table states none."""
    return per_key(table.get(name, 0.0), table.index)


def felt_steps(inertia_g: pd.Series, *, felt_share: float = FELT_SHARE) -> pd.DataFrame:
    """Compare each key's inertia with that of the key to its left.

    In a loud blow nearly all of the force goes into inertia, so a step of 7 % in inertia
    is a step of about 7 % in force. That is about what people tell apart in forces of
    2.5 to 10 N held in the hand; nobody measured it on keys in play.

    Parameters
    ----------
    inertia_g : inertia by key, in order [g].
    felt_share : the step that a person probably begins to feel, as a share of the inertia.

    Returns
    -------
    DataFrame by key: ``step_g`` (this key less the one to its left), ``step_share`` (of the
    mean of the two) and ``felt``: "may be felt", "probably not felt", or "not known".

    Raises
    ------
    BalancekitError : a share of 0 or below.

    References
    ----------
    Pang, Tan and Durlach, Manual discrimination of force using active finger motion,
    Perception & Psychophysics 49 (1991) 531.

    >>> steps = felt_steps(pd.Series([300.0, 306.0, 340.0], index=[1, 2, 3]))
    >>> steps["felt"].tolist()
    ['not known', 'probably not felt', 'may be felt']
    """
    refuse_below("Share that may be felt", felt_share, 0, above=True)
    step_g = inertia_g.astype(float).diff()
    share = step_g / inertia_g.rolling(2).mean()
    felt = np.select(
        [share.isna(), share.abs() >= felt_share],
        ["not known", "may be felt"],
        default="probably not felt",
    )
    return pd.DataFrame({"step_g": step_g, "step_share": share, "felt": felt})


def steps_sentence(steps: pd.DataFrame) -> str:
    """Say in words where the inertia steps from key to key may be felt.

    >>> steps_sentence(felt_steps(pd.Series([300.0, 306.0, 340.0], index=[1, 2, 3])))
    'Between key 2 and key 3 the step may be felt. A step below about 7 % is probably not felt.'
    """
    known = f"A step below about {100 * FELT_SHARE:.0f} % is probably not felt."
    keys = [int(key) for key in steps.index[steps["felt"] == "may be felt"]]
    if not keys:
        return (
            f"No step from key to key is above about {100 * FELT_SHARE:.0f} %. "
            "A smaller one is probably not felt."
        )
    if len(keys) == 1:
        return f"Between key {keys[0] - 1} and key {keys[0]} the step may be felt. {known}"
    return f"The step from the key to the left may be felt at {in_words(keys)}. {known}"
