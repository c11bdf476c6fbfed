"""The key stick: its size and wood, and the places where a hole may be bored.

Distances count along the key from the balance pin, positive towards the front edge,
negative behind the pin. Naturals and sharps differ, and the sticks change slowly over
the keyboard.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from balancekit.calculation.inertia import Values, stick_inertia_g_mm2, stick_mass_g
from balancekit.calculation.problems import BalancekitError, Problem, refuse

WOOD_DENSITY_G_CM3 = 0.448
# Sitka spruce: specific gravity 0.40 at 12 % moisture, times 1.12. USDA Forest Products
# Laboratory, Wood Handbook, chapter on physical properties. Scatter about 10 %.

USUAL_STICK = {
    "natural": {
        "stick_length_mm": 410.0,
        "stick_height_mm": 23.0,
        "stick_width_mm": 14.0,
        "balance_free_mm": 12.0,
        "front_free_mm": 48.0,
        "back_free_mm": 25.0,
        "covering_g": 6.0,
        "covering_mm": 60.0,
        "capstan_g": 6.0,
        "back_check_g": 6.0,
        "back_check_mm": 15.0,
    },
    "sharp": {
        "stick_length_mm": 365.0,
        "stick_height_mm": 23.0,
        "stick_width_mm": 11.0,
        "balance_free_mm": 12.0,
        "front_free_mm": 40.0,
        "back_free_mm": 25.0,
        "covering_g": 8.0,
        "covering_mm": 46.0,
        "capstan_g": 6.0,
        "back_check_g": 6.0,
        "back_check_mm": 15.0,
    },
}
# From memory: sticks of a grand of medium size, the width where the plugs go, the balance
# mortise, the front mortise and the back check; a natural covered with plastic and a sharp capped
# with hard wood, a capstan of brass, a back check on its wire. Measure the instrument's own.

CAPSTAN_FREE_MM = 8.0
# From memory: wood that stays on each side of the capstan.

STICK_COLUMNS = (
    "arm_mm",
    "front_edge_mm",
    "stick_length_mm",
    "stick_height_mm",
    "stick_width_mm",
    "wood_density_g_cm3",
    "balance_free_mm",
    "front_free_mm",
    "back_free_mm",
    "capstan_mm",
    "covering_g",
    "covering_mm",
    "capstan_g",
    "back_check_g",
    "back_check_mm",
)
"""The columns of a table of key sticks."""


@dataclass(frozen=True)
class Zone:
    """A stretch of the key where no hole may be.

    Attributes
    ----------
    from_mm, to_mm : distances from the balance pin [mm].
    colour : "natural", "sharp", or "" for both.
    note : what is there, in the user's words.
    """

    from_mm: float
    to_mm: float
    colour: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not self.from_mm < self.to_mm:
            raise refuse(
                f"A place without holes runs from {self.from_mm:g} to {self.to_mm:g} mm.",
                "Give the smaller distance first; behind the balance pin it is negative.",
            )
        if self.colour not in ("", "natural", "sharp"):
            raise refuse(f"'{self.colour}' is not a colour.", "Write natural, sharp, or nothing.")


def zones_from_table(table: pd.DataFrame) -> tuple[Zone, ...]:
    """Read places without holes from a table of kind ``hole_zones``."""
    return tuple(
        Zone(float(row["from_mm"]), float(row["to_mm"]), row.get("colour", ""), row.get("note", ""))
        for row in table.to_dict("records")
    )


def usual_sticks(
    colours: pd.Series,
    *,
    natural_arm_mm: float = 240.0,
    sharp_arm_mm: float = 200.0,
    front_edge_mm: float = 13.0,
    key_ratio: Values = 0.5,
    given: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Describe the key stick of every key: the usual one, or the user's own.

    What the user gives for some keys holds between them in a straight line, naturals and
    sharps apart, and unchanged beyond the last one given. A colour or a column that was
    not given keeps its usual value.

    Parameters
    ----------
    colours : "natural" or "sharp", indexed by key.
    natural_arm_mm, sharp_arm_mm : balance pin to measuring point [mm].
    front_edge_mm : measuring point to the front edge of the same key stick [mm].
    key_ratio : key ratio, a float or indexed by key; tells where the capstan is.
    given : table of kind ``key_sticks``: ``key`` and any of the columns below.

    Returns
    -------
    DataFrame indexed by key: ``colour`` and ``STICK_COLUMNS``.
        ``balance_free_mm`` stays clear of holes on each side of the pin, ``front_free_mm``
        behind the front edge, ``back_free_mm`` before the back end [mm]; ``capstan_mm`` is
        the capstan's distance from the pin, negative. Of what is fixed to the wood see
        ``bare_key``.

    Raises
    ------
    BalancekitError : a key given twice or not on the keyboard, or a stick that is not possible.

    >>> from balancekit.calculation.keyboard import keyboard
    >>> sticks = usual_sticks(keyboard()["colour"],
    ...     given=pd.DataFrame({"key": [1, 88], "stick_length_mm": [460.0, 373.0]}))
    >>> float(sticks.loc[30, "stick_length_mm"])
    431.0
    """
    table = pd.DataFrame({"colour": colours})
    natural = (colours == "natural").to_numpy()
    table["arm_mm"] = np.where(natural, natural_arm_mm, sharp_arm_mm).astype(float)
    table["front_edge_mm"] = float(front_edge_mm)
    for column in USUAL_STICK["natural"]:
        usual = (USUAL_STICK["natural"][column], USUAL_STICK["sharp"][column])
        table[column] = np.where(natural, *usual)
    table["wood_density_g_cm3"] = WOOD_DENSITY_G_CM3
    table["capstan_mm"] = np.nan
    if given is not None and not given.empty:
        _put_in(table, given)
    table["capstan_mm"] = table["capstan_mm"].fillna(-table["arm_mm"] * key_ratio)
    table = table[["colour", *STICK_COLUMNS]]
    _check(table)
    return table


