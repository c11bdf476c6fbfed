"""Support springs on the wippen: what they carry, how it changes along the stroke, their limits.

A spring that turns the wippen upward takes part of the load off the key. It is strongest at
rest and weaker the further the wippen rises, so the key grows heavier on its way down.

Springs stand under tension: eye protection, and fingers out of the way of the free leg.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi

import numpy as np
import pandas as pd

from balancekit.calculation.inertia import Values, refuse_below
from balancekit.calculation.linkage.loads import Spring
from balancekit.calculation.linkage.positions import Linkage
from balancekit.calculation.problems import refuse

HANDBOOK_TURN = 10.8
# Shigley's Mechanical Engineering Design, helical torsion springs: includes the friction
# between the coils, found by test. It is the default here.

THEORY_TURN = 64 / (2 * pi)
# 10.186: the same spring by bending theory alone, 6 % stiffer. Any textbook of strength.


@dataclass(frozen=True)
class SpringWire:
    """A spring material: tensile strength is ``strength_mpa`` / diameter in mm to ``power``.

    Attributes
    ----------
    strength_mpa, power : of the law above.
    stiffness_mpa : Young's modulus [MPa].
    yield_share : bending yield as a share of tensile strength.
    """

    strength_mpa: float
    power: float
    stiffness_mpa: float
    yield_share: float


WIRES = {
    "music wire": SpringWire(2211.0, 0.145, 196_500.0, 0.78),
    "stainless steel": SpringWire(1867.0, 0.146, 193_000.0, 0.61),
    "phosphor bronze": SpringWire(1000.0, 0.0, 103_000.0, 0.61),
}
# Shigley's Mechanical Engineering Design, tables of spring wire: ASTM A228 (28.5 Mpsi, for
# wire of 1.6 to 3.2 mm; thinner wire is up to 4 % stiffer), A313 up to 2.5 mm, B159 up to
# 0.6 mm; yield shares of torsion springs. A228 read; the other two from memory.


@dataclass(frozen=True)
class TorsionSpring:
    """A helical torsion spring.

    Attributes
    ----------
    wire_mm : diameter of the wire [mm].
    coil_mm : mean diameter of the coil, outside less one wire [mm].
    body_turns : turns of the body at rest.
    leg_1_mm, leg_2_mm : lengths of the two legs, up to where they bear [mm].
    material : one of ``WIRES``.
    turn_constant : 10.8 by the handbook, friction of the coils included; 10.186 by theory.
    """

    wire_mm: float
    coil_mm: float
    body_turns: float
    leg_1_mm: float = 0.0
    leg_2_mm: float = 0.0
    material: str = "music wire"
    turn_constant: float = HANDBOOK_TURN

    def __post_init__(self) -> None:
        for label, size in (
            ("Wire (mm)", self.wire_mm),
            ("Turns of the body", self.body_turns),
            ("Constant of the turn", self.turn_constant),
        ):
            refuse_below(label, size, 0, above=True)
        refuse_below("Leg (mm)", [self.leg_1_mm, self.leg_2_mm], 0)
        if not self.coil_mm > 2 * self.wire_mm:
            raise refuse(
                f"A coil of {self.coil_mm:g} mm cannot be wound from wire of {self.wire_mm:g} mm.",
                "Give the mean diameter of the coil, more than twice that of the wire.",
            )
        if self.material not in WIRES:
            raise refuse(
                f"'{self.material}' is not a spring wire known here.",
                f"Choose one of {', '.join(WIRES)}.",
            )

    @property
    def active_turns(self) -> float:
        """Turns that bend: the body's, and the legs as (leg 1 + leg 2) / (3 pi coil)."""
        return self.body_turns + (self.leg_1_mm + self.leg_2_mm) / (3 * pi * self.coil_mm)

    @property
    def rate_n_mm_turn(self) -> float:
        """Torque for one full turn [N mm]: d^4 E / (constant x D x active turns).

        >>> round(TorsionSpring(1.0, 8.0, 5.0).rate_n_mm_turn, 1)
        454.9
        """
        stiffness = WIRES[self.material].stiffness_mpa
        return self.wire_mm**4 * stiffness / (self.turn_constant * self.coil_mm * self.active_turns)

    @property
    def rate_n_mm_rad(self) -> float:
        """Torque for one radian [N mm]."""
        return self.rate_n_mm_turn / (2 * pi)

    @property
    def yield_mpa(self) -> float:
        """Bending stress at which the wire stays bent [MPa]."""
        wire = WIRES[self.material]
        strength: float = wire.strength_mpa / self.wire_mm**wire.power
        return wire.yield_share * strength

    def stress_mpa(self, torque_n_mm: Values) -> Values:
        """Return the greatest bending stress, at the inside of the coil [MPa].

        K x 32 torque / (pi d^3), K = (4 C^2 - C - 1) / (4 C (C - 1)), C = coil / wire.
        """
        c = self.coil_mm / self.wire_mm
        inside = (4 * c**2 - c - 1) / (4 * c * (c - 1))
        return inside * 32 * torque_n_mm / (pi * self.wire_mm**3)

    @property
    def greatest_torque_n_mm(self) -> float:
        """Torque at which the wire begins to stay bent [N mm]."""
        return self.yield_mpa / float(self.stress_mpa(1.0))

    def warning(self, torque_n_mm: float) -> str:
        """Return a sentence where a torque bends the wire for good, or comes near; else ""."""
        share = float(self.stress_mpa(torque_n_mm)) / self.yield_mpa
        if share > 1:
            return (
                f"The wire yields: {share:.0%} of its yield stress at {torque_n_mm:.3g} N mm. "
                "The spring will stay bent. Take thicker wire, a wider coil or less torque."
            )
        if share > 0.8:
            return (
                f"The wire is at {share:.0%} of its yield stress; springs made there may set. "
                "Thicker wire or less torque leaves a reserve."
            )
        return ""

    def inside_mm(self, torque_n_mm: Values) -> Values:
        """Return the inside diameter of the coil when it is wound tighter by a torque [mm].

        The coil must still turn freely on its pin: D N / (N + wind-up) - d.
        """
        wound = torque_n_mm / self.rate_n_mm_turn * self.active_turns_ratio
        return self.coil_mm * self.body_turns / (self.body_turns + wound) - self.wire_mm

    @property
    def active_turns_ratio(self) -> float:
        """Share of the whole wind-up that is in the body of the coil."""
        return self.body_turns / self.active_turns


