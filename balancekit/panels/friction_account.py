"""Where friction sits: the parts taken alone, and what they leave."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.friction_account import (
    FRICTION_PARTS,
    account_friction,
    friction_sentence,
)
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.charts.friction_account import friction_account_chart
from balancekit.instrument.bench import Bench
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import panel, table_html, words, wrong
from balancekit.panels.table_entry import TableEntry


class FrictionAccount(widgets.VBox):
    """Friction of parts alone in, shares at the measuring point out."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.text = bench, words()
        self.picture = widgets.VBox()
        super().__init__([TableEntry(bench, "friction_parts"), self.text, self.picture])
        bench.when_changed(self.refresh, "instrument", "visit")

    def refresh(self) -> None:
        """Draw and say the account of the sampled keys."""
        parts = self.bench.instrument.table("friction_parts")
        try:
            account = account_friction(parts, self.bench.table)
        except BalancekitError as error:
            self.text.value, self.picture.children = wrong(error), ()
            return
        rows = [
            (line["key"], line["part"], _grams(line["share_g"]), _grams(line["share_u_g"]),
             line["remark"])
            for line in account.reset_index().to_dict("records")
        ]  # fmt: skip
        self.text.value = f"<b>{escape(friction_sentence(account))}</b>" + (
            table_html(("Key", "Part", "At the measuring point", "±", "Remark"), rows)
            if rows
            else ""
        )
        self.picture.children = (
            (ChartView(friction_account_chart(account).figure, name="The table says the same."),)
            if rows
            else ()
        )


def _grams(value: float) -> str:
    return f"{value:.1f} g".replace("-", "−") if value == value else ""


def friction_account_panel(bench: Bench) -> widgets.VBox:
    """Friction of parts alone, carried to the measuring point."""
    names = ", ".join(f"<i>{part}</i>" for part in FRICTION_PARTS)
    return panel(
        "Where does it sit?",
        words(
            "Take the friction of a part alone on one key or a few, each at its own radius: the "
            "shank at the strike point, the wippen where the capstan meets it, the key stick "
            "alone at the measuring point. It is half of the difference of the two readings. "
            f"Write the part as {names}."
        ),
        FrictionAccount(bench),
    )
