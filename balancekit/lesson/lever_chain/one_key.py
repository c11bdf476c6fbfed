"""One key of the lessons: its parts, what they weigh at the finger, and how it moves.

The apprentice chooses the parts; everything else follows from them by the functions of
the suite. Nothing here knows a widget.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from math import ceil

from balancekit.calculation import balance, inertia
from balancekit.calculation.generator import PLUG_DIAMETER_MM, PLUG_MASS_G
from balancekit.calculation.leads.key_stick import WOOD_DENSITY_G_CM3
from balancekit.calculation.linkage.distances import fit_distances
from balancekit.calculation.linkage.loads import Loads, Spring, with_friction
from balancekit.calculation.linkage.loads import inertia_g as inertia_of_levers_g
from balancekit.calculation.linkage.motion import move_seconds
from balancekit.calculation.linkage.moves import with_moved_capstan
from balancekit.calculation.linkage.positions import Linkage
from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.calculation.quantities import QUANTITIES

PLUG_STEP_MM = 15.0
# Our own choice: plugs of 12.7 mm with a little wood between them.

STICK_MM = {"length_mm": 410.0, "height_mm": 23.0, "width_mm": 13.0, "pin_to_front_mm": 253.0}
# From memory: the key stick of a usual grand.


LONGEST_S = 3.0
# Our own choice: nobody waits longer for a drawing.

SPRING_RATE_N_MM_RAD = 8.0
# From memory: a support spring that is long and soft.

_OTHER_LIMITS = {"bare_front_weight_g": (-20.0, 40.0), "lead_g": (0.0, 60.0)}


@dataclass(frozen=True)
class LessonKey:
    """The parts of one key.

    Attributes
    ----------
    strike_weight_g, wippen_weight_g : as a scale shows them [g].
    key_ratio, action_ratio : the levers.
    spring_relief_g : what a support spring carries at the measuring point [g].
    friction_g : at the measuring point [g].
    bare_front_weight_g : front weight of the key without leads [g].
    lead_g : net mass of all plugs [g].
    lead_mm : middle of the plugs, from the balance pin, negative behind it [mm].
    arm_mm : balance pin to measuring point [mm].
    blow_distance_mm : hammer to string [mm].
    """

    strike_weight_g: float = 10.0
    wippen_weight_g: float = 18.0
    key_ratio: float = 0.5
    action_ratio: float = 5.5
    spring_relief_g: float = 0.0
    friction_g: float = 12.0
    bare_front_weight_g: float = 3.6
    lead_g: float = 39.0
    lead_mm: float = 144.0
    arm_mm: float = 240.0
    blow_distance_mm: float = 46.0

    def __post_init__(self) -> None:
        problems = []
        for item in fields(self):
            value = float(getattr(self, item.name))
            name = "distance_mm" if item.name == "lead_mm" else item.name
            low, high = _OTHER_LIMITS.get(name) or (
                QUANTITIES[name].minimum,
                QUANTITIES[name].maximum,
            )
            if not low <= value <= high:
                problems.append(
                    Problem(f"{value:g} is not possible.", f"Give {low:g} to {high:g}.",
                            column=item.name)
                )  # fmt: skip
        if problems:
            raise BalancekitError(problems)

    @property
    def plugs(self) -> tuple[tuple[float, float], ...]:
        """Mass [g] and distance from the balance pin [mm] of each plug, alike and side by side.

        >>> LessonKey(lead_g=20.0, lead_mm=100.0).plugs
        ((10.0, 92.5), (10.0, 107.5))
        """
        count = ceil(self.lead_g / PLUG_MASS_G)
        first = self.lead_mm - (count - 1) / 2 * PLUG_STEP_MM
        return tuple((self.lead_g / count, first + n * PLUG_STEP_MM) for n in range(count))

    @property
    def lead_front_weight_g(self) -> float:
        """What the lead adds to the front weight: mass x distance / arm [g].

        >>> LessonKey(lead_g=20.0, lead_mm=120.0, arm_mm=240.0).lead_front_weight_g
        10.0
        """
        return self.lead_g * self.lead_mm / self.arm_mm

    @property
    def front_weight_g(self) -> float:
        """The bare key's front weight and that of the lead [g]."""
        return self.bare_front_weight_g + self.lead_front_weight_g

    @cached_property
    def linkage(self) -> Linkage:
        """Key, wippen and shank with this key's ratios at half stroke."""
        distances = fit_distances(self.key_ratio, self.action_ratio, arm_mm=self.arm_mm)
        return Linkage(distances, self.blow_distance_mm)

    @property
    def capstan_mm(self) -> float:
        """Balance pin to capstan [mm]."""
        return self.key_ratio * self.arm_mm

    @property
    def knuckle_mm(self) -> float:
        """Shank centre to knuckle [mm]."""
        return float(self.linkage.distances.knuckle_arm_mm)

    @property
    def spring(self) -> Spring:
        """The support spring that gives the relief at half stroke."""
        if not self.spring_relief_g:
            return Spring()
        rest, level = self.linkage.at(0.0), self.linkage.weighing
        return Spring.for_relief(
            self.spring_relief_g,
            turned=float(rest.wippen - level.wippen),
            turn_for_travel=float(-level.wippen_for_key / level.travel_for_key),
            rate_n_mm_rad=SPRING_RATE_N_MM_RAD,
        )

    def with_capstan(self, capstan_mm: float) -> LessonKey:
        """Return the key with its capstan elsewhere; the wippen's own moment stays.

        Raises
        ------
        BalancekitError : the capstan would not meet the wippen, or a ratio becomes impossible.

        >>> moved = LessonKey().with_capstan(121.0)
        >>> round(moved.key_ratio, 3), round(moved.action_ratio, 2), round(moved.wippen_weight_g, 1)
        (0.504, 5.63, 18.3)
        """
        moved = with_moved_capstan(
            key_ratio=self.key_ratio,
            action_ratio=self.action_ratio,
            wippen_weight_g=self.wippen_weight_g,
            move_mm=capstan_mm - self.capstan_mm,
            arm_mm=self.arm_mm,
        )
        return replace(self, **moved)

    def with_knuckle(self, knuckle_mm: float) -> LessonKey:
        """Return the key with its knuckle elsewhere: another action ratio."""
        ratio = self.linkage.distances.with_knuckle(knuckle_mm).action_ratio
        return replace(self, action_ratio=ratio)

    @property
    def wippen_lifts_g(self) -> float:
        """Wippen weight x key ratio [g]."""
        return self.wippen_weight_g * self.key_ratio

    @property
    def hammer_lifts_g(self) -> float:
        """Strike weight x action ratio [g]."""
        return self.strike_weight_g * self.action_ratio

    @property
    def balance_weight_g(self) -> float:
        """The balance weight that the parts give [g].

        >>> round(LessonKey().balance_weight_g, 6)
        37.0
        """
        names = [name for name in balance.TERMS if name != "balance_weight_g"]
        return float(
            balance.solve_for_balance_weight(**{name: getattr(self, name) for name in names})
        )

    @property
    def down_weight_g(self) -> float:
        """The least weight that sinks the key [g]."""
        return float(
            balance.find_down_weight(
                balance_weight_g=self.balance_weight_g, friction_g=self.friction_g
            )
        )

    @property
    def up_weight_g(self) -> float:
        """The greatest weight that the key lifts [g]."""
        return float(
            balance.find_up_weight(
                balance_weight_g=self.balance_weight_g, friction_g=self.friction_g
            )
        )

    @property
    def inertia_parts_g(self) -> dict[str, float]:
        """Inertia at the finger of hammer, wippen, key stick and lead [g]."""
        stick = inertia.stick_inertia_g_mm2(density_g_cm3=WOOD_DENSITY_G_CM3, **STICK_MM)
        lead = sum(
            inertia.plug_inertia_g(
                mass_g=mass, distance_mm=place, radius_mm=PLUG_DIAMETER_MM / 2, arm_mm=self.arm_mm
            )
            for mass, place in self.plugs
        )
        return {
            "hammer": float(
                inertia.hammer_inertia_g(
                    strike_weight_g=self.strike_weight_g, action_ratio=self.action_ratio
                )
            ),
            "wippen": inertia.wippen_inertia_g(
                wippen_weight_g=self.wippen_weight_g, key_ratio=self.key_ratio
            ),
            "key stick": inertia.at_measuring_point_g(stick, arm_mm=self.arm_mm),
            "lead": float(lead),
        }

    @cached_property
    def loads(self) -> Loads:
        """What the levers carry; the spring keeps its torque, friction is spread in proportion."""
        parts = self.inertia_parts_g
        free = Loads(
            strike_weight_g=self.strike_weight_g,
            wippen_weight_g=self.wippen_weight_g,
            front_weight_g=self.front_weight_g,
            key_inertia_g=parts["key stick"] + parts["lead"],
            spring=self.spring,
        )
        return with_friction(self.linkage, free, self.friction_g)

    @property
    def inertia_g(self) -> float:
        """Inertia at the finger at half stroke, all parts together [g]."""
        return float(inertia_of_levers_g(self.linkage, self.loads, self.linkage.weighing))

    def seconds(self, weight_g: float, from_mm: float, to_mm: float) -> float:
        """Return how long the key takes under a weight, as it is drawn: never too long [s].

        >>> 0.0 < LessonKey().seconds(60.0, 0.0, 8.0) < 1.0
        True
        """
        return min(move_seconds(self.linkage, self.loads, weight_g, from_mm, to_mm), LONGEST_S)


def answer(weight_g: float, down_weight_g: float, up_weight_g: float) -> str:
    """Say what a key does under a weight: "sinks", "sticks" or "lifts".

    >>> [answer(grams, 49.0, 25.0) for grams in (25.0, 26.0, 48.0, 49.0)]
    ['lifts', 'sticks', 'sticks', 'sinks']
    """
    if weight_g >= down_weight_g:
        return "sinks"
    return "lifts" if weight_g <= up_weight_g else "sticks"
