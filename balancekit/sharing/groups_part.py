"""Groups of keys in words and tables: as found, and what became of them after the work."""

from __future__ import annotations

from collections.abc import Sequence

from balancekit.calculation.believed.name_groups import Group
from balancekit.calculation.proof.groups_after import Fate
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import run_in_words
from balancekit.charts.groups import shift_words

FOUND_HEADINGS = (
    "Where", "Quantity", "Shifted by (holds 95 of 100)", "Likely cause", "Measure this",
)  # fmt: skip
FATE_HEADINGS = (
    "Where", "Quantity", "What became of it", "Before", "After", "Likely cause", "Measure this",
)  # fmt: skip

NO_GROUP = (
    "No group is found: no run of keys is shifted by more than weighing and the scatter from key "
    "to key explain."
)


NO_FATE = "No group of keys was found before the work or after it."


def found_rows(groups: Sequence[Group]) -> list[tuple[str, ...]]:
    """Return the groups of one set of readings, one row each, below ``FOUND_HEADINGS``."""
    return [
        (_where(each), QUANTITIES[each.quantity].label,
         shift_words(each.quantity, each.shift, each.shift_u), _sentence(each.likely_cause),
         _sentence(each.check))
        for each in groups
    ]  # fmt: skip


def fate_rows(fates: Sequence[Fate]) -> list[tuple[str, ...]]:
    """Return what became of the groups, one row each, below ``FATE_HEADINGS``."""
    rows: list[tuple[str, ...]] = []
    for fate in fates:
        group = fate.group
        before = shift_words(group.quantity, group.shift, group.shift_u) if fate.before else ""
        rows.append(
            (_where(group), QUANTITIES[group.quantity].label, _sentence(fate.became), before,
             shift_words(group.quantity, fate.after, fate.after_u), _sentence(group.likely_cause),
             _sentence(group.check) if fate.open else "")
        )  # fmt: skip
    return rows


def _where(group: Group) -> str:
    return _sentence(run_in_words(group.first_key, group.last_key, group.members))


def _sentence(text: str) -> str:
    """Return words of our own with a capital at their start."""
    return text[:1].upper() + text[1:]
