"""Plugs for key sticks: what each weighs, and what the key gains when one goes in.

A plug is a short cylinder that lies across the key. Its hole takes wood away, so the
key gains the plug's mass less the wood's: the net mass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import Any, TypeAlias

import pandas as pd

from balancekit.calculation.problems import BalancekitError, Problem, refuse

Values: TypeAlias = Any
"""A float, an array of shape (n,), or a Series."""

METAL_DENSITY_G_CM3 = {
    "lead": 11.34,
    "hard lead": 10.9,
    "tungsten": 19.3,
    "brass": 8.45,
}
# Usual handbook values at 20 C: pure lead, lead with about 6 % antimony, pure tungsten,
# and the middle of the range 8.4 to 8.5 for brass. Sintered tungsten is lighter (17 to 18.5).

USUAL_DIAMETERS_MM = (9.5, 11.1, 12.7)
USUAL_LENGTH_MM = 9.5
# From memory: plugs of 3/8, 7/16 and 1/2 inch, 3/8 inch long.


@dataclass(frozen=True)
class Plug:
    """One kind of plug in the shop's stock.

    Attributes
    ----------
    name : in the user's words.
    metal : one of the metals known here, or any other if the plug was weighed.
    diameter_mm : of the plug, and of the hole it needs [mm].
    length_mm : of the plug, and the depth of its hole across the key [mm].
    mass_g : of the plug alone [g].
    """

    name: str
    metal: str
    diameter_mm: float
    length_mm: float
    mass_g: float

    def net_mass_g(self, wood_density_g_cm3: Values) -> Values:
        """Return what the key gains: the plug less the wood bored out [g].

        >>> round(make_plug(12.7, 13.0).net_mass_g(0.42), 4)
        17.983
        """
        return self.mass_g - wood_removed_g(self.diameter_mm, self.length_mm, wood_density_g_cm3)


def cylinder_cm3(diameter_mm: Values, length_mm: Values) -> Values:
    """Return the volume of a cylinder [cm3].

    >>> round(cylinder_cm3(20.0, 10.0), 5)
    3.14159
    """
    return pi / 4 * diameter_mm**2 * length_mm / 1000


def wood_removed_g(diameter_mm: Values, depth_mm: Values, wood_density_g_cm3: Values) -> Values:
    """Return the mass of the wood that a hole takes away [g].

    Parameters
    ----------
    diameter_mm, depth_mm : of the hole [mm].
    wood_density_g_cm3 : density of the wood [g/cm3].

    >>> round(wood_removed_g(12.7, 13.0, 0.42), 4)
    0.6917
    """
    return cylinder_cm3(diameter_mm, depth_mm) * wood_density_g_cm3


def make_plug(
    diameter_mm: float,
    length_mm: float,
    metal: str = "lead",
    *,
    mass_g: float | None = None,
    name: str = "",
) -> Plug:
    """Describe one kind of plug; its mass comes from the scale, or else from the metal.

    At the bench: weigh ten together and divide by ten. The weighed mass comes first.

    Parameters
    ----------
    diameter_mm, length_mm : of the plug [mm], 1 to 30.
    metal : lead, hard lead, tungsten or brass; any word if the plug was weighed.
    mass_g : weighed mass of one plug [g]; None to compute it as a full cylinder.
    name : in the user's words; made from metal and size if empty.

    Raises
    ------
    BalancekitError : a size that is not possible, a metal that is not known, or a weighed
        mass far from any metal's.

    References
    ----------
    Densities: see ``METAL_DENSITY_G_CM3``.

    >>> round(make_plug(12.7, 12.7).mass_g, 5)
    18.24375
    """
    for label, size in (("Diameter", diameter_mm), ("Length", length_mm)):
        if not 1 <= size <= 30:
            raise refuse(f"{label} of a plug is {size:g} mm.", "Give 1 to 30 mm.")
    metal = metal.strip().lower() or "lead"
    volume = cylinder_cm3(diameter_mm, length_mm)
    if mass_g is None or mass_g != mass_g:
        if metal not in METAL_DENSITY_G_CM3:
            raise refuse(
                f"The density of '{metal}' is not known here.",
                f"Weigh the plug and give its mass, or choose one of "
                f"{', '.join(METAL_DENSITY_G_CM3)}.",
            )
        mass_g = volume * METAL_DENSITY_G_CM3[metal]
    if not 0 < mass_g <= volume * 23:  # no metal is denser than osmium, 22.6 g/cm3
        raise refuse(
            f"A plug of {diameter_mm:g} x {length_mm:g} mm cannot weigh {mass_g:g} g.",
            f"Give a mass above 0, up to {volume * 23:.1f} g, or check its size in mm.",
        )
    name = name.strip() or f"{metal} {diameter_mm:g} x {length_mm:g} mm"
    return Plug(name, metal, float(diameter_mm), float(length_mm), float(mass_g))


def usual_plugs() -> tuple[Plug, ...]:
    """Return the plugs that most suppliers stock: lead, three diameters, 9.5 mm long.

    >>> [round(plug.mass_g, 1) for plug in usual_plugs()]
    [7.6, 10.4, 13.6]
    """
    return tuple(make_plug(diameter, USUAL_LENGTH_MM) for diameter in USUAL_DIAMETERS_MM)


def plugs_from_table(table: pd.DataFrame) -> tuple[Plug, ...]:
    """Read the shop's stock from a table of kind ``plug_stock``; the usual plugs if empty.

    Parameters
    ----------
    table : ``name, metal, diameter_mm, length_mm, mass_g``; a row without a mass is
        computed from its metal.

    Raises
    ------
    BalancekitError : every row that is not possible, or two rows of the same name.

    >>> plugs_from_table(pd.DataFrame({"diameter_mm": [9.5], "length_mm": [9.5],
    ...                                "mass_g": [7.5]}))[0].mass_g
    7.5
    """
    if table.empty:
        return usual_plugs()
    plugs: list[Plug] = []
    problems: list[Problem] = []
    for line, row in enumerate(table.to_dict("records"), start=2):
        try:
            plug = make_plug(
                float(row["diameter_mm"]),
                float(row["length_mm"]),
                _word(row.get("metal")),
                mass_g=row.get("mass_g"),
                name=_word(row.get("name")),
            )
        except BalancekitError as error:
            problems += [
                Problem(p.message, p.advice, file="plug_stock.csv", line=line)
                for p in error.problems
            ]
            continue
        if plug.name in {known.name for known in plugs}:
            problems.append(
                Problem(
                    f"'{plug.name}' is there twice.",
                    "Give each plug a name of its own, or take one row out.",
                    file="plug_stock.csv",
                    line=line,
                )
            )
        plugs.append(plug)
    if problems:
        raise BalancekitError(problems)
    return tuple(plugs)


def _word(value: object) -> str:
    """Return a cell of words, "" where there is none."""
    return value.strip() if isinstance(value, str) else ""


def stock_table(plugs: Sequence[Plug]) -> pd.DataFrame:
    """Return the stock as a table of kind ``plug_stock``.

    >>> stock_table(usual_plugs())["diameter_mm"].tolist()
    [9.5, 11.1, 12.7]
    """
    columns = ["name", "metal", "diameter_mm", "length_mm", "mass_g"]
    return pd.DataFrame([[getattr(plug, c) for c in columns] for plug in plugs], columns=columns)
