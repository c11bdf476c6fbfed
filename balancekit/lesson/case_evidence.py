"""What a case teaches: the evidence of a missed or wrong key beside a clean neighbour."""

from __future__ import annotations

from collections.abc import Mapping
from math import hypot

import pandas as pd

from balancekit.calculation.quantities import QUANTITIES
from balancekit.lesson.case import FAULTS, Case
from balancekit.panels.frame import escape, table_html

SIGNS: Mapping[str, tuple[str, str]] = {
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

    >>> from balancekit.lesson.case import make_case
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


def how_sure(table: pd.DataFrame, key: int, neighbour: int, name: str) -> float:
    """Return the difference to a neighbour in standard uncertainties of weighing."""
    reading_u = QUANTITIES[name].reading_u
    known = f"{name.removesuffix('_g')}_u{'_g' if name.endswith('_g') else ''}"
    u = [
        float(table[known][each]) if known in table.columns else float(reading_u or 0.0)
        for each in (key, neighbour)
    ]
    both = hypot(*u)
    return abs(float(table[name][key]) - float(table[name][neighbour])) / both


def evidence_html(case: Case, table: pd.DataFrame, key: int, named: str | None) -> str:
    """Return the evidence of one key beside its neighbour, in words and numbers."""
    planted = case.planted.get(key)
    other = clean_neighbour(case, table, key)
    name, next_step = SIGNS[planted or named or "tight"]
    times = how_sure(table, key, other, name)
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
    sure = (
        f"{QUANTITIES[name].label} lies {times:.0f} times the usual doubt of weighing from key "
        f"{other}. "
    )
    sure += (
        "Sure enough to act after one more weighing." if times >= 4
        else "That may be chance: nobody could be sure from one reading."
    )  # fmt: skip
    return (
        f'<div class="lesson-solution"><p>{head} {sure} <b>Next:</b> {escape(next_step)}</p>'
        + table_html(("", f"Key {key}", f"Key {other}, clean"), rows)
        + "</div>"
    )
