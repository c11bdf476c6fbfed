"""Groups of keys that are shifted together: what, by how much, why, and what to measure."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.believed.name_groups import Group
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.uncertainty import known_decimals
from balancekit.instrument.believed import believe
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import Later, panel, table_html, words

SHOWN_AFTER_S = 0.4
# Our own choice: believing all readings takes about half a second, so it waits for a rest.


class Groups(widgets.VBox):
    """The list of groups of the visit in hand."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.told, self.list = words(), words()
        super().__init__([self.told, self.list])
        later = Later(SHOWN_AFTER_S, self.refresh)
        bench.observe(lambda _: later.ask(), ["instrument", "visit"])
        self.refresh()

    def refresh(self) -> None:
        """Show the groups, or say that there is none."""
        bench = self.bench
        found: tuple[Group, ...] = ()
        if not bench.readings.empty:
            found = believe(bench.instrument, bench.visit, bench.findings).groups
        if not found:
            self.told.value = (
                "No group is found: no run of keys is shifted by more than weighing and the "
                "scatter from key to key explain."
            )
            self.list.value = ""
            return
        self.told.value = (
            "These keys are off together. Nothing is planned on them before you have measured "
            "what stands in the last column."
        )
        self.list.value = table_html(
            ["Keys", "Quantity", "Shifted by (holds 95 of 100)", "Likely cause", "Measure this"],
            [
                (_keys(group), QUANTITIES[group.quantity].label, _shift(group),
                 sentence(group.likely_cause), sentence(group.check))
                for group in found
            ],
        )  # fmt: skip


def sentence(text: str) -> str:
    """Return words of our own; the table escapes them."""
    return text[:1].upper() + text[1:]


def _keys(group: Group) -> str:
    of = "sharps of keys " if group.members == "sharps" else ""
    return f"{of}{group.first_key} to {group.last_key}"


def _shift(group: Group) -> str:
    quantity = QUANTITIES[group.quantity]
    digits = quantity.decimals
    if not quantity.unit and group.shift_u > 0:
        digits = known_decimals(2 * group.shift_u)
    unit = f" {quantity.unit}" if quantity.unit else ""
    return f"{group.shift:+.{digits}f} ± {2 * group.shift_u:.{digits}f}{unit}".replace("-", "−")


def groups_panel(bench: Bench) -> widgets.VBox:
    """Which keys are off together, and why."""
    return panel("Which keys are off together?", Groups(bench))
