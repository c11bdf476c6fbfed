"""A key that exists only here: hidden truth, weights to set on it, scales with noise.

The apprentice measures and computes as at the bench. Then the truth is shown, and with it
how much of each miss came from weighing and how much from a slip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np
import pandas as pd

from balancekit.calculation import balance
from balancekit.calculation.generator import Recipe, invent
from balancekit.calculation.keyboard import keyboard
from balancekit.calculation.linkage.distances import fit_distances
from balancekit.calculation.linkage.loads import Loads, held_g, with_friction
from balancekit.calculation.linkage.motion import move_seconds
from balancekit.calculation.linkage.positions import Linkage
from balancekit.calculation.problems import refuse
from balancekit.calculation.quantities import QUANTITIES, TOUCH_COLUMNS
from balancekit.lesson.lever_chain.one_key import LONGEST_S, LessonKey

STEP_G = 1.0
"""The weights come in steps of one gram."""

SCALE_STEP_G, RULER_STEP_MM = 0.1, 0.5
# Our own choice: a shop scale, and a rule read to half a millimetre.

SCALES = ("front_weight_g", "strike_weight_g", "wippen_weight_g")
RULERS = ("arm_mm", "capstan_arm_mm")
COMPUTED = ("balance_weight_g", "friction_g", "key_ratio", "action_ratio")
ENTERED = (*TOUCH_COLUMNS, *SCALES, *RULERS, *COMPUTED)
"""Everything that the apprentice finds, readings first."""

MAY_BE_BELOW_0 = ("front_weight_g",)
"""What a scale may show below 0: a key that is heavier behind its balance pin."""

CLOSE_ENOUGH = {"balance_weight_g": 0.1, "friction_g": 0.1, "key_ratio": 0.003,
                "action_ratio": 0.03}  # fmt: skip
"""How far a computed entry may be from what its own readings give, by rounding."""


def reading_u(name: str) -> float:
    """Return the standard uncertainty of one reading at this bench.

    >>> reading_u("down_weight_g"), reading_u("arm_mm")
    (0.7, 0.5)
    """
    register = QUANTITIES["capstan_arm_mm" if name in RULERS else name].reading_u
    assert register is not None
    return register


def as_shown(name: str, value: float) -> str:
    """Return a value as this bench shows and reads it: a rule to half a millimetre.

    >>> as_shown("arm_mm", 237.5), as_shown("front_weight_g", -0.04)
    ('237.5 mm', '0.0 g')
    """
    if name in RULERS:
        return f"{round(value, 1) + 0.0:.1f} mm".replace("-", "−")
    return QUANTITIES[name].text(round(value, 1) + 0.0 if name in SCALES else value)


@dataclass(frozen=True)
class Trial:
    """One weight set on the key, and what the key did.

    Attributes
    ----------
    weight_g : the weight [g].
    pressed : whether the key was held down before, or at rest.
    moved : whether it sank from rest, or lifted from below.
    seconds : how long that took [s].
    """

    weight_g: int
    pressed: bool
    moved: bool
    seconds: float

    @property
    def words(self) -> str:
        """What the key did.

        >>> Trial(40, False, False, 0.0).words
        '40 g on the key at rest: it stays up.'
        """
        where = "pressed key" if self.pressed else "key at rest"
        does = ("it lifts the weight" if self.moved else "it stays down") if self.pressed else (
            "it sinks" if self.moved else "it stays up"
        )  # fmt: skip
        return f"{self.weight_g} g on the {where}: {does}."


class VirtualKey:
    """A key with hidden truth.

    Parameters
    ----------
    seed : the same seed gives the same key, and the same noise for the same steps.

    Set in whole grams, the least weight that sinks a key lies half a step above the
    threshold on average, and the greatest that it lifts half a step below. Both thresholds
    are shifted by that half step, so that readings are right on average.
    """

    def __init__(self, seed: int) -> None:
        self.seed = seed
        choose = np.random.default_rng([seed, 1])
        self.key = int(choose.integers(1, 89))
        recipe = Recipe(
            bass_strike_g=round(choose.uniform(10.0, 12.5), 2),
            treble_strike_g=round(choose.uniform(5.0, 7.0), 2),
            ratio=round(choose.uniform(5.2, 6.1), 2),
        )
        row = {str(n): v for n, v in invent(seed, recipe).truth.loc[self.key].to_dict().items()}
        line = keyboard().loc[self.key]
        self.colour, self.note_name = str(line["colour"]), str(line["note_name"])
        arm = recipe.sharp_arm_mm if self.colour == "sharp" else recipe.natural_arm_mm
        # Nobody is to know the arm beforehand.
        arm += float(choose.uniform(-6.0, 6.0))
        self.levers = Linkage(fit_distances(row["key_ratio"], row["action_ratio"], arm_mm=arm))
        self._truth = {name: row[name] for name in (*TOUCH_COLUMNS, *SCALES, *COMPUTED)} | {
            "arm_mm": arm, "capstan_arm_mm": arm * row["key_ratio"]
        }  # fmt: skip
        self.loads = self._load(row)
        self._noise = np.random.default_rng([seed, 2])
        self._hand_g = sqrt(reading_u("down_weight_g") ** 2 - STEP_G**2 / 12)
        self.trials: list[Trial] = []
        self.steps: list[tuple[str] | tuple[int, bool]] = []
        self.readings: dict[str, list[float]] = {name: [] for name in (*SCALES, *RULERS)}

    def _load(self, row: Mapping[str, float]) -> Loads:
        """Put the parts on the levers; what the key does then follows from the levers alone."""
        parts = LessonKey().inertia_parts_g
        free = Loads(
            strike_weight_g=row["strike_weight_g"],
            wippen_weight_g=row["wippen_weight_g"],
            front_weight_g=row["front_weight_g"],
            key_inertia_g=parts["key stick"] + parts["lead"],
        )
        loads = with_friction(self.levers, free, row["friction_g"])
        level = self.levers.weighing
        down, up = (float(held_g(self.levers, loads, level, way)) for way in (1, -1))
        self._truth |= {"down_weight_g": down, "up_weight_g": up}
        self._truth["balance_weight_g"] = (down + up) / 2
        return loads

    @property
    def truth(self) -> Mapping[str, float]:
        """What is true of the key; for after the work."""
        return dict(self._truth)

    def set_weight(self, weight_g: int, *, pressed: bool) -> Trial:
        """Set a weight on the key, at rest or pressed, and see what it does.

        Near the threshold the judgement of "slow and steady" wavers: the same weight may do
        it once and not the next time.

        Raises
        ------
        BalancekitError : a weight that is not a whole number of grams from 0 to 200.
        """
        if weight_g != int(weight_g) or not 0 <= weight_g <= 200:
            raise refuse(f"{weight_g} g cannot be set.", "Give whole grams from 0 to 200.")
        wavers = float(self._noise.normal(0.0, self._hand_g))
        if pressed:
            excess = self._truth["up_weight_g"] + STEP_G / 2 + wavers - weight_g
        else:
            excess = weight_g - (self._truth["down_weight_g"] - STEP_G / 2 + wavers)
        end = float(self.levers.stroke_mm)
        goes = (end, 0.0) if pressed else (0.0, end)
        seconds = min(move_seconds(self.levers, self.loads, weight_g, *goes), LONGEST_S)
        trial = Trial(int(weight_g), pressed, excess >= 0, seconds if excess >= 0 else 0.0)
        self.trials.append(trial)
        self.steps.append((int(weight_g), pressed))
        return trial

    def read(self, name: str) -> float:
        """Read a scale or a ruler once; another time it reads a little differently.

        Parameters
        ----------
        name : one of ``SCALES`` or ``RULERS``.

        Returns
        -------
        the reading [g, to 0.1 g; mm, to 0.5 mm].

        Raises
        ------
        BalancekitError : a name that no scale or ruler reads.
        """
        if name not in self.readings:
            raise refuse(
                f"'{name}' is not read here.", f"Choose one of {', '.join(self.readings)}."
            )
        step = RULER_STEP_MM if name in RULERS else SCALE_STEP_G
        hand = sqrt(reading_u(name) ** 2 - step**2 / 12)
        value = self._truth[name] + float(self._noise.normal(0.0, hand))
        shown = float(round(round(value / step) * step, 3))
        self.readings[name].append(shown)
        self.steps.append((name,))
        return shown

    def uncertainties(self, values: Mapping[str, float]) -> dict[str, float]:
        """Return the standard uncertainty of everything that is asked, readings repeated or not.

        Parameters
        ----------
        values : what was entered, as far as it was.

        References
        ----------
        JCGM 100:2008, 4.2.3 (mean of repeats) and 5.1.2.
        """
        u = {name: reading_u(name) for name in TOUCH_COLUMNS}
        u |= {
            name: reading_u(name) / sqrt(max(1, len(taken)))
            for name, taken in self.readings.items()
        }
        u["balance_weight_g"] = u["friction_g"] = balance.find_half_sum_uncertainty(
            down_weight_u_g=u["down_weight_g"], up_weight_u_g=u["up_weight_g"]
        )
        known = {**self._truth, **values}
        u["key_ratio"] = abs(known["key_ratio"]) * sqrt(
            (u["capstan_arm_mm"] / known["capstan_arm_mm"]) ** 2
            + (u["arm_mm"] / known["arm_mm"]) ** 2
        )
        u["action_ratio"] = float(balance.uncertainty_of("action_ratio", known, u))
        return u


def compute(readings: Mapping[str, float]) -> dict[str, float]:
    """Compute what follows from readings, as far as they were taken.

    >>> compute({"down_weight_g": 50.0, "up_weight_g": 26.0})
    {'balance_weight_g': 38.0, 'friction_g': 12.0}
    """
    found: dict[str, float] = {}
    if all(name in readings for name in TOUCH_COLUMNS):
        weights = {name: readings[name] for name in TOUCH_COLUMNS}
        found["balance_weight_g"] = balance.find_balance_weight(**weights)
        found["friction_g"] = balance.find_friction(**weights)
    if all(name in readings for name in RULERS):
        found["key_ratio"] = readings["capstan_arm_mm"] / readings["arm_mm"]
    needed = {**{name: readings[name] for name in SCALES if name in readings}, **found}
    terms = (*SCALES, "balance_weight_g", "key_ratio")
    if all(name in needed for name in terms):
        found["action_ratio"] = balance.solve_for_action_ratio(**{n: needed[n] for n in terms})
    return found


def assess(key: VirtualKey, entered: Mapping[str, float]) -> pd.DataFrame:
    """Compare what was entered with the truth, and split each miss.

    Parameters
    ----------
    key : the key that was measured.
    entered : values by name, any of ``ENTERED``.

    Returns
    -------
    DataFrame by name: ``entered, truth, miss, from_weighing, from_slip, u, in_u, slipped,
    verdict``. What rounding alone may have made has not ``slipped``.
    ``in_u`` is the miss in standard uncertainties. The part from weighing is what the
    readings, rightly computed with, would have missed by; the rest is a slip.
    """
    u, follows = key.uncertainties(entered), compute(entered)
    rows = {}
    for name in ENTERED:
        if name not in entered:
            continue
        value, truth = float(entered[name]), key.truth[name]
        if name in COMPUTED:
            honest = follows.get(name, value)
        elif name in TOUCH_COLUMNS:
            honest = value
        else:
            honest = float(np.mean(key.readings[name])) if key.readings[name] else value
        in_u = (value - truth) / u[name]
        slip = value - honest
        said = _slip_words(key, name, entered, slip)
        rows[name] = (value, truth, value - truth, honest - truth, slip, u[name], in_u,
                      bool(said), said or _noise_words(in_u))  # fmt: skip
    columns = ["entered", "truth", "miss", "from_weighing", "from_slip", "u", "in_u", "slipped",
               "verdict"]  # fmt: skip
    return pd.DataFrame.from_dict(rows, orient="index", columns=columns)


def near_and_slips(table: pd.DataFrame) -> tuple[int, int]:
    """Return how many entries lie within two standard uncertainties, and how many are slips.

    >>> near_and_slips(assess(VirtualKey(7), {"arm_mm": 900.0}))
    (0, 1)
    """
    return int((table["in_u"].abs() <= 2).sum()), int(table["slipped"].sum())


def _slip_words(key: VirtualKey, name: str, entered: Mapping[str, float], slip: float) -> str:
    """Say what was computed or read wrongly, or "" where rounding alone may have made it."""
    value = float(entered[name])
    if name in COMPUTED and abs(slip) > CLOSE_ENOUGH[name] * (1 + 1e-9):
        mistake = _named_mistake(name, entered)
        own = as_shown(name, value - slip)
        return f"Compute again{mistake}: your own readings give {own}."
    if name in key.readings and not key.readings[name]:
        return "You did not read this."
    if name in TOUCH_COLUMNS:
        pressed = name == "up_weight_g"
        tried = {trial.weight_g for trial in key.trials if trial.pressed == pressed}
        if round(value) not in tried:
            return f"You did not set {value:.0f} g on the key this way round."
    if name in key.readings:
        low, high = min(key.readings[name]), max(key.readings[name])
        if not low - 0.05 <= value <= high + 0.05:
            return "This is none of your readings, nor between them."
    return ""


def _noise_words(in_u: float) -> str:
    if abs(in_u) <= 2:
        return "All of this miss is noise."
    if abs(in_u) <= 3:
        return "Rather far for noise: it happens once in twenty. Read again."
    return "Too far for noise. Read again, slowly."


def _named_mistake(name: str, entered: Mapping[str, float]) -> str:
    """Name the likely mistake behind a value that was computed wrongly, or nothing."""
    given = {n: float(entered[n]) for n in ENTERED if n in entered and n not in COMPUTED}
    value, results = float(entered[name]), compute(given)
    candidates: dict[str, float] = {}
    if name in ("balance_weight_g", "friction_g") and name in results:
        down, up = given["down_weight_g"], given["up_weight_g"]
        candidates = {
            "the sum, not half of it": down + up,
            "the whole gap, not half of it": down - up,
            "friction and balance weight exchanged": results["friction_g"]
            if name == "balance_weight_g"
            else results["balance_weight_g"],
        }
    elif name in results:
        candidates = {"the ratio upside down": 1 / results[name]}
        if name == "action_ratio":
            strike, wippen = given["strike_weight_g"], given["wippen_weight_g"]
            lifted = wippen * results["key_ratio"]
            candidates |= {
                "the wippen left out": results[name] + lifted / strike,
                "the wippen without its lever": results[name] + (lifted - wippen) / strike,
                "the front weight left out": results[name] - given["front_weight_g"] / strike,
                "the down weight taken for the balance weight": results[name]
                + results["friction_g"] / strike,
            }
    near = [text for text, wrong in candidates.items() if abs(value - wrong) <= CLOSE_ENOUGH[name]]
    return f" ({near[0]}?)" if near else ""
