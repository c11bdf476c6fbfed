"""The panel on what to do: the plan plug by plug, the shopping list, and the cautions."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.words import plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.lead_choice import AS_FOUND, IN_LINES
from balancekit.instrument.choices.lead_plan import LeadPlan
from balancekit.panels.frame import caution, panel, table_html, words, working
from balancekit.panels.leads.lead_desk import LeadDesk, lead_desk
from balancekit.panels.leads.lead_view import LeadLine, LeadView

_SHOWN = {"key": "this key", "work": "all work", "all": "every plug"}
_HEADINGS = ("Key", "Do", "Plug", "Hole", "From front edge (mm)", "From balance pin (mm)",
             "Front weight then (g)")  # fmt: skip
_SIGNS = {"keep": "● keep", "take out": "✕ take out", "put in": "+ put in"}
"""Sign and words of each action."""


def plan_rows(plan: pd.DataFrame, notes: pd.Series) -> list[tuple[str, ...]]:
    """Return the rows of a plan as printed."""
    return [
        (
            f"{line['key']}, {notes[line['key']]}",
            _SIGNS[line["action"]],
            line["plug"],
            line["hole"],
            f"{line['from_front_edge_mm']:.0f}",
            f"{line['distance_mm']:.0f}".replace("-", "−"),
            f"{line['front_weight_g']:.1f}".replace("-", "−"),
        )
        for line in plan.to_dict("records")
    ]


def shopping_html(plan: LeadPlan) -> str:
    """Return what to buy and what comes out, as tables."""
    rows = [
        (name, f"{line['diameter_mm']:g}", line["put_in"], line["spares"], line["to_buy"],
         f"{line['total_g']:.0f}")
        for name, line in plan.shopping.to_dict("index").items()
    ]  # fmt: skip
    buy = (
        "<b>To buy</b>"
        + table_html(("Plug", "Diameter (mm)", "Put in", "Spares", "To buy", "Mass (g)"), rows)
        if rows
        else "<b>Nothing to buy.</b>"
    )
    out = [
        (f"{wide:g}", line["taken_out"], f"{line['total_g']:.0f}")
        for wide, line in plan.scrap.to_dict("index").items()
    ]
    if not out:
        return buy
    scrap = "<b>Comes out</b>" + table_html(("Diameter (mm)", "Plugs", "Mass (g)"), out)
    beside = "display:flex;gap:40px;flex-wrap:wrap"
    return f'<div style="{beside}"><div>{buy}</div><div>{scrap}</div></div>'


class LeadSheet(LeadView):
    """The plan, for the key in hand, for all work, or for every plug."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return buttons, the table, and the shopping list."""
        self.shown = widgets.ToggleButtons(
            options=[(text, name) for name, text in _SHOWN.items()],
            value="key",
            description="Show",
            style={"description_width": "initial", "button_width": "auto"},
        )
        self.shown.observe(lambda _: self.say(), "value")
        self.told, self.table, self.shopping = words(), words(), words()
        self.table.layout.max_height = "420px"
        self.table.layout.overflow = "auto"
        spares = self.slider("spare_percent")
        return [self.shown, self.told, self.table, self.shopping, spares]

    @property
    def ready(self) -> bool:
        """Whether the chosen layout is known; lines are sought when they are not."""
        return self.desk.choice.layout != IN_LINES or self.desk.lines is not None

    def show(self) -> None:
        """Show the plan of the chosen layout."""
        self.say()

    def show_key(self) -> None:
        """Show the key in hand, if that is what is shown."""
        if self.shown.value == "key":
            self.say()

    def say(self) -> None:
        """Fill the table and the shopping list."""
        if not self.ready:
            self.told.value = working("<b>Working:</b> looking for lines, a few seconds.")
            self.table.value = self.shopping.value = ""
            self.desk.lay_lines()
            return
        plan = self.plan
        if plan.choice.layout == AS_FOUND:
            self.told.value = "<b>Leads and springs stay as found: nothing to do.</b>"
            self.table.value = self.shopping.value = ""
            return
        rows = plan.plan
        if self.shown.value == "key":
            rows = rows[rows["key"] == self.key]
        elif self.shown.value == "work":
            rows = rows[rows["key"].isin(plan.touched)]
        counts = plan.plan["action"].value_counts()
        self.told.value = (
            f"<b>{'In lines' if plan.choice.layout == IN_LINES else 'Free layout'}: put in "
            f"{counts.get('put in', 0)}, take out {counts.get('take out', 0)}, keep "
            f"{counts.get('keep', 0)}; work on {plural(len(plan.touched), 'key')}.</b> "
            "Lay a ruler at the front edge of the key."
        )
        notes = self.desk.inputs.table["note_name"]
        self.table.value = (
            table_html(_HEADINGS, plan_rows(rows, notes)) if len(rows) else "No plugs here."
        )
        self.shopping.value = shopping_html(plan)


LEAD_CAUTION = (
    "Lead is toxic. Wear gloves, wipe wet, wash before you eat. No sanding, no melting. Children "
    "and pregnant people stay away. Scraps go where local rules say."
)
BORING_CAUTION = (
    "A hole cannot be undone. Final trim is always on the scale: plug loose on top of the key, "
    "weigh, mark, bore. Keep what comes out. Local codes and licensed practice come before this "
    "tool."
)


def lead_sheet_panel(bench: Bench) -> widgets.VBox:
    """What to do to each key, what to buy, and how to stay well."""
    desk: LeadDesk = lead_desk(bench)
    return panel(
        "What to do, plug by plug",
        LeadSheet(desk),
        caution(LEAD_CAUTION),
        caution(BORING_CAUTION),
        LeadLine(desk),
    )
