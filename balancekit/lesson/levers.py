"""Where the parts of the lever chain are: three levers, one on the other.

Distances are in mm, to the right and up; the measuring point is at 0, and the balance
pin stands at the arm. All levers are level at half stroke, where their distances are
measured. Each turns in proportion to the key's travel, so that along the arcs the hammer
travels exactly action ratio x key travel. The drawing uses the same numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import cos, degrees, sin

from balancekit.calculation.levers import ActionGeometry
from balancekit.calculation.problems import refuse
from balancekit.lesson.one_key import LessonKey

PIN_TO_WIPPEN_CENTRE_MM = 189.0
KEY_TOP_MM, CAPSTAN_TOP_MM, WIPPEN_AXIS_MM, SHANK_AXIS_MM = 23.0, 52.0, 76.0, 150.0
KNUCKLE_RADIUS_MM, KNUCKLE_DROP_MM = 6.0, 6.0
STRIKE_HEIGHT_MM = 46.0
# From memory: heights of a usual grand, chosen so that the drawing is clear.

Point = tuple[float, float]


@dataclass(frozen=True)
class Levers:
    """The three levers of one key, ready to be turned.

    Attributes
    ----------
    geometry : the six distances.
    blow_distance_mm : hammer to string [mm].
    """

    geometry: ActionGeometry
    blow_distance_mm: float

    @property
    def let_off_mm(self) -> float:
        """Key travel at which the hammer has come to the string: blow / ratio [mm]."""
        return self.blow_distance_mm / self.geometry.action_ratio

    @property
    def turn_for_one_mm(self) -> dict[str, float]:
        """Radians that key, wippen and shank turn for 1 mm of key travel."""
        it = self.geometry
        wippen = it.key_ratio / it.heel_arm_mm
        return {
            "key": 1 / it.arm_mm,
            "wippen": wippen,
            "shank": wippen * it.top_arm_mm / it.knuckle_arm_mm,
        }

    @property
    def pivots(self) -> dict[str, Point]:
        """Balance pin, wippen centre and shank centre."""
        it = self.geometry
        wippen_x = it.arm_mm + it.capstan_arm_mm + it.heel_arm_mm
        return {
            "key": (it.arm_mm, 0.0),
            "wippen": (wippen_x, WIPPEN_AXIS_MM),
            "shank": (wippen_x - it.top_arm_mm - it.knuckle_arm_mm, SHANK_AXIS_MM),
        }

    def turned(self, lever: str, travel_mm: float, point: Point) -> Point:
        """Return where a point of a lever is, given where it is at half stroke.

        Key and shank turn the same way round, the wippen the other.
        """
        angle = self.turn_for_one_mm[lever] * (travel_mm - self.let_off_mm / 2)
        angle = -angle if lever == "wippen" else angle
        pivot_x, pivot_y = self.pivots[lever]
        x, y = point[0] - pivot_x, point[1] - pivot_y
        return (
            pivot_x + x * cos(angle) - y * sin(angle),
            pivot_y + x * sin(angle) + y * cos(angle),
        )

    def points(self, travel_mm: float) -> dict[str, Point]:
        """Return where the named points are when the key has gone down so far.

        Raises
        ------
        BalancekitError : a travel below 0 or beyond let-off.
        """
        if not 0 <= travel_mm <= self.let_off_mm + 1e-9:
            raise refuse(
                f"A key travel of {travel_mm:g} mm is outside the stroke.",
                f"Give 0 to {self.let_off_mm:.2f} mm.",
            )
        it, pivots = self.geometry, self.pivots
        capstan_x, knuckle_x = it.arm_mm + it.capstan_arm_mm, pivots["wippen"][0] - it.top_arm_mm
        jack_top = SHANK_AXIS_MM - KNUCKLE_DROP_MM - KNUCKLE_RADIUS_MM
        hammer_x = pivots["shank"][0] + it.hammer_arm_mm
        knuckle = self.turned("shank", travel_mm, (knuckle_x, SHANK_AXIS_MM - KNUCKLE_DROP_MM))
        at_half_stroke: dict[str, tuple[str, Point]] = {
            "measuring_point": ("key", (0.0, KEY_TOP_MM)),
            "capstan": ("key", (capstan_x, CAPSTAN_TOP_MM)),
            "heel": ("wippen", (capstan_x, CAPSTAN_TOP_MM)),
            "jack_top": ("wippen", (knuckle_x, jack_top)),
            "strike_point": ("shank", (hammer_x, SHANK_AXIS_MM + STRIKE_HEIGHT_MM)),
        }
        placed = {
            name: self.turned(lever, travel_mm, point)
            for name, (lever, point) in at_half_stroke.items()
        }
        return placed | {"knuckle": (knuckle[0], knuckle[1] - KNUCKLE_RADIUS_MM)}

    @property
    def string_mm(self) -> float:
        """Height of the string: where the strike point is at let-off [mm]."""
        return self.points(self.let_off_mm)["strike_point"][1]


def levers_of(key: LessonKey) -> Levers:
    """Return the levers that have a key's ratios.

    The rails stay where they are: a capstan that moves meets the wippen nearer to or
    further from its centre. The knuckle takes up what is left of the action ratio.

    Raises
    ------
    BalancekitError : the capstan would lie behind the wippen's centre.

    >>> levers = levers_of(LessonKey(key_ratio=0.5, action_ratio=5.0))
    >>> round(levers.geometry.action_ratio, 9), round(levers.let_off_mm, 9)
    (5.0, 9.2)
    """
    capstan = key.key_ratio * key.arm_mm
    heel = PIN_TO_WIPPEN_CENTRE_MM - capstan
    usual = ActionGeometry()
    if heel < 20:
        raise refuse(
            f"A capstan {capstan:.0f} mm behind the balance pin would not meet the wippen.",
            "Choose a smaller key ratio.",
        )
    at = replace(usual, arm_mm=key.arm_mm, capstan_arm_mm=capstan, heel_arm_mm=heel)
    knuckle = at.knuckle_arm_mm * at.action_ratio / key.action_ratio
    return Levers(replace(at, knuckle_arm_mm=knuckle), key.blow_distance_mm)


def lever_scene(levers: Levers) -> dict[str, object]:
    """Return the levers as plain values for the drawing; turns are in degrees for 1 mm."""
    it = levers.geometry
    return {
        "pivots": {name: list(point) for name, point in levers.pivots.items()},
        "turns": {name: degrees(turn) for name, turn in levers.turn_for_one_mm.items()},
        "let_off": levers.let_off_mm,
        "ratio": it.action_ratio,
        "arm": it.arm_mm,
        "capstan": it.arm_mm + it.capstan_arm_mm,
        "top": levers.pivots["wippen"][0] - it.top_arm_mm,
        "hammer": levers.pivots["shank"][0] + it.hammer_arm_mm,
        "string": levers.string_mm,
        "heights": {
            "key": KEY_TOP_MM,
            "capstan": CAPSTAN_TOP_MM,
            "knuckle_radius": KNUCKLE_RADIUS_MM,
            "knuckle_drop": KNUCKLE_DROP_MM,
            "strike": STRIKE_HEIGHT_MM,
        },
    }