STROKE = {"at rest": 0.0, "in the middle": 0.5, "at the end": 1.0}


def spring_at_rest(
    linkage: Linkage,
    relief_at_rest_g: Values,
    *,
    key_dip_mm: Values,
    rate_n_mm_rad: Values = 0.0,
    turn_ratio: Values = 1.0,
) -> Spring:
    """Return the spring that carries so much at the measuring point with the key at rest.

    Parameters
    ----------
    linkage : key and wippen, level in the middle of the dip; shapes (n, 1) for n keys.
    relief_at_rest_g : of shape (n, 1), or a float [g].
    key_dip_mm : travel of the key at the measuring point [mm].
    rate_n_mm_rad, turn_ratio : see ``Spring``.
    """
    rest = linkage.lift(linkage.turn_down(-np.asarray(key_dip_mm) / 2))
    return Spring.for_relief(
        relief_at_rest_g,
        turned=0.0,
        turn_for_travel=-rest.wippen_for_key / rest.travel_for_key,
        rate_n_mm_rad=rate_n_mm_rad,
        turn_ratio=turn_ratio,
    )


def relief_along_stroke(
    relief_at_rest_g: pd.Series,
    linkage: Linkage,
    *,
    rate_n_mm_rad: Values,
    key_dip_mm: float,
    spring_turn_ratio: Values = 1.0,
) -> pd.DataFrame:
    """Follow the relief from the key at rest to its end, by the levers of each key.

    Parameters
    ----------
    relief_at_rest_g : relief with the key at rest, indexed by key, n keys [g].
    linkage : of the keys, level in the middle of the dip; its distances of shape (n, 1).
    rate_n_mm_rad : torque of the spring for one radian [N mm].
    key_dip_mm : travel of the key at the measuring point [mm].
    spring_turn_ratio : how far the spring turns for the wippen's turn, both torque and angle;
        1 where it sits on the wippen's own pivot.

    Returns
    -------
    DataFrame, one row a key: ``relief_at_rest_g, relief_middle_g, relief_end_g, change_g``
        (what the balance weight rises from rest to end) and ``goes_slack`` (the spring lets go
        before the end).

    >>> keys = pd.Series([10.0], index=[40])
    >>> row = relief_along_stroke(keys, Linkage(), rate_n_mm_rad=98.0665, key_dip_mm=10.0).loc[40]
    >>> bool(row["relief_at_rest_g"] > row["relief_middle_g"] > row["relief_end_g"] > 0)
    True
    """
    refuse_below("Rate of the spring (N mm)", rate_n_mm_rad, 0)
    refuse_below("Key dip (mm)", key_dip_mm, 0)
    start = relief_at_rest_g.to_numpy(dtype=float)[:, None]
    spring = spring_at_rest(
        linkage, start, key_dip_mm=key_dip_mm, rate_n_mm_rad=rate_n_mm_rad,
        turn_ratio=spring_turn_ratio,
    )  # fmt: skip
    at = linkage.lift(linkage.turn_down(key_dip_mm * (np.array([*STROKE.values()]) - 0.5)))
    turned = at.wippen[..., :1] - at.wippen
    relief = spring.lifts_g_mm(turned) * -at.wippen_for_key / at.travel_for_key
    relief = np.broadcast_to(relief, (len(start), len(STROKE)))
    table = pd.DataFrame(
        relief, index=relief_at_rest_g.index,
        columns=["relief_at_rest_g", "relief_middle_g", "relief_end_g"],
    )  # fmt: skip
    table["relief_at_rest_g"] = relief_at_rest_g.astype(float)
    table["change_g"] = table["relief_at_rest_g"] - table["relief_end_g"]
    table["goes_slack"] = (table["relief_at_rest_g"] > 0) & (table["relief_end_g"] <= 0)
    return table


