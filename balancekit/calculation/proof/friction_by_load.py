"""How much of the friction grows with the load, from keys weighed with an added mass.

A mass hung on the hammer adds to the load L that the action lifts. The part p of the friction
that grows with it shows in the friction read then::

    friction with the mass - friction = p x friction x added load / L

With y the difference and x what p is multiplied with, on each key with an error of u, and the
usual part q known to v before anything was weighed::

    p = (q / v^2 + sum(x y / u^2)) / (1 / v^2 + sum(x^2 / u^2))     u(p)^2 = 1 / the same sum

References
----------
Weighted least squares with a reading from before: Gelman and others, Bayesian Data Analysis
(2013), 14.8; JCGM 100:2008, 5.1.2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from balancekit.calculation.words import plural

USUAL_PART, USUAL_PART_U = 0.5, 0.3
ASSEMBLY_U_G = 0.6
"""How friction usually changes with the load, and with taking the action apart."""
# Our own choice, no source: half of it at centres, capstan and knuckle, which carry the load.


@dataclass(frozen=True)
class LoadPart:
    """The part of the friction that grows with the load.

    Attributes
    ----------
    part, part_u : and its standard uncertainty.
    keys : how many keys, weighed with an added mass, tell of it; 0 for the usual part.
    """

    part: float = USUAL_PART
    part_u: float = USUAL_PART_U
    keys: int = 0

    @property
    def sentence(self) -> str:
        """What it is, and where it comes from.

        >>> LoadPart().sentence
        'Of the friction 50 % grows with the load (± 60 %): usual, our own choice, no source. Keys \
weighed with an added mass would tell.'
        """
        source = (
            f"from {plural(self.keys, 'key')} weighed with an added mass."
            if self.keys
            else "usual, our own choice, no source. Keys weighed with an added mass would tell."
        )
        return (
            f"Of the friction {100 * self.part:.0f} % grows with the load "
            f"(± {200 * self.part_u:.0f} %): {source}"
        )


def find_load_part(
    friction_g: pd.Series,
    friction_u_g: pd.Series,
    friction_with_mass_g: pd.Series,
    friction_with_mass_u_g: float,
    added_share: pd.Series,
) -> LoadPart:
    """Return the part of the friction that grows with the load.

    Parameters
    ----------
    friction_g, friction_u_g : without the mass, and standard uncertainty, by key [g].
    friction_with_mass_g, friction_with_mass_u_g : with it [g].
    added_share : the load that the mass adds over that without it, by key.

    >>> found = find_load_part(pd.Series([10.0]), pd.Series([0.0]), pd.Series([12.0]), 0.01,
    ...                        pd.Series([0.5]))
    >>> round(found.part, 2), round(found.part_u, 3), found.keys
    (0.4, 0.002, 1)
    """
    rows = pd.DataFrame(
        {"x": friction_g * added_share, "y": friction_with_mass_g - friction_g, "by": added_share,
         "u": friction_u_g}
    ).dropna()  # fmt: skip
    # The friction without the mass is in the difference and, by its usual part, in the forecast.
    noise = friction_with_mass_u_g**2 + ((1 + USUAL_PART * rows["by"]) * rows["u"]) ** 2
    known = 1 / USUAL_PART_U**2 + float((rows["x"] ** 2 / noise).sum())
    part = (USUAL_PART / USUAL_PART_U**2 + float((rows["x"] * rows["y"] / noise).sum())) / known
    return LoadPart(float(np.clip(part, 0.0, 1.0)), known**-0.5, len(rows))
