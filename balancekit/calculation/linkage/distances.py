"""The six distances that make the action ratio, and how a moved capstan or knuckle changes them.

The action ratio is the product of three levers: key, wippen and shank::

    capstan / arm  x  wippen top / wippen heel  x  hammer / knuckle

The rails stay where they are. So a capstan that moves away from the balance pin meets the
wippen nearer to the wippen's centre, and both levers change.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from balancekit.calculation.inertia import Values, refuse_below
from balancekit.calculation.problems import refuse

LEAST_HEEL_MM = 20.0
# Our own choice: a heel nearer to the wippen's centre than this is none.


@dataclass(frozen=True)
class ActionGeometry:
    """The six distances that make the action ratio, measured with the action at half stroke.

    Attributes
    ----------
    arm_mm : balance pin to measuring point [mm].
    capstan_arm_mm : balance pin to the line of contact of the capstan [mm].
    heel_arm_mm : wippen centre to the contact of the capstan [mm].
    top_arm_mm : wippen centre to the contact under the knuckle, along the wippen [mm].
    knuckle_arm_mm : shank centre to the contact of the knuckle [mm].
    hammer_arm_mm : shank centre to the strike point [mm].

    Each is a float, or an array of shape (n,) for n keys.
    """

    # From memory: a usual grand.
    arm_mm: Values = 240.0
    capstan_arm_mm: Values = 125.0
    heel_arm_mm: Values = 64.0
    top_arm_mm: Values = 93.0
    knuckle_arm_mm: Values = 17.0
    hammer_arm_mm: Values = 130.0

    def __post_init__(self) -> None:
        for name, label in (
            ("arm_mm", "Balance pin to measuring point (mm)"),
            ("capstan_arm_mm", "Balance pin to capstan (mm)"),
            ("heel_arm_mm", "Wippen centre to capstan (mm)"),
            ("top_arm_mm", "Wippen centre to knuckle (mm)"),
            ("knuckle_arm_mm", "Shank centre to knuckle (mm)"),
            ("hammer_arm_mm", "Shank centre to strike point (mm)"),
        ):
            refuse_below(label, getattr(self, name), 0, above=True)

    @property
    def key_ratio(self) -> Values:
        """Capstan over arm."""
        return self.capstan_arm_mm / self.arm_mm

    @property
    def action_ratio(self) -> Values:
        """Travel of the hammer for each unit of key travel, from the six distances.

        >>> round(ActionGeometry(200, 100, 60, 90, 18, 126).action_ratio, 3)
        5.25
        """
        wippen = self.top_arm_mm / self.heel_arm_mm
        return self.key_ratio * wippen * self.hammer_arm_mm / self.knuckle_arm_mm

    def with_capstan(self, capstan_arm_mm: Values) -> ActionGeometry:
        """Return the distances with the capstan elsewhere, and the rails where they are.

        Raises
        ------
        BalancekitError : the capstan would not meet the wippen any more.

        >>> moved = ActionGeometry(200, 100, 60, 90, 18, 126).with_capstan(102)
        >>> moved.heel_arm_mm, round(moved.action_ratio, 2)  # 5.25 x 102/100 x 60/58
        (58, 5.54)
        """
        heel = self.heel_arm_mm + self.capstan_arm_mm - capstan_arm_mm
        if (heel < LEAST_HEEL_MM) if isinstance(heel, float | int) else (heel < 20).any():
            raise refuse(
                f"A capstan {capstan_arm_mm} mm behind the balance pin would not meet the wippen.",
                "Choose a smaller distance.",
            )
        return replace(self, capstan_arm_mm=capstan_arm_mm, heel_arm_mm=heel)

    def with_knuckle(self, knuckle_arm_mm: Values) -> ActionGeometry:
        """Return the distances with the knuckle elsewhere, and the strike point where it is."""
        return replace(self, knuckle_arm_mm=knuckle_arm_mm)


USUAL_GEOMETRY = ActionGeometry()


def fit_distances(
    key_ratio: Values,
    action_ratio: Values,
    *,
    arm_mm: Values = USUAL_GEOMETRY.arm_mm,
    heel_arm_mm: Values | None = None,
) -> ActionGeometry:
    """Return distances that give an instrument's key ratio and action ratio.

    The rails of a usual grand; the capstan stands where the key ratio wants it, and the knuckle
    where the action ratio does.

    Parameters
    ----------
    key_ratio, action_ratio : as weighed or measured.
    arm_mm : balance pin to measuring point [mm].
    heel_arm_mm : wippen centre to capstan, where it was measured [mm].

    Raises
    ------
    BalancekitError : a ratio of 0 or below, or a capstan that would not meet the wippen.

    >>> fitted = fit_distances(0.5, 5.0)
    >>> round(fitted.key_ratio, 9), round(fitted.action_ratio, 9)
    (0.5, 5.0)
    """
    refuse_below("Key ratio", key_ratio, 0, above=True)
    refuse_below("Action ratio", action_ratio, 0, above=True)
    rails = replace(USUAL_GEOMETRY, arm_mm=arm_mm, capstan_arm_mm=USUAL_GEOMETRY.key_ratio * arm_mm)
    if heel_arm_mm is None:
        at = rails.with_capstan(key_ratio * arm_mm)
    else:
        at = replace(rails, capstan_arm_mm=key_ratio * arm_mm, heel_arm_mm=heel_arm_mm)
    return at.with_knuckle(at.knuckle_arm_mm * at.action_ratio / action_ratio)
