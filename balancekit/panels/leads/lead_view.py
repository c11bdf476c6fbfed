"""What the panels on leads and springs share: controls of the choice, charts, undo."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import ipywidgets as widgets

from balancekit.calculation.words import escape
from balancekit.instrument.choices.lead_choice import AS_FOUND, CURVES, FREE, SPANS, LeadChoice
from balancekit.instrument.choices.lead_plan import LeadPlan
from balancekit.instrument.leads_record import lead_total
from balancekit.panels.choice import ChoiceView
from balancekit.panels.frame import button, row, slider, words
from balancekit.panels.leads.lead_desk import LeadDesk
from balancekit.panels.saving import Saving

_WHOLE = ("most_plugs_in",)


class LeadView(ChoiceView):
    """One view of the desk of leads and springs."""

    nothing = "Nothing can be laid out here yet."
    desk: LeadDesk

    @property
    def plan(self) -> LeadPlan:
        """What follows from the present choice."""
        return self.desk.plan

    @property
    def key_words(self) -> str:
        """The key in hand in words, safe inside HTML."""
        return f"Key {self.key}, {escape(self.desk.inputs.table['note_name'][self.key])}"

    # Controls of the choice

    def value_of(self, name: str) -> Any:
        """Return what a control shows; a value that is not set shows what is used for it."""
        value = getattr(self.desk.choice, name)
        if value is not None:
            return int(value) if name in _WHOLE else value
        if name == "wippen_arm_mm":
            return self.plan.wippen_arm_mm
        if name == "balance_weight_g":
            return self.plan.balance_level_g
        quantity = next(each for each, names in CURVES.items() if name in names)
        return self.plan.levels_g(quantity)[CURVES[quantity].index(name)]

    def slider(self, name: str, label: str = "") -> Any:
        """Return a slider for one number of the choice."""
        span = SPANS[name]
        whole = name in _WHOLE
        made = slider(
            label or span.label, self.value_of(name), span.low, span.high, span.step,
            unit=span.unit, whole=whole,
        )  # fmt: skip
        made.style.description_width = "17em"
        made.layout.max_width = "720px"
        return self.bound(name, made)

    def changed(self, name: str, value: Any) -> LeadChoice:
        """Return the choice after a control was moved."""
        changes: dict[str, Any] = {name: value}
        return replace(self.desk.choice, **changes)


class LeadLine(widgets.VBox):
    """Undo, redo, as found, keep, what happened to the choice, and the lead that is in the keys."""

    def __init__(self, desk: LeadDesk, *, says_lead: bool = False) -> None:
        self.desk, self.text, self.lead = desk, words(), words()
        self._says_lead = says_lead
        buttons = row(
            button("↶ Undo", desk.undo, hint="Take the last change back"),
            button("↷ Redo", desk.redo, hint="Do again what was taken back"),
            button("As found", desk.as_found, hint="Leave leads and springs as they are"),
            button("Keep this plan", self.plan_leads, hint="Take leads and springs into the work"),
            self.text,
        )
        super().__init__([*([self.lead] if says_lead else []), buttons, Saving(desk.bench)])
        desk.observe(lambda _: self.refresh(), "said")
        desk.when_changed(self.refresh)

    def plan_leads(self) -> None:
        """Take the leads into the plan, and keep it."""
        if self.desk.choice.layout == AS_FOUND:
            self.desk.take(replace(self.desk.choice, layout=FREE))
        self.desk.keep_proposal()

    def refresh(self) -> None:
        """Say how the choice is kept."""
        planned = self.desk.choice.layout != AS_FOUND
        told = "" if planned else "<b>Leads and springs stay as found.</b> "
        said = self.desk.said or "A choice is kept by itself when you pause."
        self.text.value = told + escape(said)
        if self._says_lead and not self.desk.refusal:
            self.lead.value = escape(lead_total(self.desk.inputs.table).sentence)