def find_relief_g(
    *, without_g: Values, with_g: Values, without_u_g: Values = 0.5, with_u_g: Values = 0.5
) -> tuple[Values, Values]:
    """Return the relief as it is weighed, and its standard uncertainty [g].

    At the bench: balance weight with the spring unhooked, less that with it on.

    Parameters
    ----------
    without_g, with_g : balance weight without and with the spring [g].
    without_u_g, with_u_g : their standard uncertainties, taken as independent [g]; 0.5 from
        memory.

    References
    ----------
    JCGM 100:2008, 5.1.2.

    >>> find_relief_g(without_g=48.0, with_g=38.0, without_u_g=0.3, with_u_g=0.4)
    (10.0, 0.5)
    """
    return without_g - with_g, (without_u_g**2 + with_u_g**2) ** 0.5


def relief_curve(levels_g: float | Mapping[int, float], keys: pd.Index) -> pd.Series:
    """Return the relief wished for on each key: one level, or straight lines between levels.

    Parameters
    ----------
    levels_g : one relief for all keys, or reliefs by key number; level beyond the ends [g].
    keys : the keys of the instrument.

    Raises
    ------
    BalancekitError : no level, or a relief below 0.

    >>> relief_curve({1: 12.0, 3: 8.0}, pd.RangeIndex(1, 5)).tolist()
    [12.0, 10.0, 8.0, 8.0]
    """
    given = levels_g if isinstance(levels_g, Mapping) else {int(keys[0]): levels_g}
    if not given:
        raise refuse("No level was given.", "Give the relief of at least one key.")
    places = sorted(given)
    heights = [float(given[place]) for place in places]
    refuse_below("Spring relief (g)", heights, 0)
    curve = np.interp(keys.to_numpy(dtype=float), places, heights)
    return pd.Series(curve, index=keys, name="spring_relief_g")
