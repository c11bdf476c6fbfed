"""What a case teaches: the evidence of a missed or wrong key beside a clean neighbour."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from balancekit.calculation.irregularities.trend import Trend
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import escape
from balancekit.lesson.faults.case import FAULTS, Case
from balancekit.panels.frame import table_html

EVIDENCE: Mapping[str, tuple[str, str]] = {
    "tight": ("friction_g", "Weigh again, then feel each centre alone: shank, wippen, key."),
    "loose": ("friction_g", "Weigh again, then look for play in bushings and centres."),
    "heavy hammer": ("strike_weight_g", "Weigh the hammer again, and its two neighbours."),
    "light hammer": ("strike_weight_g", "Weigh the hammer again, and its two neighbours."),
    "lead missing": ("front_weight_g", "Weigh the front again and count the plugs in the key."),
    "capstan": ("key_ratio", "Measure the capstan line again with the rule, on three keys."),
    "exchanged": ("friction_g", "Friction cannot be below 0: take both weights again."),
    "decimal": ("strike_weight_g", "Put the hammer on the scale again and read the point."),
}
"""Of each fault: the quantity that shows it best, and what to measure next."""


def lessons_of(case: Case, named: Mapping[int, str]) -> tuple[int, ...]:
    """Return the keys that were missed, named with another fault, or accused without one.

    >>> from balancekit.lesson.faults.case import make_case
    >>> case = make_case(5)
    >>> lessons_of(case, case.planted)
    ()
    """
    keys = {*case.planted, *named}
    return tuple(sorted(key for key in keys if named.get(key) != case.planted.get(key)))


def clean_neighbour(case: Case, table: pd.DataFrame, key: int) -> int:
    """Return the nearest sound key of the same colour."""
    sound = [
        int(other)
        for other in table.index
        if other not in case.planted
        and str(table["colour"][other]) == str(table["colour"][key])
        and other != key
    ]
    return min(sound, key=lambda other: (abs(other - key), other))


@dataclass(frozen=True)
class Sureness:
    """How sure one could have been of a key, from one reading.

    Attributes
    ----------
    deviations : how far the reading lies from what the other keys suggest, in standard
        deviations of a sound key: scatter and weighing together.
    one_in : one sound key in so many lies as far by chance.
    """

    deviations: float
    one_in: float

    @property
    def words(self) -> str:
        """The same in a sentence.

        >>> Sureness(2.0, 22.0).words
        'One sound key in 22 lies as far by chance: of 88 keys 4. Nobody could be sure yet.'
        """
        if self.one_in > 880:
            return (
                "Chance alone hardly puts a sound key so far. Sure enough, after one more weighing."
            )
        chance = f"One sound key in {self.one_in:.0f} lies as far by chance"
        return f"{chance}: of 88 keys {88 / self.one_in:.0f}. Nobody could be sure yet."


def how_sure(trend: Trend, key: int) -> Sureness:
    """Return how sure one could have been that a key is not like the others.

    The chance is that of a normal distribution, both sides.
    """
    away = abs(float(trend.deviation.to_dict()[key]))
    chance = math.erfc(away / math.sqrt(2))
    return Sureness(away, 1 / max(chance, 1e-12))


def evidence_html(
    case: Case, table: pd.DataFrame, trends: Mapping[str, Trend], key: int, named: str | None
) -> str:
    """Return the evidence of one key beside its neighbour, in words and numbers."""
    planted = case.planted.get(key)
    other = clean_neighbour(case, table, key)
    name, next_step = EVIDENCE[planted or named or "tight"]
    head = f"<b>Key {key}.</b> "
    if planted is None:
        head += (
            f"You named it ({escape(FAULTS[named].words) if named else 'cause open'}). It is sound."
        )
    elif named:
        head += f"You named {escape(FAULTS[named].words)}; it is {escape(FAULTS[planted].words)}."
    else:
        head += f"You missed it: {escape(FAULTS[planted].words)}."
    shown = dict.fromkeys((name, "friction_g", "balance_weight_g", "front_weight_g",
                           "strike_weight_g", "key_ratio", "action_ratio"))  # fmt: skip
    rows = [
        (q.label, *(q.text(float(table[each][k])) for k in (key, other)))
        for each, q in ((each, QUANTITIES[each]) for each in shown)
    ]
    known = how_sure(trends[name], key)
    sure = (
        f"{QUANTITIES[name].label} lies {known.deviations:.1f} standard deviations from what the "
        f"other keys suggest. {known.words}"
    )
    return (
        f'<div class="lesson-solution"><p>{head} {sure} <b>Next:</b> {escape(next_step)}</p>'
        + table_html(("", f"Key {key}", f"Key {other}, clean"), rows)
        + "</div>"
    )