def _put_in(table: pd.DataFrame, given: pd.DataFrame) -> None:
    """Put the user's own values into the table, in straight lines between the keys given."""
    keys = given["key"].astype(int)
    if keys.duplicated().any():
        twice = int(keys[keys.duplicated()].iloc[0])
        raise BalancekitError(
            Problem("The key stick is given twice.", "Keep one row for each key.", key=twice)
        )
    unknown = [int(key) for key in keys if key not in table.index]
    if unknown:
        raise BalancekitError(
            Problem(
                "This key is not on the keyboard.",
                f"Give keys {table.index.min()} to {table.index.max()}.",
                key=unknown[0],
            )
        )
    rows = given.set_index(keys).sort_index()
    for colour in ("natural", "sharp"):
        here = table.index[table["colour"] == colour]
        known = rows[rows.index.isin(here)]
        for column in (name for name in STICK_COLUMNS if name in known):
            series = known[column].dropna().astype(float)
            if len(series):
                table.loc[here, column] = np.interp(here, series.index, series)


def _check(table: pd.DataFrame) -> None:
    """Refuse sticks that cannot be: sizes at or below 0, or a pin outside the stick."""
    problems = []
    for name in STICK_COLUMNS:
        least = -1e9 if name == "capstan_mm" else 0.0
        may_be_none = name in ("front_edge_mm", "covering_g", "capstan_g", "back_check_g",
                               "back_check_mm")  # fmt: skip
        bad = table.index[:0] if may_be_none else table.index[~(table[name] > least)]
        problems += [
            Problem(
                f"{name} is {table.loc[key, name]:g}.",
                "Give a number above 0.",
                file="key_sticks.csv",
                key=int(key),
                column=name,
            )
            for key in bad[:1]
        ]
    behind = back_end_mm(table)
    problems += [
        Problem(
            "The balance pin lies behind the back end of the key stick.",
            "Give a length greater than arm and front edge together.",
            file="key_sticks.csv",
            key=int(key),
        )
        for key in table.index[behind >= 0][:1]
    ]
    if problems:
        raise BalancekitError(problems)


def front_end_mm(sticks: pd.DataFrame) -> pd.Series:
    """Return the distance from the balance pin to the front edge [mm]."""
    return sticks["arm_mm"] + sticks["front_edge_mm"]


