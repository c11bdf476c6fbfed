"""The piano as a plan sees it: every key as found, what may be done to it, and what counts.

What is left uneven is one figure, in grams of balance weight squared, summed over the keys::

    (balance weight - its course)^2                 the touch of a slow key
    + (inertia - its course)^2 / inertia_scale_g^2  the touch of a fast one
    + (friction beyond what the key should have)^2  where friction is doubted
    + the error that the hand leaves in what it touches

The course of the balance weight is a straight line, so that a whole group that is off counts on
each of its keys, and not only at its two ends. The course of the inertia is a smooth curve of
the third degree through the keys as found, groups put right; where a lighter or heavier action
is wished for, so much below or above it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from balancekit.calculation.problems import refuse

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

INERTIA_SCALE_G = 12.0
# Our own choice: 12 g of some 370 g of inertia, 3 %, counts as 1 g of balance weight,
# which is 3 % of some 38 g. So one percent counts the same in both.


ALL_KEYS = "all keys"
"""The place of a move that takes in every key."""


@dataclass(frozen=True)
class Shift:
    """A lever that can be moved on a group of keys, or on all of them.

    Attributes
    ----------
    rows : places of its keys among those of the piano.
    first_key, last_key : as a person names the group.
    lever : "capstan" or "knuckle".
    ratio_part, key_ratio_part : action ratio and key ratio after the work over those before. The
        key ratio is that of wippens that weigh what they did before: the capstan meets a wippen
        elsewhere, so its weight changes too, and what it lifts changes as the action ratio does.
    move_mm : how far each is moved; positive makes the ratio smaller [mm].
    place : of moves in the same place only one can be done.
    """

    rows: tuple[int, ...]
    first_key: int
    last_key: int
    lever: str
    ratio_part: float
    key_ratio_part: float
    move_mm: float
    place: str = ""

    @property
    def words(self) -> str:
        """What is done, in full words."""
        keys = f"of keys {self.first_key} to {self.last_key}"
        if self.place == ALL_KEYS:
            side = "smaller" if self.move_mm > 0 else "larger"
            keys = f"of all keys by {abs(self.move_mm):g} mm, to a {side} ratio"
        return f"{'capstan line' if self.lever == 'capstan' else 'knuckles'} {keys}"


@dataclass(frozen=True, eq=False)
class Piano:
    """Every key as it is believed to be; arrays have one entry a key.

    Attributes
    ----------
    keys : key numbers.
    balance_weight_g, front_weight_g, strike_weight_g, wippen_weight_g, spring_relief_g : [g].
    action_ratio, key_ratio : as found.
    inertia_g : inertia at the finger [g].
    excess_friction_g : friction beyond what the key should have, either way; 0 where it is
        right [g].
    known_u_g : standard uncertainty of the balance weight as found, by key [g].
    hammer_fixed_g : strike weight that the user decided on; NaN where the plan is free [g].
    relief_fixed_g : spring relief that the user decided on; NaN where the plan is free [g].
    may_cut : keys on which hammer and lead may be changed: no reading is doubted.
    may_lead : keys whose plugs are known as well.
    has_springs : whether the action has support springs.
    shifts : levers that can be moved.
    may_fit_springs : whether springs may be fitted anew.
    lighter_percent : how much lighter the keys are to be to set going; None where the plan may
        let the level of the inertia go where it goes [%].
    must_move : whether one of the moves of all keys was decided on.
    hand_hammer_g, hand_lead_g, hand_spring_g, hand_friction_g : standard error that is left
        in what was worked on: strike weight, front weight, relief and friction [g].
    """

    keys: pd.Index
    balance_weight_g: Floats
    front_weight_g: Floats
    strike_weight_g: Floats
    wippen_weight_g: Floats
    spring_relief_g: Floats
    action_ratio: Floats
    key_ratio: Floats
    inertia_g: Floats
    excess_friction_g: Floats
    known_u_g: Floats
    hammer_fixed_g: Floats
    relief_fixed_g: Floats
    may_cut: Flags
    may_lead: Flags
    has_springs: bool = False
    shifts: tuple[Shift, ...] = ()
    may_fit_springs: bool = False
    lighter_percent: float | None = None
    must_move: bool = False
    hand_hammer_g: float = 0.1
    hand_lead_g: float = 0.3
    hand_spring_g: float = 0.5
    hand_friction_g: float = 1.0
    # Our own choice: what a scale shows once more after the work (see the register), and for
    # springs and friction what setting by hand leaves; from memory.

    def __post_init__(self) -> None:
        if not len(self.keys):
            raise refuse("There is no key to plan for.", "Weigh at least one key.")
        arrays = {
            name: value
            for name, value in vars(self).items()
            if isinstance(value, np.ndarray) and not name.endswith("_fixed_g")
        }
        for name, value in arrays.items():
            if value.shape != (len(self.keys),) or not np.isfinite(value).all():
                raise refuse(
                    f"{name} is not known on every key.",
                    "Weigh what is missing, at least on every sixth key.",
                )

    @property
    def count(self) -> int:
        """Number of keys."""
        return len(self.keys)

    @property
    def places(self) -> Floats:
        """Place of each key along the keyboard, from -1/2 to 1/2."""
        number = self.keys.to_numpy(dtype=float)
        middle, width = (number[0] + number[-1]) / 2, max(number[-1] - number[0], 1.0)
        return np.asarray((number - middle) / width)

    def moved(self, shifts: tuple[int, ...]) -> tuple[Floats, Floats, Floats]:
        """Return action ratio, balance weight and inertia once some groups are put right.

        Front weight and strike weight stay; the balance equation gives the balance weight::

            change = wippen weight x change of key ratio + strike weight x change of action ratio
        """
        part, key_part = np.ones(self.count), np.ones(self.count)
        for number in shifts:
            rows = list(self.shifts[number].rows)
            part[rows] *= self.shifts[number].ratio_part
            key_part[rows] *= self.shifts[number].key_ratio_part
        ratio = self.action_ratio * part
        balance = (
            self.balance_weight_g
            + self.wippen_weight_g * self.key_ratio * (key_part - 1)
            + self.strike_weight_g * self.action_ratio * (part - 1)
        )
        # The hammer's part of the inertia goes with the square of the ratio; the wippen's part,
        # some 5 g of 370 g, is left as it is.
        inertia = self.inertia_g + self.strike_weight_g * (ratio**2 - self.action_ratio**2)
        return ratio, balance, inertia

    def inertia_course(self, shifts: tuple[int, ...]) -> Floats:
        """Return the course that the inertia is to follow once some levers are moved [g].

        Without a wish it goes along with a lever that is moved on all keys. With one it starts
        from the keys as found, groups put right. Worked out once for the same levers.
        """
        if shifts not in self._courses:
            self._courses[shifts] = self._course(shifts)
        return self._courses[shifts]

    @cached_property
    def _courses(self) -> dict[tuple[int, ...], Floats]:
        return {}

    def _course(self, shifts: tuple[int, ...]) -> Floats:
        if self.lighter_percent is None:
            return self.smooth(self.moved(shifts)[2], 1.0)
        groups = tuple(each for each in shifts if self.shifts[each].place != ALL_KEYS)
        return self.smooth(self.moved(groups)[2], 1.0) * (1 - self.lighter_percent / 100)

    def smooth(self, values_g: Floats, nothing_g: float) -> Floats:
        """Return the curve of the third degree of least absolute deviation [g].

        Parameters
        ----------
        values_g : of the keys, shape (n,) [g].
        nothing_g : a deviation below it counts as nothing [g].
        """
        degree = min(3, max(self.count - 2, 0))
        curve = np.polynomial.legendre.legvander(2 * self.places, degree)
        weight = np.ones(self.count)
        for _ in range(20):
            root = np.sqrt(weight)
            found = np.linalg.lstsq(curve * root[:, None], values_g * root, rcond=None)[0]
            weight = 1.0 / np.maximum(np.abs(values_g - curve @ found), nothing_g)
        return np.asarray(curve @ found)
