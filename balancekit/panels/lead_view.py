"""What the panels on leads and springs share: controls of the choice, charts, undo."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import ipywidgets as widgets
import traitlets
from bokeh.layouts import column

from balancekit.charts.look import Chart, mark_key
from balancekit.instrument.lead_choice import AS_FOUND, CURVES, FREE, SPANS, LeadChoice
from balancekit.instrument.lead_plan import LeadPlan
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import button, escape, row, slider, words
from balancekit.panels.lead_desk import LeadDesk
from balancekit.panels.widgets import Keyboard

_WHOLE = ("most_plugs_in",)


class LeadView(widgets.VBox):
    """One view of the desk: made anew for another instrument, else only shown anew.

    A subclass gives ``make``, which returns its widgets, and ``show``, which puts the present
    state into them.
    """

    def __init__(self, desk: LeadDesk) -> None:
        self.desk = desk
        self.controls: dict[str, Any] = {}
        self.charts: dict[str, Chart] = {}
        self.view: ChartView | None = None
        self._made_for: object = None
        self._showing = False
        super().__init__()
        desk.when_changed(self.refresh)
        desk.bench.observe(lambda _: self._key_changed(), "key")

    def make(self) -> Sequence[widgets.Widget]:
        """Return the widgets."""
        raise NotImplementedError

    def show(self) -> None:
        """Put the present state into the widgets."""
        raise NotImplementedError

    def show_key(self) -> None:
        """Put the key in hand into the widgets, where it matters."""

    @property
    def plan(self) -> LeadPlan:
        """What follows from the present choice."""
        return self.desk.plan

    @property
    def key(self) -> int:
        """The key in hand."""
        return int(self.desk.bench.key)

    @property
    def key_words(self) -> str:
        """The key in hand in words, safe inside HTML."""
        return f"Key {self.key}, {escape(self.desk.inputs.table['note_name'][self.key])}"

    def refresh(self) -> None:
        """Show the present state."""
        if self.desk.refusal:
            self._made_for = None
            told = "<br>".join(escape(line) for line in self.desk.refusal.splitlines())
            self.children = (words(f"Nothing can be laid out here yet. {told}"),)
            return
        if self._made_for is not self.desk.inputs:
            self.controls, self.charts, self.view = {}, {}, None
            self.children = tuple(self.make())
            self._made_for = self.desk.inputs
        self._showing = True
        try:
            for name, control in self.controls.items():
                control.value = self.value_of(name)
            self.show()
        finally:
            self._showing = False

    def _key_changed(self) -> None:
        if not self.desk.refusal:
            self.show_key()

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

    def toggles(self, name: str, options: Mapping[str, str], label: str) -> Any:
        """Return buttons for one choice between words; ``options`` are words shown by value."""
        made = widgets.ToggleButtons(
            options=[(text, value) for value, text in options.items()],
            description=label,
            style={"description_width": "initial", "button_width": "auto"},
        )
        return self.bound(name, made)

    def bound(self, name: str, control: Any) -> Any:
        """Bind a control to one value of the choice."""
        self.controls[name] = control
        control.observe(lambda change: self._moved(name, change["new"]), "value")
        return control

    def seen(self, names: Sequence[str], shown: bool) -> None:
        """Show or hide controls."""
        for name in names:
            self.controls[name].layout.display = "" if shown else "none"

    def _moved(self, name: str, value: Any) -> None:
        if not self._showing:
            self.desk.take(self.changed(name, value), self.refresh)

    def changed(self, name: str, value: Any) -> LeadChoice:
        """Return the choice after a control was moved."""
        changes: dict[str, Any] = {name: value}
        return replace(self.desk.choice, **changes)

    # Charts over the keyboard

    def over_keys(self, charts: Mapping[str, Chart], name: str) -> list[widgets.Widget]:
        """Put charts over the keys into one view, with the drawn keyboard under them."""
        self.charts = dict(charts)
        self.view = ChartView(
            column(*[chart.figure for chart in charts.values()], sizing_mode="stretch_width"),
            name=name,
            on_key=lambda key: setattr(self.desk.bench, "key", key),
        )
        self.keyboard = Keyboard()
        table = self.desk.inputs.table
        self.keyboard.sticks = table[["note_name", "colour"]].to_dict("records")
        traitlets.link((self.desk.bench, "key"), (self.keyboard, "key"))
        return [self.view, self.keyboard]

    def mark(self, *names: str) -> None:
        """Move the mark of the key in hand, in all charts or in those named."""
        if self.view is None:
            return
        with self.view.one_change():
            for name in names or self.charts:
                mark_key(self.charts[name].figure, self.key)


class LeadLine(widgets.VBox):
    """Undo, redo, as found, keep, and what happened to the choice."""

    def __init__(self, desk: LeadDesk) -> None:
        self.desk, self.text = desk, words()
        buttons = row(
            button("↶ Undo", desk.undo, hint="Take the last change back"),
            button("↷ Redo", desk.redo, hint="Do again what was taken back"),
            button("As found", desk.as_found, hint="Leave leads and springs as they are"),
            button("Keep this plan", self.plan_leads, hint="Take leads and springs into the work"),
            self.text,
        )
        super().__init__([buttons])
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