def back_end_mm(sticks: pd.DataFrame) -> pd.Series:
    """Return the distance from the balance pin to the back end, negative [mm]."""
    return front_end_mm(sticks) - sticks["stick_length_mm"]


def from_front_edge_mm(distance_mm: Values, *, arm_mm: Values, front_edge_mm: Values) -> Values:
    """Return where a ruler from the front edge of the key shows a place [mm].

    Parameters
    ----------
    distance_mm : from the balance pin, negative behind it [mm].
    arm_mm : balance pin to measuring point [mm].
    front_edge_mm : measuring point to the front edge [mm].

    >>> from_front_edge_mm(100.0, arm_mm=240.0, front_edge_mm=13.0)
    153.0
    """
    return arm_mm + front_edge_mm - distance_mm


def wood_front_weight_g(sticks: pd.DataFrame) -> pd.Series:
    """Return the front weight of the plain wooden sticks, without anything in them [g].

    A straight bar, its mass at its middle. What is fixed to it comes on top; see ``bare_key``.
    """
    centre = front_end_mm(sticks) - sticks["stick_length_mm"] / 2
    result: pd.Series = stick_mass_g(**stick_sizes(sticks)) * centre / sticks["arm_mm"]
    return result


def wood_inertia_g(sticks: pd.DataFrame) -> pd.Series:
    """Return the inertia of the plain wooden sticks at the finger [g]."""
    inertia = stick_inertia_g_mm2(**stick_sizes(sticks), pin_to_front_mm=front_end_mm(sticks))
    result: pd.Series = inertia / sticks["arm_mm"] ** 2
    return result


def stick_sizes(sticks: pd.DataFrame) -> dict[str, pd.Series]:
    """Return the sizes of the wood, as ``inertia.stick_mass_g`` names them."""
    return {
        "length_mm": sticks["stick_length_mm"],
        "height_mm": sticks["stick_height_mm"],
        "width_mm": sticks["stick_width_mm"],
        "density_g_cm3": sticks["wood_density_g_cm3"],
    }


def blocked_stretches(
    stick: Mapping[Any, Any] | pd.Series, zones: Sequence[Zone] = ()
) -> list[tuple[float, float]]:
    """List the stretches of one key that a hole's edge may not enter [mm].

    Parameters
    ----------
    stick : one row of the table of key sticks.
    zones : further places without holes; those of the other colour are left out.
    """
    front = stick["arm_mm"] + stick["front_edge_mm"]
    back = front - stick["stick_length_mm"]
    far = 1e6
    stretches = [
        (front - stick["front_free_mm"], far),
        (-far, back + stick["back_free_mm"]),
        (-stick["balance_free_mm"], stick["balance_free_mm"]),
        (stick["capstan_mm"] - CAPSTAN_FREE_MM, stick["capstan_mm"] + CAPSTAN_FREE_MM),
    ]
    colour = stick["colour"]
    return stretches + [(z.from_mm, z.to_mm) for z in zones if z.colour in ("", colour)]


def hole_fits(
    distance_mm: ArrayLike, diameter_mm: ArrayLike, stretches: Sequence[tuple[float, float]]
) -> NDArray[np.bool_]:
    """Tell where a hole stays clear of every blocked stretch, shape (n,) or (s, n).

    Parameters
    ----------
    distance_mm : shape (n,), the hole's centre from the balance pin [mm].
    diameter_mm : of the hole, or of each of s holes [mm].
    stretches : see ``blocked_stretches``.

    >>> hole_fits([20.0, 15.0], 10.0, [(-12.0, 12.0)]).tolist()
    [True, False]
    """
    centre = np.asarray(distance_mm, dtype=float)
    radius = np.asarray(diameter_mm, dtype=float)[..., None] / 2
    begin, end = np.array(stretches).T.reshape(2, -1, *(1,) * radius.ndim)
    fits: NDArray[np.bool_] = (
        (centre + radius <= begin + 1e-9) | (centre - radius >= end - 1e-9)
    ).all(axis=0)
    return fits
