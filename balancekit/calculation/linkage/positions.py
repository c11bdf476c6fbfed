"""Where key, wippen and shank are, at every position of the stroke up to let-off.

Each lever turns about its centre. The capstan's round top presses on the wippen's heel, and
the jack's top, which stands still on the wippen up to let-off, on the round knuckle. Contact
surfaces are arcs, so the line through both centres of a contact has a fixed length: key and
wippen, wippen and shank are two four-bar linkages, one behind the other.

Distances are in mm, to the right and up, as complex numbers; the measuring point is at 0, and
the balance pin stands at the arm. All levers are level at half stroke, where weights are
compared and the six distances are measured.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.inertia import Values, refuse_below
from balancekit.calculation.linkage.distances import ActionGeometry
from balancekit.calculation.problems import refuse

Numbers = NDArray[np.float64]
Points = NDArray[np.complex128]

LET_OFF_GAP_MM = 1.5
# From memory: hammer to string when the jack lets go, 1 to 3 mm.

_STEPS, _CLOSE = 40, 1e-12


@dataclass(frozen=True)
class Heights:
    """Heights and radii at half stroke [mm]; heights count from the top of the balance rail."""

    # From memory: a usual grand.
    key_top: float = 23.0
    capstan_top: float = 52.0
    wippen_centre: float = 76.0
    shank_centre: float = 150.0
    knuckle_drop: float = 2.0
    strike: float = 46.0
    capstan_radius: float = 5.0
    heel_radius: float = 300.0
    jack_radius: float = 150.0
    knuckle_radius: float = 6.0


def cross(a: Any, b: Any) -> Any:
    """Return the moment of a force ``b`` at a lever ``a``, both in the plane."""
    return (np.conj(a) * b).imag


def follow(
    driver: Any, centre: complex | Any, arm: complex | Any, coupler: Values, side: float | Any
) -> Numbers:
    """Return how far the driven lever of a four-bar linkage has turned [rad].

    Parameters
    ----------
    driver : where the driving end of the coupler is.
    centre : about which the driven lever turns.
    arm : from there to the driven end of the coupler, where the lever has not turned.
    coupler : its length [mm].
    side : 1 or -1, on which side of the line from centre to driver the driven end lies.

    Raises
    ------
    BalancekitError : the coupler does not reach.

    >>> float(round(follow(1 + 1j, 1 + 0j, 1j, 0.0, 1.0) + 0.0, 9))
    0.0
    """
    line = np.asarray(driver - centre)
    long, arm_long = np.abs(line), np.abs(arm)
    part = (arm_long**2 + long**2 - coupler**2) / (2 * arm_long * long)
    if np.any(np.abs(part) > 1 + 1e-9):
        raise refuse(
            "The levers do not reach each other in this position.",
            "Choose distances nearer to those of a usual grand, or a shorter stroke.",
        )
    inside = side * np.arccos(np.clip(part, -1.0, 1.0))
    turned: Numbers = np.angle(line * np.exp(1j * inside) / arm)
    return turned


class Contact(NamedTuple):
    """A contact of two levers: where, the direction of its pressure, and how it slides.

    ``slide`` is how far the driven surface slides on the driving one for each radian of the key,
    along the normal turned to the left [mm].
    """

    point: Points
    normal: Points
    slide: Numbers


class Positions(NamedTuple):
    """The levers in some positions, each an array over them.

    Attributes
    ----------
    travel_mm : of the measuring point, down from rest [mm].
    key, wippen, shank : turned from level, to the left positive [rad].
    travel_for_key : travel of the measuring point for one radian of the key [mm].
    wippen_for_key, shank_for_key : radians for one radian of the key.
    heel, knuckle : the two contacts.
    """

    travel_mm: Numbers
    key: Numbers
    wippen: Numbers
    shank: Numbers
    travel_for_key: Numbers
    wippen_for_key: Numbers
    shank_for_key: Numbers
    heel: Contact
    knuckle: Contact


class Lift(NamedTuple):
    """The wippen in some positions, and how it moves with the key; see ``Positions``."""

    wippen: Numbers
    travel_for_key: Numbers
    wippen_for_key: Numbers
    heel: Contact


@dataclass(frozen=True)
class Linkage:
    """The levers of one key, or of several.

    Attributes
    ----------
    distances : the six distances; arrays of shape (n, 1) for n keys in several positions.
    blow_distance_mm : hammer to string at rest [mm].
    heights : of the parts.
    let_off_gap_mm : hammer to string at let-off [mm].
    """

    distances: ActionGeometry = field(default_factory=ActionGeometry)
    blow_distance_mm: Values = 46.0
    heights: Heights = field(default_factory=Heights)
    let_off_gap_mm: float = LET_OFF_GAP_MM

    def __post_init__(self) -> None:
        refuse_below("Blow distance (mm)", self.rise_mm, 0, above=True)

    @property
    def rise_mm(self) -> Values:
        """How far the hammer rises up to let-off [mm]."""
        return self.blow_distance_mm - self.let_off_gap_mm

    @property
    def centres(self) -> dict[str, Any]:
        """Balance pin, wippen centre and shank centre, as complex numbers [mm]."""
        it, h = self.distances, self.heights
        wippen = it.arm_mm + it.capstan_arm_mm + it.heel_arm_mm
        shank = wippen - it.top_arm_mm - it.knuckle_arm_mm
        return {
            "key": it.arm_mm + 0j,
            "wippen": wippen + 1j * h.wippen_centre,
            "shank": shank + 1j * h.shank_centre,
        }

    @property
    def parts(self) -> dict[str, tuple[str, Any]]:
        """The named points: on which lever, and where from its centre when all is level [mm]."""
        it, h = self.distances, self.heights
        capstan = h.capstan_top - h.wippen_centre
        jack = h.shank_centre - h.knuckle_drop - h.knuckle_radius - h.wippen_centre
        return {
            "measuring_point": ("key", -it.arm_mm + 1j * h.key_top),
            "capstan": ("key", it.capstan_arm_mm + 1j * (h.capstan_top - h.capstan_radius)),
            "heel": ("wippen", -it.heel_arm_mm + 1j * (capstan + h.heel_radius)),
            "jack": ("wippen", -it.top_arm_mm + 1j * (jack - h.jack_radius)),
            "knuckle": ("shank", it.knuckle_arm_mm - 1j * h.knuckle_drop),
            "strike_point": ("shank", it.hammer_arm_mm + 1j * h.strike),
        }

    def put(self, key: Any) -> Positions:
        """Return the levers where the key has turned so far from level [rad].

        Raises
        ------
        BalancekitError : the levers do not reach each other there.
        """
        key = np.asarray(key, dtype=float)
        wippen, travel_for_key, wippen_for_key, first = self.lift(key)
        shank = self._driven(wippen, "jack", "knuckle")
        second, shank_for_key = self._touch("jack", wippen, "knuckle", shank, wippen_for_key)
        front = self.parts["measuring_point"][1]
        start = (front * np.exp(-1j * self.half_turn)).imag
        travel = start - (front * np.exp(1j * key)).imag
        return Positions(
            travel, key, wippen, shank, travel_for_key, wippen_for_key, shank_for_key, first, second
        )

    def lift(self, key: Any) -> Lift:
        """Return the wippen where the key has turned so far, whatever lies on the wippen.

        Raises
        ------
        BalancekitError : key and wippen do not reach each other there.
        """
        key = np.asarray(key, dtype=float)
        wippen = self._driven(key, "capstan", "heel")
        heel, wippen_for_key = self._touch("capstan", key, "heel", wippen, np.ones_like(key))
        front = self.parts["measuring_point"][1] * np.exp(1j * key)
        return Lift(wippen, -front.real, wippen_for_key, heel)

    def _end(self, part: str, turned: Any) -> tuple[str, Any]:
        """Return the lever of a part, and where the part is when that lever has turned [mm]."""
        lever, arm = self.parts[part]
        return lever, self.centres[lever] + arm * np.exp(1j * np.asarray(turned))

    def _reach(self, part: str) -> float:
        """Length of the line through both centres of the contact that a part drives [mm]."""
        h = self.heights
        first, second = h.capstan_radius + h.heel_radius, h.jack_radius + h.knuckle_radius
        return first if part == "capstan" else second

    def _driven(self, turned: Any, from_part: str, to_part: str) -> Numbers:
        """Turn the driven lever after the driving one, over the contact between them."""
        start, (to_lever, to_arm) = self._end(from_part, 0.0)[1], self.parts[to_part]
        centre = self.centres[to_lever]
        side = np.sign(cross(start - centre, to_arm))
        return follow(self._end(from_part, turned)[1], centre, to_arm, self._reach(from_part), side)

    def _touch(
        self, near_part: str, near_turned: Any, far_part: str, far_turned: Any, driving_for_key: Any
    ) -> tuple[Contact, Numbers]:
        """Return the contact, and how far the driven lever turns for one radian of the key."""
        (driving, near), (driven, far) = (
            self._end(near_part, near_turned), self._end(far_part, far_turned)
        )  # fmt: skip
        h = self.heights
        normal = (far - near) / np.abs(far - near)
        point = near + (h.capstan_radius if near_part == "capstan" else h.jack_radius) * normal
        lever, driven_lever = point - self.centres[driving], point - self.centres[driven]
        turned = driving_for_key * cross(lever, normal) / cross(driven_lever, normal)
        # A point at z from the centre moves i z for one radian.
        relative = 1j * driven_lever * turned - 1j * lever * driving_for_key
        return Contact(point, normal, (relative * np.conj(1j * normal)).real), turned

    @cached_property
    def half_turn(self) -> Values:
        """The key's turn from rest to level, and as much from level to let-off [rad].

        Widened or narrowed until the hammer rises as far as it should.
        """
        it = self.distances
        half = np.asarray(self.rise_mm / it.action_ratio / it.arm_mm / 2, dtype=float)
        for _ in range(_STEPS):
            low, high = (
                self._driven(self._driven(key, "capstan", "heel"), "jack", "knuckle")
                for key in (-half, half)
            )
            part = self.rise_mm / (it.hammer_arm_mm * (high - low))
            half = half * part
            if np.all(np.abs(part - 1) < _CLOSE):
                return half
        raise refuse(
            "No stroke of this key brings the hammer to let-off.",
            "Choose distances nearer to those of a usual grand.",
        )

    @property
    def stroke_mm(self) -> Values:
        """Travel of the measuring point from rest to let-off [mm].

        >>> 7.5 < float(Linkage().stroke_mm) < 8.5
        True
        """
        front = self.parts["measuring_point"][1]
        return (front * (np.exp(-1j * self.half_turn) - np.exp(1j * self.half_turn))).imag

    def at(self, travel_mm: Any) -> Positions:
        """Return the levers where the measuring point has gone down so far from rest [mm].

        Raises
        ------
        BalancekitError : a travel below 0 or beyond let-off.
        """
        travel = np.asarray(travel_mm, dtype=float)
        if np.any(travel < -1e-9) or np.any(travel > self.stroke_mm + 1e-9):
            raise refuse(
                f"A key travel of {float(np.ravel(travel)[0]):g} mm is outside the stroke.",
                f"Give 0 to {float(np.min(self.stroke_mm)):.2f} mm.",
            )
        return self.put(self.turn_from_rest(travel))

    def turn_from_rest(self, travel_mm: Numbers) -> Numbers:
        """Return the key's turn where the measuring point is so far below its rest [rad]."""
        front = self.parts["measuring_point"][1]
        rest = (front * (np.exp(-1j * self.half_turn) - 1)).imag
        return self.turn_down(travel_mm - rest)

    def turn_down(self, below_level_mm: Any) -> Numbers:
        """Return the key's turn that puts the measuring point so far below its level place [rad].

        >>> linkage = Linkage()
        >>> bool(abs(linkage.turn_down(0.0)) < 1e-12)
        True
        """
        front = self.parts["measuring_point"][1]
        height = front.imag - np.asarray(below_level_mm, dtype=float)
        # height = |front| sin(angle of front + turn), the front on the left of the pin.
        turned: Numbers = np.pi - np.arcsin(height / np.abs(front)) - np.angle(front)
        return turned

    def along(self, count: int = 41) -> Positions:
        """Return the levers in so many positions, evenly from rest to let-off."""
        return self.put(self.half_turn * np.linspace(-1.0, 1.0, count))

    @property
    def weighing(self) -> Positions:
        """The levers at half stroke, all level: the position of the balance equation."""
        return self.put(np.zeros(np.shape(self.half_turn)))

    def action_ratio(self, positions: Positions) -> Values:
        """Way of the hammer along its arc for each unit of key travel, position by position.

        >>> linkage = Linkage(ActionGeometry(200, 100, 60, 90, 18, 126))
        >>> round(float(linkage.action_ratio(linkage.weighing)), 6)
        5.25
        """
        return self.distances.hammer_arm_mm * positions.shank_for_key / positions.travel_for_key

    def key_ratio(self, positions: Positions) -> Values:
        """Way of the wippen, at the heel's distance, for each unit of key travel."""
        return -self.distances.heel_arm_mm * positions.wippen_for_key / positions.travel_for_key

    def hammer_rise_mm(self, positions: Positions) -> Values:
        """How far the hammer has come from rest along its arc, position by position [mm]."""
        rest = self.put(-np.asarray(self.half_turn)).shank
        return self.distances.hammer_arm_mm * (positions.shank - rest)

    def strike_height_mm(self, positions: Positions) -> Values:
        """How far the strike point has come straight up from rest, position by position [mm]."""
        arm, rest = self.parts["strike_point"][1], self.put(-np.asarray(self.half_turn))
        return (arm * (np.exp(1j * positions.shank) - np.exp(1j * rest.shank))).imag
