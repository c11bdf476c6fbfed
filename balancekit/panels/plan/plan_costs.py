"""What work costs: the table of minutes and money."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.plan.work_costs import USUAL, WorkCosts
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import button, panel, row, table_html, words
from balancekit.panels.table_entry import TableEntry


class Costs(widgets.VBox):
    """The table of minutes and money, usual until the user writes their own."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.entry = TableEntry(bench, "work_minutes")
        usual = [
            (name, each.label, f"{each.minutes:.0f}" if each.minutes else "",
             f"{each.money:g}", ("yes" if each.undone else "no") if each.minutes else "")
            for name, each in USUAL.items()
        ]  # fmt: skip
        self.usual = words(
            table_html(["Operation", "What it is", "Minutes", "Money", "Can be undone"], usual)
        )
        super().__init__(
            [self.usual,
             row(button("Copy all of them to change", self.copy)),
             self.entry]
        )  # fmt: skip

    def copy(self) -> None:
        """Put every operation with its usual minutes into the table."""
        own = WorkCosts.from_table(self.bench.instrument.table("work_minutes"))
        self.bench.change(self.bench.instrument.with_table("work_minutes", own.table))


def plan_costs_panel(bench: Bench) -> widgets.VBox:
    """How long work takes you, and what parts cost."""
    return panel(
        "How long does it take you?",
        words(
            "Usual bench times, common practice, no source. Time yourself on ten keys and write "
            "your own: the operation by its short name, minutes, money for parts."
        ),
        Costs(bench),
    )
