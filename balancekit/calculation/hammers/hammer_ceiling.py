"""The heaviest hammer that the leverage can carry, and the ways out when it is too light.

With the wanted balance weight and the highest front weight allowed, the balance equation
leaves room for one strike weight and no more: the ceiling.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from balancekit.calculation.balance import TERMS, solve_for_strike_weight, uncertainty_of
from balancekit.calculation.hammers.least_work import Numbers, per_key
from balancekit.calculation.inertia import Values, refuse_below
from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.words import in_words

SURE = 2.0
# JCGM 100:2008, G.1.3: two standard uncertainties to each side hold about 95 %.

_WEIGHED = ("wippen_weight_g", "key_ratio", "action_ratio", "spring_relief_g")


def front_weight_by_lead_share(
    *,
    lead_share: Values,
    other_inertia_g: Values,
    plug_distance_mm: Values,
    arm_mm: Values,
    bare_front_weight_g: Values = 0.0,
) -> Values:
    """Return the highest front weight at which lead stays a small part of the inertia [g].

    Lead of mass m at distance x gives m x / a of front weight and m x^2 / a^2 of inertia,
    so each gram of front weight from lead costs x / a grams of inertia. If lead may have
    the share p of the whole inertia, and all else has the inertia J::

        lead's inertia <= J p / (1 - p)
        front weight <= bare front weight + J p / (1 - p) x a / x

    J is that of the hammers that are there: a heavier hammer does not earn more lead.

    Parameters
    ----------
    lead_share : highest share of lead in the inertia at the finger, above 0 and below 1.
    other_inertia_g : inertia of hammer, wippen and stick [g].
    plug_distance_mm : balance pin to the middle of the plugs [mm].
    arm_mm : balance pin to measuring point [mm].
    bare_front_weight_g : front weight of the key without lead; may be negative [g].

    Raises
    ------
    BalancekitError : a share outside 0 to 1, a distance or an inertia of 0 or below.

    >>> round(front_weight_by_lead_share(lead_share=0.1, other_inertia_g=270.0,
    ...     plug_distance_mm=150.0, arm_mm=200.0, bare_front_weight_g=-5.0), 6)
    35.0
    """
    refuse_below("Lead's share of the inertia", lead_share, 0, above=True)
    if np.any(np.asarray(lead_share, dtype=float) >= 1):
        raise refuse("Lead's share of the inertia is 1 or more.", "Give a part, for example 0.08.")
    refuse_below("Inertia of the other parts (g)", other_inertia_g, 0, above=True)
    refuse_below("Balance pin to plugs (mm)", plug_distance_mm, 0, above=True)
    refuse_below("Arm (mm)", arm_mm, 0, above=True)
    lead_inertia_g = other_inertia_g * lead_share / (1 - lead_share)
    return bare_front_weight_g + lead_inertia_g * arm_mm / plug_distance_mm


def _terms(
    table: pd.DataFrame, balance_weight_g: Values, front_weight_g: Values, relief_g: Values
) -> dict[str, Numbers]:
    """Gather the equation's terms by key; the table's own spring relief if none is given."""
    lacking = [name for name in ("wippen_weight_g", "key_ratio", "action_ratio", "strike_weight_g")
               if name not in table]  # fmt: skip
    if lacking:
        raise BalancekitError(
            [Problem("The column is not there.", "Weigh it first.", column=c) for c in lacking]
        )
    keys = table.index
    if relief_g is None:
        relief_g = table.get("spring_relief_g", 0.0)
    given = {
        "balance_weight_g": balance_weight_g,
        "front_weight_g": front_weight_g,
        "spring_relief_g": relief_g,
    }
    terms = {name: per_key(value, keys) for name, value in given.items()}
    refuse_below("Spring relief (g)", terms["spring_relief_g"], 0)
    return terms | {name: per_key(table[name], keys) for name in TERMS if name not in terms}


def _doubt(table: pd.DataFrame, name: str) -> Numbers:
    """Return the standard uncertainty of one quantity by key; 0 where none is stated."""
    doubt = per_key(table.get(uncertainty_name(name), 0.0), table.index)
    return np.where(np.isnan(doubt), 0.0, doubt)


def ceiling(
    table: pd.DataFrame,
    *,
    balance_weight_g: Values,
    front_weight_g: Values,
    spring_relief_g: Values | None = None,
) -> pd.DataFrame:
    """Return the heaviest strike weight that each key can carry, with its uncertainty.

    Parameters
    ----------
    table : indexed by key, with ``strike_weight_g, wippen_weight_g, key_ratio, action_ratio``
        and, as far as known, their standard uncertainties; see ``key_table``.
    balance_weight_g : wanted, a float or by key [g].
    front_weight_g : highest allowed, a float or by key [g].
    spring_relief_g : planned; None for the table's own [g].

    Returns
    -------
    DataFrame by key: ``ceiling_g, ceiling_u_g``, ``strike_weight_g`` as found, ``over_g``
    (strike weight less ceiling) and ``verdict``: "above the ceiling", "near the ceiling" (within
    two standard uncertainties of it), "below the ceiling" or "not known".

    Raises
    ------
    BalancekitError : a column is lacking, or the ceiling of some key is 0 or below.

    Notes
    -----
    The wanted weights are exact. Ratio and wippen weight are taken as independent. The ratio
    was solved with the same wippen weight, which makes errors cancel in part: the stated
    uncertainty is a little too wide, never too narrow.

    >>> row = pd.DataFrame(dict(strike_weight_g=10.4, wippen_weight_g=18.0, key_ratio=0.5,
    ...                         action_ratio=5.5, action_ratio_u=0.05), index=[1])
    >>> found = ceiling(row, balance_weight_g=37.0, front_weight_g=27.0)
    >>> found[["ceiling_g", "ceiling_u_g", "over_g"]].round(3).values.tolist()
    [[10.0, 0.091, 0.4]]
    >>> found["verdict"].tolist()
    ['above the ceiling']
    """
    terms = _terms(table, balance_weight_g, front_weight_g, spring_relief_g)
    found = terms["strike_weight_g"]
    top = solve_for_strike_weight(**{n: terms[n] for n in TERMS if n != "strike_weight_g"})
    _refuse_empty(top, table.index)
    planned = () if spring_relief_g is None else ("spring_relief_g",)
    doubts = {name: _doubt(table, name) for name in _WEIGHED if name not in planned}
    top_u = uncertainty_of("strike_weight_g", {**terms, "strike_weight_g": top}, doubts)
    over = found - top
    near = abs(over) <= SURE * np.hypot(top_u, _doubt(table, "strike_weight_g"))
    verdict = np.select(
        [np.isnan(over), near, over > 0],
        ["not known", "near the ceiling", "above the ceiling"],
        default="below the ceiling",
    )
    return pd.DataFrame(
        {
            "ceiling_g": top,
            "ceiling_u_g": top_u,
            "strike_weight_g": found,
            "over_g": over,
            "verdict": verdict,
        },
        index=table.index,
    )


def _refuse_empty(top_g: Numbers, keys: pd.Index) -> None:
    below = top_g < QUANTITIES["strike_weight_g"].minimum
    if below.any():
        raise refuse(
            f"The ceiling at {in_words(keys[below].tolist())} is "
            f"{top_g[below].min():.1f} g: no hammer is that light.",
            "Wippen and wishes leave no room. Allow more balance weight, front weight or "
            "spring relief, or check the wippen weight and the key ratio.",
        )


def ceiling_ways_out(
    table: pd.DataFrame,
    wish_g: Values,
    *,
    balance_weight_g: Values,
    front_weight_g: Values,
    spring_relief_g: Values | None = None,
    arm_mm: Values,
    plug_distance_mm: Values,
    blow_distance_mm: float,
    aftertouch_mm: float,
) -> pd.DataFrame:
    """Price the four ways out for each key where the wish lies above the ceiling.

    Each way alone brings the key to the wanted balance weight: a lighter hammer, a lower
    ratio, a support spring, or more lead.

    Parameters
    ----------
    table, balance_weight_g, front_weight_g, spring_relief_g : see ``ceiling``.
    wish_g : strike weight wished for, a float or by key [g].
    arm_mm, plug_distance_mm : balance pin to measuring point and to new plugs [mm].
    blow_distance_mm, aftertouch_mm : as regulated [mm].

    Returns
    -------
    DataFrame by key, only the keys above their ceiling:
    ``wish_g, ceiling_g, lighter_g`` (off the hammer), ``lower_ratio`` (the ratio to reach),
    ``dip_more_mm`` (its price in dip), ``blow_less_mm`` (or else in blow), ``relief_more_g``,
    ``lead_more_g`` (mass of lead), ``lead_inertia_more_g`` (its price in inertia).

    Raises
    ------
    BalancekitError : see ``ceiling``; a wish or a distance of 0 or below.

    Notes
    -----
    Dip = blow / ratio + aftertouch. Key ratio and wippen are left as they are, as when the
    knuckle moves.

    >>> row = pd.DataFrame(dict(strike_weight_g=11.0, wippen_weight_g=18.0, key_ratio=0.5,
    ...                         action_ratio=5.5), index=[1])
    >>> ways = ceiling_ways_out(row, 11.0, balance_weight_g=37.0, front_weight_g=27.0, arm_mm=200.0,
    ...                 plug_distance_mm=100.0, blow_distance_mm=44.0, aftertouch_mm=1.0)
    >>> ways[["lighter_g", "lower_ratio", "dip_more_mm", "relief_more_g", "lead_more_g"]].values
    array([[ 1. ,  5. ,  0.8,  5.5, 11. ]])
    """
    for label, value in (
        ("Strike weight wished for (g)", wish_g),
        ("Arm (mm)", arm_mm),
        ("Balance pin to plugs (mm)", plug_distance_mm),
        ("Blow distance (mm)", blow_distance_mm),
    ):
        refuse_below(label, value, 0, above=True)
    refuse_below("Aftertouch (mm)", aftertouch_mm, 0)
    keys = table.index
    top = ceiling(
        table,
        balance_weight_g=balance_weight_g,
        front_weight_g=front_weight_g,
        spring_relief_g=spring_relief_g,
    )["ceiling_g"].to_numpy()
    wish = per_key(wish_g, keys)
    ratio = per_key(table["action_ratio"], keys)
    lower = ratio * top / wish
    grams = (wish - top) * ratio
    leverage = per_key(plug_distance_mm, keys) / per_key(arm_mm, keys)
    dip = blow_distance_mm / ratio + aftertouch_mm
    ways = pd.DataFrame(
        {
            "wish_g": wish,
            "ceiling_g": top,
            "lighter_g": wish - top,
            "lower_ratio": lower,
            "dip_more_mm": blow_distance_mm / lower + aftertouch_mm - dip,
            "blow_less_mm": blow_distance_mm - (dip - aftertouch_mm) * lower,
            "relief_more_g": grams,
            "lead_more_g": grams / leverage,
            "lead_inertia_more_g": grams * leverage,
        },
        index=keys,
    )
    return ways[ways["lighter_g"] > 0]


def ways_in_words(way: pd.Series) -> tuple[str, str, str, str]:
    """Say the four ways out of one key in sentences; ``way`` is a row of ``ceiling_ways_out``.

    >>> row = pd.Series(dict(wish_g=11.0, ceiling_g=10.0, lighter_g=1.0, lower_ratio=5.0,
    ...     dip_more_mm=0.8, blow_less_mm=4.0, relief_more_g=5.5, lead_more_g=11.0,
    ...     lead_inertia_more_g=2.75))
    >>> ways_in_words(row)[0]
    'Lighter hammer: 1.0 g less strike weight. Price: less mass for the tone; cannot be put back.'
    """
    return (
        f"Lighter hammer: {way['lighter_g']:.1f} g less strike weight. "
        "Price: less mass for the tone; cannot be put back.",
        f"Lower ratio: {way['lower_ratio']:.2f}. Price: {way['dip_more_mm']:.1f} mm more dip, "
        f"or {way['blow_less_mm']:.1f} mm less blow.",
        f"Support spring: {way['relief_more_g']:.1f} g more relief at the measuring point. "
        "Price: a part that must be fitted and set, and whose force changes along the stroke.",
        f"More lead: {way['lead_more_g']:.1f} g, {way['relief_more_g']:.1f} g more front weight. "
        f"Price: {way['lead_inertia_more_g']:.1f} g more inertia, and a limit that you set is "
        "passed.",
    )
