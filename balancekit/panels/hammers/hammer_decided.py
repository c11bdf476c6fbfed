"""What was decided about the hammers, in a few lines, and whether it is kept."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import panel, table_html, words
from balancekit.panels.hammers.hammer_desk import HammerDesk, hammer_desk
from balancekit.panels.hammers.hammer_view import DeskLine


class Decided(widgets.VBox):
    """The choice in words."""

    def __init__(self, desk: HammerDesk) -> None:
        self.desk, self.text = desk, words()
        super().__init__([self.text])
        desk.when_changed(self.refresh)
        desk.observe(lambda _: self.refresh(), "kept")

    def refresh(self) -> None:
        """Say what stands now."""
        if self.desk.refusal:
            self.text.value = escape(self.desk.refusal)
            return
        plan, choice = self.desk.plan, self.desk.choice
        kept = "<b>Kept with the instrument.</b>" if self.desk.kept else (
            "<b>A proposal only: nothing of this is kept yet.</b>"
        )  # fmt: skip
        if choice.front_weight_from == "levels":
            front = (
                f"{choice.front_weight_first_g:.1f} g at the first key, "
                f"{choice.front_weight_last_g:.1f} g at the last"
            )
        else:
            front = f"lead up to {choice.lead_percent:.1f} % of the inertia"
        lines = [
            ("Hammers", choice.hammers or "those in the piano"),
            ("Wanted balance weight", f"{choice.balance_weight_g:.1f} g"),
            ("Highest front weight", front),
            ("Target", choice.target),
        ]
        try:
            lines.append(("Work", plan.totals.sentence))
        except BalancekitError as error:
            lines.append(("Work", str(error)))
        if choice.ratio_change_percent:
            how = f"by the {choice.lever}"
            lines.append(("Action ratio", f"{choice.ratio_change_percent:+.1f} % {how}"))
        if choice.spring_relief_more_g:
            lines.append(("Spring relief", f"{choice.spring_relief_more_g:.1f} g more"))
        self.text.value = kept + table_html(("What", "Decided"), lines)


def hammer_decided_panel(bench: Bench) -> widgets.VBox:
    """What was decided, for the next chapter."""
    desk = hammer_desk(bench)
    return panel("Your choice of hammers", Decided(desk), DeskLine(desk))
