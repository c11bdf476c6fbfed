"""What the levers carry and how heavy they are to set going, at every position of the stroke.

Statics by virtual work and, with friction at pins and contacts, by the moments of one lever
after the other; inertia by kinetic energy. At half stroke, without friction, the statics are
the balance equation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from balancekit.calculation.inertia import (
    GRAVITY_M_S2,
    SHANK_MASS_G,
    WIPPEN_SHAPE,
    Values,
    hammer_inertia_g,
    refuse_below,
)
from balancekit.calculation.linkage.positions import Linkage, Numbers, Positions, cross

KEY_MASS_G, KEY_CENTRE_MM = 150.0, 11.5
# From memory: a key stick with its leads, and how high its centre of mass lies over the pin.

WIPPEN_CENTRE_MM, HAMMER_CENTRE_MM = complex(-46.0, 4.0), complex(104.0, 15.0)
# From memory: centres of mass from the wippen's centre and, of hammer and shank, from the
# shank's; the hammer's distance is near the 102 mm of Hirschkorn, University of Waterloo 2004.

N_MM_IN_G_MM = 1000.0 / GRAVITY_M_S2


@dataclass(frozen=True)
class Spring:
    """A support spring on the wippen.

    Attributes
    ----------
    torque_n_mm : with the key at rest, at the spring [N mm].
    rate_n_mm_rad : torque for one radian [N mm].
    turn_ratio : how far the spring turns for the wippen's turn, both torque and angle.
    """

    torque_n_mm: Values = 0.0
    rate_n_mm_rad: Values = 0.0
    turn_ratio: Values = 1.0

    @classmethod
    def for_relief(
        cls,
        relief_g: Values,
        *,
        turned: Values,
        turn_for_travel: Values,
        rate_n_mm_rad: Values = 0.0,
        turn_ratio: Values = 1.0,
    ) -> Spring:
        """Return the spring that carries so much at the measuring point, in one position.

        Parameters
        ----------
        relief_g : to be carried there [g].
        turned : of the wippen from rest, there [rad].
        turn_for_travel : of the wippen for a millimetre of key travel, there [rad/mm].
        rate_n_mm_rad, turn_ratio : see the class.

        >>> round(Spring.for_relief(10.0, turned=0.0, turn_for_travel=0.005).torque_n_mm, 4)
        19.6133
        """
        there = relief_g / turn_for_travel / turn_ratio / N_MM_IN_G_MM
        return cls(there + rate_n_mm_rad * turned * turn_ratio, rate_n_mm_rad, turn_ratio)

    def lifts_g_mm(self, turned: Any) -> Values:
        """Return the moment on the wippen where it has turned so far from rest [g mm]."""
        torque = self.torque_n_mm - self.rate_n_mm_rad * turned * self.turn_ratio
        return np.maximum(torque, 0.0) * self.turn_ratio * N_MM_IN_G_MM

    def gives_mj(self, turned: Any) -> Values:
        """Return the work done on the wippen until it has turned so far from rest [mJ]."""
        rate = np.maximum(self.rate_n_mm_rad, 1e-9)
        way = np.minimum(np.asarray(turned) * self.turn_ratio, self.torque_n_mm / rate)
        return self.torque_n_mm * way - rate * way**2 / 2


@dataclass(frozen=True)
class Friction:
    """Friction of centres [N mm] and coefficients of the two contacts."""

    # From memory: well-kept centres; the key's is that of its bushings and balance hole.
    key_n_mm: Values = 8.0
    wippen_n_mm: Values = 2.0
    shank_n_mm: Values = 1.5
    heel: Values = 0.15
    knuckle: Values = 0.15

    def times(self, factor: float) -> Friction:
        """Return so many times this friction."""
        names = ("key_n_mm", "wippen_n_mm", "shank_n_mm", "heel", "knuckle")
        return replace(self, **{name: getattr(self, name) * factor for name in names})


@dataclass(frozen=True)
class Loads:
    """What the parts weigh, as a scale shows them with the part level.

    Attributes
    ----------
    strike_weight_g, wippen_weight_g, front_weight_g : on a scale [g].
    key_inertia_g : of key stick and leads, at the measuring point [g].
    spring, friction : see there.
    shank_mass_g : mass of the shank without hammer [g].
    """

    strike_weight_g: Values = 10.0
    wippen_weight_g: Values = 18.0
    front_weight_g: Values = 27.0
    key_inertia_g: Values = 40.0
    spring: Spring = Spring()
    friction: Friction = Friction()
    shank_mass_g: float = SHANK_MASS_G

    def __post_init__(self) -> None:
        refuse_below("Strike weight (g)", self.strike_weight_g, 0)
        refuse_below("Wippen weight (g)", self.wippen_weight_g, 0)
        refuse_below("Inertia of the key (g)", self.key_inertia_g, 0)


class Moments(NamedTuple):
    """Moments of weight about the centres, by lever [g mm], to the left positive."""

    key: Values
    wippen: Values
    shank: Values


def weight_moments(linkage: Linkage, loads: Loads) -> Moments:
    """Return mass x place of each lever's centre of mass, from its own centre, all level [g mm].

    Complex numbers: to the right and up. The scale says the part across; the height of the
    centres of mass, from memory, says the rest.
    """
    it = linkage.distances
    wippen = loads.wippen_weight_g * it.heel_arm_mm / -WIPPEN_CENTRE_MM.real
    hammer = loads.strike_weight_g * it.hammer_arm_mm / HAMMER_CENTRE_MM.real
    return Moments(
        -loads.front_weight_g * it.arm_mm + 1j * KEY_MASS_G * KEY_CENTRE_MM,
        wippen * WIPPEN_CENTRE_MM,
        hammer * HAMMER_CENTRE_MM,
    )


def gravity(linkage: Linkage, loads: Loads, at: Positions) -> Moments:
    """Return the moment of its own weight on each lever, in some positions."""
    turns = (at.key, at.wippen, at.shank)
    return Moments(
        *(
            -(moment * np.exp(1j * turned)).real
            for moment, turned in zip(weight_moments(linkage, loads), turns, strict=True)
        )
    )


def spring_moment(linkage: Linkage, loads: Loads, at: Positions) -> Values:
    """Return the moment of the spring on the wippen, in some positions [g mm], to the left."""
    rest = linkage.put(-np.asarray(linkage.half_turn)).wippen
    return -loads.spring.lifts_g_mm(rest - at.wippen)


class Account(NamedTuple):
    """What lifts the front, position by position, in grams at the measuring point.

    ``balance_weight_g`` is what holds the key there without friction: hammer and wippen, less
    front weight and spring relief.
    """

    balance_weight_g: Values
    hammer_lifts_g: Values
    wippen_lifts_g: Values
    front_weight_g: Values
    spring_relief_g: Values


def account(linkage: Linkage, loads: Loads, at: Positions) -> Account:
    """Return the terms of the balance equation in some positions, by virtual work.

    >>> linkage = Linkage()
    >>> level = account(linkage, Loads(), linkage.weighing)
    >>> it = linkage.distances
    >>> equation = 18.0 * it.key_ratio + 10.0 * it.action_ratio - 27.0
    >>> bool(abs(level.balance_weight_g - equation) < 1e-9)
    True
    """
    weights, travel = gravity(linkage, loads, at), at.travel_for_key
    hammer = -weights.shank * at.shank_for_key / travel
    wippen = -weights.wippen * at.wippen_for_key / travel
    front = weights.key / travel
    spring = spring_moment(linkage, loads, at) * at.wippen_for_key / travel
    return Account(hammer + wippen - front - spring, hammer, wippen, front, spring)


def held_g(linkage: Linkage, loads: Loads, at: Positions, direction: int) -> Values:
    """Return the weight that just moves the key, in some positions [g].

    Shank, wippen and key one after the other; friction of each centre and contact against the
    movement.

    Parameters
    ----------
    direction : 1 for the key that sinks (down weight), -1 for the key that lifts (up weight),
        0 without friction.
    """
    weights, rub, centres = gravity(linkage, loads, at), loads.friction, linkage.centres

    def pressure(contact: Any, coefficient: Values) -> Any:
        """Direction of the force on the driven lever: normal and friction together."""
        return contact.normal * (1 - 1j * direction * coefficient * np.sign(contact.slide))

    second = pressure(at.knuckle, rub.knuckle)
    resists = -weights.shank + direction * rub.shank_n_mm * N_MM_IN_G_MM
    second = second * resists / cross(at.knuckle.point - centres["shank"], second)
    first = pressure(at.heel, rub.heel)
    turning = (
        cross(at.knuckle.point - centres["wippen"], -second)
        + weights.wippen
        + spring_moment(linkage, loads, at)
        + direction * rub.wippen_n_mm * N_MM_IN_G_MM
    )
    first = first * -turning / cross(at.heel.point - centres["wippen"], first)
    needed = (
        cross(at.heel.point - centres["key"], first)
        - weights.key
        + direction * rub.key_n_mm * N_MM_IN_G_MM
    )
    return needed / at.travel_for_key


def with_friction(linkage: Linkage, loads: Loads, friction_g: float) -> Loads:
    """Return the loads with all friction in proportion, so that the key has so much friction.

    Parameters
    ----------
    friction_g : half of the gap between down weight and up weight at half stroke [g].
    """
    refuse_below("Friction (g)", friction_g, 0)
    level, part = linkage.weighing, 1.0
    for _ in range(30):
        made = replace(loads, friction=loads.friction.times(part))
        down, up = (held_g(linkage, made, level, way) for way in (1, -1))
        found = float(down - up) / 2
        if abs(found - friction_g) < 1e-9 or part == 0.0:
            break
        part *= friction_g / found
    return made


def lever_inertia_g_mm2(linkage: Linkage, loads: Loads) -> Moments:
    """Return the moment of inertia of each lever about its centre [g mm2]."""
    it = linkage.distances
    hammer = hammer_inertia_g(
        strike_weight_g=loads.strike_weight_g, action_ratio=1.0, shank_mass_g=loads.shank_mass_g
    )
    return Moments(
        loads.key_inertia_g * it.arm_mm**2,
        loads.wippen_weight_g * WIPPEN_SHAPE * it.heel_arm_mm**2,
        hammer * it.hammer_arm_mm**2,
    )


def inertia_g(linkage: Linkage, loads: Loads, at: Positions) -> Values:
    """Return the inertia at the finger in some positions, by kinetic energy [g].

    The sum over the levers of moment of inertia x (turn for a unit of key travel)^2.

    >>> linkage = Linkage()
    >>> level = float(inertia_g(linkage, Loads(shank_mass_g=0.0), linkage.weighing))
    >>> it = linkage.distances
    >>> round(level - 10.0 * it.action_ratio**2 - 18.0 * 1.3 * it.key_ratio**2 - 40.0, 6)
    0.0
    """
    own, travel = lever_inertia_g_mm2(linkage, loads), at.travel_for_key
    turned = own.key + own.wippen * at.wippen_for_key**2 + own.shank * at.shank_for_key**2
    return turned / travel**2


def potential_mj(linkage: Linkage, loads: Loads, at: Positions) -> Numbers:
    """Return the energy of height and spring in some positions, zero where all is level [mJ]."""
    turns = (at.key, at.wippen, at.shank)
    moments = zip(weight_moments(linkage, loads), turns, strict=True)
    height = sum((m * (np.exp(1j * turned) - 1)).imag for m, turned in moments)
    rest = linkage.put(-np.asarray(linkage.half_turn)).wippen
    energy: Numbers = np.asarray(height) * GRAVITY_M_S2 / 1000 - loads.spring.gives_mj(
        rest - at.wippen
    )
    return energy
