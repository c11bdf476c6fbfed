"""What became of the groups: which are gone after the work, which are still there, which are new.

A group that was found before the work is looked at again on the same keys, whether it is still
found or not. With b and a how far these keys stand off before and after, and u their standard
uncertainties::

    still there    |a| > 2 u(a)
    changed        |b - a| > 2 sqrt(u(b)^2 + u(a)^2)

Changed and no longer there is gone; changed and still there, on the same side and less, is
smaller; neither changed nor there cannot be told. A group that no earlier one shares most of its
keys with is new; it is as planned where what was expected of these keys stands off as much.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from balancekit.calculation.believed.name_groups import Group
from balancekit.calculation.believed.one_series import as_read
from balancekit.calculation.believed.runs import mostly_inside
from balancekit.calculation.proof.meeting_plan import JUDGED, find_off
from balancekit.calculation.proof.plateaus import (
    Plateau,
    Plateaus,
    find_plateaus,
    keys_of,
    shifts_of,
)
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name

GONE, SMALLER, STILL_THERE, NEW, PLANNED, OPEN, NOT_READ = (
    "gone",
    "smaller",
    "still there",
    "new",
    "new, as planned",
    "cannot be told",
    "not weighed again",
)

_IN_ORDER = (GONE, SMALLER, STILL_THERE, NEW, PLANNED, OPEN, NOT_READ)

_BEYOND = 2.0
# Standard uncertainties; one group in twenty is misjudged by chance (standard normal table).

_BALANCE = "balance_weight_g"


@dataclass(frozen=True)
class Fate:
    """What became of one group.

    Attributes
    ----------
    group : as it was found before the work; a new one as it was found after it.
    became : one of the words above.
    after, after_u : how far its keys stand off after the work; NaN where not weighed again.
    """

    group: Group
    became: str
    after: float
    after_u: float

    @property
    def before(self) -> bool:
        """Whether it was there before the work."""
        return self.became not in (NEW, PLANNED)

    @property
    def open(self) -> bool:
        """Whether there is still something to measure."""
        return self.became not in (GONE, PLANNED)


def meet(one: Group, other: Group) -> bool:
    """Whether two groups share most of their keys."""
    return one.members == other.members and mostly_inside(one.ends, other.ends, whole=True)


def all_groups(groups: Sequence[Group], plateaus: Plateaus) -> tuple[Group, ...]:
    """Return the groups with the plateaus of the balance weight among them, from the left.

    Parameters
    ----------
    groups : of what makes the balance weight; see ``name_groups``.
    plateaus : see ``plateaus.plateaus_in``.
    """
    found = [*groups, *(_named(each, groups) for each in plateaus.get(_BALANCE) or ())]
    return tuple(sorted(found, key=lambda group: (group.first_key, group.last_key)))


def _named(plateau: Plateau, groups: Sequence[Group]) -> Group:
    """Say what makes a plateau of the balance weight: the groups that share its keys."""
    group = Group(
        plateau.first_key, plateau.last_key, plateau.members, _BALANCE,
        plateau.shift, plateau.shift_u, "", "",
    )  # fmt: skip
    beside = dict.fromkeys(
        QUANTITIES[each.quantity].label.lower()
        for each in groups
        if each.quantity != "friction_g" and mostly_inside(each.ends, group.ends)
    )
    if beside:
        return replace(
            group,
            likely_cause=f"what is off in {', '.join(beside)} on these keys",
            check="See the groups on these keys: what puts them right, or lead, puts this right.",
        )
    return replace(
        group,
        likely_cause="lead set by another pattern, or a ratio that the plan did not know of",
        check="Weigh front weight and strike weight of the last key outside and the first inside; "
        "what they do not explain is the ratio.",
    )


def follow_groups(
    before: Sequence[Group],
    after: Sequence[Group],
    read: pd.DataFrame,
    predicted: pd.DataFrame | None = None,
) -> tuple[Fate, ...]:
    """Say what became of every group, those that are new last.

    Parameters
    ----------
    before, after : groups of both sets of readings; see ``all_groups``.
    read : table of keys of the readings after the work.
    predicted : what was expected of them, where it tells what is as planned.
    """
    known = [(group, each) for group in after for each in before if each.quantity == group.quantity]
    again = {group for group, each in known if meet(group, each)}
    new = [group for group in after if group not in again]
    fates = [Fate(g, _became(g, *now), *now) for g, now in _stand_off(before, read)]
    for group, planned in _stand_off(new, read[[]] if predicted is None else predicted):
        word = PLANNED if _is_planned(group, *planned) else NEW
        fates.append(Fate(group, word, group.shift, group.shift_u))
    return tuple(fates)


def _is_planned(group: Group, planned: float, planned_u: float) -> bool:
    """Whether what was expected of these keys stands off as much, on the same side."""
    near = abs(planned - group.shift) <= _BEYOND * np.hypot(planned_u, group.shift_u)
    return bool(near and planned * group.shift > 0)


def _stand_off(
    groups: Sequence[Group], table: pd.DataFrame
) -> list[tuple[Group, tuple[float, float]]]:
    """Return how far the keys of each group stand off in a table, with standard uncertainty."""
    off = dict.fromkeys(groups, (float("nan"), float("nan")))
    for name in {group.quantity for group in groups} & {*table}:
        if uncertainty_name(name) in table:
            own = [group for group in groups if group.quantity == name]
            runs = [(*group.ends, group.members) for group in own]
            values, spread = as_read(table, name), table[uncertainty_name(name)]
            shifts = shifts_of(values, spread, table["colour"], name, runs)
            off |= zip(own, shifts, strict=True)
    return [*off.items()]


def _became(group: Group, after: float, after_u: float) -> str:
    """Say what became of a group whose keys stand off so far after the work."""
    if after != after:
        return NOT_READ
    there = abs(after) > _BEYOND * after_u
    changed = abs(group.shift - after) > _BEYOND * np.hypot(group.shift_u, after_u)
    less = group.shift * after > 0 and abs(after) < abs(group.shift)
    if changed and not there:
        return GONE
    if there:
        return SMALLER if changed and less else STILL_THERE
    return OPEN


def off_together(read: pd.DataFrame, predicted: pd.DataFrame) -> Plateaus:
    """Find runs of keys that came out above or below the plan together.

    Parameters
    ----------
    read, predicted : see ``meeting_plan.find_off``.
    """
    found: dict[str, tuple[Plateau, ...] | None] = {}
    for name in JUDGED:
        off = find_off(read, predicted, name)
        found[name] = find_plateaus(off["difference"], off["u"], read["colour"], name)
    return found


def together_sentences(found: Plateaus) -> list[str]:
    """Say of every run how far it came out off the plan.

    >>> together_sentences({"balance_weight_g": (Plateau(44, 60, "keys", 2.6, 0.2),)})
    ['The balance weight of keys 44 to 60 came out 2.6 g above the plan together, ± 0.4 g: look \
for what these keys share before one of them is taken up alone.']
    """
    said = []
    for name, plateaus in found.items():
        unit = QUANTITIES[name].unit
        for each in plateaus or ():
            side = "above" if each.shift > 0 else "below"
            said.append(
                f"The {QUANTITIES[name].label.lower()} of {keys_of(each)} came out "
                f"{abs(each.shift):.1f} {unit} {side} the plan together, ± {2 * each.shift_u:.1f} "
                f"{unit}: look for what these keys share before one of them is taken up alone."
            )
    return said


def fates_sentence(fates: Iterable[Fate]) -> str:
    """Count what became of the groups; "" where there was none.

    >>> fates_sentence([])
    ''
    """
    words = [fate.became for fate in fates]
    counts = {word: words.count(word) for word in _IN_ORDER}
    said = [f"{count} {word}" for word, count in counts.items() if count]
    return f"Groups of keys: {', '.join(said)}." if said else ""
